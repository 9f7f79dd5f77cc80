"""People, their roles from-until, and the administrator who must remain."""

from datetime import timedelta

import pytest
from allauth.mfa.models import Authenticator

from program import access, clock
from program.actions.people import (
    add_person,
    change_person,
    disable_person,
    enable_person,
    end_role,
    first_administrator,
    give_role,
)
from program.actions.second_factors import give_second_factor, reset_second_factor
from program.actions.signing_in import link_of, make_link, use_link
from program.models import Audit, Link, Role, SignInEvent, User
from program.models.scoped import set_scope
from program.rules.errors import Refused
from tests import factories
from tests.conftest import MONDAY, House
from tests.promises.racing import at_once

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


def an_administrator() -> User:
    return factories.with_role(None, Role.Kind.ADMINISTRATOR)


def test_somebody_new_has_a_role_and_no_password_before_the_link_is_used(arrowfen: House) -> None:
    by = an_administrator()
    user = add_person(username="nova", name="Nova Newling", kind="staff", building=arrowfen.building)
    secret = make_link(user=user, by=by)

    assert access.kinds_in(user, arrowfen.building) == {"staff"}
    assert not user.has_usable_password()
    use_link(secret=secret, password=SECRET)
    user.refresh_from_db()
    assert user.check_password(SECRET)


@pytest.mark.parametrize(("username", "email"), [("NOVA", None), ("nova@example.org", None), ("other", "nova")])
def test_a_word_leads_to_one_person_only(arrowfen: House, username: str, email: str | None) -> None:
    add_person(username="nova", name="Nova", email="Nova@Example.org", kind="staff", building=arrowfen.building)

    with pytest.raises(Refused, match=r"is taken\. Choose another"):
        add_person(username=username, name="Nova Two", email=email, kind="staff", building=arrowfen.building)


def test_a_role_needs_its_place(arrowfen: House) -> None:
    with pytest.raises(Refused, match="Name the building or the region of this role"):
        add_person(username="nova", name="Nova", kind="coordinator")
    with pytest.raises(Refused, match="Name the building or the region of this role"):
        add_person(username="nova", name="Nova", kind="administrator", building=arrowfen.building)


def test_a_role_holds_from_its_beginning_until_its_end(arrowfen: House) -> None:
    user = factories.UserFactory()
    until = MONDAY + timedelta(days=2)
    give_role(user=user, kind="clinician", building=arrowfen.building, since=MONDAY + timedelta(days=1), until=until)
    held = []
    for hours in (23, 24, 47, 48):
        with clock.at(MONDAY + timedelta(hours=hours)):
            held.append(access.kinds_held(user))

    assert held == [frozenset(), {"clinician"}, {"clinician"}, frozenset()]


def test_nobody_holds_a_role_twice(arrowfen: House) -> None:
    with pytest.raises(Refused, match="already holds that role"):
        give_role(user=arrowfen.aide, kind="staff", building=arrowfen.building, since=MONDAY)


def test_a_role_that_has_not_begun_never_begins(arrowfen: House) -> None:
    user = factories.UserFactory()
    role = give_role(user=user, kind="staff", building=arrowfen.building, since=MONDAY + timedelta(days=1))
    end_role(role=role, until=clock.now())

    with clock.at(MONDAY + timedelta(days=1, seconds=1)):
        assert access.kinds_held(user) == frozenset()
        with pytest.raises(Refused, match="has ended already"):
            end_role(role=role, until=clock.now())


def test_the_end_of_a_role_is_neither_put_off_nor_moved_into_the_past(arrowfen: House) -> None:
    role, until = arrowfen.aide.roles.get(), MONDAY + timedelta(days=2)
    end_role(role=role, until=until)
    for moment, sentence in ((until + timedelta(days=1), "ends before that"), (MONDAY - timedelta(days=60), "is over")):
        with pytest.raises(Refused, match=sentence):
            end_role(role=role, until=moment)
    role.refresh_from_db()
    assert role.until == until
    # The control: sooner, but not before now, is what ending is for.
    assert end_role(role=role, until=until - timedelta(days=1)).until == until - timedelta(days=1)


def test_an_address_is_kept_in_small_letters_whoever_enters_it(arrowfen: House) -> None:
    first = first_administrator(username="ada", name="Ada Example", password=SECRET, email="Ada@Example.ORG")
    aide = change_person(user=arrowfen.aide, username="oona", name="Oona Quill", email="Oona@Example.ORG")

    assert (first.email, aide.email) == ("ada@example.org", "oona@example.org")


