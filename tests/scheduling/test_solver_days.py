"""The worked days of the walk-throughs that ask for a whole roster, as problems without a database."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from scheduling.check import broken_rules
from scheduling.problem import Day, Escort, PlacedSession, Problem, Requirement, Resident, Roster, Slot, Span, Station
from scheduling.problem import Supervision as Shift
from scheduling.solver import solve

NEW_YORK = ZoneInfo("America/New_York")
TURN = timedelta(minutes=6)
STATIONS = "ABCDE"


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=NEW_YORK).astimezone(UTC)


EIGHT, NOON = local("2026-11-30 08:00"), local("2026-11-30 12:00")


def morning(*more_shifts: Shift, escort: Escort | None = None) -> Problem:
    """Thirty residents, one session each, five stations of one turn, one aide from 08:00 to 12:00."""
    return Problem(
        timezone="America/New_York",
        turn=TURN,
        days=(Day(EIGHT, NOON),),
        stations=tuple(Station(name) for name in STATIONS),
        supervision=(Shift(EIGHT, NOON, 6), *more_shifts),
        residents=tuple(
            Resident(
                id=f"R{number:02}",
                sessions=1,
                stations=tuple(Requirement(name, 1) for name in STATIONS),
                supervision=2,
                available=(Span(EIGHT, NOON),),
                rewards=(1000,),
                escort=escort,
            )
            for number in range(1, 31)
        ),
    )


def solved(facts: Problem, **options: object) -> Roster:
    roster = solve(facts, seconds=5, **options)  # type: ignore[arg-type]
    assert broken_rules(facts, roster) == []
    return roster


# Expected figures are those of walk-throughs 3, 5 and 6: arithmetic on turns and sixths.
def test_walk_through_3_places_24_proves_it_and_names_help_for_the_other_six():
    roster = solved(morning())

    assert (len(roster.sessions), roster.status, roster.bound) == (24, "optimal", 24_000)
    assert [[reason.code for reason in entry.reasons] for entry in roster.unplaced] == [["no_help_free"]] * 6


@pytest.mark.parametrize(
    ("shift", "placed"),
    [
        (Shift(EIGHT, local("2026-11-30 09:00"), 6), 28),
        (Shift(EIGHT, local("2026-11-30 09:30"), 6), 30),
        (Shift(EIGHT, NOON, 6), 30),
    ],
)
def test_walk_through_3_one_more_aide_for_a_while_places_more(shift, placed):
    assert len(solved(morning(shift)).sessions) == placed


@pytest.mark.parametrize("staff", ["one", "two"])
def test_walk_through_5_while_one_is_fetched_nobody_is_left_alone(staff):
    second = [Shift(EIGHT, NOON, 6)] if staff == "two" else []

    roster = solved(morning(*second, escort=Escort(1, 6)))

    if staff == "one":
        assert (len(roster.sessions), roster.status, roster.bound) == (5, "optimal", 5_000)
    else:
        assert len(roster.sessions) >= 10


TUESDAY = "2026-12-01"


def ten_on_tuesday(*, skips: bool) -> tuple[Problem, Roster]:
    """Ten sessions published one after another from 10:00; station C is out of order from then on."""
    opens, closes = local(f"{TUESDAY} 08:00"), local(f"{TUESDAY} 17:00")
    broken = Span(local(f"{TUESDAY} 10:00"), local("2026-12-04 12:00"))
    residents = tuple(
        replace(
            morning().residents[number],
            available=(Span(opens, local(f"{TUESDAY} 15:00")),),
            skips_closed_stations=skips,
        )
        for number in range(10)
    )
    facts = replace(
        morning(),
        days=(Day(opens, closes),),
        stations=tuple(Station(name, (broken,) if name == "C" else ()) for name in STATIONS),
        supervision=(Shift(opens, closes, 6),),
        residents=residents,
    )
    published = []
    for number, resident in enumerate(residents):
        start = local(f"{TUESDAY} 10:00") + number * 5 * TURN
        slots = tuple(
            Slot(name, start + place * TURN, start + (place + 1) * TURN) for place, name in enumerate(STATIONS)
        )
        published.append(PlacedSession(resident.id, start, slots[-1].end, slots))
    return facts, Roster(sessions=tuple(published))


def test_walk_through_6_going_on_without_the_broken_station_moves_nobody():
    facts, published = ten_on_tuesday(skips=True)

    roster = solved(facts, kept=published)

    assert [one.start for one in roster.sessions] == [one.start for one in published.sessions]
    assert {len(one.slots) for one in roster.sessions} == {4}
    assert (roster.kept.stay, roster.kept.moved, roster.kept.lost) == (10, 0, 0)


def test_walk_through_6_with_the_rule_off_all_ten_must_move():
    facts, published = ten_on_tuesday(skips=False)

    roster = solved(facts, kept=published)

    assert (roster.kept.stay, roster.kept.moved, roster.kept.lost, roster.kept.moved_bound) == (0, 10, 0, 10)
    assert {one.end <= local(f"{TUESDAY} 10:30") for one in roster.sessions} == {True}
