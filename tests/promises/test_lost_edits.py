"""No edit is lost: whoever changes a row that has moved on is told so."""

import threading
from collections.abc import Callable
from datetime import timedelta

import pytest

from program.actions.changing import change
from program.actions.residents import change_resident
from program.models import Resident, scope
from program.rules.errors import Stale
from tests.conftest import House
from tests.promises.racing import at_once, everywhere, tell

pytestmark = pytest.mark.django_db(transaction=True)
EDITS, CLIENTS = 120, 4


@pytest.fixture
def resident(real_house: House) -> Resident:
    with scope(everywhere()):
        return real_house.resident(sessions_before=0)


def one_more(key: int) -> int:
    """Read, add one, write; when somebody was faster, read again."""
    refusals = 0
    while True:
        row = Resident.objects.get(pk=key)
        try:
            change(row, version=row.version, sessions_before=row.sessions_before + 1)
        except Stale:
            refusals += 1
        else:
            return refusals


def one_more_unguarded(key: int) -> int:
    row = Resident.objects.get(pk=key)
    row.sessions_before += 1
    row.save(update_fields=["sessions_before"])
    return 0


def count_after(resident: Resident, edit: Callable[[int], int]) -> tuple[int, int]:
    refusals = at_once([lambda: edit(resident.pk)] * EDITS, threads=CLIENTS)
    with scope(everywhere()):
        resident.refresh_from_db()
    return resident.sessions_before, sum(refusals)


def test_of_many_edits_of_one_row_none_is_lost(resident: Resident) -> None:
    counted, refusals = count_after(resident, one_more)

    tell(f"edits of one row, {refusals} told to look again", tried=EDITS, bad=EDITS - counted)
    assert (counted, resident.version) == (EDITS, EDITS + 1)
    # They did get in each other's way.
    assert refusals > 0


def test_without_the_version_edits_are_lost(resident: Resident) -> None:
    """The control: the same edits, saved plainly."""
    counted, _ = count_after(resident, one_more_unguarded)

    tell("edits of one row without versions", tried=EDITS, bad=EDITS - counted)
    assert counted < EDITS


def test_the_second_of_two_who_looked_at_the_same_row_is_told(resident: Resident) -> None:
    """It cannot pass by luck: both have looked before either writes."""
    looked = resident.version
    with scope(everywhere()):
        change_resident(resident=Resident.objects.get(pk=resident.pk), version=looked, room="1")
    with scope(everywhere()), pytest.raises(Stale) as told:
        change_resident(resident=Resident.objects.get(pk=resident.pk), version=looked, room="2")

    assert told.value.details == {"current_version": looked + 1}
    with scope(everywhere()):
        assert Resident.objects.get(pk=resident.pk).room == "1"


def test_a_change_waits_for_an_open_change_and_is_then_told(resident: Resident) -> None:
    answers: list[str] = []

    def second() -> str:
        row = Resident.objects.get(pk=resident.pk)
        try:
            change(row, version=row.version, room="2")
        except Stale:
            return "told"
        return "written over"

    other = threading.Thread(target=lambda: answers.extend(at_once([second], threads=1)))
    with scope(everywhere()):
        change(Resident.objects.get(pk=resident.pk), version=None, room="1")
        other.start()
        other.join(timeout=timedelta(seconds=0.5).total_seconds())
        assert answers == []
    other.join()

    assert answers == ["told"]
