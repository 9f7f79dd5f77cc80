"""Flags over the API: filtered, scoped, and with the times that put them right."""

from datetime import date, timedelta

import pytest

from program.models import Audit
from tests import factories
from tests.conftest import House
from tests.program.api.arranging import at, booked
from tests.program.api.asking import Api, problem_of
from tests.scheduling.flagging import flags, gave_up, refreshed

pytestmark = pytest.mark.django_db


@pytest.fixture
def manned(arrowfen: House) -> House:
    for offset in range(5):
        day = date(2026, 11, 30) + timedelta(days=offset)
        factories.on_the_circuit(arrowfen.building, arrowfen.aide, day, 480, 1020)
    return arrowfen


def test_flags_are_filtered_by_kind_and_by_being_open(manned: House) -> None:
    resident = manned.resident()
    refreshed(manned)
    resident.enrolled_at = None
    resident.save()
    manned.resident()
    refreshed(manned)
    api = Api(manned.coordinator)

    def count(**asked: str) -> int:
        return len(api.get("flags/", **asked).json()["results"])

    assert (count(), count(open="true"), count(open="false"), count(kind="due")) == (4, 2, 2, 2)
    assert problem_of(api.get("flags/", kind="nothing")) == (400, "invalid-filter")


def test_another_house_has_its_own_flags(manned: House, brindlewharf: House) -> None:
    manned.resident()
    (flag,) = flags(manned, "due")
    stranger = Api(brindlewharf.coordinator)

    assert stranger.get("flags/").json()["results"] == []
    assert stranger.get(f"flags/{flag.pk}/").status_code == 404
    assert stranger.get(f"flags/{flag.pk}/times/").status_code == 404


def test_a_flag_about_several_residents_asks_for_one_of_them(manned: House) -> None:
    for hour in (9, 10):
        gave_up(manned, booked(manned, manned.resident(), at(manned, 0, hour * 60)), at(manned, 0, 480), "no staff")
    (flag,) = flags(manned, "missed")
    other = manned.resident()
    api = Api(manned.coordinator)

    assert problem_of(api.get(f"flags/{flag.pk}/times/")) == (422, "invalid")
    assert problem_of(api.get(f"flags/{flag.pk}/times/", resident=other.pk)) == (422, "invalid")
    told = api.get(f"flags/{flag.pk}/times/", resident=flag.residents[1]).json()
    assert (told["resident"], told["session"], told["week"]) == (flag.residents[1], None, "2026-W49")
    assert told["keeps"] != []


def test_whose_flags_were_read_is_on_record(manned: House) -> None:
    resident = manned.resident()
    flags(manned, "due")
    Api(manned.coordinator).get("flags/")

    line = Audit.objects.get(action="view", noun="flag")
    assert line.resident_ids == [resident.pk]
