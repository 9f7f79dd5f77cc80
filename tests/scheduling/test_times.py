"""The worked days of the walk-throughs that ask when one resident may train, as problems without a database."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from scheduling.problem import (
    Day,
    Escort,
    FixedSession,
    Problem,
    Requirement,
    Resident,
    Slot,
    Span,
    Station,
    Supervision,
)
from scheduling.times import Allowed, Block, Refusal, allowed_starts, judge_start
from tests.scheduling.problems import at, fixed, problem, resident

NEW_YORK = ZoneInfo("America/New_York")
TURN = timedelta(minutes=6)


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=NEW_YORK).astimezone(UTC)


MONDAY = "2026-11-30"
LUNCH = Block(local(f"{MONDAY} 12:00"), local(f"{MONDAY} 13:00"), "meal", "lunch 12:00–13:00")
REST = Block(local(f"{MONDAY} 13:00"), local(f"{MONDAY} 13:30"), "rest", "the rest after lunch until 13:30")
MARGIN = Block(local(f"{MONDAY} 09:50"), local(f"{MONDAY} 10:00"), "margin", "the margin before therapy 10:00–10:45")
THERAPY = Block(local(f"{MONDAY} 10:00"), local(f"{MONDAY} 10:55"), "commitment", "therapy 10:00–10:45")


def arrowfen(*residents: Resident, date: str = MONDAY) -> Problem:
    opens, closes = local(f"{date} 08:00"), local(f"{date} 17:00")
    return Problem(
        timezone="America/New_York",
        turn=TURN,
        days=(Day(opens, closes),),
        stations=tuple(Station(name) for name in "ABCDE"),
        supervision=(Supervision(opens, closes, 6),),
        residents=residents,
    )


def one(name: str = "R1", **facts: object) -> Resident:
    plain = Resident(
        id=name,
        sessions=2,
        stations=tuple(Requirement(station, 1) for station in "ABCDE"),
        supervision=2,
        available=(Span(local("2026-01-01 00:00"), local("2028-01-01 00:00")),),
        rewards=(2, 1),
    )
    return replace(plain, **facts)  # type: ignore[arg-type]


def booked(start: str, order: str = "ABCDE") -> FixedSession:
    begins = local(start)
    slots = (Slot(station, begins + place * TURN, begins + (place + 1) * TURN) for place, station in enumerate(order))
    return FixedSession(tuple(slots))


def clocks(found: list[Allowed]) -> list[str]:
    return [f"{allowed.start.astimezone(NEW_YORK):%H:%M}" for allowed in found]


def every_six_minutes(first: str, last: str) -> list[str]:
    start, end = local(f"{MONDAY} {first}"), local(f"{MONDAY} {last}")
    return [f"{(start + turn * TURN).astimezone(NEW_YORK):%H:%M}" for turn in range((end - start) // TURN + 1)]


# Expected times and counts here are those of walk-throughs 1, 2, 4, 6 and 7 (arithmetic on the plan's rules).
def test_walk_through_1_has_67_starts_round_lunch_and_its_rest():
    found = clocks(allowed_starts(arrowfen(one()), "R1", [LUNCH, REST]))

    assert found == every_six_minutes("08:00", "11:30") + every_six_minutes("13:30", "16:30")
    assert len(found) == 67


@pytest.mark.parametrize(
    ("clock", "code", "sentence"),
    [
        ("11:36", "meal", "Would end 12:06, inside lunch 12:00–13:00."),
        ("13:24", "rest", "13:24 is inside the rest after lunch until 13:30."),
        ("11:33", "not_a_whole_turn", "Sessions begin every 6 minutes from 08:00: 11:30 or 11:36."),
        ("16:36", "after_closing", "Would end 17:06, after closing at 17:00."),
        ("07:54", "outside_opening", "07:54 is outside the opening hours."),
        ("17:00", "outside_opening", "17:00 is outside the opening hours."),
    ],
)
def test_walk_through_1_says_which_rule_refuses(clock, code, sentence):
    assert judge_start(arrowfen(one()), "R1", local(f"{MONDAY} {clock}"), [REST, LUNCH]) == Refusal(code, sentence)


def test_walk_through_2_has_51_starts_round_therapy_and_its_margins():
    found = clocks(allowed_starts(arrowfen(one()), "R1", [LUNCH, REST, MARGIN, THERAPY]))

    assert found == [
        *every_six_minutes("08:00", "09:18"),
        *every_six_minutes("11:00", "11:30"),
        *every_six_minutes("13:30", "16:30"),
    ]
    assert len(found) == 51


def test_walk_through_2_says_how_far_into_the_margin_a_start_would_reach():
    judged = judge_start(arrowfen(one()), "R1", local(f"{MONDAY} 09:24"), [THERAPY, MARGIN])

    assert judged == Refusal("margin", "Would end 09:54, 4 minutes into the margin before therapy 10:00–10:45.")


def test_walk_through_4_help_is_one_sixth_short_until_the_others_have_left():
    there = (one("R1", fixed=(booked(f"{MONDAY} 09:00"),)), one("R2", fixed=(booked(f"{MONDAY} 09:00", "BCDEA"),)))
    facts = arrowfen(*there, one("R3", supervision=3))

    refused = judge_start(facts, "R3", local(f"{MONDAY} 09:00"))
    accepted = judge_start(facts, "R3", local(f"{MONDAY} 09:30"))

    assert refused == Refusal("help_short", "Help is short at 09:00 at the stations by one sixth of a person.")
    assert isinstance(accepted, Allowed)


def test_walk_through_4_two_staff_are_there_only_while_two_are_on_shift():
    alone = arrowfen(one("R4", supervision=12))
    second = Supervision(local(f"{MONDAY} 14:00"), local(f"{MONDAY} 15:00"), 6)
    helped = replace(alone, supervision=(*alone.supervision, second))

    assert allowed_starts(alone, "R4") == []
    assert clocks(allowed_starts(helped, "R4")) == ["14:00", "14:06", "14:12", "14:18", "14:24", "14:30"]


def test_walk_through_6_a_session_without_the_broken_station_is_shorter_and_may_start_later():
    facts = arrowfen(one(skips_closed_stations=True))
    broken = Span(local(f"{MONDAY} 00:00"), local("2026-12-04 12:00"))
    stations = tuple(Station(name, (broken,) if name == "C" else ()) for name in "ABCDE")

    judged = judge_start(replace(facts, stations=stations), "R1", local(f"{MONDAY} 11:36"), [LUNCH, REST])

    assert isinstance(judged, Allowed)
    assert judged.end == local(f"{MONDAY} 12:00")
    assert sorted(slot.station for slot in judged.slots) == ["A", "B", "D", "E"]


def test_walk_through_7_recovery_is_elapsed_time_across_the_spring_change():
    facts = arrowfen(one(fixed=(booked("2027-03-13 10:00"),)), date="2027-03-15")

    refused = judge_start(facts, "R1", local("2027-03-15 10:30"))

    sentence = "That is 47 h after the session before; the next is possible from Mon 15 Mar 11:30."
    assert refused == Refusal("too_soon", sentence)
    assert isinstance(judge_start(facts, "R1", local("2027-03-15 11:30")), Allowed)


def test_walk_through_7_recovery_is_elapsed_time_across_the_autumn_change():
    facts = arrowfen(one(fixed=(booked("2027-11-06 10:00"),)), date="2027-11-08")

    assert isinstance(judge_start(facts, "R1", local("2027-11-08 09:30")), Allowed)
    assert judge_start(facts, "R1", local("2027-11-08 09:24")).code == "too_soon"


def test_the_next_session_keeps_its_recovery_too():
    facts = arrowfen(one(next_session_at=local("2026-12-02 10:00")))

    judged = judge_start(facts, "R1", local(f"{MONDAY} 09:36"))

    sentence = "That leaves 47 h 54 min to the session on Wed 2 Dec 10:00; it must end by Mon 30 Nov 10:00."
    assert judged == Refusal("next_session", sentence)
    assert clocks(allowed_starts(facts, "R1"))[-1] == "09:30"


@pytest.mark.parametrize(
    ("facts", "refusal"),
    [
        (
            problem(resident(recovered_at=at(3))),
            Refusal("too_soon", "The resident has recovered from Mon 30 Nov 08:18."),
        ),
        (
            problem(resident(available=(Span(at(3), at(9)),))),
            Refusal("not_available", "The resident is not available from 08:06 to 08:18."),
        ),
        (
            problem(stations=(Station("A"), Station("B", (Span(at(0), at(9)),)))),
            Refusal("station_closed", "Station B is out of order then."),
        ),
        (
            problem(resident(), resident("R2", fixed=(fixed(1, "A"), fixed(2, "A")))),
            Refusal("station_taken", "Station A is taken by others then, whatever the order."),
        ),
        (
            problem(resident(), resident("R2", supervision=0, fixed=(fixed(1, "AB"),)), apart=(("R2", "R1"),)),
            Refusal("apart", "Somebody whom the resident is kept apart from is there then."),
        ),
        (
            problem(resident(fixed=(fixed(0, "AB"),))),
            Refusal(
                "too_soon",
                "There is a session at that time already; the next is possible from Mon 30 Nov 09:12.",
            ),
        ),
        (
            problem(resident(escort=Escort(2, 6))),
            Refusal("help_short", "Help is short at 07:54 to fetch the resident by one person."),
        ),
    ],
)
def test_each_rule_refuses_in_its_own_words(facts, refusal):
    assert judge_start(facts, "R1", at(1)) == refusal


def test_every_start_offered_is_judged_as_allowed_and_no_other():
    facts = problem(
        resident(escort=Escort(1, 3), next_session_at=at(18)),
        resident("R2", supervision=4, fixed=(fixed(2, "BA"),)),
        turns=12,
    )
    offered = allowed_starts(facts, "R1")

    judged = [judge_start(facts, "R1", at(turn)) for turn in range(12)]

    assert [answer for answer in judged if isinstance(answer, Allowed)] == offered
    assert [allowed.start for allowed in offered] == [at(2), at(5), at(6)]


def test_an_unknown_resident_is_an_error_of_the_caller():
    with pytest.raises(KeyError, match="R9"):
        allowed_starts(problem(), "R9")
