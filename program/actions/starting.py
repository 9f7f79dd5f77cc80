"""Starting a session: everything that must be true before the first set is asked for under the lock of the person."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from program import clock
from program.actions.locks import lock_persons
from program.actions.records import NewLine, write_lines
from program.actions.settling import LOOK_BACK, claim_of
from program.models import Clearance, Closure, Hold, Record, Resident, Session, ShiftTime, User
from program.models.scoped import whole_person
from program.rules.errors import Invalid, Refused
from program.rules.phone_clock import corrected
from program.rules.recovery import recovered_at
from program.rules.similar_names import are_alike
from program.rules.starting import IDENTIFIED_BY, Facts, Missing, Stop, missing
from program.rules.states import State
from program.rules.week import clock_time

SIXTHS_OF_ONE = 6
SOON, A_DAY = timedelta(minutes=1), timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Readiness:
    """What is missing before a session may start, what should be thought of, and who could be taken for whom."""

    missing: tuple[Missing, ...]
    warnings: tuple[str, ...]
    similar: tuple[Resident, ...]

    @property
    def allowed_from(self) -> datetime | None:
        """When everything would be met, if that is only a matter of time."""
        moments = [one.allowed_from for one in self.missing]
        known = [moment for moment in moments if moment is not None]
        return max(known) if known and len(known) == len(moments) else None


def readiness_of(*, session: Session) -> Readiness:
    """As things stand now; nothing is locked, so that starting asks again."""
    return Readiness(_missing(session), _warnings(session), _similar(session.resident))


@transaction.atomic
def start_session(
    *,
    session: Session,
    event_id: UUID,
    identified_by: str,
    by: User,
    sent_at: datetime | None = None,
    happened_at: datetime | None = None,
) -> Session:
    """Start it, or Refused naming everything that is missing. The same start sent twice is one start.

    What was begun earlier, without being asked here, is written down as a line (`write_lines`) and never refused.
    """
    if identified_by not in IDENTIFIED_BY:
        raise Invalid(
            f"Make sure that this is the right person, and say how: {', '.join(IDENTIFIED_BY)}.", field="identified_by"
        )
    lock_persons(person_ids=[session.person_id])
    session.refresh_from_db()
    told = Record.objects.filter(building_id=session.building_id, event_id=event_id).first()
    if told is not None and (told.session_id, told.kind) != (session.pk, Record.Kind.STARTED):
        raise Invalid("That event id belongs to something else. Make a new one.", field="event_id")
    if told is not None:
        return session
    now = clock.now()
    facts = _facts(session, now)
    if lacking := tuple(missing(facts, now, session.building.zone)):
        raise Refused(lacking[0].sentence, problem="cannot-start", details=_told(lacking))
    line = _start_line(facts, event_id, identified_by, happened_at, sent_at)
    return write_lines(session=session, lines=[line], done_by=by, entered_by=by)


def _start_line(
    facts: Facts, event_id: UUID, identified_by: str, happened_at: datetime | None, sent_at: datetime | None
) -> NewLine:
    """Judged now, it began after recovery, however slow the clock of the phone is; what that said stays beside it."""
    now = clock.now()
    moment = happened_at or now
    if happened_at and sent_at:
        moment = corrected(happened_at, sent_at=sent_at, received_at=now)
    if abs(now - moment) > A_DAY:
        # No phone waits so long for an answer: its clock was reset.
        moment = now
    if facts.recovered_at is not None:
        moment = max(moment, facts.recovered_at)
    by_the_phone = happened_at if happened_at and happened_at != moment else None
    return NewLine(Record.Kind.STARTED, moment, event_id, identified_by=identified_by, phone_happened_at=by_the_phone)


def _told(lacking: tuple[Missing, ...]) -> dict[str, object]:
    readiness = Readiness(lacking, (), ())
    return {
        "missing": [{"rule": one.rule, "sentence": one.sentence} for one in lacking],
        "allowed_from": readiness.allowed_from,
    }


def _missing(session: Session) -> tuple[Missing, ...]:
    moment = clock.now()
    return tuple(missing(_facts(session, moment), moment, session.building.zone))


def _facts(session: Session, moment: datetime) -> Facts:
    resident = Resident.objects.get(pk=session.resident_id)
    cleared = Clearance.objects.filter(resident=resident, withdrawn_at__isnull=True)
    others = _others(session, moment)
    claims = [claim for other in others if (claim := claim_of(other, moment)) and claim.is_fact]
    recovered = [recovered_at(claims), resident.recovered_at]
    return Facts(
        name=resident.name,
        state=session.state_at(moment),
        starts_at=session.starts_at,
        started_at=session.started_at,
        is_enrolled=resident.enrolled_at is not None and resident.enrolled_at <= moment,
        agreed_on=resident.agreed_on,
        agreement_withdrawn_at=resident.agreement_withdrawn_at,
        since=resident.since,
        until=resident.until,
        cleared=list(cleared.values_list("given_on", "until_on")),
        stops=_stops(resident, moment),
        recovered_at=max((one for one in recovered if one), default=None),
        is_elsewhere=any(other.state_at(moment) is State.STARTED for other in others),
    )


def _others(session: Session, moment: datetime) -> list[Session]:
    """What really happened in the person's other sessions, wherever they were."""
    with whole_person([session.person_id]):
        begun = Session.objects.filter(person_id=session.person_id, started_at__isnull=False)
        return list(begun.filter(ends_at__gte=moment - LOOK_BACK).exclude(pk=session.pk))


