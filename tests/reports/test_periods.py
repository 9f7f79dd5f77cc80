"""Weeks and months by name, and where they begin and end by the clock of a building."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from program.rules.errors import Invalid
from reports.periods import Period

NEW_YORK = ZoneInfo("America/New_York")


def test_a_week_runs_from_local_monday_to_local_monday() -> None:
    week = Period.named("week", "2026-W48")

    assert (week.name, week.words, week.previous.name, week.next.name) == (
        "2026-W48",
        "week 2026-W48",
        "2026-W47",
        "2026-W49",
    )
    assert week.starts_at(NEW_YORK) == datetime(2026, 11, 23, 5, tzinfo=UTC)
    assert week.ends_at(NEW_YORK) == datetime(2026, 11, 30, 5, tzinfo=UTC)


def test_a_month_has_its_own_length_and_its_own_hour_of_midnight() -> None:
    """November 2026 in New York begins in the hour before the clocks go back: 721 hours, 30 days."""
    month = Period.named("month", "2026-11")

    assert (month.words, month.previous.name, month.next.name) == ("November 2026", "2026-10", "2026-12")
    assert len(month.days) == 30
    assert (month.ends_at(NEW_YORK) - month.starts_at(NEW_YORK)).total_seconds() / 3600 == 721


def test_the_turn_of_a_year() -> None:
    assert Period.named("week", "2026-W53").next.name == "2027-W01"
    assert Period.named("month", "2026-12").next.name == "2027-01"
    assert Period.named("month", "2027-01").previous.name == "2026-12"
    assert Period.holding("month", date(2027, 1, 31)).next.name == "2027-02"


@pytest.mark.parametrize(
    ("kind", "name"),
    [("week", "2026-W54"), ("week", "2026-11"), ("month", "2026-13"), ("month", "2026-W48"), ("year", "2026")],
)
def test_what_is_no_period_is_refused_with_a_sentence(kind: str, name: str) -> None:
    with pytest.raises(Invalid) as refused:
        Period.named(kind, name)

    assert refused.value.sentence.endswith(".")
    assert refused.value.problem == "invalid"


@pytest.mark.parametrize(("kind", "name"), [("month", "0001-01"), ("week", "0001-W01"), ("week", "1999-W52")])
def test_nothing_is_told_about_a_time_before_anybody_kept_sessions(kind: str, name: str) -> None:
    with pytest.raises(Invalid) as refusal:
        Period.named(kind, name)

    assert refusal.value.sentence == f"Nobody kept sessions before 2000. Choose a later {kind}."
    assert Period.named("month", "2000-01").name == "2000-01"
