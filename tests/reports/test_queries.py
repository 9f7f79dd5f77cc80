"""Reading a building: nothing can be written, and it costs the same however much there is."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import InternalError, connection, transaction
from django.test.utils import CaptureQueriesContext

from program import clock
from program.actions import safety
from program.actions.residents import end_stay
from program.models import Session, Unit
from reports.figures import figures_of
from reports.periods import Period
from reports.queries import facts_of, reading
from tests.conftest import House
from tests.program.api.arranging import at, booked, one_line, one_set
from tests.program.api.asking import Api
from tests.reports.making import AFTER_W49, in_bulk, see_everywhere
from tests.walkthroughs.following import wall

W49 = Period.named("week", "2026-W49")
# SAVEPOINT, the scope, READ ONLY and RELEASE; trail, sessions, records, sets, lines, residents, plans, holds,
# closures, and whether anything was published before.
QUERIES = 14


def figures(house: House, as_of: datetime = AFTER_W49) -> dict[str, Any]:
    with reading(house.building):
        told = figures_of(facts_of(house.building, W49, as_of))
    see_everywhere()
    return told


def fill(house: House, count: int) -> None:
    residents = [house.resident() for _ in range(count)]
    starts = [
        wall("2026-11-30T08:00") + timedelta(days=place // 10, minutes=30 * (place % 10)) for place in range(count)
    ]
    in_bulk(house, residents, [start.astimezone(clock.now().tzinfo) for start in starts], done=count - 1, sets=3)


@pytest.mark.parametrize("sessions", [3, 30])
def test_reading_takes_as_many_queries_at_three_sessions_as_at_thirty(arrowfen: House, sessions: int) -> None:
    fill(arrowfen, sessions)
    with CaptureQueriesContext(connection) as asked, reading(arrowfen.building):
        facts = facts_of(arrowfen.building, W49, AFTER_W49)

    assert len(facts.visits) == sessions
    assert len(asked) == QUERIES


def test_nothing_can_be_written_while_reading(arrowfen: House) -> None:
    with pytest.raises(InternalError, match="read-only"), transaction.atomic(), reading(arrowfen.building):
        Unit.objects.create(building=arrowfen.building, name="Another")

    # The control: the same write outside.
    see_everywhere()
    assert Unit.objects.create(building=arrowfen.building, name="Another").pk is not None


def test_the_figures_of_one_building_know_nothing_of_another(arrowfen: House, brindlewharf: House) -> None:
    fill(arrowfen, 4)
    fill(brindlewharf, 6)

    assert (figures(arrowfen)["attendance"]["published"], figures(brindlewharf)["attendance"]["published"]) == (4, 6)


def test_a_session_lies_in_the_week_of_its_planned_start_by_the_clock_of_the_building(arrowfen: House) -> None:
    """Sunday 6 December 23:00 in New York is Monday in UTC, and still week 49."""
    resident, other = arrowfen.resident(), arrowfen.resident()
    booked(arrowfen, resident, at(arrowfen, 6, 23 * 60))
    booked(arrowfen, other, at(arrowfen, 7, 0))

    assert figures(arrowfen, at(arrowfen, 7, 60))["attendance"]["published"] == 1


def test_what_was_entered_more_than_an_hour_after_it_happened_is_a_late_entry(arrowfen: House) -> None:
    for minutes, resident in ((60, arrowfen.resident()), (61, arrowfen.resident())):
        session = booked(arrowfen, resident, at(arrowfen, 1, 600 if minutes == 60 else 660))
        with clock.at(session.starts_at + timedelta(minutes=minutes)):
            sent = {"lines": [one_line("started", session.starts_at)], "sets": []}
            assert Api(arrowfen.aide).post(f"sessions/{session.pk}/records/", sent).status_code == 200

    assert figures(arrowfen)["late_entries"] == 1


def test_an_unplanned_session_counts_as_done_and_stands_apart(arrowfen: House) -> None:
    resident = arrowfen.resident()
    start = at(arrowfen, 1, 600)
    with clock.at(start + timedelta(minutes=40)):
        sent = {
            "resident": resident.pk,
            "starts_at": start.isoformat(),
            "ends_at": (start + timedelta(minutes=30)).isoformat(),
            "lines": [],
            "sets": [one_set(arrowfen, start + timedelta(minutes=5))],
        }
        assert Api(arrowfen.aide).post("sessions/unplanned/", sent).status_code == 201
    told = figures(arrowfen)

    assert (told["unplanned"], told["completion"]["done"], told["attendance"]["published"]) == (1, 1, 0)
    assert Session.objects.get().published_at is None
    # Entered at 10:40: as of 10:30 nobody knew of it.
    assert figures(arrowfen, at(arrowfen, 1, 630))["unplanned"] == 0


def test_a_week_in_hospital_prescribes_one_day(arrowfen: House) -> None:
    """Worked day 18: away from Tuesday 22:00; both sessions are withdrawn and neither is missed."""
    resident = arrowfen.resident()
    booked(arrowfen, resident, at(arrowfen, 2, 600))
    booked(arrowfen, resident, at(arrowfen, 5, 600))
    with clock.at(at(arrowfen, 1, 22 * 60)):
        safety.set_hold(resident=resident, kind="away", reason="hospital", starts_at=clock.now(), by=arrowfen.aide)
    told = figures(arrowfen)

    assert told["completion"] == {"done": 0, "prescribed": 0.29, "ratio": 0.0}
    assert told["attendance"]["published"] == 0
    assert told["withdrawn"] == {
        "before_the_day": 0,
        "through_hold_absence_leaving_closure": 2,
        # 12 and 84 hours before.
        "notice_hours_median": 48.0,
    }


def test_the_weeks_before_tell_since_when_nothing_was_written(arrowfen: House) -> None:
    with clock.at(at(arrowfen, -7, 0)):
        resident = arrowfen.resident()
        for day in (-6, -3, 1, 4):
            booked(arrowfen, resident, at(arrowfen, day, 600))
    told = figures(arrowfen)

    assert told["recording"]["sentence"] == "Nothing was written since Tue 24 Nov: 4 sessions are not recorded."
    # The figures themselves are of the week alone.
    assert told["attendance"]["published"] == 2


def test_who_is_known_later_to_have_left_before_the_week_has_missed_nothing_of_it(arrowfen: House) -> None:
    resident = arrowfen.resident()
    booked(arrowfen, resident, at(arrowfen, 1, 600))
    with clock.at(at(arrowfen, 2, 600)):
        assert figures(arrowfen, clock.now())["attendance"]["published"] == 1
        end_stay(resident=resident, until=at(arrowfen, -2, 720), by=arrowfen.coordinator)
    told = figures(arrowfen)

    assert told["attendance"]["published"] == 0
    assert told["withdrawn"]["through_hold_absence_leaving_closure"] == 1
