"""One session on the phone: start it, write down its sets, end it; or say why not, or that something happened."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_htmx.http import HttpResponseStopPolling

from program import clock
from program.access import require
from program.actions.incidents import report_warning_sign
from program.actions.records import NewLine, NewSet, write_lines
from program.actions.sessions import give_up_sessions
from program.actions.starting import start_session
from program.models import Record, Session
from program.pages.recording_forms import AttemptForm, EndForm, GiveUpForm, SetForm, StartForm, WarningForm
from program.pages.session_shown import found, incidents_of, show, show_signs
from program.pages.session_told import AtStation, is_of_today, set_said, stations_of, was_begun_today
from program.rules.errors import Invalid, Refused
from program.rules.states import State
from program.web.forms import what_is_wrong
from program.web.scope import status_of


@require_safe
def session(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    return show(request, found(request, building_id, session_id))


@require_POST
def start(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    shown = _to_record(request, building_id, session_id)
    form = StartForm(request.POST, resident=shown.resident)
    words = f"{shown.resident.name} has started."
    return _answer(request, shown, form, lambda typed: start_session(session=shown, by=request.user, **typed), words)


@require_POST
def attempt(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    """Not now: the session stays open until the day closes."""
    shown = _to_record(request, building_id, session_id)

    def write(typed: dict[str, Any]) -> None:
        if not _is_told(shown, typed["event_id"]):
            _refuse_unless_open_today(shown)
            _write(request, shown, kind=Record.Kind.ATTEMPT, **typed)

    words = f"Written down. {shown.resident.name} stays on the list: come back later."
    return _answer(request, shown, AttemptForm(request.POST), write, words, to_the_queue=True)


@require_POST
def give_up(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    """It will not happen today; the same said twice is said once."""
    shown = _to_record(request, building_id, session_id)

    def write(typed: dict[str, Any]) -> None:
        why = {"reason": typed["reason"], "note": typed["note"]}
        try:
            with transaction.atomic():
                _refuse_unless_open_today(shown)
                give_up_sessions(sessions=[shown], by=request.user, **why)
        except Refused:
            lines = shown.records.counting().filter(kind=Record.Kind.GIVEN_UP)
            if not lines.filter(done_by=request.user, **why).exists():
                raise

    words = f"Written down: {shown.resident.name} does not train today."
    return _answer(request, shown, GiveUpForm(request.POST), write, words, to_the_queue=True)


@require_POST
def record_set(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    shown = _to_record(request, building_id, session_id)
    stations = stations_of(shown)
    number, at = _station_sent(request, stations)
    form = SetForm(request.POST, at=at, number=number)

    def write(typed: dict[str, Any]) -> None:
        done = NewSet(
            station=at.station,
            exercise=at.exercise,
            load_unit=at.line.load_unit,
            ended_at=clock.now(),
            event_id=typed["event_id"],
            line=at.line,
            **form.told(),
        )
        if not _is_saved(shown, done):
            _refuse_unless_begun(shown)
            _refuse_a_second(shown, done)
            write_lines(session=shown, sets=[done], done_by=request.user, entered_by=request.user)

    return _answer(request, shown, form, write, f"Saved: {at.exercise} at {at.station.name}.")


@require_POST
def end(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    shown = _to_record(request, building_id, session_id)

    def write(typed: dict[str, Any]) -> None:
        if not shown.ended_at:
            _refuse_unless_begun(shown)
            _write(request, shown, kind=Record.Kind.ENDED, **typed)

    words = f"{shown.resident.name}: the session has ended. Thank {shown.resident.given_name}."
    return _answer(request, shown, EndForm(request.POST), write, words, to_the_queue=True)


@require_http_methods(["GET", "POST"])
def warning(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    """The signs, one tap each; a tap ends the session and puts the resident on hold."""
    shown = _to_record(request, building_id, session_id)
    if request.method != "POST":
        return show_signs(request, shown, WarningForm())

    form = WarningForm(request.POST)
    if not form.is_valid():
        return show_signs(request, shown, form, status=422, refusal=what_is_wrong(form))

    def write(typed: dict[str, Any]) -> None:
        _refuse_unless_warnable(shown, typed["event_id"])
        whom = {"done_by": request.user, "entered_by": request.user}
        report_warning_sign(session=shown, happened_at=clock.now(), **whom, **typed)

    return _answer(request, shown, form, write, "")


@require_safe
def seen(request: HttpRequest, building_id: int, session_id: int) -> HttpResponse:
    """Whether a clinician has seen to it. Asked every few seconds, it shows nobody's name but the clinician's."""
    shown = found(request, building_id, session_id)
    if not request.htmx:
        return redirect("program:session", building_id, session_id)
    incidents = incidents_of(shown)
    if any(incident.seen_at is None for incident in incidents):
        # Said once is enough: the words stay, and nothing is read out again.
        return HttpResponse(status=204)
    page = render(request, "program/session_seen.html", {"incidents": incidents})
    return HttpResponseStopPolling(page.content)


def _to_record(request: HttpRequest, building_id: int, session_id: int) -> Session:
    shown = found(request, building_id, session_id)
    require(request.user, "record sessions", shown.building)
    return shown


def _answer(
    request: HttpRequest,
    shown: Session,
    form: Form,
    write: Callable[[dict[str, Any]], Any],
    words: str,
    *,
    to_the_queue: bool = False,
) -> HttpResponse:
    """Write it down and go on; or the page as things stand now, with one sentence and everything typed."""
    if not form.is_valid():
        return show(request, shown, status=422, refusal=what_is_wrong(form), again=form)
    try:
        with transaction.atomic():
            write(form.cleaned_data)
    except Refused as refusal:
        shown = found(request, shown.building_id, shown.pk)
        return show(request, shown, status=status_of(refusal), refusal=refusal.sentence, again=form)
    if words:
        messages.success(request, words)
    if to_the_queue:
        return redirect("scheduling:now", shown.building_id)
    return redirect("program:session", shown.building_id, shown.pk)


def _write(request: HttpRequest, shown: Session, **line: Any) -> None:
    lines = [NewLine(happened_at=clock.now(), **line)]
    write_lines(session=shown, lines=lines, done_by=request.user, entered_by=request.user)


def _is_told(shown: Session, event_id: object) -> bool:
    return shown.records.filter(event_id=event_id).exists()


def _is_saved(shown: Session, done: NewSet) -> bool:
    """Whether this very set is there; Refused if it was saved with other figures, which one form cannot do twice."""
    there = shown.sets.filter(event_id=done.event_id).first()
    if there is None:
        return False
    figures = ("station", "load", "repetitions", "seconds", "more_possible", "pain", "pain_cannot_be_rated")
    if any(getattr(there, name) != getattr(done, name) for name in (*figures, "pain_signs_seen", "stop_reason")):
        raise Refused(f"This set is saved already: {set_said(there)}. Ask your coordinator to correct it.")
    return True


def _refuse_a_second(shown: Session, done: NewSet) -> None:
    """One set an exercise: a colleague's phone may have saved it meanwhile."""
    there = shown.sets.counting().filter(station=done.station, exercise=done.exercise).first()
    if there is not None:
        raise Refused(f"A set is saved here already, by {there.done_by.name}: {set_said(there)}.", problem="clash")


