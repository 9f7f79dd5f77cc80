"""Now: who is at the stations, who comes next and from where, who is done; what staff look at between two residents."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from program import clock
from program.models import Building, Hours, Incident, Session, ShiftTime
from program.pages.session_told import is_at_the_stations
from program.pages.sessions_said import Said, overtaken, said
from program.rules.opening import on_day
from program.rules.states import State, is_late
from program.rules.week import clock_time, local_instant
from program.web.frame import building_here, local_now
from program.web.viewing import viewed
from scheduling.pages.closed import closures_in, closures_said
from scheduling.pages.visits import SIXTHS_A_PERSON

MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Training:
    """Somebody at the stations: at which by the plan, and how far."""

    session: Session
    station: str
    asked: int


@dataclass(frozen=True, slots=True)
class Coming:
    """Somebody who has not begun: `late` and `blocked` in words or empty, how they come, what was tried."""

    session: Session
    late: str
    blocked: str
    way: str
    notes: tuple[str, ...]


@require_safe
def now(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    moment, today = clock.now(), local_now(building).date()
    start, until = (local_instant(today + timedelta(days=offset), 0, building.zone) for offset in (0, 1))
    sessions = _sessions(request, building, start, until)
    unseen = list(_unseen(request, building))
    viewed(request, "now", {session.resident for session in sessions} | {incident.resident for incident in unseen})
    here = [session for session in sessions if is_at_the_stations(session, moment)]
    others = [said(session, moment) for session in sessions if session not in here]
    coming = [_coming(one, moment) for one in others if one.state is State.PUBLISHED]
    over = [one for one in others if one.state is not State.PUBLISHED]
    openings = Hours.objects.visible_to(request.user).of(building).openings()
    open_today = on_day(openings, today, building.zone)
    context = {
        "moment": moment,
        "unseen": unseen,
        "here": [_training(session, moment) for session in sorted(here, key=_started_at)],
        "coming": sorted(coming, key=lambda one: (not one.late, one.session.starts_at)),
        "done": [one for one in over if one.state is State.DONE],
        "not_done": [one for one in over if one.state is not State.DONE],
        "closed": closures_said(closures_in(request, building, moment, moment + MINUTE), building),
        "is_open_today": bool(open_today),
        **_on_duty(request, building, moment, is_open=any(one.start <= moment < one.end for one in open_today)),
    }
    return render(request, "scheduling/now.html", context)


def _sessions(request: HttpRequest, building: Building, start: datetime, until: datetime) -> list[Session]:
    """Those planned for the day, and whoever is still at the stations from before midnight."""
    of_the_day = Q(starts_at__gte=start, starts_at__lt=until)
    going_on = Q(starts_at__lt=start, started_at__isnull=False, ended_at__isnull=True, day_closes_at__gt=start)
    return list(
        Session.objects.visible_to(request.user)
        .of(building)
        .filter(of_the_day | going_on)
        .select_related("resident__unit", "building")
        .prefetch_related("slots__station", "records")
        .order_by("starts_at", "resident__family_name", "pk")
    )


def _unseen(request: HttpRequest, building: Building) -> Iterable[Incident]:
    """Warning signs that no clinician has looked at: the phone says so until one has."""
    waiting = Incident.objects.visible_to(request.user).of(building).waiting().filter(session__isnull=False)
    return waiting.select_related("resident").order_by("happened_at")


def _on_duty(request: HttpRequest, building: Building, moment: datetime, *, is_open: bool) -> dict[str, Any]:
    shifts = ShiftTime.objects.visible_to(request.user).of(building)
    there = shifts.filter(starts_at__lte=moment, ends_at__gt=moment).select_related("user").order_by("user__name")
    names = [shift.user.name for shift in there]
    return {"on_duty": names, "is_nobody_there": is_open and not names}


def _started_at(session: Session) -> datetime:
    return session.started_at or session.starts_at


def _training(session: Session, moment: datetime) -> Training:
    slots = list(session.slots.all())
    # Whoever began late goes on in the order of the plan, so much later.
    by_plan = moment - (_started_at(session) - session.starts_at)
    at = next((slot.station.name for slot in slots if slot.starts_at <= by_plan < slot.ends_at), "")
    return Training(session, at, len(slots))


def _coming(one: Said, moment: datetime) -> Coming:
    session = one.session
    zone = session.building.zone
    late = is_late(session.traces, moment, timedelta(minutes=session.building.grace_minutes))
    return Coming(
        session=session,
        late=f"Late: planned {clock_time(session.starts_at, zone)}" if late else "",
        blocked=_blocked(session),
        way=_way(session),
        notes=one.notes,
    )


def _blocked(session: Session) -> str:
    if not session.is_overtaken:
        return ""
    return overtaken(session)


def _way(session: Session) -> str:
    """“Fetch 08:50 from Reed wing, room 12, two people”; for those who come alone, where they live."""
    resident = session.resident
    where = ", room ".join(filter(None, [resident.unit.name, resident.room]))
    if not session.escort_sixths:
        return f"{where}, comes alone"
    at = clock_time(session.starts_at - timedelta(minutes=session.escort_minutes), session.building.zone)
    people = ", two people" if session.escort_sixths > SIXTHS_A_PERSON else ""
    return f"Fetch {at} from {where}{people}"
