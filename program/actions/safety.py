"""What must be true before anyone trains: clearances entered, holds set and ended."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from django.db import transaction

from program import clock
from program.actions.changing import change, make
from program.actions.refusing import refusing_what_the_database_refuses
from program.actions.stopping import lock_what_is_planned, withdraw_during
from program.models import Clearance, Hold, Incident, Resident, User
from program.rules.errors import Invalid, Refused
from program.rules.reasons import CLASS_OF
from program.rules.week import date_and_time

HOSPITAL = "hospital"
# Why someone is away, and the reason that their withdrawn sessions are given.
AWAY_REASONS = {HOSPITAL: "hospital", "leave": "out", "isolation": "hold"}
REVIEW = "review after hospital"


@transaction.atomic
def enter_clearance(
    *,
    residents: Sequence[Resident],
    given_by: str,
    credential: str,
    given_on: date,
    until_on: date,
    limits: str = "",
    by: User,
) -> list[Clearance]:
    """Enter one clinician's yes for each of these residents: for all, or none and Refused saying for whom not."""
    now = clock.now()
    clearances = []
    for resident in residents:
        if given_on > now.astimezone(resident.building.zone).date():
            raise Invalid(f"{given_on} is in the future. Enter the day on which it was given.", field="given_on")
        clearance = Clearance(
            building=resident.building,
            resident=resident,
            given_by=given_by,
            credential=credential,
            given_on=given_on,
            until_on=until_on,
            limits=limits,
            entered_by=by,
            entered_at=now,
        )
        try:
            with refusing_what_the_database_refuses():
                clearances.append(make(clearance))
        except Refused as refusal:
            sentence = f"{resident.name}: {refusal.sentence}" if len(residents) > 1 else refusal.sentence
            raise Refused(sentence, problem=refusal.problem, details=refusal.details) from None
    return clearances


@transaction.atomic
def withdraw_clearance(*, clearance: Clearance, by: User, version: int | None = None) -> Clearance:
    """It stays on record and is valid no longer; sessions stay published and cannot be started without another."""
    if clearance.withdrawn_at is not None:
        raise Refused("This clearance has been withdrawn already.", problem="already-withdrawn")
    return change(clearance, version=version, withdrawn_at=clock.now())


@transaction.atomic
def set_hold(
    *,
    resident: Resident,
    kind: str,
    reason: str,
    starts_at: datetime,
    ends_at: datetime | None = None,
    by: User,
) -> Hold:
    """No training from-until; what is booked and has not begun is withdrawn with it.

    Somebody whose return from hospital is known already is on hold from then on, until a clinician has seen them.
    """
    lock_what_is_planned(resident=resident)
    if kind == Hold.Kind.AWAY:
        reason = reason.strip().casefold()
        if reason not in AWAY_REASONS:
            raise Invalid(f"Say why they are away: {', '.join(AWAY_REASONS)}.", field="reason")
    hold = _set(resident, kind, reason, starts_at, ends_at, by)
    if kind == Hold.Kind.AWAY and reason == HOSPITAL and ends_at is not None:
        _set(resident, Hold.Kind.CLINICAL, REVIEW, ends_at, None, by)
    return hold


@transaction.atomic
def end_hold(
    *, hold: Hold, ends_at: datetime | None = None, by: User, note: str = "", version: int | None = None
) -> Hold:
    """Say when a hold ends, now if not given; the return from hospital sets a hold of its own."""
    resident, now = hold.resident, clock.now()
    lock_what_is_planned(resident=resident)
    if hold.ends_at is not None and hold.ends_at <= now:
        ended = date_and_time(hold.ends_at, resident.building.zone)
        raise Refused(f"This hold ended on {ended}. Set a new one.", problem="already-ended")
    if Incident.objects.waiting().filter(hold=hold).exists():
        raise Refused(
            "Nobody has seen to the incident behind this hold yet. See to it first, then release the hold.",
            problem="refused",
        )
    is_called_off = ends_at is None and hold.starts_at >= now
    # What has not begun cannot end before its start: the shortest hold there is stays on record.
    ends_at = hold.starts_at + timedelta(microseconds=1) if is_called_off else ends_at or now
    if ends_at <= hold.starts_at:
        raise Invalid("The end must come after the start.", field="ends_at")
    told_before = hold.ends_at
    hold = change(hold, version=version, ends_at=ends_at, released_by=by, release_note=note)
    _withdraw_inside(hold, by)
    if hold.kind == Hold.Kind.AWAY and hold.reason == HOSPITAL:
        _review_from(hold, ends_at, told_before, is_called_off, by)
    return hold


def _set(resident: Resident, kind: str, reason: str, starts_at: datetime, ends_at: datetime | None, by: User) -> Hold:
    hold = make(
        Hold(
            building=resident.building,
            resident=resident,
            kind=kind,
            reason=reason,
            starts_at=starts_at,
            ends_at=ends_at,
            set_by=by,
            set_at=clock.now(),
        )
    )
    _withdraw_inside(hold, by)
    return hold


def _withdraw_inside(hold: Hold, by: User) -> None:
    reason = AWAY_REASONS[hold.reason] if hold.kind == Hold.Kind.AWAY else _clinical_reason(hold.reason)
    withdraw_during(resident=hold.resident, since=hold.starts_at, until=hold.ends_at, reason=reason, by=by)


def _clinical_reason(reason: str) -> str:
    return reason if CLASS_OF.get(reason) == "clinical" else "hold"


def _review_from(hold: Hold, ends_at: datetime, told_before: datetime | None, is_called_off: bool, by: User) -> None:
    """The hold after hospital begins with the return, whether or not an earlier one was expected."""
    expected = (
        Hold.objects.of(hold.building)
        .filter(resident=hold.resident, kind=Hold.Kind.CLINICAL, reason=REVIEW, ends_at__isnull=True)
        .filter(starts_at=told_before)
        .first()
    )
    if is_called_off:
        if expected is not None:
            change(expected, version=None, ends_at=expected.starts_at + timedelta(microseconds=1), released_by=by)
    elif expected is not None:
        _withdraw_inside(change(expected, version=None, starts_at=ends_at), by)
    else:
        _set(hold.resident, Hold.Kind.CLINICAL, REVIEW, ends_at, None, by)
