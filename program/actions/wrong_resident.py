"""What was written for the wrong resident goes to the right one, with what follows from it; both histories show it."""

from datetime import datetime
from typing import Any
from uuid import uuid5

from django.db import transaction
from django.db.models import QuerySet

from program import clock
from program.actions.changing import change
from program.actions.incidents import hold_behind
from program.actions.locks import lock_persons, lock_plan
from program.actions.records import follow_lines, replace_lines
from program.models import Incident, Record, Session, Set, User
from program.rules.errors import Refused

HAPPENED = (Record.Kind.STARTED, Record.Kind.ENDED, Record.Kind.ATTEMPT, Record.Kind.GIVEN_UP)


@transaction.atomic
def move_to_right_resident(*, session: Session, to: Session, because: str, by: User) -> tuple[Session, Session]:
    """Sets, records and incidents written for the wrong resident go to another session.

    A warning sign puts the right resident on hold; the hold of the wrong one stays until a clinician releases it.
    """
    if session.building_id != to.building_id or session.pk == to.pk:
        raise Refused("Name another session of this building, of the right resident.", problem="invalid")
    lock_plan(building=session.building)
    lock_persons(person_ids=[session.person_id, to.person_id])
    now = clock.now()
    lines = Record.objects.counting().filter(session=session, kind__in=HAPPENED)
    moved = _move(lines, to, because=because, by=by, now=now)
    moved += _move(Set.objects.counting().filter(session=session), to, because=because, by=by, now=now)
    if not moved and not _moved_before(session, to):
        raise Refused("Nothing is written about this session that could be moved.", problem="refused")
    told = {one.pk: one for one in follow_lines(sessions=[session, to])}
    for incident in Incident.objects.filter(session=session).order_by("pk"):
        _move_incident(incident, to, by=by)
    return told[session.pk], Session.objects.get(pk=to.pk)


def _moved_before(session: Session, to: Session) -> bool:
    """Moved twice is moved once."""
    for kind in (Record, Set):
        lines = kind.objects.filter(session=session, replaced_at__isnull=False).values_list("event_id", flat=True)
        if kind.objects.filter(session=to, event_id__in=[uuid5(told, str(to.pk)) for told in lines]).exists():
            return True
    return False


def _move_incident(incident: Incident, to: Session, *, by: User) -> None:
    hold = hold_behind(incident=incident, resident=to.resident, by=by)
    change(incident, version=None, resident_id=to.resident_id, session_id=to.pk, hold_id=hold.pk)


def _move(written: QuerySet[Any], to: Session, *, because: str, by: User, now: datetime) -> int:
    """The same lines on another session, entered now; the old ones stay, replaced."""
    rows = list(written)
    replace_lines(written.model, [row.pk for row in rows], by=by, because=because, now=now)
    for row in rows:
        row.pk, row.session, row.entered_by, row.entered_at = None, to, by, now
        row.event_id = uuid5(row.event_id, str(to.pk))
        row._state.adding = True
        if isinstance(row, Set):
            # A line of the other resident's exercise plan.
            row.line = None
    written.model.objects.bulk_create(rows)
    return len(rows)
