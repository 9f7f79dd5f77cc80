"""Writing down afterwards what stands on paper: once, and never over what somebody else has written meanwhile."""

from collections.abc import Sequence

from django.db import transaction

from program import clock
from program.actions.locks import lock_persons
from program.actions.records import NewLine, NewSet, write_lines
from program.models import Record, Session, User
from program.rules.errors import Refused
from program.rules.states import State

WRITTEN_ALREADY = {
    State.DONE: "This session has been written down already. See below what stands there.",
    State.WITHDRAWN: "This session was taken off the plan. Write it down as a visit that nobody had published.",
}
NOT_DONE_ALREADY = WRITTEN_ALREADY | {
    State.GIVEN_UP: "It is written down already that this session did not happen.",
    State.STARTED: "This session has been started. End it at the stations.",
    State.ENDED_WITHOUT_A_SET: "It is written down already that this session ended without a set.",
}


@transaction.atomic
def write_late(
    *, session: Session, lines: Sequence[NewLine], sets: Sequence[NewSet] = (), done_by: User, entered_by: User
) -> Session:
    """What was done with its sets; without sets, that and why it did not happen. The same entry sent twice is one.

    A session that nobody ended takes the sets that are missing.
    """
    lock_persons(person_ids=[session.person_id])
    session.refresh_from_db()
    written = Record.objects.filter(building_id=session.building_id, session=session)
    if not written.filter(event_id__in=[line.event_id for line in lines]).exists():
        state = session.state_at(clock.now())
        refused = WRITTEN_ALREADY if sets else NOT_DONE_ALREADY
        is_incomplete = bool(sets) and state is State.DONE and session.ended_at is None
        if state in refused and not is_incomplete:
            raise Refused(refused[state], problem="session-not-open", details={"state": state.value})
    return write_lines(session=session, lines=lines, sets=sets, done_by=done_by, entered_by=entered_by)
