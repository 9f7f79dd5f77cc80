"""The first person of an installation."""

import pytest

from program import access
from program.actions.people import first_administrator
from program.models import User
from program.rules.errors import Refused

SECRET = "walnut-harbour-kettle-9"


def test_the_first_administrator_can_start_buildings(db: None) -> None:
    user = first_administrator(username="ada", name="Ada Example", password=SECRET)

    assert user.check_password(SECRET)
    assert access.may(user, "start a building", None)


def test_there_is_only_one_first(db: None) -> None:
    first_administrator(username="ada", name="Ada Example", password=SECRET)

    with pytest.raises(Refused, match="There is an administrator already"):
        first_administrator(username="ben", name="Ben Example", password=SECRET)
    assert User.objects.count() == 1


def test_a_short_password_is_refused(db: None) -> None:
    with pytest.raises(Refused, match="at least 12 characters"):
        first_administrator(username="ada", name="Ada Example", password="short")
    assert User.objects.count() == 0
