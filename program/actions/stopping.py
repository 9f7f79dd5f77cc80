"""Taking off the plan what can no longer happen, in the transaction that says why."""

from datetime import datetime

from django.db.models import Q

from program import clock
from program.actions.locks import lock_persons, lock_plan
from program.actions.sessions import withdraw_sessions
from program.models import Resident, Session, User
from program.rules.states import State

NOT_BEGUN = frozenset({State.PUBLISHED, State.NOT_RECORDED})


def lock_what_is_planned(*, resident: Resident) -> None:
    """Nobody publishes or starts a session of this resident until the transaction ends, so none slips past."""
    lock_plan(building=resident.building)
    lock_persons(person_ids=[resident.person_id])


def withdraw_during(
    *, resident: Resident, since: datetime, until: datetime | None, reason: str, by: User, note: str = ""
) -> list[Session]:
    """Withdraw what has not begun and cannot be done because of the half-open span. The plan must be locked."""
    planned = Session.objects.of(resident.building).on_the_plan().filter(resident=resident)
    touched = planned.filter(Q(ends_at__gt=since) | Q(day_closes_at__gt=since)).order_by("starts_at")
    stopped = [session for session in touched if _is_stopped(session, since, until)]
    if not stopped:
        return []
    # Also of days that are over: what is entered late about them has kept these sessions from being done.
    return withdraw_sessions(sessions=stopped, reason=reason, by=by, note=note, states=NOT_BEGUN)


def _is_stopped(session: Session, since: datetime, until: datetime | None) -> bool:
    state = session.state_at(clock.now())
    if state not in NOT_BEGUN or (until is not None and session.starts_at >= until):
        return False
    # What is late may still be done, unless the rest of its day is taken.
    is_too_late = state is State.PUBLISHED and (until is None or until >= session.day_closes_at)
    return session.ends_at > since or is_too_late
