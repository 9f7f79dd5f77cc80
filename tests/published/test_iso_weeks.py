"""ISO 8601 weeks: years of 53 weeks, and days whose week belongs to another year."""

from datetime import date, timedelta

import pytest

from program.rules.errors import Invalid
from program.rules.week import Week

# ISO 8601-1:2019, 3.1.1.23: a week begins on Monday, the first week of a year holds its first Thursday. The days below
# follow from that rule; computed and checked by hand for the Thursdays.
DAYS = [
    ("2005-01-01", "2004-W53", 6),
    ("2008-12-29", "2009-W01", 1),
    ("2010-01-03", "2009-W53", 7),
    ("2012-01-01", "2011-W52", 7),
    ("2018-12-31", "2019-W01", 1),
    ("2020-12-31", "2020-W53", 4),
    ("2021-01-03", "2020-W53", 7),
    ("2021-01-04", "2021-W01", 1),
    ("2024-12-30", "2025-W01", 1),
    ("2025-12-28", "2025-W52", 7),
    ("2025-12-29", "2026-W01", 1),
    ("2026-01-01", "2026-W01", 4),
    ("2026-12-27", "2026-W52", 7),
    ("2026-12-28", "2026-W53", 1),
    ("2026-12-31", "2026-W53", 4),
    ("2027-01-01", "2026-W53", 5),
    ("2027-01-03", "2026-W53", 7),
    ("2027-01-04", "2027-W01", 1),
]
# The same rule: years that begin on a Thursday, and leap years that begin on a Wednesday.
YEARS_OF_53_WEEKS = [2004, 2009, 2015, 2020, 2026, 2032, 2037, 2043, 2048]


@pytest.mark.parametrize(("day", "name", "weekday"), DAYS)
def test_every_day_is_in_its_week(day: str, name: str, weekday: int) -> None:
    week = Week.holding(date.fromisoformat(day))

    assert week.name == name
    assert week.days[weekday - 1] == date.fromisoformat(day)
    assert Week.named(name) == week


def test_the_years_of_53_weeks_are_these() -> None:
    found = []
    for year in range(2000, 2051):
        try:
            Week.named(f"{year}-W53")
        except Invalid:
            continue
        found.append(year)

    assert found == YEARS_OF_53_WEEKS


def test_the_days_of_2026_fall_into_53_weeks_so_that_twice_a_week_is_106_sessions() -> None:
    weeks = {Week.holding(date(2026, 1, 1) + timedelta(days=day)).name for day in range(365)}

    assert len(weeks) * 2 == 106


def test_the_53rd_week_is_one_week_on_both_sides_of_the_new_year() -> None:
    # Grouping by calendar year and week number would split it.
    days = Week.named("2026-W53").days

    assert (days[0], days[-1]) == (date(2026, 12, 28), date(2027, 1, 3))
    assert {Week.holding(day).name for day in days} == {"2026-W53"}
    assert Week.named("2026-W53").next.name == "2027-W01"
