"""A station out of order: published sessions go on without it, where the building says so."""

from collections.abc import Sequence
from datetime import datetime
from itertools import islice, permutations

from django.db.models import Q

from program import clock
from program.actions.locks import lock_persons, lock_plan
from program.actions.settling import settle
from program.models import Closure, Session, Slot
from program.models.session import SessionQuerySet
from program.rules.states import State

# All orders of seven stations; with more of them not every one is tried.
MOST_ORDERS = 5_040

# A station, and from when until when somebody has it or it is closed.
Taken = tuple[int, datetime, datetime]


def go_on_without(*, closure: Closure) -> list[Session]:
    """Take the closed station out of the sessions to come that are on it then; they keep their start.

    The other stations close up, in another order where need be, or stay where they are if none fits. A session that
    has no other station is left as it is: it cannot happen.
    """
    if closure.station_id is None or not closure.building.skips_closed_stations:
        return []
    lock_plan(building=closure.building)
    lock_persons(person_ids=_touched(closure).values_list("person_id", flat=True))
    now = clock.now()
    sessions = [
        session
        for session in _touched(closure).prefetch_related("slots").order_by("starts_at", "pk")
        if session.state_at(now) is State.PUBLISHED and len(session.slots.all()) > 1
    ]
    if not sessions:
        return []
    places = {session.pk: _without(session, closure) for session in sessions}
    others = _taken_around(sessions, closure)
    for session in sessions:
        # Where the others still are, so that whoever finds no better place can always stay.
        beside = [place for key, those in places.items() if key != session.pk for place in those]
        taken = [*others, *((place.station_id, place.starts_at, place.ends_at) for place in beside)]
        places[session.pk] = _closed_up(places[session.pk], session.starts_at, taken)
        session.ends_at = max(place.ends_at for place in places[session.pk])
        session.left_out = [*session.left_out, closure.station_id]
        session.version += 1
    Slot.objects.filter(session__in=sessions).delete()
    Slot.objects.bulk_create([place for those in places.values() for place in those])
    Session.objects.bulk_update(sessions, ["ends_at", "left_out", "version"])
    settle(person_ids=[session.person_id for session in sessions], since=sessions[0].starts_at)
    return sessions


def _touched(closure: Closure) -> SessionQuerySet:
    until = Q() if closure.ends_at is None else Q(starts_at__lt=closure.ends_at)
    slots = Slot.objects.of(closure.building).filter(
        until, station=closure.station_id, is_held=True, ends_at__gt=max(closure.starts_at, clock.now())
    )
    return Session.objects.on_the_plan().filter(started_at__isnull=True, pk__in=slots.values("session"))


def _without(session: Session, closure: Closure) -> list[Slot]:
    return [
        _place(slot, slot.starts_at, slot.ends_at)
        for slot in session.slots.all()
        if slot.station_id != closure.station_id
    ]


def _taken_around(sessions: Sequence[Session], closure: Closure) -> list[Taken]:
    """When stations are held by others or closed, from the first of these sessions to the end of the last."""
    start, until = min(one.starts_at for one in sessions), max(one.ends_at for one in sessions)
    held = Slot.objects.of(closure.building).exclude(session__in=sessions)
    held = held.filter(is_held=True, starts_at__lt=until, ends_at__gt=start)
    closed = Closure.objects.of(closure.building).filter(station__isnull=False, starts_at__lt=until)
    closed = closed.filter(Q(ends_at__isnull=True) | Q(ends_at__gt=start))
    return [
        *((slot.station_id, slot.starts_at, slot.ends_at) for slot in held),
        *((other.station_id, other.starts_at, other.ends_at or until) for other in closed),
    ]


def _closed_up(places: Sequence[Slot], start: datetime, taken: Sequence[Taken]) -> list[Slot]:
    """The places one after another from `start`, in the first order in which every station is free."""
    until = max(place.ends_at for place in places)
    around = [one for one in taken if one[1] < until and start < one[2]]
    for order in islice(permutations(places), MOST_ORDERS):
        row = _in_a_row(order, start)
        if not any(_meets(place, one) for place in row for one in around):
            return row
    return list(places)


def _in_a_row(order: Sequence[Slot], start: datetime) -> list[Slot]:
    row = []
    for place in order:
        row.append(_place(place, start, start + (place.ends_at - place.starts_at)))
        start = row[-1].ends_at
    return row


def _place(slot: Slot, starts_at: datetime, ends_at: datetime) -> Slot:
    return Slot(
        building_id=slot.building_id,
        session_id=slot.session_id,
        station_id=slot.station_id,
        starts_at=starts_at,
        ends_at=ends_at,
    )


def _meets(place: Slot, taken: Taken) -> bool:
    station_id, start, until = taken
    return place.station_id == station_id and place.starts_at < until and start < place.ends_at
