"""Who is on the circuit when: weekly shifts by the wall clock, their times made 400 days ahead."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Q

from program import clock
from program.actions.changing import change, make
from program.models import Building, Role, Shift, ShiftTime, User
from program.models.constraints import broken_by
from program.rules.errors import Invalid, Refused
from program.rules.horizon import HORIZON
from program.rules.week import WEEKDAYS, clock_time, local_instant

BACK_DAYS = 7


@transaction.atomic
def add_shift(
    *,
    building: Building,
    user: User,
    first_on: date,
    starts_minute: int,
    ends_minute: int,
    last_on: date | None = None,
    by: User,
) -> Shift:
    """Every week on the weekday of `first_on`, in minutes after local midnight; once when `last_on` is the same day."""
    _refuse_without_role(building, user, first_on)
    until = _today(building) + HORIZON
    shift = make(
        Shift(
            building=building,
            user=user,
            first_on=first_on,
            last_on=last_on,
            starts_minute=starts_minute,
            ends_minute=ends_minute,
            made_until=until,
        )
    )
    _make_times(shift, _days(shift, _today(building) - timedelta(days=BACK_DAYS), until))
    return shift


@transaction.atomic
def change_shift(
    *, shift: Shift, from_on: date, starts_minute: int, ends_minute: int, by: User, version: int | None = None
) -> Shift:
    """Other hours from a day on: the shift as it was ends the day before, and the one returned begins."""
    _refuse_past(shift.building, from_on, "from_on")
    if shift.last_on is not None and from_on > shift.last_on:
        raise Invalid(f"This shift ends on {shift.last_on}. Add a new one.", field="from_on")
    if from_on <= shift.first_on:
        shift = change(shift, version=version, starts_minute=starts_minute, ends_minute=ends_minute)
        _delete_from(shift, from_on)
        _make_times(shift, _days(shift, _today(shift.building), shift.made_until))
        return shift
    last_on = shift.last_on
    shift = change(shift, version=version, last_on=from_on - timedelta(days=1))
    _delete_from(shift, from_on)
    first_on = from_on + timedelta(days=(shift.first_on.weekday() - from_on.weekday()) % 7)
    if last_on is not None and first_on > last_on:
        raise Invalid(f"There is no {WEEKDAYS[first_on.weekday()]} between {from_on} and {last_on}.", field="from_on")
    return add_shift(
        building=shift.building,
        user=shift.user,
        first_on=first_on,
        starts_minute=starts_minute,
        ends_minute=ends_minute,
        last_on=last_on,
        by=by,
    )


@transaction.atomic
def end_shift(*, shift: Shift, last_on: date, by: User, version: int | None = None) -> Shift:
    """The shift takes place on `last_on` for the last time; a day before its first takes it away altogether."""
    if shift.last_on is not None and last_on > shift.last_on:
        raise Invalid(f"This shift ends on {shift.last_on}. Add a new one for the time after.", field="last_on")
    # From today on: times that have been worked stay.
    if last_on + timedelta(days=1) < _today(shift.building):
        raise Invalid(f"{last_on} is over. A shift is changed from today on.", field="last_on")
    # A shift has at least one day in the table; one that never took place keeps that day, without a time.
    shift = change(shift, version=version, last_on=max(last_on, shift.first_on))
    _delete_from(shift, last_on + timedelta(days=1))
    return shift


@transaction.atomic
def extend_shifts(*, building: Building, until: date) -> int:
    """Make the times before `until` that are not made yet, and say how many.

    A day on which the person is meanwhile on the circuit elsewhere is left out: nobody is there to be asked.
    """
    made = 0
    short = Shift.objects.of(building).filter(Q(last_on__isnull=True) | Q(last_on__gte=_today(building)))
    for shift in short.filter(made_until__lt=until).select_for_update(no_key=True):
        for day in _days(shift, shift.made_until, until):
            try:
                with transaction.atomic():
                    _time(shift, day).save(force_insert=True)
                    made += 1
            except IntegrityError:
                continue
        # Not a new version: nobody has changed the shift.
        Shift.objects.filter(pk=shift.pk).update(made_until=until)
    return made


def _days(shift: Shift, since: date, until: date) -> Iterator[date]:
    """The days of a shift from `since` on and before `until`."""
    day = shift.first_on
    if day < since:
        day += timedelta(days=-((day - since).days // 7) * 7)
    while day < until and (shift.last_on is None or day <= shift.last_on):
        yield day
        day += timedelta(days=7)


def _make_times(shift: Shift, days: Iterator[date]) -> None:
    times = [_time(shift, day) for day in days]
    try:
        with transaction.atomic():
            ShiftTime.objects.bulk_create(times)
    except IntegrityError as error:
        raise _clash(shift, times, error) from None


def _clash(shift: Shift, times: Sequence[ShiftTime], first: IntegrityError) -> Refused:
    """The first day on which the person is on the circuit already, found by trying each alone."""
    zone = shift.building.zone
    for time in times:
        try:
            with transaction.atomic():
                time.pk, time._state.adding = None, True
                time.save(force_insert=True)
        except IntegrityError as error:
            broken = broken_by(error)
            local = time.starts_at.astimezone(zone)
            when = f"{WEEKDAYS[local.weekday()]} {local.day} {local:%b} {local:%H:%M}-{clock_time(time.ends_at, zone)}"
            sentence = f"{when}: {broken.sentence[0].lower()}{broken.sentence[1:]}"
            return Refused(sentence, problem="already-on-the-circuit", details={"starts_at": time.starts_at})
    return Refused(broken_by(first).sentence, problem="already-on-the-circuit")


def _time(shift: Shift, day: date) -> ShiftTime:
    zone = shift.building.zone
    return ShiftTime(
        building=shift.building,
        shift=shift,
        user=shift.user,
        starts_at=local_instant(day, shift.starts_minute, zone),
        ends_at=local_instant(day, shift.ends_minute, zone),
    )


def _delete_from(shift: Shift, day: date) -> None:
    ShiftTime.objects.filter(shift=shift, starts_at__gte=local_instant(day, 0, shift.building.zone)).delete()


def _refuse_without_role(building: Building, user: User, first_on: date) -> None:
    held = Role.objects.filter(user=user, user__is_active=True, kind__in=Role.IN_CARE)
    begins = local_instant(first_on, 0, building.zone)
    lasting = held.filter(Q(until__isnull=True) | Q(until__gt=max(begins, clock.now())))
    if not lasting.filter(Q(building=building) | Q(region=building.region_id)).exists():
        raise Invalid(f"{user.name} has no role in the care of residents in {building.name}. Ask an administrator.")


def _refuse_past(building: Building, day: date, field: str) -> None:
    if day < _today(building):
        raise Invalid(f"{day} is over. A shift is changed from today on.", field=field)


def _today(building: Building) -> date:
    return clock.now().astimezone(building.zone).date()
