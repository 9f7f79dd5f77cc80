"""Late entries: what stands on paper after a day without power, written down session by session."""

from datetime import date, timedelta
from typing import Any
from uuid import uuid5

from django.db.models import Prefetch, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from program import clock
from program.access import require
from program.actions.late_entries import write_late
from program.actions.unplanned import write_unplanned
from program.models import Building, Record, Resident, Session, Set
from program.pages.late_forms import (
    Asked,
    LateForm,
    NotDoneForm,
    asked_of_resident,
    asked_of_session,
    new_event,
    who_could,
)
from program.pages.late_said import told_after, written_about
from program.pages.sessions_said import said
from program.rules.errors import Refused
from program.rules.states import State
from program.rules.week import date_and_time, day_and_time, local_instant
from program.web.forms import FormPage, answer_form
from program.web.frame import building_here, day_named, local_now
from program.web.standing import by_name
from program.web.viewing import viewed

UNWRITTEN = {State.PUBLISHED, State.NOT_RECORDED}
# Paper may still have something to add to these.
INCOMPLETE = {State.STARTED, State.MISSED, State.GIVEN_UP, State.ENDED_WITHOUT_A_SET}


@require_safe
def newest(request: HttpRequest, building_id: int) -> HttpResponse:
    """The newest day with a session of which nothing is known, else today."""
    building = _recording_here(request, building_id)
    now = clock.now()
    unknown = Session.objects.visible_to(request.user).of(building).on_the_plan()
    unknown = unknown.filter(published_at__isnull=False, day_closes_at__lte=now, sets_done=0, ended_at__isnull=True)
    unknown = unknown.filter(started_at__isnull=True, attempted_at__isnull=True).order_by("-starts_at")
    starts_at = unknown.values_list("starts_at", flat=True).first() or now
    return redirect("program:late", building.pk, starts_at.astimezone(building.zone).date().isoformat())


@require_safe
def late(request: HttpRequest, building_id: int, text: str) -> HttpResponse:
    building = _recording_here(request, building_id)
    day = day_named(text)
    kinds = {"records": Record.objects.visible_to(request.user), "sets": Set.objects.visible_to(request.user)}
    written = [Prefetch(name, lines.select_related("done_by", "entered_by")) for name, lines in kinds.items()]
    sessions = list(_sessions_of(request, building, day).prefetch_related(*written))
    viewed(request, "late entries", {session.resident for session in sessions})
    now = clock.now()
    context = {
        "day": day,
        "before": day - timedelta(days=1),
        "after": day + timedelta(days=1),
        "is_today": day == local_now(building).date(),
        "is_to_come": day > local_now(building).date(),
        "unwritten": [said(session, now) for session in sessions if session.state_at(now) in UNWRITTEN],
        "written": [
            (written_about(session, now), session.state_at(now) in INCOMPLETE)
            for session in sessions
            if session.state_at(now) not in UNWRITTEN
        ],
    }
    return render(request, "program/late.html", context)


@require_http_methods(["GET", "POST"])
def late_session(request: HttpRequest, building_id: int, text: str, session_id: int) -> HttpResponse:
    building = _recording_here(request, building_id)
    day = day_named(text)
    sessions = _sessions_of(request, building, day).select_related("prescription")
    session = get_object_or_404(
        sessions.prefetch_related("slots__station", "prescription__lines__station", "records"), pk=session_id
    )
    viewed(request, "late entry", [session.resident])
    is_not_done = "not-event_id" in request.POST
    planned = {name: moment.astimezone(building.zone) for name, moment in _planned(session)}
    form = _late_form(request, day, building, _still_asked(request, session), initial=planned, is_sent=not is_not_done)
    not_done = NotDoneForm(
        request.POST if is_not_done else None, prefix="not", initial={"event_id": new_event(), "done_by": request.user}
    )
    not_done.fields["done_by"].queryset = who_could(building, session.starts_at)
    page = _page(
        request,
        f"Late entry for {session.resident.name}",
        f"Planned {date_and_time(session.starts_at, building.zone)} to {planned['ended']:%H:%M}",
        more={"late": form, "not_done": not_done, "said": said(session, clock.now()), "day": day, "session": session},
    )
    if is_not_done:
        return answer_form(request, not_done, page, lambda told: _not_done(request, session, not_done), "{done}")
    return answer_form(request, form, page, lambda told: _done(request, session, form), "{done}")


def _still_asked(request: HttpRequest, session: Session) -> list[Asked]:
    """Without the stations of which a set is there, unless the form was sent with them."""
    there = set(session.sets.counting().values_list("station", "exercise"))
    return [
        one
        for one in asked_of_session(session)
        if (one.station.pk, one.exercise) not in there or any(one.key in name for name in request.POST)
    ]


