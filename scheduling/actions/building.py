"""A roster from the request to the draft: the row is the job, and is safe to work on twice."""

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from datetime import timedelta
from functools import partial
from typing import Any

from django.db import transaction
from django.db.models import F, Q

from program import clock
from program.actions.changing import make
from program.actions.locks import ROSTER, is_worked_on, working_on
from program.models import Building, User
from program.models.scoped import scope
from program.rules.errors import Refused
from program.rules.week import Week
from scheduling.check import broken_rules
from scheduling.load import Loaded, load_week
from scheduling.load.weights import most_sessions
from scheduling.models import Roster
from scheduling.problem import Value, write_problem, write_roster
from scheduling.solver import Progress, most_alone, solve

# A roster that ends its worker this often is put aside instead of ending the next.
MOST_STARTS = 3
OPEN = (Roster.State.WAITING, Roster.State.BUILDING)
# What waits longer is sent again: it does no harm where the first sending is still on its way.
WAITS_AT_MOST = timedelta(seconds=30)
Step = Callable[..., AbstractContextManager[None]]


@transaction.atomic
def start_roster(*, building: Building, week: Week, by: User, seconds: int = 20) -> Roster:
    """Ask for a week; a worker fills it once this is committed."""
    if week.ends_at(building.zone) <= clock.now():
        raise Refused(f"{week.name} is over. Choose this week or a later one.", problem="week-is-over")
    if not 1 <= seconds <= 120:
        raise Refused("A roster is built in 1 to 120 seconds.", problem="invalid")
    return make(Roster(building=building, monday=week.monday, asked_by=by, asked_at=clock.now(), seconds=seconds))


def fill_roster(*, roster_id: int, building_id: int, request_id: str = "") -> None:
    """Build the draft. Each step is a transaction of its own: progress shows, and a killed worker loses nothing."""
    with working_on(ROSTER, roster_id) as is_ours:
        if is_ours:
            _fill(roster_id, partial(scope, [building_id], request_id=request_id))


def lost_rosters() -> list[tuple[int, int]]:
    """(roster, building) of what nobody works on any more, or what never reached a worker. In a scope of all."""
    unsent = Q(state=Roster.State.WAITING, asked_at__lte=clock.now() - WAITS_AT_MOST)
    found = (
        Roster.objects.filter(unsent | Q(state=Roster.State.BUILDING)).order_by("pk").values_list("pk", "building_id")
    )
    return [(pk, building_id) for pk, building_id in found if not is_worked_on(ROSTER, pk)]


def _fill(roster_id: int, step: Step) -> None:
    with step():
        roster = _claim(roster_id)
    if roster is None:
        return
    try:
        _build(roster, step)
    except Exception:
        # Otherwise it would be “building” for ever. The worker's own log has the rest.
        with step(user_id=roster.asked_by_id):
            _give_up(roster, "Building this roster failed. Build it again; if that fails too, ask for help.")
        raise


def _build(roster: Roster, step: Step) -> None:
    def tell(done: Progress) -> None:
        with step(user_id=roster.asked_by_id):
            _tell(roster, loaded, alone, done)

    with step():
        loaded = load_week(building=roster.building, week=Week(roster.monday))
    alone = most_alone(loaded.problem)
    answer = solve(loaded.problem, seconds=roster.seconds, progress=tell)
    faults = broken_rules(loaded.problem, answer)
    with step(user_id=roster.asked_by_id):
        if faults:
            _give_up(roster, f"The roster broke a rule and was not kept: {faults[0].sentence}")
            return
        Roster.objects.filter(pk=roster.pk, state=Roster.State.BUILDING).update(
            state=Roster.State.DRAFT,
            built_at=clock.now(),
            problem=write_problem(loaded.problem),
            answer=write_roster(answer),
            progress=_progress(loaded, alone, len(answer.sessions), answer.objective, answer.bound),
            version=F("version") + 1,
        )


def _claim(roster_id: int) -> Roster | None:
    """The roster, if it is still to be built and has not ended too many workers."""
    roster: Roster = Roster.objects.select_for_update(of=("self",)).select_related("building").get(pk=roster_id)
    if roster.state not in OPEN:
        return None
    roster.starts += 1
    if roster.starts > MOST_STARTS:
        _give_up(roster, "Building this roster failed three times. Build it again, or ask for help.")
        return None
    roster.state, roster.started_at = Roster.State.BUILDING, clock.now()
    roster.save(update_fields=["starts", "state", "started_at"])
    return roster


def _give_up(roster: Roster, sentence: str) -> None:
    # Not where another worker has finished it meanwhile.
    Roster.objects.filter(pk=roster.pk, state__in=OPEN).update(
        state=Roster.State.FAILED, failure=sentence[:300], version=F("version") + 1
    )


def _tell(roster: Roster, loaded: Loaded, alone: Sequence[int], done: Progress) -> None:
    Roster.objects.filter(pk=roster.pk, state=Roster.State.BUILDING).update(
        progress=_progress(loaded, alone, done.placed, done.value, done.bound)
    )


def _progress(loaded: Loaded, alone: Sequence[int], placed: int, value: Value, bound: Value | None) -> dict[str, Any]:
    """What a person sees: sessions placed, of those prescribed; those that stand already count as placed.

    `alone`: how many new sessions each resident could have if nobody else were there.
    """
    return {
        "placed": loaded.booked + placed,
        "prescribed": loaded.prescribed,
        "booked": loaded.booked,
        "value": float(value),
        "bound": None if bound is None else float(bound),
        "most_possible": loaded.prescribed if bound is None else loaded.booked + _most(loaded, alone, bound),
    }


def _most(loaded: Loaded, alone: Sequence[int], bound: Value) -> int:
    residents = zip(loaded.problem.residents, alone, strict=True)
    return most_sessions([one.rewards[:most] for one, most in residents], bound)
