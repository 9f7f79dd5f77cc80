"""What the flags compute in SQL is what the rules say in Python."""

import json
from datetime import datetime, timedelta
from itertools import product
from random import Random

import pytest
from django.db import connection

from program import clock
from program.models import Hold, Resident, Session
from program.rules.missed import INTERRUPTED, run_at_the_end, word_for
from program.rules.overdue import is_overdue
from program.rules.states import State, Traces, state_at
from scheduling.flags import STATE_AT
from scheduling.models import Flag
from tests.conftest import MONDAY, House
from tests.scheduling.flagging import refreshed
from tests.scheduling.histories import TRACES, random_history, random_holds

COLUMNS = (
    *("sets_done", "withdrawn_at", "given_up_at", "ended_at", "published_at", "started_at", "attempted_at"),
    "day_closes_at",
)
SINCE = timedelta(microseconds=1)


def combinations() -> list[dict[str, object]]:
    """Every combination of traces, at a moment before, at and after the closing of the day."""
    written = (None, MONDAY - timedelta(hours=1))
    closings = [MONDAY + timedelta(hours=hours) for hours in (-1, 0, 1)]
    return [dict(zip(COLUMNS, values, strict=True)) for values in product((0, 3), *[written] * 6, closings)]


def as_rule(traces: dict[str, object]) -> State:
    known = {name: value for name, value in traces.items() if name != "published_at"}
    return state_at(
        Traces(starts_at=MONDAY - timedelta(hours=2), is_published=traces["published_at"] is not None, **known), MONDAY
    )


@pytest.mark.django_db
def test_the_state_in_sql_is_the_state_of_the_rule() -> None:
    rows = combinations()
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {STATE_AT.format(s='s')} FROM jsonb_to_recordset(%(rows)s::jsonb)"  # noqa: S608 - our own words
            " AS s (sets_done int, withdrawn_at timestamptz, given_up_at timestamptz, ended_at timestamptz,"
            " published_at timestamptz, started_at timestamptz, attempted_at timestamptz,"
            " day_closes_at timestamptz, place bigint) ORDER BY s.place",
            {"rows": _as_json(rows), "moment": MONDAY},
        )
        told = [state for (state,) in cursor.fetchall()]

    assert len(rows) == 2 * 2**6 * 3
    assert told == [as_rule(row).value for row in rows]
    assert set(told) == {state.value for state in State}


def _as_json(rows: list[dict[str, object]]) -> str:
    ready = [
        {name: value.isoformat() if isinstance(value, datetime) else value for name, value in row.items()}
        | {"place": place}
        for place, row in enumerate(rows)
    ]
    return json.dumps(ready)


def flagged(kind: str) -> dict[int, Flag]:
    return {flag.residents[0]: flag for flag in Flag.objects.open_now().filter(kind=kind)}


@pytest.mark.parametrize("seed", range(4))
def test_overdue_is_what_the_rule_says_and_since_when_it_says_so(arrowfen: House, seed: int) -> None:
    random = Random(seed)  # noqa: S311 - the same histories every time
    residents = [
        arrowfen.resident(
            enrolled_at=MONDAY - timedelta(minutes=random.randint(0, 20_000)),
            last_session_ended_at=random.choice([None, MONDAY - timedelta(minutes=random.randint(0, 20_000))]),
        )
        for _ in range(40)
    ]
    Session.objects.bulk_create(
        session
        for resident in residents
        for session in random_history(arrowfen, resident, random, MONDAY - timedelta(days=1), [State.DONE])
        if random.random() < 0.3
    )
    Hold.objects.bulk_create(
        hold for resident in residents for hold in random_holds(arrowfen, resident, random, MONDAY)
    )
    refreshed(arrowfen)
    told = flagged("overdue")

    expected = {resident.pk for resident in residents if _is_overdue(arrowfen, resident, MONDAY)}
    assert set(told) == expected
    assert 3 < len(expected) < 40
    for resident in residents:
        if resident.pk in told:
            since = told[resident.pk].since
            assert not _went_without(arrowfen, resident, since)
            assert _went_without(arrowfen, resident, since + SINCE)


def _is_overdue(house: House, resident: Resident, moment: datetime) -> bool:
    is_held = Hold.objects.holding_at(moment).filter(resident=resident).exists()
    return not is_held and _went_without(house, resident, moment)


def _went_without(house: House, resident: Resident, moment: datetime) -> bool:
    ends = [session.really_ended_at for session in resident.sessions.all() if session.sets_done]
    since = max(ends, default=None) or resident.last_session_ended_at or resident.enrolled_at
    pauses = [(hold.starts_at, hold.ends_at) for hold in resident.holds.all()]
    return is_overdue(since, moment, pauses, timedelta(hours=house.building.overdue_hours))


@pytest.mark.parametrize("seed", range(4))
def test_interrupted_is_what_the_rule_says(arrowfen: House, seed: int) -> None:
    random = Random(seed)  # noqa: S311 - the same histories every time
    residents = [arrowfen.resident() for _ in range(40)]
    likely = [*TRACES, State.MISSED, State.GIVEN_UP, State.MISSED, State.GIVEN_UP]
    Session.objects.bulk_create(
        session for resident in residents for session in random_history(arrowfen, resident, random, MONDAY, likely)
    )
    refreshed(arrowfen)

    expected = {resident.pk for resident in residents if word_for(run_at_the_end(_missed(resident))) == INTERRUPTED}
    assert set(flagged("interrupted")) == expected
    assert 3 < len(expected) < 40


def _missed(resident: Resident) -> list[bool]:
    """Withdrawn, not recorded and begun without a set say nothing either way."""
    states = [session.state_at(clock.now()) for session in resident.sessions.order_by("starts_at")]
    told = {State.DONE: False, State.MISSED: True, State.GIVEN_UP: True}
    return [told[state] for state in states if state in told]
