"""A problem's file is read whole and exactly, or refused with the path of its first wrong field."""

import json
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.management.commands.solve_roster import run
from scheduling.problem import Malformed, read_problem, read_roster, write_problem, write_roster
from scheduling.solver import solve
from tests.scheduling.problems import problem, problems, resident

ROSTERS = Path(__file__).parent.parent / "data" / "rosters"
MORNING = json.loads((ROSTERS / "morning.json").read_text())


def changed(path: str, value: object) -> dict:
    """The sample with one field set; a path such as residents.0.sessions."""
    facts = deepcopy(MORNING)
    *way, last = [int(step) if step.isdigit() else step for step in path.split(".")]
    place = facts
    for step in way:
        place = place[step]
    place[last] = value
    return facts


def refused_path(facts: object) -> str:
    with pytest.raises(Malformed) as refusal:
        read_problem(facts)
    assert refusal.value.sentence.endswith(".")
    return refusal.value.path


@settings(max_examples=60, deadline=None)
@given(problems())
def test_what_is_written_reads_back_the_same(facts):
    assert read_problem(json.dumps(write_problem(facts))) == facts


@settings(max_examples=30, deadline=None)
@given(problems())
def test_an_answer_that_is_written_reads_back_the_same(facts):
    roster = solve(facts, seconds=5)

    assert read_roster(json.dumps(write_roster(roster)), facts) == roster


def test_the_sample_is_read_with_its_defaults():
    facts = read_problem(MORNING)

    assert facts.days[0].opens == datetime(2026, 11, 30, 13, tzinfo=UTC)
    assert facts.turn == timedelta(minutes=6)
    first, second = facts.residents
    assert (first.skips_closed_stations, first.escort, first.short_gap) == (False, None, None)
    assert (second.skips_closed_stations, second.escort.turns, second.recovery_hours) == (True, 1, Fraction(97, 2))
    assert second.recovery == timedelta(hours=48, minutes=30)


NOON = "2026-11-30T17:00:00Z"


@pytest.mark.parametrize(
    ("path", "value", "wrong"),
    [
        ("format", "roster-problem/2", "format"),
        ("format", ["roster-problem/1"], "format"),
        ("timezone", "Nowhere/Nothing", "timezone"),
        ("timezone", "../../etc/passwd", "timezone"),
        ("turn_minutes", 0, "turn_minutes"),
        ("turn_minutes", True, "turn_minutes"),
        ("turn_minutes", "6", "turn_minutes"),
        ("max_wait_turns", -1, "max_wait_turns"),
        ("max_wait_turns", 1.0, "max_wait_turns"),
        ("days", {}, "days"),
        ("days.0.opens", "2026-11-30T08:00:00", "days[0].opens"),
        ("days.0.opens", "2026-02-30T08:00:00Z", "days[0].opens"),
        ("days.0.opens", "2026-11-30T24:00:00Z", "days[0].opens"),
        ("days.0.opens", "2026-11-30", "days[0].opens"),
        ("days.0.opens", 1796040000, "days[0].opens"),
        ("days.0.opens", "2026-11-30T13:00:00.1234567Z", "days[0].opens"),
        ("days.0.opens", "9999-12-31T23:59:59-23:59", "days[0].opens"),
        ("days.0.closes", "2026-11-30T12:59:59Z", "days[0].closes"),
        ("days.0.closes", "2199-11-30T12:59:59Z", "days[0].closes"),
        ("days.0.note", "no such field", "days[0].note"),
        ("stations.1.id", "A", "stations[1].id"),
        ("stations.1.id", "", "stations[1].id"),
        ("stations.1.closed", [[NOON]], "stations[1].closed[0]"),
        ("stations.1.closed", [[NOON, "2026-11-30T16:00:00Z"]], "stations[1].closed[0][1]"),
        ("supervision.0.capacity", -6, "supervision[0].capacity"),
        ("supervision.0.capacity", 6.5, "supervision[0].capacity"),
        ("supervision.0.capacity", True, "supervision[0].capacity"),
        ("supervision.0.end", "2026-11-30T12:00:00Z", "supervision[0].end"),
        ("residents.1.id", "R1", "residents[1].id"),
        ("residents.0.sessions", True, "residents[0].sessions"),
        ("residents.0.sessions", "2", "residents[0].sessions"),
        ("residents.0.sessions", 10**6, "residents[0].sessions"),
        ("residents.0.stations", [], "residents[0].stations"),
        ("residents.0.stations.0.station", "Z", "residents[0].stations[0].station"),
        ("residents.0.stations.1.station", "A", "residents[0].stations[1].station"),
        ("residents.0.stations.0.turns", 0, "residents[0].stations[0].turns"),
        ("residents.0.if_closed", "ignore", "residents[0].if_closed"),
        ("residents.0.supervision", None, "residents[0].supervision"),
        ("residents.1.escort.turns", -1, "residents[1].escort.turns"),
        ("residents.0.available.0.1", "2026-11-30T08:00:00", "residents[0].available[0][1]"),
        ("residents.0.recovery_hours", -1, "residents[0].recovery_hours"),
        ("residents.0.recovery_hours", float("nan"), "residents[0].recovery_hours"),
        ("residents.0.recovered_at", "yesterday", "residents[0].recovered_at"),
        ("residents.0.next_session_at", 7, "residents[0].next_session_at"),
        ("residents.0.rewards", [1000], "residents[0].rewards"),
        ("residents.0.rewards", [1000, 1001], "residents[0].rewards[1]"),
        ("residents.0.rewards", [1000, 0], "residents[0].rewards[1]"),
        ("residents.0.rewards", [10**12 + 1, 1], "residents[0].rewards[0]"),
        ("residents.0.cost.default", -1, "residents[0].cost.default"),
        ("residents.0.cost.default", float("inf"), "residents[0].cost.default"),
        ("residents.0.cost.windows.0.end", "2026-11-29T13:00:00Z", "residents[0].cost.windows[0].end"),
        ("residents.1.short_gap.cost", [], "residents[1].short_gap.cost"),
        ("residents.1.fixed.0.slots", [], "residents[1].fixed[0].slots"),
        ("residents.1.fixed.0.slots.0.end", "2026-11-27T15:00:00Z", "residents[1].fixed[0].slots[0].end"),
        ("residents.1.fixed.0.slots.0.station", "Z", "residents[1].fixed[0].slots[0].station"),
        ("apart", [["R1", "R9"]], "apart[0][1]"),
        ("apart", [["R1", "R1"]], "apart[0][1]"),
        ("apart", [["R1"]], "apart[0]"),
        ("together", [{"residents": ["R9", "R1"], "reward": 1}], "together[0].residents[0]"),
        ("together", [{"residents": ["R2", "R1"], "reward": True}], "together[0].reward"),
    ],
)
def test_a_wrong_field_is_named_by_its_path(path, value, wrong):
    assert refused_path(changed(path, value)) == wrong
    # The same through text, where the parser has its own ways with numbers.
    assert refused_path(json.dumps(changed(path, value))) == wrong


