"""Something happened: a warning sign ends the session, puts the resident on hold and waits for a clinician."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from program import clock
from program.actions.changing import change, make
from program.actions.records import FURTHEST, NewLine, write_lines
from program.actions.safety import set_hold
from program.actions.stopping import lock_what_is_planned
from program.models import Hold, Incident, Record, Resident, Session, User
from program.rules.errors import Invalid, Refused
from program.rules.phone_clock import corrected
from program.rules.reasons import WARNING_SIGNS


@transaction.atomic
def report_warning_sign(
    *,
    session: Session,
    sign: str,
    event_id: UUID,
    happened_at: datetime,
    done_by: User,
    entered_by: User,
    note: str = "",
    sent_at: datetime | None = None,
) -> Incident:
    """The session ends; an incident is open and the resident on hold from then on, with no end, until a clinician acts.

    The same report sent twice is one incident.
    """
    if sign not in WARNING_SIGNS:
        raise Invalid(f"Say what was seen: {', '.join(WARNING_SIGNS)}.", field="sign")
    lock_what_is_planned(resident=session.resident)
    session.refresh_from_db()
    told: Incident | None = Incident.objects.filter(building_id=session.building_id, event_id=event_id).first()
    if told is not None and told.session_id != session.pk:
        raise Invalid("That number belongs to what was told of another session. Make a new one.", field="event_id")
    if told is not None:
        return told
    by_the_phone = happened_at
    happened_at = _believable(session, happened_at, sent_at)
    phone_happened_at = by_the_phone if by_the_phone != happened_at else None
    what = {"reason": "warning sign", "note": note or sign}
    line = NewLine(Record.Kind.ENDED, happened_at, event_id, **what, phone_happened_at=phone_happened_at)
    write_lines(session=session, lines=[line], done_by=done_by, entered_by=entered_by)
    incident = Incident(
        event_id=event_id, sign=sign, note=note, happened_at=happened_at, done_by=done_by, entered_by=entered_by
    )
    incident.phone_happened_at = phone_happened_at
    return _open(incident, session)


def _believable(session: Session, told_at: datetime, sent_at: datetime | None) -> datetime:
    """A sign is never refused for its time: what no clock can have meant is taken as now."""
    now = clock.now()
    if sent_at is not None:
        told_at = corrected(told_at, sent_at=sent_at, received_at=now, not_before=session.started_at)
    return told_at if abs(told_at - session.starts_at) <= FURTHEST and told_at <= now else now


def hold_behind(*, incident: Incident, resident: Resident, by: User) -> Hold:
    """No training for the resident from the sign on, with no end, until a clinician releases it."""
    kind, reason = Hold.Kind.CLINICAL, f"warning sign: {incident.sign}"
    return set_hold(resident=resident, kind=kind, reason=reason, starts_at=incident.happened_at, by=by)


def _open(incident: Incident, session: Session) -> Incident:
    incident.hold = hold_behind(incident=incident, resident=session.resident, by=incident.entered_by)
    incident.building_id, incident.resident_id, incident.session = session.building_id, session.resident_id, session
    incident.entered_at = clock.now()
    return make(incident)


@transaction.atomic
def see_incident(*, incident: Incident, by: User, note: str = "", version: int | None = None) -> Incident:
    """A named clinician has seen it; the hold stays until it is released by its own decision."""
    if incident.seen_at is not None:
        raise Refused("Somebody has seen to this already.", problem="already-seen")
    return change(incident, version=version, seen_at=clock.now(), seen_by=by, seen_note=note)
