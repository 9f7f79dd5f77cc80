"""Residents' calendars: commitments, and the times that follow from them, made 400 days ahead."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo, available_timezones

from django.db import transaction
from django.db.models import Max

from program import clock
from program.actions.changing import change, make, only
from program.actions.commitment_times import commitment_made_from, make_times
from program.actions.refusing import refusing_what_the_database_refuses
from program.importing.recurrence import check_rule, check_start
from program.importing.refusals import Unfit
from program.models import Building, Commitment, CommitmentTime, Resident, User
from program.rules.errors import Invalid, Refused

# Read once: asking looks through the folder of all zones.
TIMEZONES = frozenset(available_timezones())
# Entries that were made here and not read from a file end in this.
ENTERED_HERE = "@entered-here"
CHANGED_FIELDS = {
    *("kind", "title", "is_movable", "starts", "timezone", "minutes", "is_all_day", "rrule", "rdates", "exdates"),
    *("overrides", "margin_before_minutes", "margin_after_minutes", "last_confirmed_on"),
}
WITHOUT_TIMES = {"title", "is_movable", "last_confirmed_on"}


@transaction.atomic
def add_commitment(
    *,
    resident: Resident,
    kind: str,
    starts: str | datetime,
    timezone: str,
    minutes: int,
    by: User,
    uid: str | None = None,
    last_confirmed_on: date | None = None,
    **optional: Any,
) -> Commitment:
    """An entry of a calendar, once or recurring (RFC 5545); sessions that it touches stay published and show it.

    `optional` are other fields of a commitment. `starts`, `rdates`, `exdates` and the keys of `overrides` are
    wall-clock times of `timezone`; an override is `{"starts": …, "minutes": …}`, or None where it is left out.
    """
    only(CHANGED_FIELDS, optional)
    building = resident.building
    given = {name: value for name, value in optional.items() if value is not None}
    commitment = Commitment(
        building=building,
        resident=resident,
        uid=uid or f"{uuid4()}{ENTERED_HERE}",
        kind=kind,
        timezone=timezone,
        minutes=minutes,
        last_confirmed_on=last_confirmed_on or clock.now().astimezone(building.zone).date(),
        **(given | _as_written(timezone, starts=starts, **given)),
    )
    _refuse_start(commitment)
    with refusing_what_the_database_refuses():
        make(commitment)
    make_times(commitments=[commitment], building=building)
    return commitment


@transaction.atomic
def change_commitment(*, commitment: Commitment, version: int | None = None, by: User, **fields: Any) -> Commitment:
    """Change an entry; its times from now on are made anew, those gone by stay as they were."""
    only(CHANGED_FIELDS, fields)
    _refuse_ended(commitment)
    zone = fields.get("timezone", commitment.timezone)
    fields |= _as_written(zone, **{name: value for name, value in fields.items() if name != "timezone"})
    commitment = change(commitment, version=version, **fields)
    if "starts" in fields or "timezone" in fields:
        _refuse_start(commitment)
    if set(fields) - WITHOUT_TIMES:
        _times_to_come([commitment]).delete()
        make_times(commitments=[commitment], building=commitment.building, since=clock.now())
    return commitment


@transaction.atomic
def end_commitment(*, commitment: Commitment, by: User, version: int | None = None) -> Commitment:
    """Take an entry out of the calendar from now on."""
    _refuse_ended(commitment)
    commitment = change(commitment, version=version, ended_at=clock.now())
    _times_to_come([commitment]).delete()
    return commitment


@transaction.atomic
def extend_times(*, building: Building, until: datetime) -> int:
    """Make the times up to `until` that are not there yet, and say how many; those made before are left alone."""
    lasting = Commitment.objects.of(building).filter(ended_at__isnull=True).select_for_update(no_key=True)
    newest = dict(
        CommitmentTime.objects.of(building)
        .values_list("commitment")
        .annotate(newest=Max("starts_at"))
        .values_list("commitment", "newest")
    )
    made = 0
    for commitment in lasting:
        since = newest.get(commitment.pk) or commitment_made_from()
        made += len(make_times(commitments=[commitment], building=building, since=since, until=until, is_after=True))
    return made


def _times_to_come(commitments: Sequence[Commitment]) -> Any:
    return CommitmentTime.objects.filter(commitment__in=commitments, starts_at__gte=clock.now())


def _as_written(timezone: str, **fields: Any) -> dict[str, Any]:
    """The fields that hold wall-clock times, each time in one spelling; Invalid for what is not one."""
    if timezone not in TIMEZONES:
        raise Invalid(f"“{timezone[:64]}” is not an IANA time zone. Write it like America/New_York.", field="timezone")
    written: dict[str, Any] = {}
    if "starts" in fields:
        written["starts"] = _wall(fields["starts"], timezone, "starts")
    if fields.get("rrule"):
        written["rrule"] = _rule(fields["rrule"])
    elif "rrule" in fields:
        written["rrule"] = ""
    for name in ("rdates", "exdates"):
        if name in fields:
            written[name] = sorted({_wall(moment, timezone, name) for moment in fields[name]})
    if "overrides" in fields:
        written["overrides"] = {
            _wall(wall, timezone, "overrides"): _override(override, timezone)
            for wall, override in fields["overrides"].items()
        }
    return written


def _override(override: Any, timezone: str) -> dict[str, Any] | None:
    if override is None:
        return None
    minutes = override.get("minutes") if isinstance(override, Mapping) else None
    if not isinstance(minutes, int) or not 1 <= minutes <= 60 * 24 * 31:
        raise Invalid(
            "A changed time says its start and its minutes, or is null where it is left out.", field="overrides"
        )
    return {"starts": _wall(override.get("starts"), timezone, "overrides"), "minutes": minutes}


def _rule(rrule: str) -> str:
    try:
        check_rule(rrule)
    except Unfit as unfit:
        raise Invalid(unfit.sentence, field="rrule") from None
    return rrule


def _wall(moment: Any, timezone: str, field: str) -> str:
    try:
        read = moment if isinstance(moment, datetime) else datetime.fromisoformat(moment)
        if read.tzinfo is not None:
            read = read.astimezone(ZoneInfo(timezone)).replace(tzinfo=None)
    except (TypeError, ValueError, OverflowError):
        raise Invalid("That is not a date and time. Write it like 2026-11-30T10:30.", field=field) from None
    return read.isoformat(timespec="seconds")


def _refuse_start(commitment: Commitment) -> None:
    today = clock.now().astimezone(commitment.building.zone).date()
    starts = [commitment.starts, *commitment.rdates]
    starts += [override["starts"] for override in commitment.overrides.values() if override]
    try:
        for start in starts:
            check_start(datetime.fromisoformat(start).date(), today=today)
    except Unfit as unfit:
        raise Invalid(unfit.sentence, field="starts") from None


def _refuse_ended(commitment: Commitment) -> None:
    if commitment.ended_at is not None:
        raise Refused("This entry has been taken out of the calendar. Add a new one.", problem="already-ended")
