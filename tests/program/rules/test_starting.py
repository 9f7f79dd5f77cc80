"""Whether a session may be started: each rule alone, and all that is missing together."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from program.rules.starting import Facts, Missing, Stop, missing
from program.rules.states import State

ZONE = ZoneInfo("America/New_York")
TEN = datetime(2026, 12, 2, 15, 0, tzinfo=UTC)
MINUTE, DAY = timedelta(minutes=1), timedelta(days=1)
READY = Facts(
    name="Rose Oak",
    state=State.PUBLISHED,
    starts_at=TEN,
    started_at=None,
    is_enrolled=True,
    agreed_on=date(2026, 1, 1),
    agreement_withdrawn_at=None,
    since=TEN - 30 * DAY,
    until=None,
    cleared=[(date(2026, 1, 1), date(2026, 12, 2))],
    stops=[],
    recovered_at=TEN,
    is_elsewhere=False,
)


def told(**changed):
    """What is missing where one thing is otherwise."""
    return missing(replace(READY, **changed), TEN, ZONE)


def test_nothing_is_missing_on_the_last_day_of_the_clearance_at_the_instant_of_recovery():
    assert missing(READY, TEN, ZONE) == []


def test_before_recovery_it_is_too_soon_to_the_second_and_says_from_when():
    facts = replace(READY, recovered_at=TEN + 34 * MINUTE)
    sentence = "Too soon after the session before: Rose Oak may start from Wed 10:34."

    early = missing(facts, TEN + 34 * MINUTE - timedelta(seconds=1), ZONE)

    assert early == [Missing("too soon", sentence, TEN + 34 * MINUTE)]
    assert missing(facts, TEN + 34 * MINUTE, ZONE) == []


@pytest.mark.parametrize(
    ("changed", "rule", "sentence"),
    [
        ({"state": State.STARTED, "started_at": TEN}, "started already", "It was started at 10:00 already."),
        ({"state": State.WITHDRAWN}, "not open", "This session is withdrawn. Book another one."),
        ({"state": State.NOT_RECORDED}, "day closed", "Its day has closed. Write it down as a late entry."),
        (
            {"starts_at": TEN + DAY},
            "another day",
            "This session is planned for Thu 3 Dec 10:00. Have it moved to today first.",
        ),
        ({"until": TEN}, "not staying", "Rose Oak does not stay here now."),
        ({"since": TEN + MINUTE}, "not staying", "Rose Oak does not stay here now."),
        ({"agreed_on": None}, "no agreement", "Rose Oak has not agreed to the programme yet."),
        ({"is_enrolled": False}, "no agreement", "Rose Oak has not agreed to the programme yet."),
        ({"agreement_withdrawn_at": TEN}, "no agreement", "Rose Oak has withdrawn the agreement."),
        (
            {"cleared": [(date(2026, 1, 1), date(2026, 12, 1))]},
            "no clearance",
            "The clearance ended on 1 Dec 2026. A clinician must clear Rose Oak first.",
        ),
        ({"cleared": []}, "no clearance", "There is no valid clearance. A clinician must clear Rose Oak first."),
        (
            {"is_elsewhere": True},
            "at the stations",
            "Rose Oak is at the stations already, in another session.",
        ),
    ],
)
def test_each_rule_alone_says_what_is_missing(changed, rule, sentence):
    assert told(**changed) == [Missing(rule, sentence)]


def test_a_hold_stops_from_its_start_until_just_before_its_end():
    hold = Stop("hold", "Rose Oak is on an exercise hold (chest infection)", TEN, TEN + MINUTE)
    sentence = "Rose Oak is on an exercise hold (chest infection) until Wed 2 Dec 10:01."

    assert told(stops=[hold]) == [Missing("hold", sentence, TEN + MINUTE)]
    assert told(stops=[replace(hold, starts_at=TEN + MINUTE, ends_at=None)]) == []
    assert missing(replace(READY, stops=[hold]), TEN + MINUTE, ZONE) == []


def test_a_hold_without_an_end_says_no_time():
    hold = Stop("hold", "Rose Oak is on an exercise hold (pain)", TEN - DAY, None)

    assert told(stops=[hold]) == [Missing("hold", "Rose Oak is on an exercise hold (pain).", None)]


def test_everything_that_is_missing_is_said_the_plan_first():
    facts = {"state": State.GIVEN_UP, "agreed_on": None, "cleared": [], "recovered_at": TEN + DAY}

    assert [one.rule for one in told(**facts)] == ["not open", "no agreement", "no clearance", "too soon"]