def test_a_mistyped_address_is_corrected_and_the_link_that_went_there_ends(arrowfen: House) -> None:
    user = arrowfen.aide
    change_person(user=user, username="oona", name="Oona Quill", email="onoa@example.org")
    secret = make_link(user=user, by=user)
    # The control: another name alone changes nothing about the link.
    change_person(user=user, username="oona.quill", name="Oona Q.", email="onoa@example.org")
    assert link_of(secret=secret).user == user
    change_person(user=user, username="oona.quill", name="Oona Q.", email="oona@example.org")

    with pytest.raises(Refused, match="no longer works"):
        link_of(secret=secret)
    set_scope([], user_id=user.pk, is_administration=True)
    line = Audit.objects.filter(noun="user", row_id=str(user.pk), action="update").latest("pk")
    assert (line.before, line.after) == ({"email": "onoa@example.org"}, {"email": "oona@example.org"})
    with pytest.raises(Refused, match="That name is taken"):
        change_person(user=user, username=arrowfen.clinician.username.upper(), name="Oona", email=None)


def test_an_administrator_remains(db: None) -> None:
    first, second = an_administrator(), an_administrator()
    tomorrow = MONDAY + timedelta(days=1)
    end_role(role=first.roles.get(), until=tomorrow)

    for try_it in (
        lambda: end_role(role=second.roles.get(), until=clock.now()),
        lambda: end_role(role=second.roles.get(), until=tomorrow + timedelta(days=1)),
        lambda: disable_person(user=second, by=first),
    ):
        with pytest.raises(Refused, match="Nobody would be left") as told:
            try_it()
        assert told.value.problem == "last-administrator"
    an_administrator()
    disable_person(user=second, by=first)
    assert not access.is_administrator(second)


@pytest.mark.django_db(transaction=True)
def test_two_who_end_each_other_at_once_do_not_both_succeed() -> None:
    first, second = an_administrator(), an_administrator()

    def end(other: User) -> bool:
        try:
            end_role(role=other.roles.get(), until=clock.now())
        except Refused:
            return False
        return True

    assert sorted(at_once([lambda: end(first), lambda: end(second)], is_one_blow=True)) == [False, True]


def test_a_closed_account_is_opened_again_with_its_roles(arrowfen: House) -> None:
    by = an_administrator()
    disable_person(user=arrowfen.aide, by=by)
    assert access.kinds_held(arrowfen.aide) == frozenset()
    with pytest.raises(Refused, match="Open it first"):
        make_link(user=arrowfen.aide, by=by)
    enable_person(user=arrowfen.aide, by=by)

    assert access.kinds_held(arrowfen.aide) == {"staff"}


def test_a_new_link_replaces_the_old_one_and_lives_for_three_days(arrowfen: House) -> None:
    by = an_administrator()
    old, new = (make_link(user=arrowfen.aide, by=by) for _ in range(2))

    with pytest.raises(Refused, match="no longer works"):
        link_of(secret=old)
    with clock.at(MONDAY + timedelta(hours=71, minutes=59)):
        assert link_of(secret=new).user == arrowfen.aide
    with clock.at(MONDAY + timedelta(hours=72)), pytest.raises(Refused, match="no longer works"):
        link_of(secret=new)
    assert new not in str(list(Link.objects.values()))


def test_a_link_is_not_used_up_by_a_password_that_is_too_short(arrowfen: House) -> None:
    secret = make_link(user=arrowfen.aide, by=arrowfen.aide)
    with pytest.raises(Refused, match="at least 12 characters"):
        use_link(secret=secret, password="short")

    assert use_link(secret=secret, password=SECRET) == arrowfen.aide


def test_everything_about_a_way_in_is_on_record_and_no_secret_is(arrowfen: House) -> None:
    by = an_administrator()
    set_scope([], user_id=by.pk, is_administration=True)
    user = add_person(username="nova", name="Nova", kind="clinician", region=arrowfen.building.region)
    secret = make_link(user=user, by=by)
    use_link(secret=secret, password=SECRET)
    factor = give_second_factor(user=user)
    reset_second_factor(user=user, by=by)
    end_role(role=user.roles.get(), until=clock.now() + timedelta(days=1))
    disable_person(user=user, by=by)

    kinds = list(SignInEvent.objects.filter(user=user).order_by("pk").values_list("kind", "by__username"))
    assert kinds == [
        ("link made", by.username),
        ("link used", "nova"),
        ("second factor reset", by.username),
        ("account closed", by.username),
        ("sessions ended", by.username),
    ]
    lines = Audit.objects.filter(building_id=None)
    assert {"user", "role", "signinevent"} <= set(lines.values_list("noun", flat=True))
    everything = str(list(lines.values_list("before", "after")))
    assert [word for word in (SECRET, secret, user.password, str(factor.data)) if word in everything] == []
    assert Authenticator.objects.filter(user=user).count() == 0
