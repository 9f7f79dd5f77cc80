"""Steps of a worked day: asking for times, booking, and saying what the answers hold by the clock on the wall."""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from django.http import HttpResponse

from program import clock
from program.models import Resident
from scheduling.tasks import fill_roster
from tests import factories
from tests.conftest import House
from tests.program.api.arranging import one_set
from tests.program.api.asking import Api

NEW_YORK = ZoneInfo("America/New_York")
W49 = [date(2026, 11, 30) + timedelta(days=day) for day in range(7)]


def wall(told: str) -> datetime:
    """`2026-12-01T10:00` by the clock of the house."""
    return datetime.fromisoformat(told).replace(tzinfo=NEW_YORK)


def clock_times(first: str, last: str) -> list[str]:
    """Every six minutes from the first to the last, both."""
    start, end = datetime.fromisoformat(f"2026-01-01T{first}"), datetime.fromisoformat(f"2026-01-01T{last}")
    return [f"{start + timedelta(minutes=6) * turn:%H:%M}" for turn in range((end - start) // timedelta(minutes=6) + 1)]


def with_aide(house: House, days: list[date] = W49[:6], *, starts: int = 8 * 60, ends: int = 17 * 60) -> House:
    for day in days:
        factories.on_the_circuit(house.building, house.aide, day, starts, ends)
    return house


def times_on(house: House, resident: Resident, day: str, week: str = "2026-W49") -> list[str]:
    answer = Api(house.coordinator).get(f"residents/{resident.pk}/times/", week=week)
    assert answer.status_code == 200
    starts = [datetime.fromisoformat(time["starts_at"]) for time in answer.json()["times"]]
    return [f"{start:%H:%M}" for start in starts if f"{start.date()}" == day]


def judged(house: House, resident: Resident, start: str) -> dict[str, Any]:
    """Whether a start is allowed, the rule and sentence that refuse it, and the next time that is."""
    answer = Api(house.coordinator).get(f"residents/{resident.pk}/times/", starts_at=wall(start).isoformat())
    assert answer.status_code == 200
    return answer.json()


def book(house: House, resident: Resident, start: str) -> HttpResponse:
    sent = {"resident": resident.pk, "starts_at": wall(start).isoformat()}
    return Api(house.coordinator).post("sessions/", sent)


def done(house: House, resident: Resident, start: str, end: str) -> None:
    """A session that really took place, by the lines that staff write."""
    with clock.at(wall(end) + timedelta(minutes=30)):
        moments = [wall(start) + timedelta(minutes=2), wall(end)]
        answer = Api(house.aide).post(
            "sessions/unplanned/",
            {
                "resident": resident.pk,
                "starts_at": wall(start).isoformat(),
                "ends_at": wall(end).isoformat(),
                "lines": [{"kind": "started", "happened_at": wall(start).isoformat(), "event_id": str(uuid4())}],
                "sets": [one_set(house, moment) for moment in moments],
            },
        )
    assert (answer.status_code, answer.json()["state"]) == (201, "done")


def build(house: House, week: str, *, seconds: int = 8) -> dict[str, Any]:
    """Ask for the week over the API, let the worker's task run, and look at the draft."""
    api = Api(house.coordinator)
    asked = api.post("rosters/", {"building": house.building.pk, "week": week, "seconds": seconds})
    assert (asked.status_code, asked.json()["state"]) == (202, "waiting")
    fill_roster(asked.json()["id"], house.building.pk)
    # The task's scope has ended; the next request opens its own.
    told = api.get(f"rosters/{asked.json()['id']}/").json()
    assert (told["state"], told["week"]) == ("draft", week)
    return told["answer"]


def starts_in(answer: dict[str, Any]) -> list[str]:
    """`2026-12-01T10:00`, by the clock of the house, in order."""
    starts = [datetime.fromisoformat(session["start"]).astimezone(NEW_YORK) for session in answer["sessions"]]
    return [f"{start:%Y-%m-%dT%H:%M}" for start in sorted(starts)]
