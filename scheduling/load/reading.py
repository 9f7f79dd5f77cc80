"""The reads behind a roster problem: a fixed number of queries, whatever the number of residents."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any

from django.db.models import Max, Q

from program.actions.settling import claim_of
from program.models import (
    Building,
    Clearance,
    Closure,
    CommitmentTime,
    Hold,
    Hours,
    Pairing,
    Prescription,
    PrescriptionLine,
    Resident,
    Session,
    ShiftTime,
    Station,
)
from program.rules.opening import Stretch, on_day
from program.rules.states import HOLDS_NOTHING
from program.rules.week import Week
from scheduling.load.blocks import Frame

# Further back than the longest recovery, and far enough to know the time that a resident is used to.
LOOK_BACK = timedelta(days=45)
USUAL = timedelta(weeks=4)


@dataclass(frozen=True, slots=True)
class Neighbours:
    """A resident's sessions around a week: when they have recovered from earlier ones, when the next begins."""

    recovered_at: datetime | None
    next_session_at: datetime | None
    usual: Sequence[datetime]


def openings_and_meals(building: Building, week: Week) -> tuple[list[Stretch], list[Stretch]]:
    hours = list(Hours.objects.of(building))
    openings, meals = ([row.period for row in hours if row.kind == kind] for kind in (Hours.Kind.OPEN, Hours.Kind.MEAL))
    return (
        [stretch for day in week.days for stretch in on_day(openings, day, building.zone)],
        [stretch for day in week.days for stretch in on_day(meals, day, building.zone)],
    )


def closures_in(building: Building, start: datetime, until: datetime) -> list[Closure]:
    return list(Closure.objects.of(building).touching(start, until))


def shift_times_in(building: Building, start: datetime, until: datetime) -> list[ShiftTime]:
    times = ShiftTime.objects.of(building).filter(starts_at__lt=until, ends_at__gt=start)
    return list(times.order_by("starts_at", "pk"))


def stations_of(building: Building) -> list[Station]:
    return list(Station.objects.of(building).filter(retired_at__isnull=True))


def residents_in(building: Building, start: datetime, until: datetime) -> list[Resident]:
    """Everybody in the programme who stays in the building at some time of the span."""
    staying = Resident.objects.of(building).in_the_programme().filter(since__lt=until)
    return list(staying.filter(Q(until__isnull=True) | Q(until__gt=start)).order_by("pk"))


def sessions_in(building: Building, start: datetime, until: datetime) -> list[Session]:
    sessions = Session.objects.of(building).on_the_plan().touching(start, until)
    return list(sessions.select_related("resident").prefetch_related("slots__station").order_by("starts_at", "pk"))


def plans_of(residents: Sequence[Resident]) -> dict[int, tuple[Prescription, list[PrescriptionLine]]]:
    """The exercise plan in force and its lines, by resident."""
    plans = list(Prescription.objects.in_force().filter(resident__in=residents))
    lines = _by(
        PrescriptionLine.objects.filter(prescription__in=plans).select_related("station").order_by("position"),
        "prescription_id",
    )
    return {plan.resident_id: (plan, lines[plan.pk]) for plan in plans}


def commitment_times_in(
    residents: Sequence[Resident], start: datetime, until: datetime
) -> dict[int, list[CommitmentTime]]:
    times = CommitmentTime.objects.filter(resident__in=residents, blocks_from__lt=until, blocks_until__gt=start)
    return _by(times.select_related("commitment").order_by("starts_at", "pk"), "resident_id")


def holds_of(residents: Sequence[Resident], until: datetime) -> dict[int, list[Hold]]:
    return _by(Hold.objects.filter(resident__in=residents, starts_at__lt=until).order_by("starts_at"), "resident_id")


def clearances_of(residents: Sequence[Resident], first_on: date) -> dict[int, list[Clearance]]:
    valid = Clearance.objects.filter(resident__in=residents, withdrawn_at__isnull=True, until_on__gte=first_on)
    return _by(valid, "resident_id")


def last_done_at(residents: Sequence[Resident]) -> dict[int, datetime]:
    done = Session.objects.filter(resident__in=residents, sets_done__gt=0).values("resident")
    return {row["resident"]: row["last"] for row in done.annotate(last=Max("last_set_ended_at")).order_by()}


def neighbours_of(residents: Sequence[Resident], frame: Frame, without: Session | None) -> dict[int, Neighbours]:
    """Earlier and later sessions of the same residents, outside the week; `without` is one that is to be moved."""
    start, until, moment = frame.start, frame.until, frame.moment
    around = Session.objects.filter(resident__in=residents, starts_at__gte=start - LOOK_BACK).filter(
        Q(starts_at__lt=start) | Q(starts_at__gte=until)
    )
    if without is not None:
        around = around.exclude(pk=without.pk)
    found = _by(around.on_the_plan().order_by("starts_at"), "resident_id")
    return {resident.pk: _neighbours(resident, found[resident.pk], start, moment) for resident in residents}


def _neighbours(resident: Resident, sessions: Sequence[Session], start: datetime, moment: datetime) -> Neighbours:
    holding = [session for session in sessions if session.state_at(moment) not in HOLDS_NOTHING]
    earlier = [session for session in holding if session.starts_at < start]
    recovered = [claim.recovered_at for session in earlier if (claim := claim_of(session, moment))]
    if resident.recovered_at:
        recovered.append(resident.recovered_at)
    later = [session.starts_at for session in holding if session.starts_at >= start]
    usual = [session.starts_at for session in earlier if session.starts_at >= start - USUAL]
    return Neighbours(max(recovered, default=None), min(later, default=None), usual)


def pairs_of(building: Building) -> list[Pairing]:
    return list(Pairing.objects.of(building).order_by("pk"))


def _by(rows: Iterable[Any], key: str) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for value, group in groupby(rows, key=lambda row: getattr(row, key)):
        found[value].extend(group)
    return found