@require_http_methods(["GET", "POST"])
def unplanned(request: HttpRequest, building_id: int, text: str) -> HttpResponse:
    building = _recording_here(request, building_id)
    day = day_named(text)
    residents = _staying(request, building, day)
    number = request.GET.get("resident", "")
    resident = residents.filter(pk=int(number[:18])).first() if number.isdecimal() else None
    asked = asked_of_resident(resident) if resident else []
    if resident is None or not asked:
        return _choose(request, day, residents, resident)
    viewed(request, "late entry", [resident])
    form = _late_form(request, day, building, asked, initial={})
    same_day = [one for one in _sessions_of(request, building, day) if one.resident_id == resident.pk]
    page = _page(
        request,
        f"Unplanned visit of {resident.name}",
        "A visit that nobody had published: it counts for recovery and volume, and stands apart from attendance.",
        more={
            "late": form,
            "day": day,
            "same_day": [said(one, clock.now()) for one in same_day if one.state_at(clock.now()) in UNWRITTEN],
        },
    )
    return answer_form(request, form, page, lambda told: _visited(request, resident, form), "{done}")


def _choose(request: HttpRequest, day: date, residents: QuerySet[Resident], chosen: Resident | None) -> HttpResponse:
    """Whose visit: the rows of the form follow from their plan."""
    shown = sorted(residents, key=by_name)
    viewed(request, "late entry", shown)
    context: dict[str, Any] = {"day": day, "residents": shown}
    status = 200
    if chosen is not None:
        context["refusal"] = f"{chosen.name} has no exercise plan yet. A clinician writes it first."
    elif request.method == "POST" or "resident" in request.GET:
        context["refusal"] = "Choose the resident first."
        status = 422
    return render(request, "program/late_whose.html", context, status=status)


def _recording_here(request: HttpRequest, building_id: int) -> Building:
    building = building_here(request, building_id)
    require(request.user, "record sessions", building)
    return building


def _sessions_of(request: HttpRequest, building: Building, day: date) -> QuerySet[Session]:
    start, until = (local_instant(day + timedelta(days=offset), 0, building.zone) for offset in (0, 1))
    found = Session.objects.visible_to(request.user).of(building).filter(starts_at__gte=start, starts_at__lt=until)
    return found.select_related("resident__unit", "building").order_by("starts_at", "resident__family_name", "pk")


def _staying(request: HttpRequest, building: Building, day: date) -> QuerySet[Resident]:
    """Those in the programme who stayed here at some time of the day."""
    start, until = (local_instant(day + timedelta(days=offset), 0, building.zone) for offset in (0, 1))
    everyone = Resident.objects.visible_to(request.user).of(building).in_the_programme().filter(since__lt=until)
    return everyone.exclude(until__lte=start).select_related("building")


def _planned(session: Session) -> tuple[tuple[str, Any], ...]:
    return ("started", session.starts_at), ("ended", session.ends_at)


def _late_form(
    request: HttpRequest,
    day: date,
    building: Building,
    asked: list[Asked],
    *,
    initial: dict[str, Any],
    is_sent: bool = True,
) -> LateForm:
    moments = {name: moment.time() for name, moment in initial.items()}
    form = LateForm(
        request.POST if request.method == "POST" and is_sent else None,
        day=day,
        building=building,
        asked=asked,
        initial={"event_id": new_event(), "done_by": request.user} | moments,
    )
    form.fields["done_by"].queryset = who_could(building, local_instant(day, 12 * 60, building.zone))
    return form


def _page(request: HttpRequest, heading: str, lede: str, *, more: dict[str, Any]) -> FormPage:
    back = reverse("program:late", args=[request.building.pk, more["day"].isoformat()])
    return FormPage(heading, "Save", back, lede=lede, template="program/late_session.html", more=more)


def _done(request: HttpRequest, session: Session, form: LateForm) -> str:
    done_by = form.cleaned_data["done_by"]
    who = {"done_by": done_by, "entered_by": request.user}
    written = write_late(session=session, lines=form.lines(), sets=form.sets(), **who)
    return told_after(written, form.ended_at, **who)


def _not_done(request: HttpRequest, session: Session, form: NotDoneForm) -> str:
    who = {"done_by": form.cleaned_data["done_by"], "entered_by": request.user}
    line = form.line(session)
    return told_after(write_late(session=session, lines=[line], **who), line.happened_at, **who)


def _refuse_a_second_place(request: HttpRequest, resident: Resident, form: LateForm) -> None:
    """Nobody is in two places: what is there already is corrected, not written beside."""
    there = Session.objects.visible_to(request.user).filter(resident=resident, started_at__lt=form.ended_at)
    told = there.filter(Q(ended_at__gt=form.started_at) | Q(last_set_ended_at__gt=form.started_at)).first()
    event_id = uuid5(form.cleaned_data["event_id"], Record.Kind.STARTED)
    if told is not None and not told.records.filter(event_id=event_id).exists():
        when = day_and_time(told.started_at, resident.building.zone)
        raise Refused(f"{resident.name} was at the stations from {when}: that is written down already.")


def _visited(request: HttpRequest, resident: Resident, form: LateForm) -> str:
    _refuse_a_second_place(request, resident, form)
    who = {"done_by": form.cleaned_data["done_by"], "entered_by": request.user}
    visit = write_unplanned(
        resident=resident,
        starts_at=form.started_at,
        ends_at=form.ended_at,
        lines=form.lines(),
        sets=form.sets(),
        **who,
    )
    return told_after(visit, form.ended_at, **who)
