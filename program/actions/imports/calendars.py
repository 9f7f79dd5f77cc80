"""Calendars from an iCalendar file: each entry beside the one of the same UID in the resident's calendar."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from program import clock
from program.actions.calendars import ENTERED_HERE, change_commitment, end_commitment
from program.actions.commitment_times import make_times, planned_times
from program.actions.imports.judged import Judged, Row, differing, row_of, unfit_fields
from program.importing.calendars import CommitmentRow, read_calendar
from program.importing.recurrence import Recurrence
from program.importing.refusals import Unreadable
from program.models import Building, Commitment, Resident, User
from program.rules.errors import Invalid

FIELDS = (
    *("kind", "title", "is_movable", "starts", "timezone", "is_all_day", "minutes", "rrule", "rdates", "exdates"),
    "overrides",
)
LONGEST_TITLE = 120
# Together, over 400 days: several times what a building of 150 residents has.
MOST_TIMES = 300_000


def judge(content: bytes, *, building: Building, person_key: str) -> Judged:
    """Raises Unreadable. An entry of nobody in the building is refused."""
    today = clock.now().astimezone(building.zone).date()
    calendar = read_calendar(content, timezone=building.timezone, today=today, person_key=person_key)
    judged = compare(building, [_row(row, building) for row in calendar.rows])
    for refusal in calendar.refusals:
        judged.refuse(refusal.line, refusal.field, refusal.sentence)
    judged.refusals.sort(key=lambda refusal: refusal["line"])
    for note in calendar.notes:
        judged.note(note.line, note.sentence)
    _note_absent(judged, building)
    return judged


def compare(building: Building, rows: Sequence[Row]) -> Judged:
    """What these rows would change, as things stand."""
    keys = {row["resident"] for row in rows}
    residents = {resident.key: resident for resident in Resident.objects.of(building).filter(key__in=keys)}
    there = {
        (commitment.resident_id, commitment.uid): commitment
        for commitment in Commitment.objects.of(building).filter(resident__in=residents.values(), ended_at__isnull=True)
    }
    judged, times = Judged(), 0
    now = clock.now()
    for row in rows:
        resident = residents.get(row["resident"])
        if resident is None or (resident.until is not None and resident.until <= now):
            judged.refuse(
                row["line"],
                "resident",
                f"{building.name} has no resident “{row['resident'][:40]}”. Enrol them first.",
            )
            continue
        commitment = there.get((resident.pk, row["uid"]))
        compared = _compared(row, commitment)
        times += _take(judged, compared, resident, building)
        if times > MOST_TIMES:
            raise Unreadable(f"The calendar has more than {MOST_TIMES:,} times in a year. Split the file.")
    return judged


def apply(judged: Judged, *, building: Building, by: User) -> None:
    """Write what is new or changed; entries that were confirmed on an earlier day are confirmed again."""
    residents = {resident.key: resident for resident in Resident.objects.of(building)}
    today = clock.now().astimezone(building.zone).date()
    there = {
        (commitment.resident_id, commitment.uid): commitment
        for commitment in Commitment.objects.of(building).filter(ended_at__isnull=True)
    }
    added, confirmed = [], []
    for row in judged.rows:
        resident = residents[row["resident"]]
        commitment = there.get((resident.pk, row["uid"]))
        if row["what"] == "new":
            added.append(_commitment(row, resident, last_confirmed_on=today))
        elif commitment is not None and row["is_cancelled"]:
            end_commitment(commitment=commitment, by=by)
        elif commitment is not None and row["what"] == "changed":
            change_commitment(commitment=commitment, by=by, last_confirmed_on=today, **row["values"])
        elif commitment is not None and commitment.last_confirmed_on < today:
            confirmed.append(commitment.pk)
    Commitment.objects.bulk_create(added)
    make_times(commitments=added, building=building)
    Commitment.objects.filter(pk__in=confirmed).update(last_confirmed_on=today)


def _row(row: CommitmentRow, building: Building) -> Row:
    return {
        "line": row.line,
        "resident": row.person_key,
        "uid": row.uid,
        "is_cancelled": row.is_cancelled,
        "values": {
            "kind": row.kind,
            # A long title is cut rather than its time left free.
            "title": row.title if len(row.title) <= LONGEST_TITLE else f"{row.title[: LONGEST_TITLE - 1]}…",
            "is_movable": row.is_movable,
            **_times(row.times, building),
        },
    }


def _times(times: Recurrence, building: Building) -> dict[str, Any]:
    return {
        "starts": _wall(times.starts),
        "timezone": times.timezone or building.timezone,
        "is_all_day": times.is_all_day,
        "minutes": _minutes(times.days, times.length),
        "rrule": times.rrule,
        "rdates": [_wall(moment) for moment in times.extra],
        "exdates": [_wall(moment) for moment in times.left_out],
        "overrides": {
            _wall(change.recurrence): None
            if change.starts is None
            else {"starts": _wall(change.starts), "minutes": _minutes(change.days, change.length)}
            for change in times.changed
        },
    }


def _wall(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds")


def _minutes(days: int, length: timedelta) -> int:
    """Whole minutes; a part of one is kept free too."""
    return days * 1440 + -(-length // timedelta(minutes=1))


def _compared(row: Row, commitment: Commitment | None) -> Row:
    kept = {name: row[name] for name in ("resident", "uid", "is_cancelled", "values")}
    if row["is_cancelled"]:
        changes = [] if commitment is None else [{"field": "calendar", "was": "in it", "becomes": "cancelled"}]
        return row_of(row["line"], changes, is_new=False, **kept)
    if commitment is None:
        return row_of(row["line"], [], is_new=True, **kept)
    was = {name: getattr(commitment, name) for name in FIELDS}
    return row_of(row["line"], differing(was, row["values"]), is_new=False, **kept)


def _take(judged: Judged, row: Row, resident: Resident, building: Building) -> int:
    """Take the row or refuse it; how many times it has, where they will be made."""
    if row["what"] == "unchanged" or row["is_cancelled"]:
        judged.rows.append(row)
        return 0
    entry = _commitment(row, resident)
    for name, sentence in unfit_fields(entry, *FIELDS).items():
        judged.refuse(row["line"], name, sentence)
        return 0
    if not 1 <= entry.minutes <= 60 * 24 * 31:
        judged.refuse(row["line"], "DTEND", "A commitment takes from one minute to 31 days. Correct its end.")
        return 0
    try:
        times = planned_times(entry, building)
    except Invalid as invalid:
        judged.refuse(row["line"], "RRULE", invalid.sentence)
        return 0
    judged.rows.append(row)
    return len(times)


def _commitment(row: Row, resident: Resident, **more: Any) -> Commitment:
    return Commitment(building_id=resident.building_id, resident=resident, uid=row["uid"], **row["values"], **more)


def _note_absent(judged: Judged, building: Building) -> None:
    """Entries that an earlier file had and this one has not: a person must say whether they are over."""
    uids: dict[str, set[str]] = {}
    for row in judged.rows:
        if "uid" in row:
            uids.setdefault(row["resident"], set()).add(row["uid"])
    standing = Commitment.objects.of(building).filter(resident__key__in=uids, ended_at__isnull=True)
    for commitment in standing.exclude(uid__endswith=ENTERED_HERE).select_related("resident").order_by("pk"):
        if commitment.uid not in uids[commitment.resident.key]:
            name = commitment.title or commitment.kind
            judged.note(
                0,
                f"“{name}” of {commitment.resident.name} is not in this file. It stays; end it if it is over.",
                resident=commitment.resident.key,
                commitment=commitment.pk,
            )
