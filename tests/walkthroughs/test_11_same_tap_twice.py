"""The same tap twice, late and out of order."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from program import clock
from program.models import Record, Session, Set
from tests import factories
from tests.conftest import House
from tests.program.api.arranging import one_line, one_set
from tests.program.api.asking import Api
from tests.walkthroughs.following import book, wall, with_aide

MONDAY = "2026-11-30"
FAST = timedelta(minutes=7)
# The set times of the phone, right: 10:06, 10:12, 10:18, 10:24, 10:30 by the clock of the house.
ENDS = [wall(f"{MONDAY}T10:{minute:02d}") for minute in (6, 12, 18, 24, 30)]


@pytest.fixture
def house(arrowfen: House) -> House:
    return with_aide(arrowfen)


@pytest.fixture
def session(house: House) -> dict[str, Any]:
    answer = book(house, house.resident(), f"{MONDAY}T10:00")
    assert answer.status_code == 201
    return answer.json()


def taps(house: House, *, off: timedelta = timedelta(0)) -> list[dict[str, object]]:
    """s1 to s5, each at its own station, by a clock that is so far off."""
    return [
        one_set(house, end + off, station=station.pk, event_id=str(uuid4()))
        for station, end in zip(house.stations, ENDS, strict=True)
    ]


def send(house: House, session: dict[str, Any], moment: datetime, **sent: object) -> dict[str, Any]:
    with clock.at(moment):
        answer = Api(house.aide).post(f"sessions/{session['id']}/records/", sent)
    assert answer.status_code == 200
    return answer.json()


def test_seven_sendings_of_five_taps_are_five_sets_in_the_order_done(house: House, session: dict[str, Any]) -> None:
    s1, s2, s3, s4, s5 = taps(house)
    for minute, tap in enumerate((s3, s1, s1, s5, s2, s4, s1)):
        send(house, session, wall(f"{MONDAY}T11:{minute:02d}"), sets=[tap])

    told = sorted(
        Api(house.aide).get("sets/", session=session["id"]).json()["results"], key=lambda row: row["ended_at"]
    )
    assert [row["event_id"] for row in told] == [tap["event_id"] for tap in (s1, s2, s3, s4, s5)]
    assert [row["station"] for row in told] == [station.pk for station in house.stations]


def test_the_whole_batch_from_a_second_phone_changes_nothing(house: House, session: dict[str, Any]) -> None:
    sets = taps(house)
    begun = one_line("started", wall(f"{MONDAY}T10:00"))
    first = send(house, session, wall(f"{MONDAY}T11:00"), lines=[begun], sets=[sets[2], sets[0]])
    whole = send(house, session, wall(f"{MONDAY}T11:01"), lines=[begun], sets=sets)
    other = factories.with_role(house.building, "staff")
    with clock.at(wall(f"{MONDAY}T11:30")):
        again = Api(other).post(f"sessions/{session['id']}/records/", {"lines": [begun], "sets": sets}).json()

    facts = ("started_at", "sets_done", "last_set_ended_at", "held_from", "held_until", "state")
    assert (first["sets_done"], whole["sets_done"]) == (2, 5)
    assert {name: again[name] for name in facts} == {name: whole[name] for name in facts}
    assert set(Set.objects.values_list("done_by", flat=True)) == {house.aide.pk}
    assert (Set.objects.count(), Record.objects.filter(kind="started").count()) == (5, 1)


def test_a_phone_seven_minutes_fast_keeps_both_times_and_recovery_follows_the_right_one(
    house: House, session: dict[str, Any]
) -> None:
    received = wall(f"{MONDAY}T11:00")
    told = send(
        house,
        session,
        received,
        sent_at=(received + FAST).isoformat(),
        lines=[
            one_line("started", wall(f"{MONDAY}T10:00") + FAST),
            one_line("ended", wall(f"{MONDAY}T10:30") + FAST),
        ],
        sets=taps(house, off=FAST),
    )

    assert (told["last_set_ended_at"], told["ended_at"]) == ("2026-11-30T10:30:00-05:00", "2026-11-30T10:30:00-05:00")
    assert told["held_until"] == "2026-12-02T10:30:00-05:00"
    rows = Api(house.aide).get("sets/", session=session["id"]).json()["results"]
    both = sorted((row["ended_at"], row["phone_happened_at"]) for row in rows)
    assert both == [(end.isoformat(), (end + FAST).isoformat()) for end in ENDS]


def test_with_the_clock_believed_recovery_would_end_seven_minutes_late(house: House, session: dict[str, Any]) -> None:
    """The control arm: the same taps without the sending's own time."""
    told = send(house, session, wall(f"{MONDAY}T11:00"), sets=taps(house, off=FAST))

    assert told["held_until"] == "2026-12-02T10:37:00-05:00"
    assert Session.objects.get(pk=session["id"]).last_set_ended_at == ENDS[-1] + FAST
