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


def withdraw_starting_in(
    *, resident: Resident, since: datetime, until: datetime | None, reason: str, by: User, note: str = ""
) -> list[Session]:
    """Withdraw the sessions that start in the half-open span and have not begun. The plan must be locked."""
    ends = Q() if until is None else Q(starts_at__lt=until)
    return _withdraw(resident, Q(starts_at__gte=since) & ends, reason, by, note)


def withdraw_ending_after(
    *, resident: Resident, moment: datetime, reason: str, by: User, note: str = ""
) -> list[Session]:
    """Withdraw the sessions that would still be going on at `moment`, or come after it. The plan must be locked."""
    return _withdraw(resident, Q(ends_at__gt=moment), reason, by, note)


def _withdraw(resident: Resident, which: Q, reason: str, by: User, note: str) -> list[Session]:
    now = clock.now()
    planned = Session.objects.of(resident.building).on_the_plan().filter(which, resident=resident)
    not_begun = [session for session in planned.order_by("starts_at") if session.state_at(now) in NOT_BEGUN]
    return withdraw_sessions(sessions=not_begun, reason=reason, by=by, note=note) if not_begun else []
