"""Warning signs: a visit that ends at once, a hold, and a clinician who sees to it, or has not yet."""

from datetime import timedelta
from functools import partial
from uuid import UUID

from program import clock
from program.actions.incidents import report_warning_sign, see_incident
from program.actions.safety import end_hold
from program.models import Incident, Session, User
from scheduling.scenario.cast import Cast, Timeline
from scheduling.scenario.stories import WarningSign

SEEN_NEXT_MORNING = 8 * 60 + 25


def tell_warning_sign(cast: Cast, timeline: Timeline, session: Session, sign: WarningSign, *, by: User) -> None:
    """Told at the end of the last set; a clinician sees to it the next morning and ends the hold days later."""
    session = Session.objects.select_related("resident").get(pk=session.pk)
    if session.last_set_ended_at is None:
        return
    incident = report_warning_sign(
        session=session,
        sign=sign.sign,
        note=sign.note,
        event_id=UUID(int=cast.plan.dice(f"{sign.sign} {session.pk}").getrandbits(128), version=4),
        happened_at=min(session.last_set_ended_at + timedelta(seconds=20), clock.now()),
        done_by=by,
        entered_by=by,
    )
    if sign.released_after is not None:
        day = clock.now().astimezone(cast.building.zone).date()
        morning = cast.at(day + timedelta(days=1), SEEN_NEXT_MORNING)
        released_at = morning + timedelta(days=sign.released_after - 1)
        timeline.add(morning, cast.clinician, partial(_see, cast, incident))
        timeline.add(released_at, cast.clinician, partial(_release, cast, incident))


def _see(cast: Cast, incident: Incident) -> None:
    fresh = Incident.objects.get(pk=incident.pk)
    see_incident(incident=fresh, by=cast.clinician, note="seen in the room, blood pressure as usual, rest for now")


def _release(cast: Cast, incident: Incident) -> None:
    fresh = Incident.objects.select_related("hold__resident__building").get(pk=incident.pk)
    if fresh.hold is not None:
        end_hold(hold=fresh.hold, by=cast.clinician, note="no further signs; begins again with a lighter load")
