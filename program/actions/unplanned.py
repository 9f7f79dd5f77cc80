"""A visit that nobody had published: it is stored, counts for recovery, and stands apart from attendance."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction

from program import clock
from program.actions.locks import lock_persons
from program.actions.places import openings_of
from program.actions.records import NewLine, NewSet, refuse_the_future, write_lines
from program.models import Prescription, Record, Resident, Session, Set, User
from program.rules.errors import Invalid, Refused
from program.rules.opening import day_closes_at
from program.rules.phone_clock import corrected

LONGEST_VISIT = timedelta(hours=24)


@transaction.atomic
def write_unplanned(
    *,
    resident: Resident,
    starts_at: datetime,
    ends_at: datetime,
    lines: Sequence[NewLine] = (),
    sets: Sequence[NewSet] = (),
    done_by: User,
    entered_by: User,
    sent_at: datetime | None = None,
) -> Session:
    """A visit that nobody had published, with its lines; it stands apart from attendance. Sent twice it is one."""
    if not lines and not sets:
        raise Invalid("Say what happened on this visit: send its lines or its sets.", field="lines")
    lock_persons(person_ids=[resident.person_id])
    if sent_at is not None:
        # Only the start has happened already; how long it will be is no matter of clocks.
        begins_at = corrected(starts_at, sent_at=sent_at, received_at=clock.now())
        starts_at, ends_at = begins_at, begins_at + (ends_at - starts_at)
    session = _told_before(resident, [*lines, *sets]) or open_unplanned_session(
        resident=resident, starts_at=starts_at, ends_at=ends_at
    )
    return write_lines(session=session, lines=lines, sets=sets, done_by=done_by, entered_by=entered_by, sent_at=sent_at)


def _told_before(resident: Resident, sent: Sequence[NewLine | NewSet]) -> Session | None:
    """The session that one of these lines has been written to already."""
    told = [line.event_id for line in sent]
    for kind in (Record, Set):
        line = kind.objects.filter(
            building_id=resident.building_id, session__resident=resident, event_id__in=told
        ).first()
        if line is not None:
            return Session.objects.get(pk=line.session_id)
    return None


@transaction.atomic
def open_unplanned_session(*, resident: Resident, starts_at: datetime, ends_at: datetime) -> Session:
    """The row for the lines of a visit that nobody had published."""
    refuse_the_future([starts_at], clock.now())
    if not starts_at < ends_at <= starts_at + LONGEST_VISIT:
        raise Invalid("A visit ends after it starts, within a day. Correct its times.", field="ends_at")
    plan = Prescription.objects.in_force().filter(resident=resident).first()
    if plan is None:
        raise Refused(f"{resident.name} has no exercise plan yet.", problem="no-exercise-plan")
    building = resident.building
    return Session.objects.create(
        building=building,
        resident=resident,
        person_id=resident.person_id,
        prescription=plan,
        starts_at=starts_at,
        ends_at=ends_at,
        day_closes_at=day_closes_at(openings_of(building), starts_at, building.zone),
        help_sixths=resident.help_sixths,
        recovery_hours=resident.recovery_hours,
        # Holds nothing until its lines are written.
        is_cut=True,
    )
