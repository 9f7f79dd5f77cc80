"""To do: what needs somebody now, and the next times that keep all rules, one tap away."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe
from django.views.decorators.vary import vary_on_headers

from program.access import require
from program.models import Building, Resident, Session
from program.rules.errors import Refused
from program.rules.week import WEEKDAYS, date_and_time, day_and_time
from program.web.forms import PlainForm, what_is_wrong
from program.web.frame import building_here, local_now
from program.web.scope import status_of
from program.web.standing import by_name, standing_of, with_standing
from program.web.viewing import viewed
from scheduling.actions.offering import Offer, offer_for, take_offer
from scheduling.models import Flag
from scheduling.pages.to_do_said import groups_of, known_of, todo_of
from scheduling.remedies import Standing
from scheduling.times import Allowed

MOST = 4
LONG_WEEKDAYS = dict(
    zip(WEEKDAYS, ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"), strict=True)
)


@dataclass(frozen=True, slots=True)
class Times:
    """A few times under one heading; each with what else it moves, in words and for the address, or both empty."""

    heading: str
    times: list[tuple[Allowed, str, str]]


class TakeForm(PlainForm):
    """The time on the button that was pressed, with its offset; which other session it moves, and where to."""

    starts_at = forms.DateTimeField(label="Time")
    version = forms.IntegerField(required=False)
    moves = forms.IntegerField(required=False)
    goes_to = forms.DateTimeField(required=False)

    def clean(self) -> dict[str, Any]:
        taken: dict[str, Any] = super().clean() or self.cleaned_data
        moves, goes_to = taken.pop("moves", None), taken.pop("goes_to", None)
        return taken | {"along": Standing(moves, goes_to) if moves and goes_to else None}


@require_safe
def to_do(request: HttpRequest, building_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    require(request.user, "see residents", building)
    flags = list(Flag.objects.visible_to(request.user).of(building).open_now())
    known = known_of(flags, building, request.user)
    viewed(request, "to do", known.residents.values())
    return render(request, "scheduling/to_do.html", {"groups": groups_of(flags, known), "count": len(flags)})


@require_safe
@vary_on_headers("HX-Request")
def remedy(request: HttpRequest, building_id: int, flag_id: int) -> HttpResponse:
    """The times for one flag: a part of the list, or a page of its own where script is missing."""
    building = building_here(request, building_id)
    require(request.user, "see residents", building)
    flag = _flag(request, building, flag_id)
    return _show(request, building, flag, _resident(request, building, flag, request.GET.get("resident")))


def _flag(request: HttpRequest, building: Building, flag_id: int) -> Flag:
    """Also one that has closed meanwhile: the list may have been read a while ago."""
    flags = Flag.objects.visible_to(request.user).of(building).select_related("building")
    return get_object_or_404(flags, pk=flag_id)


def _resident(request: HttpRequest, building: Building, flag: Flag, named: str | None) -> Resident | None:
    """The resident that the address names, if the flag is about them."""
    if not named:
        return None
    if not named.isdecimal() or int(named[:18]) not in flag.residents:
        raise Http404
    found = Resident.objects.visible_to(request.user).of(building).select_related("building")
    return get_object_or_404(found, pk=int(named))


def _show(
    request: HttpRequest, building: Building, flag: Flag, resident: Resident | None, *, refusal: Refused | None = None
) -> HttpResponse:
    known = known_of([flag], building, request.user)
    viewed(request, "to do", known.residents.values())
    todo = todo_of(flag, known)
    context: dict[str, Any] = {"todo": todo, "flag": flag}
    if flag.closed_at is not None or not todo.has_times:
        context["nothing"] = True
    elif resident is None and len(flag.residents) > 1:
        context["choice"] = sorted(known.residents.values(), key=by_name)
    else:
        context |= _offered(request, building, offer_for(flag=flag, resident=resident))
    if refusal is not None:
        context |= {"refusal": refusal.sentence, "changes": _next_time(refusal, building)}
    template = "scheduling/to_do_times.html" if request.htmx and refusal is None else "scheduling/to_do_one.html"
    return render(request, template, context, status=200 if refusal is None else status_of(refusal))


def _next_time(refusal: Refused, building: Building) -> list[str]:
    allowed_from = refusal.details.get("allowed_from")
    if not allowed_from:
        return []
    return [f"The next time that keeps all rules is {date_and_time(allowed_from, building.zone)}."]


def _offered(request: HttpRequest, building: Building, offer: Offer) -> dict[str, Any]:
    address = "scheduling:move" if offer.session else "scheduling:times"
    row = offer.session or offer.resident
    return {
        "offer": offer,
        "verb": "Move to" if offer.session else "Book",
        "groups": [group for group in _times(offer) if group.times],
        "why": _why(request, building, offer) if offer.remedies.are_none else "",
        "all_times": f"{reverse(address, args=[building.pk, row.pk])}?{urlencode({'week': offer.week.name})}",
    }


def _why(request: HttpRequest, building: Building, offer: Offer) -> str:
    """What stands in the way of the resident themself, else of the times."""
    found = with_standing(Resident.objects.visible_to(request.user).of(building), building)
    standing = standing_of(found.get(pk=offer.resident.pk), local_now(building).date())
    return f"{standing.words}." if standing.kind == "stop" else offer.why


def _times(offer: Offer) -> Iterator[Times]:
    """“keeps Thursday” and “moves Thursday to …”; without another session there is nothing to keep."""
    zone = offer.resident.building.zone
    named = " and ".join(_weekday(one, zone) for one in offer.others)
    keeps = _few(offer, offer.remedies.keeps)
    yield Times(f"keeps {named}" if named else "keeps all rules", [(time, "", "") for time in keeps])
    for other in offer.others:
        moves = {move.time: move for move in offer.remedies.moves if move.moves.key == other.pk}
        yield Times(
            f"moves {_weekday(other, zone)} to …",
            [(time, *_moved(other, moves[time].to.start, zone)) for time in _few(offer, list(moves))],
        )


def _moved(other: Session, goes_to: datetime, zone: Any) -> tuple[str, str]:
    """What goes where: in words, and for the address that the button sends to."""
    told = f"{day_and_time(other.starts_at, zone)} goes to {day_and_time(goes_to, zone)}"
    return told, urlencode({"moves": other.pk, "goes_to": goes_to.isoformat()})


def _weekday(session: Session, zone: Any) -> str:
    return LONG_WEEKDAYS[WEEKDAYS[session.starts_at.astimezone(zone).weekday()]]


def _few(offer: Offer, times: Sequence[Allowed]) -> list[Allowed]:
    """The nearest to the session that moves; else the first of each half of a day, so that days can be chosen from."""
    if offer.session is not None:
        planned = offer.session.starts_at
        return sorted(sorted(times, key=lambda time: abs(time.start - planned))[:MOST], key=lambda time: time.start)
    zone = offer.resident.building.zone
    first: dict[tuple[Any, bool], Allowed] = {}
    for time in times:
        local = time.start.astimezone(zone)
        first.setdefault((local.date(), local.hour >= 12), time)
    few = list(first.values())[:MOST]
    few += [time for time in times if time not in few][: MOST - len(few)]
    return sorted(few, key=lambda time: time.start)


@require_POST
def take(request: HttpRequest, building_id: int, flag_id: int) -> HttpResponse:
    building = building_here(request, building_id)
    flag = _flag(request, building, flag_id)
    require(request.user, "plan sessions", building)
    # A button has one name and one value: what moves along stands in the address that it sends to.
    sent = request.GET.copy()
    sent.update(request.POST)
    form = TakeForm(sent)
    resident = _resident(request, building, flag, request.POST.get("resident"))
    try:
        if not form.is_valid():
            raise Refused(what_is_wrong(form), problem="invalid")
        with transaction.atomic():
            done = take_offer(flag=flag, by=request.user, resident=resident, **form.cleaned_data)
    except Refused as refusal:
        if flag.closed_at is not None:
            messages.info(request, refusal.sentence)
            return redirect("scheduling:to-do", building.pk)
        return _show(request, building, flag, resident, refusal=refusal)
    messages.success(request, _done(done, building))
    return redirect("scheduling:to-do", building.pk)


def _done(done: Sequence[Session], building: Building) -> str:
    first, *others = (f"{one.resident.name} {date_and_time(one.starts_at, building.zone)}" for one in done)
    return f"On the plan: {first}." + "".join(f" Moved with it: {other}." for other in others)
