"""What can be done about a flag, and doing it: a session booked or moved, and another one moved where it must be."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.db import transaction

from program import clock
from program.actions.locks import lock_plan
from program.actions.sessions import Booking, book_sessions, rebook_sessions
from program.models import Resident, Session, User
from program.rules.errors import Invalid, Refused, Stale
from program.rules.week import Week
from scheduling.actions.flags import refresh_flags
from scheduling.actions.moving import book_session, booking_of, is_due, may_go_to, move_session
from scheduling.load import Loaded, load_week
from scheduling.models import Flag
from scheduling.remedies import Moving, Remedies, Standing, remedies_in, why_none
from scheduling.times import Allowed

Kind = Flag.Kind
# The session itself can be moved; for the others one is booked.
MOVES_ITS_SESSION = frozenset({Kind.LATE, Kind.OVERTAKEN})
OFFERS = MOVES_ITS_SESSION | {Kind.MISSED, Kind.DUE, Kind.OVERDUE, Kind.INTERRUPTED}
# Missed and due are about this week alone; the rest may be put right in the next one.
THIS_WEEK_ALONE = frozenset({Kind.MISSED, Kind.DUE})
GIVE_UP = (
    "This session should have begun, and no other time of its day keeps all rules."
    " Give it up with the reason, then book another."
)
CHANGED = "What would move with it has changed since you looked; nothing was changed. See the times again."


@dataclass(frozen=True, slots=True)
class Offer:
    """Times for one resident of a flag, in one week; `session` is the one to move. Without any, `why` says what is
    in the way."""

    resident: Resident
    session: Session | None
    week: Week
    remedies: Remedies
    others: tuple[Session, ...] = ()
    why: str = ""

    @property
    def is_of_its_day(self) -> bool:
        """Whether only times of its own day are any use to the session: the action refuses all others."""
        return self.session is not None and is_due(self.session)


def resident_of(flag: Flag, resident: Resident | None) -> Resident:
    """The resident to offer times to; Invalid unless it is the only one, or one of those the flag is about."""
    if resident is None and len(flag.residents) == 1:
        alone: Resident = Resident.objects.of(flag.building).select_related("building").get(pk=flag.residents[0])
        return alone
    if resident is None or resident.pk not in flag.residents:
        raise Invalid("Name one of the residents whom this is about.", field="resident")
    return resident


def offer_for(*, flag: Flag, resident: Resident | None = None) -> Offer:
    """Times that keep all rules with the planning buffer, in the week of the flag or the next one that has any."""
    chosen = resident_of(flag, resident)
    session = _session_of(flag, chosen)
    this = Week.of(clock.now(), flag.building.zone)
    week = max(this, Week.of(session.starts_at, flag.building.zone)) if session else this
    if flag.kind not in OFFERS:
        return Offer(chosen, session, week, Remedies(), why="There is nothing to book or to move here.")
    offer = _offer_in(chosen, session, week)
    if offer.remedies.are_none and flag.kind not in THIS_WEEK_ALONE and not offer.is_of_its_day:
        return _offer_in(chosen, session, week.next)
    return offer


def _session_of(flag: Flag, resident: Resident) -> Session | None:
    """The session to move: the flag's own, as long as it can still be moved."""
    if flag.kind not in MOVES_ITS_SESSION:
        return None
    found = Session.objects.of(flag.building).filter(pk__in=flag.sessions, resident=resident)
    return found.select_related("building", "resident__building").order_by("starts_at").first()


def _offer_in(resident: Resident, session: Session | None, week: Week) -> Offer:
    loaded = _load(resident, session, week)
    key = str(resident.pk)
    if not loaded.lines.get(key):
        return Offer(resident, session, week, Remedies(), why=f"{resident.name} has no exercise plan yet.")
    others = _others(resident, session, week)
    remedies = remedies_in(
        loaded.problem, key, loaded.blocks[key], [Standing(other.pk, other.starts_at) for other in others]
    )
    remedies = _within_reach(remedies, resident)
    if session is not None:
        # Where it is now is no remedy, even where the rules would take it there again.
        remedies = replace(remedies, keeps=tuple(time for time in remedies.keeps if time.start != session.starts_at))
    if session is not None and is_due(session):
        remedies = _of_its_day(remedies, session)
        why = GIVE_UP if remedies.are_none else ""
    else:
        why = why_none(loaded.problem, key) if remedies.are_none else ""
    return Offer(resident, session, week, remedies, others, why)


