"""Published sessions and sessions of a draft, told alike: who is where, from when until when, with which help."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.http import HttpRequest

from program import clock
from program.models import Building, Resident, Session
from program.pages.sessions_said import Said, said
from program.rules.states import HOLDS_NOTHING
from program.web.standing import with_standing
from scheduling.actions.publishing import placed_in
from scheduling.models import Roster

SIXTHS_A_PERSON = 6


@dataclass(frozen=True, slots=True)
class Stop:
    """One station of a visit."""

    station: str
    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True, slots=True)
class Visit:
    """One resident on the circuit. `said` is None for a session of a draft; `number` is its place in the draft."""

    resident: Resident
    starts_at: datetime
    ends_at: datetime
    stops: tuple[Stop, ...]
    help_sixths: int
    escort_sixths: int
    escort_minutes: int
    stations_asked: int
    left_out: tuple[int, ...] = ()
    said: Said | None = None
    is_inside_buffer: bool = False

    @property
    def notes(self) -> list[str]:
        """Whatever else must be known of it, in words."""
        told = list(self.said.notes) if self.said else []
        return [*told, "inside the planning buffer"] if self.is_inside_buffer else told

    @property
    def fetched_at(self) -> datetime:
        return self.starts_at - timedelta(minutes=self.escort_minutes)

    @property
    def returned_at(self) -> datetime:
        return self.ends_at + timedelta(minutes=self.escort_minutes)

    @property
    def mark(self) -> str:
        """“4 of 5” where a station is left out."""
        left_out = self.stations_asked > len(self.stops)
        return f"{len(self.stops)} of {self.stations_asked}" if left_out else ""


def published_visits(request: HttpRequest, building: Building, start: datetime, until: datetime) -> list[Visit]:
    """Everything published in the span, whatever became of it, in order of time."""
    sessions = list(
        Session.objects.visible_to(request.user)
        .of(building)
        .filter(starts_at__gte=start, starts_at__lt=until)
        .select_related("resident__unit", "building")
        .prefetch_related("slots__station", "records")
        .order_by("starts_at", "resident__family_name", "pk")
    )
    now = clock.now()
    close = _inside_buffer(request, building, sessions)
    return [_of_session(session, now, session.pk in close) for session in sessions]


def _inside_buffer(request: HttpRequest, building: Building, sessions: Sequence[Session]) -> set[int]:
    """Those still to come that begin less than the planning buffer after their resident has recovered."""
    buffer = timedelta(minutes=building.buffer_turns * building.turn_minutes)
    open_ones = [one for one in sessions if one.started_at is None and one.withdrawn_at is None]
    if not buffer or not open_ones:
        return set()
    before = Session.objects.visible_to(request.user).of(building)
    before = before.filter(resident__in={one.resident_id for one in open_ones})
    before = before.filter(held_until__gt=open_ones[0].starts_at - buffer, held_until__lte=open_ones[-1].starts_at)
    recovered = list(before.values_list("resident_id", "held_until"))
    return {
        one.pk
        for one in open_ones
        for resident_id, at in recovered
        if resident_id == one.resident_id and one.starts_at - buffer < at <= one.starts_at
    }


def on_the_plan(visits: Iterable[Visit]) -> list[Visit]:
    """Those that take stations and help."""
    return [visit for visit in visits if visit.said is None or visit.said.state not in HOLDS_NOTHING]


def _of_session(session: Session, now: datetime, is_inside_buffer: bool) -> Visit:
    stops = tuple(Stop(slot.station.name, slot.starts_at, slot.ends_at) for slot in session.slots.all())
    return Visit(
        resident=session.resident,
        starts_at=session.starts_at,
        ends_at=session.ends_at,
        stops=stops,
        help_sixths=session.help_sixths,
        escort_sixths=session.escort_sixths,
        escort_minutes=session.escort_minutes,
        stations_asked=len(stops) + len(session.left_out),
        left_out=tuple(session.left_out),
        said=said(session, now),
        is_inside_buffer=is_inside_buffer,
    )


def draft_visits(roster: Roster, residents: Mapping[str, Resident]) -> list[Visit]:
    """The sessions of a draft, of residents who still may be seen, in order of time."""
    asked = {one["id"]: len(one["stations"]) for one in (roster.problem or {}).get("residents", ())}
    visits = [
        Visit(
            resident=resident,
            starts_at=place.start,
            ends_at=place.end,
            stops=tuple(Stop(slot.station, slot.start, slot.end) for slot in place.slots),
            help_sixths=resident.help_sixths,
            escort_sixths=resident.escort_people * SIXTHS_A_PERSON,
            escort_minutes=resident.escort_minutes,
            stations_asked=asked.get(place.resident, len(place.slots)),
        )
        for place in placed_in(roster)
        if (resident := residents.get(place.resident))
    ]
    return sorted(visits, key=lambda visit: (visit.starts_at, visit.resident.family_name))


def residents_named(request: HttpRequest, building: Building, keys: Sequence[str]) -> dict[str, Resident]:
    """Residents by the key that a roster problem knows them by."""
    numbers = {int(key) for key in keys if key.isdecimal()}
    found = Resident.objects.visible_to(request.user).of(building).filter(pk__in=numbers)
    return {str(resident.pk): resident for resident in with_standing(found, building).select_related("unit")}