def _refuse_unless_open_today(shown: Session) -> None:
    now = clock.now()
    state = shown.state_at(now)
    if state is not State.PUBLISHED:
        raise Refused(f"This session is {state.value}. Look at what is there now.", problem="session-not-open")
    if not is_of_today(shown, now):
        raise Refused("This session is planned for another day.", problem="session-not-open")


def _refuse_unless_begun(shown: Session) -> None:
    """A set that was done is a fact even after the end; but not before the start, nor after the day."""
    if shown.started_at is None:
        raise Refused("This session has not been started. Start it first.", problem="session-not-open")
    if not was_begun_today(shown, clock.now()):
        raise Refused("Its day is over. Write it down as a late entry.", problem="session-not-open")


def _refuse_unless_warnable(shown: Session, event_id: object) -> None:
    """Whatever has become of the session: a sign may be seen before the start, on the way back, or after closing."""
    if not (_is_told(shown, event_id) or shown.started_at or is_of_today(shown, clock.now())):
        raise Refused("This session is planned for another day.", problem="session-not-open")


def _station_sent(request: HttpRequest, stations: list[AtStation]) -> tuple[int, AtStation]:
    """Which of the stations is meant: by its line; by the station alone where the plan has changed meanwhile."""
    station, line = request.POST.get("station"), request.POST.get("line")
    there = [(number, one) for number, one in enumerate(stations) if one.line and station == str(one.station.pk)]
    for number, one in sorted(there, key=lambda each: line != str(each[1].line.pk)):
        return number, one
    raise Invalid("That is not in the exercise plan of this session now. Go back, and load the page again.")