def _stops(resident: Resident, moment: datetime) -> list[Stop]:
    holds = Hold.objects.holding_at(moment).filter(resident=resident).order_by("starts_at")
    closures = Closure.objects.filter(building_id=resident.building_id, station__isnull=True)
    closures = closures.filter(Q(unit__isnull=True) | Q(unit=resident.unit_id)).touching(moment, moment + SOON)
    stops = [
        Stop("away", f"{resident.name} is away ({hold.reason})", hold.starts_at, hold.ends_at)
        if hold.kind == Hold.Kind.AWAY
        else Stop("hold", f"{resident.name} is on an exercise hold ({hold.reason})", hold.starts_at, hold.ends_at)
        for hold in holds
    ]
    for closure in closures:
        what = "The unit" if closure.unit_id else "The building"
        text = f"{what} is closed ({closure.get_reason_display()})"
        stops.append(Stop("closed", text, closure.starts_at, closure.ends_at))
    return stops


def _warnings(session: Session) -> tuple[str, ...]:
    """What is off the plan, and never a reason to refuse: the time, the stations, the calendar, the help."""
    moment, zone = clock.now(), session.building.zone
    found = []
    if moment + timedelta(minutes=session.building.turn_minutes) < session.starts_at:
        found.append(f"Planned for {clock_time(session.starts_at, zone)}: this is early.")
    closed = Closure.objects.filter(building_id=session.building_id, station__in=session.slots.values("station"))
    found += [
        f"{closure.station.name} is out of order: go on without it."
        for closure in closed.touching(moment, moment + SOON).select_related("station")
    ]
    until = moment + (session.ends_at - session.starts_at)
    times = session.resident.commitment_times.filter(starts_at__lt=until, ends_at__gt=moment)
    found += [
        f"{time.commitment.kind.capitalize()} is in the calendar at {clock_time(time.starts_at, zone)}."
        for time in times.select_related("commitment").order_by("starts_at")
    ]
    return (*found, *_help(session, moment))


def _help(session: Session, moment: datetime) -> list[str]:
    there = ShiftTime.objects.filter(building_id=session.building_id, starts_at__lte=moment, ends_at__gt=moment).count()
    begun = Session.objects.filter(building_id=session.building_id, started_at__isnull=False, ended_at__isnull=True)
    begun = begun.filter(day_closes_at__gt=moment).exclude(pk=session.pk)
    needed = session.help_sixths + sum(begun.values_list("help_sixths", flat=True))
    if needed <= there * SIXTHS_OF_ONE:
        return []
    people = "Nobody is" if not there else "One person is" if there == 1 else f"{there} people are"
    return [f"{people} on the circuit now, too few for everybody at the stations together with this resident."]


def _similar(resident: Resident) -> tuple[Resident, ...]:
    others = Resident.objects.of(resident.building).staying_at(clock.now()).exclude(pk=resident.pk)
    name = (resident.given_name, resident.family_name)
    found = others.select_related("unit").order_by("family_name", "given_name", "pk")
    return tuple(other for other in found if are_alike(name, (other.given_name, other.family_name)))
