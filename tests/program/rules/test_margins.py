from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from program.rules.margins import Margins, blocked

NEW_YORK = ZoneInfo("America/New_York")
TEN = datetime(2026, 11, 30, 15, 0, tzinfo=UTC)
ELEVEN = TEN + timedelta(hours=1)


def minutes_around(kind, own):
    first, last = blocked(kind=kind, starts_at=TEN, ends_at=ELEVEN, zone=NEW_YORK, building_minutes=10, own=own)
    return (TEN - first) // timedelta(minutes=1), (last - ELEVEN) // timedelta(minutes=1)


# Common practice, no source; set by each building's clinician.
@pytest.mark.parametrize(
    ("kind", "own", "minutes"),
    [
        ("therapy", Margins(), (10, 10)),
        ("rest", Margins(), (0, 0)),
        ("refused time", Margins(), (0, 0)),
        ("rest", Margins(after=15), (0, 15)),
        ("therapy", Margins(0, 45), (0, 45)),
        ("dialysis", Margins(), (600, 780)),
        ("dialysis", Margins(before=20), (20, 780)),
    ],
)
def test_a_margin_is_its_own_or_its_kinds_or_the_buildings(kind, own, minutes):
    assert minutes_around(kind, own) == minutes


def test_dialysis_over_midnight_takes_both_days_and_until_midnight_only_one():
    def days(start, end):
        first, last = blocked(
            kind="dialysis", starts_at=start, ends_at=end, zone=NEW_YORK, building_minutes=10, own=Margins()
        )
        return (last - first) // timedelta(days=1)

    evening, midnight = datetime(2026, 12, 1, 2, 0, tzinfo=UTC), datetime(2026, 12, 1, 5, 0, tzinfo=UTC)
    assert (days(evening, midnight), days(evening, midnight + timedelta(hours=1))) == (1, 2)