def _within_reach(remedies: Remedies, resident: Resident) -> Remedies:
    """Nobody can be fetched for what begins sooner than the way takes."""
    earliest = clock.now() + timedelta(minutes=resident.escort_minutes)
    return Remedies(
        tuple(time for time in remedies.keeps if time.start >= earliest),
        tuple(move for move in remedies.moves if min(move.time.start, move.to.start) >= earliest),
    )


def _of_its_day(remedies: Remedies, session: Session) -> Remedies:
    return Remedies(
        tuple(time for time in remedies.keeps if may_go_to(session, time.start)),
        tuple(move for move in remedies.moves if may_go_to(session, move.time.start)),
    )


def _load(resident: Resident, session: Session | None, week: Week) -> Loaded:
    return load_week(building=resident.building, week=week, is_replanned=False, without=session)


def _others(resident: Resident, session: Session | None, week: Week) -> tuple[Session, ...]:
    """What else stands in the week and may be moved: not begun, not tried, not locked."""
    zone = resident.building.zone
    coming = (
        Session.objects.of(resident.building)
        .on_the_plan()
        .filter(
            resident=resident,
            published_at__isnull=False,
            started_at__isnull=True,
            attempted_at__isnull=True,
            is_locked=False,
            starts_at__gte=max(clock.now(), week.starts_at(zone)),
            starts_at__lt=week.ends_at(zone),
        )
    )
    return tuple(one for one in coming.select_related("building").order_by("starts_at") if one != session)


@transaction.atomic
def take_offer(
    *,
    flag: Flag,
    starts_at: datetime,
    by: User,
    resident: Resident | None = None,
    version: int | None = None,
    along: Standing | None = None,
) -> list[Session]:
    """Book or move to that time, and move the session that stands in the way: the one put right comes first.

    `version` is that of the session to be moved, `along` the other one that was said to move with it, by where it was
    said to go. Refused where somebody has solved it meanwhile, or where another one would move, or elsewhere.
    """
    lock_plan(building=flag.building)
    refresh_flags(building_ids=[flag.building_id])
    flag.refresh_from_db()
    if flag.closed_at is not None:
        raise Refused("This has been solved meanwhile; nothing was changed.")
    offer = offer_for(flag=flag, resident=resident)
    session = offer.session
    if session is not None and version is not None and session.version != version:
        raise Stale("This session has changed since you looked. See it again.", current_version=session.version)
    done = _take(offer, starts_at, by, along)
    refresh_flags(building_ids=[flag.building_id])
    return done


def _take(offer: Offer, starts_at: datetime, by: User, along: Standing | None) -> list[Session]:
    moving = next((move for move in offer.remedies.moves if move.time.start == starts_at), None)
    if along != (moving and Standing(moving.moves.key, moving.to.start)):
        raise Refused(CHANGED)
    if moving is not None:
        return _take_both(offer, moving, by)
    # Whatever else is asked for is judged like any time that a person chooses.
    if offer.session is None:
        return [book_session(resident=offer.resident, starts_at=starts_at, by=by)]
    return [move_session(session=offer.session, starts_at=starts_at, by=by)]


def _take_both(offer: Offer, moving: Moving, by: User) -> list[Session]:
    loaded = _load(offer.resident, offer.session, offer.week)
    time, to = (_booking(loaded, offer.resident, allowed) for allowed in (moving.time, moving.to))
    other = next(one for one in offer.others if one.pk == moving.moves.key)
    if offer.session is not None:
        return rebook_sessions(moves=[(offer.session, time), (other, to)], by=by)
    moved = rebook_sessions(moves=[(other, to)], by=by)
    return [*book_sessions(building=offer.resident.building, bookings=[time], by=by), *moved]


def _booking(loaded: Loaded, resident: Resident, allowed: Allowed) -> Booking:
    return booking_of(loaded, resident, allowed.slots)