def required_fields() -> list[tuple[str, str]]:
    optional = {"if_closed", "escort", "apart", "together", "recovered_at", "next_session_at", "short_gap"}
    return [
        *[("", key) for key in MORNING if key not in optional],
        *[("residents.0", key) for key in MORNING["residents"][0] if key not in optional],
    ]


@pytest.mark.parametrize(("where", "key"), required_fields())
def test_a_missing_field_is_named(where, key):
    facts = deepcopy(MORNING)
    del (facts["residents"][0] if where else facts)[key]

    assert refused_path(facts) == (f"residents[0].{key}" if where else key)


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "null", b"\xff\xfe", '{"format": 1, "format": 2}', "[" * 100_000, "1" * 5_000, '"\\ud800"'],
)
def test_a_text_that_is_no_problem_is_refused_as_a_whole(text):
    assert refused_path(text) == "the file"


def test_instants_keep_their_microseconds_and_any_offset():
    facts = read_problem(changed("days.0.opens", "2026-11-30T18:45:00.000001+05:45"))

    assert facts.days[0].opens == datetime(2026, 11, 30, 13, microsecond=1, tzinfo=UTC)
    assert write_problem(facts)["days"][0]["opens"] == "2026-11-30T13:00:00.000001Z"


def test_decimals_are_read_exactly_from_text():
    facts = read_problem(json.dumps(MORNING).replace("48.5", "48.1"))

    assert facts.residents[1].recovery == timedelta(seconds=173_160)


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_whatever_stands_in_a_field_is_read_or_refused_but_never_breaks(data):
    paths = ["days.0", "stations.0.closed", "residents.0.cost", "residents.1.fixed.0", "residents.0.available.0"]
    json_values = st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    )
    facts = changed(data.draw(st.sampled_from(paths)), data.draw(json_values))

    try:
        read_problem(facts)
    except Malformed as refusal:
        refused = refusal.path
    else:
        refused = "days[0]"
    assert refused.startswith(("days[0]", "stations[0].closed", "residents[0]", "residents[1].fixed[0]"))


def test_a_roster_may_not_name_what_the_problem_does_not_know():
    answer = write_roster(solve(problem(resident("R7")), seconds=1))

    with pytest.raises(Malformed) as refusal:
        read_roster(answer, problem())

    assert refusal.value.path == "sessions[0].resident"
    assert read_roster(answer).sessions[0].resident == "R7"


def test_the_command_answers_with_a_roster_and_keeps_one():
    answer = run(json.dumps(MORNING), 5)
    again = json.loads(run(json.dumps(MORNING), 5, answer))

    assert json.loads(answer)["status"] == "optimal"
    assert again["sessions"] == json.loads(answer)["sessions"]
    assert again["kept"] == {"stay": 2, "moved": 0, "lost": 0, "moved_bound": 0}


def test_the_command_says_which_of_its_two_files_is_wrong():
    with pytest.raises(Malformed) as refusal:
        run(json.dumps(MORNING), 5, "{}")

    assert refusal.value.path == "kept: format"
