"""The times of a calendar's entries, as rows: what happens when, and what each time blocks with its margins."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Max

from program import clock
from program.importing.recurrence import Changed, Recurrence, occurrences
from program.importing.refusals import Unfit
from program.models import Building, Commitment, CommitmentTime
from program.rules.errors import Invalid
from program.rules.horizon import HORIZON
from program.rules.margins import Margins, blocked

BACK = timedelta(days=7)
# The longest window that is expanded at once, and the most times in it: five a day.
STRETCH = timedelta(days=399)
MOST_TIMES = 2_000


def commitment_made_from() -> datetime:
    """The earliest time that is made for a new entry."""
    return clock.now() - BACK


def make_times(
    *,
    commitments: Iterable[Commitment],
    building: Building,
    since: datetime | None = None,
    until: datetime | None = None,
    is_after: bool = False,
) -> list[CommitmentTime]:
    """Insert the times of these entries that start from `since` (with `is_after`: strictly later) and before `until`.

    Without them: from a week ago until 400 days from now. Invalid for an entry that happens too often to be meant.
    """
    until = until or clock.now() + HORIZON
    times = [
        time
        for commitment in commitments
        for time in planned_times(commitment, building, since=since, until=until)
        if since is None or time.starts_at > since or (time.starts_at == since and not is_after)
    ]
    return CommitmentTime.objects.bulk_create(times, batch_size=2_000)


def remake_times(*, building: Building) -> None:
    """The times to come of all entries anew, after the building's margin has changed; those gone by stay."""
    now = clock.now()
    standing = Commitment.objects.of(building).filter(ended_at__isnull=True)
    until = CommitmentTime.objects.of(building).aggregate(last=Max("starts_at"))["last"]
    CommitmentTime.objects.filter(commitment__in=standing, starts_at__gte=now).delete()
    make_times(commitments=standing, building=building, since=now, until=max(until or now, now + HORIZON))


def planned_times(
    commitment: Commitment, building: Building, *, since: datetime | None = None, until: datetime | None = None
) -> list[CommitmentTime]:
    """The times of an entry that touch the span (from a week ago until 400 days from now), as rows not yet written."""
    since, until = since or commitment_made_from(), until or clock.now() + HORIZON
    return [_time(commitment, building, *span) for span in _spans(commitment, building, since, until)]


def recurrence_of(commitment: Commitment) -> Recurrence:
    """When an entry happens, for `occurrences`: days are nominal for what lasts all day, else time is elapsed."""
    changed = tuple(
        Changed(datetime.fromisoformat(wall), None)
        if override is None
        else Changed(
            datetime.fromisoformat(wall),
            datetime.fromisoformat(override["starts"]),
            *_length(override["minutes"], commitment.is_all_day),
        )
        for wall, override in commitment.overrides.items()
    )
    days, length = _length(commitment.minutes, commitment.is_all_day)
    return Recurrence(
        starts=datetime.fromisoformat(commitment.starts),
        days=days,
        length=length,
        is_all_day=commitment.is_all_day,
        timezone=commitment.timezone,
        rrule=commitment.rrule,
        extra=tuple(map(datetime.fromisoformat, commitment.rdates)),
        left_out=tuple(map(datetime.fromisoformat, commitment.exdates)),
        changed=changed,
    )


def _length(minutes: int, is_all_day: bool) -> tuple[int, timedelta]:
    days = minutes // 1440 if is_all_day else 0
    return days, timedelta(minutes=minutes - days * 1440)


def _spans(
    commitment: Commitment, building: Building, since: datetime, until: datetime
) -> list[tuple[datetime, datetime]]:
    recurrence = recurrence_of(commitment)
    found: set[tuple[datetime, datetime]] = set()
    window_from = since
    try:
        while window_from < until:
            window_until = min(window_from + STRETCH, until)
            found.update(
                occurrences(
                    recurrence,
                    timezone=building.timezone,
                    window_from=window_from,
                    window_until=window_until,
                    cap=MOST_TIMES,
                )
            )
            window_from = window_until
    except Unfit as unfit:
        raise Invalid(unfit.sentence, field="rrule") from None
    return sorted(found)


def _time(commitment: Commitment, building: Building, starts_at: datetime, ends_at: datetime) -> CommitmentTime:
    blocks_from, blocks_until = blocked(
        kind=commitment.kind,
        starts_at=starts_at,
        ends_at=ends_at,
        zone=building.zone,
        building_minutes=building.margin_minutes,
        own=Margins(commitment.margin_before_minutes, commitment.margin_after_minutes),
    )
    return CommitmentTime(
        building=building,
        commitment=commitment,
        resident_id=commitment.resident_id,
        starts_at=starts_at,
        ends_at=ends_at,
        blocks_from=blocks_from,
        blocks_until=blocks_until,
    )
