"""What is closed in a span, in words; and which sessions are planned in it all the same."""

from collections.abc import Sequence
from datetime import datetime

from django.http import HttpRequest

from program.models import Building, Closure
from program.rules.week import date_and_time
from scheduling.pages.visits import Visit

IN_A_CLOSED_TIME = "Closed then: move or withdraw"


def closures_in(request: HttpRequest, building: Building, start: datetime, until: datetime) -> list[Closure]:
    found = Closure.objects.visible_to(request.user).of(building).touching(start, until)
    return list(found.select_related("unit", "station"))


def closures_said(closures: Sequence[Closure], building: Building) -> list[str]:
    """One sentence a closure, as staff would say it."""
    return [_said(closure, building) for closure in closures]


def note_on(visit: Visit, closures: Sequence[Closure]) -> str:
    """What to say of a session to come that lies where its building, unit or station is closed; else nothing."""
    if visit.said is None or not visit.said.is_open:
        return ""
    return IN_A_CLOSED_TIME if any(_touches(closure, visit) for closure in closures) else ""


def _touches(closure: Closure, visit: Visit) -> bool:
    def is_then(start: datetime, end: datetime) -> bool:
        return closure.starts_at < end and (closure.ends_at is None or start < closure.ends_at)

    if closure.station is not None:
        name = closure.station.name
        return any(stop.station == name and is_then(stop.starts_at, stop.ends_at) for stop in visit.stops)
    return closure.unit_id in {None, visit.resident.unit_id} and is_then(visit.starts_at, visit.ends_at)


def _said(closure: Closure, building: Building) -> str:
    what = closure.station or closure.unit
    began = date_and_time(closure.starts_at, building.zone)
    ends = f"until {date_and_time(closure.ends_at, building.zone)}" if closure.ends_at else "until it is opened again"
    note = f" ({closure.note})" if closure.note else ""
    return f"{what.name if what else 'The whole building'}: {closure.reason}, from {began} {ends}{note}."
