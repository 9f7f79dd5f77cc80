"""Reading a building as it stood at one moment: a fixed number of queries, in a transaction that cannot write."""

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.db import connection, transaction
from django.db.models import Q

from program.models import (
    Audit,
    Building,
    Closure,
    Hold,
    Prescription,
    PrescriptionLine,
    Record,
    Resident,
    Session,
    Set,
)
from program.models.scoped import set_scope
from program.rules.late_entry import late_entry
from program.rules.lines import DoneSet, Line, what_happened
from reports.figures import Closed, Facts, Pause, Plan, PlannedLine, Reason, Stay, Visit
from reports.periods import Period

# Transactions that have written something and may still commit it; of our own role, for others never write figures.
UNFINISHED = """
SELECT count(*) FROM pg_stat_activity
 WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_xid IS NOT NULL AND xact_start <= %s
"""

# Of each kind of row, the columns that figures read and that may change; everything else of it is written once.
CHANGING = {
    "session": ("starts_at", "ends_at", "day_closes_at", "prescription_id", "left_out", "is_too_soon"),
    "resident": ("since", "until", "enrolled_at", "agreement_withdrawn_at", "help_sixths", "unit_id"),
    "hold": ("starts_at", "ends_at"),
    "closure": ("starts_at", "ends_at", "reason", "unit_id", "station_id"),
    "building": ("grace_minutes",),
}
INSTANTS = {"starts_at", "ends_at", "day_closes_at", "since", "until", "enrolled_at", "agreement_withdrawn_at"}
# So far before a period a building's days are read that tell whether it has stopped: twelve with two a week and a
# closed fortnight, common practice, no source.
LOOKS_BACK_DAYS = 28
# What somebody wrote about what happened; publishing, moving and withdrawing are written as they are done.
TOLD = frozenset({"started", "ended", "attempt", "given up"})

Row = dict[str, Any]


def unfinished_writes(moment: datetime) -> int:
    """How many transactions that began by `moment` may still write something that counts as entered by then."""
    with connection.cursor() as cursor:
        cursor.execute(UNFINISHED, [moment])
        (count,) = cursor.fetchone()
    return int(count)


@contextmanager
def reading(building: Building) -> Iterator[None]:
    """A transaction over one building in which nothing can be written.

    All its queries see the same moment: what is changed between two of them would be missing from both. Within
    another transaction, which may have read already, each sees what is committed by then.
    """
    is_whole = not connection.in_atomic_block
    with transaction.atomic():
        with connection.cursor() as cursor:
            # The first statement, before the scope: no other may come before the level of isolation.
            cursor.execute(f"SET TRANSACTION {'ISOLATION LEVEL REPEATABLE READ, ' if is_whole else ''}READ ONLY")
        # The trail of the building's own row shows to administrators only, for it belongs to no building.
        set_scope([building.pk], user_id=None, is_administration=True)
        yield


@dataclass(frozen=True, slots=True)
class Trail:
    """What the audit trail says has changed after a moment: how the rows stood at it, and which were not there yet."""

    before: Mapping[tuple[str, int], Row]
    added: frozenset[tuple[str, int]]

    def changed(self, noun: str) -> list[int]:
        return [key for name, key in self.before if name == noun]

    def as_it_stood(self, noun: str, rows: Iterable[Row]) -> list[Row]:
        return [row | self.before.get((noun, row["id"]), {}) for row in rows if (noun, row["id"]) not in self.added]


def facts_of(building: Building, period: Period, as_of: datetime) -> Facts:
    """Everything that the figures need, as it stood at `as_of`. To be called within `reading`."""
    zone = building.zone
    start, end = period.starts_at(zone), period.ends_at(zone)
    trail = _trail_after(building, as_of)
    since = (datetime.combine(period.first_on, time(), zone) - timedelta(days=LOOKS_BACK_DAYS)).astimezone(UTC)
    visits = tuple(_visits(building, since, end, as_of, trail))
    trained = {visit.resident for visit in visits}
    building_then = trail.before.get(("building", building.pk), {})
    before = Session.objects.of(building).filter(published_at__lte=as_of, starts_at__lt=start)
    return Facts(
        period=period,
        zone=zone,
        as_of=as_of,
        grace=timedelta(minutes=building_then.get("grace_minutes", building.grace_minutes)),
        visits=tuple(visit for visit in visits if visit.starts_at >= start),
        earlier=tuple(visit for visit in visits if visit.starts_at < start),
        stays=tuple(_stays(building, (since, start, end), as_of, trail, trained)),
        closures=tuple(_closures(building, as_of, trail)),
        has_begun_before=before.exists(),
    )


def _trail_after(building: Building, as_of: datetime) -> Trail:
    """The first change after `as_of` of each column keeps how it stood; earlier changes are part of it."""
    changes = (
        Audit.objects.filter(
            Q(building_id=building.pk, noun__in=CHANGING)
            | Q(building_id__isnull=True, noun="building", row_id=str(building.pk)),
            happened_at__gt=as_of,
        )
        .filter(Q(action="insert") | Q(before__has_any_keys=sorted({name for of in CHANGING.values() for name in of})))
        # As they were written, one after the other: two that overlap may tell their moments the other way round.
        .order_by("pk")
        .values_list("noun", "row_id", "action", "before")
    )
    stood: dict[tuple[str, int], Row] = defaultdict(dict)
    added = set()
    for noun, row_id, action, before in changes:
        key = noun, int(row_id)
        if action == "insert":
            added.add(key)
            continue
        for name in CHANGING[noun]:
            if before and name in before:
                stood[key].setdefault(name, _typed(name, before[name]))
    return Trail(stood, frozenset(added))


def _typed(name: str, value: Any) -> Any:
    """An instant in the trail is text, as PostgreSQL writes it into JSON."""
    return datetime.fromisoformat(value) if name in INSTANTS and value is not None else value


def _visits(building: Building, start: datetime, end: datetime, as_of: datetime, trail: Trail) -> Iterator[Visit]:
    candidates = Session.objects.of(building).filter(
        Q(starts_at__gte=start, starts_at__lt=end) | Q(pk__in=trail.changed("session"))
    )
    named = candidates.values("id", "resident_id", "published_at", *CHANGING["session"])
    rows = [
        row
        for row in trail.as_it_stood("session", named)
        if start <= row["starts_at"] < end and (row["published_at"] is None or row["published_at"] <= as_of)
    ]
    keys = [row["id"] for row in rows]
    records = _by_session(
        Record.objects.of(building)
        .as_of(as_of)
        .filter(session__in=keys)
        .values("session_id", "kind", "happened_at", "entered_at", "reason", "reason_class")
    )
    sets = _by_session(
        Set.objects.of(building)
        .as_of(as_of)
        .filter(session__in=keys)
        .values("session_id", "ended_at", "entered_at", "seconds", "load_kg", "repetitions")
    )
    planned = _planned(building, {row["prescription_id"] for row in rows})
    for row in rows:
        yield _visit(row, records[row["id"]], sets[row["id"]], planned[row["prescription_id"]])


def _visit(row: Row, records: list[Row], sets: list[Row], planned: list[PlannedLine]) -> Visit:
    told = [(line["happened_at"], line["entered_at"]) for line in records if line["kind"] in TOLD]
    told += [(done["ended_at"], done["entered_at"]) for done in sets]
    return Visit(
        key=row["id"],
        resident=row["resident_id"],
        starts_at=row["starts_at"],
        ends_at=row["ends_at"],
        day_closes_at=row["day_closes_at"],
        is_published=row["published_at"] is not None,
        happened=what_happened(
            [Line(line["kind"], line["happened_at"]) for line in records],
            [DoneSet(done["ended_at"], done["seconds"]) for done in sets],
        ),
        reasons=tuple(
            Reason(line["kind"], line["happened_at"], line["reason"], line["reason_class"])
            for line in records
            if line["reason"]
        ),
        planned=tuple(planned),
        left_out=frozenset(row["left_out"]),
        kilograms_done=sum((done["load_kg"] * done["repetitions"] for done in sets), start=Decimal(0)),
        is_too_soon=row["is_too_soon"],
        is_late_entry=any(late_entry(happened_at, entered_at) for happened_at, entered_at in told),
    )


def _by_session(rows: Iterable[Row]) -> dict[int, list[Row]]:
    found: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        found[row["session_id"]].append(row)
    return found


def _planned(building: Building, prescriptions: set[int]) -> dict[int, list[PlannedLine]]:
    lines = PrescriptionLine.objects.of(building).filter(prescription__in=prescriptions)
    found: dict[int, list[PlannedLine]] = defaultdict(list)
    for prescription, station, load_kg, repetitions in lines.values_list(
        "prescription_id", "station_id", "load_kg", "repetitions_most"
    ):
        found[prescription].append(PlannedLine(station, load_kg * repetitions))
    return found


def _stays(
    building: Building,
    span: tuple[datetime, datetime, datetime],
    as_of: datetime,
    trail: Trail,
    planned_for: Container[int],
) -> Iterator[Stay]:
    """Of those who were there in the period, or for whom a session was planned that they may have left before."""
    since, start, end = span
    named = Resident.objects.of(building).values("id", *CHANGING["resident"])
    rows = [
        row
        for row in trail.as_it_stood("resident", named)
        if row["id"] in planned_for or _touches(row["since"], row["until"], start, end)
    ]
    plans: dict[int, list[Plan]] = defaultdict(list)
    versions = Prescription.objects.of(building).filter(entered_at__lte=as_of)
    for resident, number, entered_at, a_week in versions.values_list(
        "resident_id", "number", "entered_at", "sessions_a_week"
    ):
        plans[resident].append(Plan(number, entered_at, a_week))
    pauses = _pauses(building, since, end, as_of, trail)
    for row in rows:
        key = row.pop("id")
        yield Stay(key=key, plans=tuple(plans[key]), pauses=tuple(pauses[key]), **row)


def _pauses(
    building: Building, start: datetime, end: datetime, as_of: datetime, trail: Trail
) -> dict[int, list[Pause]]:
    named = Hold.objects.of(building).filter(set_at__lte=as_of).values("id", "resident_id", "set_at", *CHANGING["hold"])
    found: dict[int, list[Pause]] = defaultdict(list)
    for row in trail.as_it_stood("hold", named):
        if _touches(row["starts_at"], row["ends_at"], start, end):
            found[row["resident_id"]].append(Pause(row["starts_at"], row["ends_at"], row["set_at"]))
    return found


def _closures(building: Building, as_of: datetime, trail: Trail) -> Iterator[Closed]:
    named = Closure.objects.of(building).filter(entered_at__lte=as_of).values("id", *CHANGING["closure"])
    for row in trail.as_it_stood("closure", named.order_by("starts_at", "pk")):
        what = "unit" if row["unit_id"] else "station" if row["station_id"] else "building"
        yield Closed(row["reason"], what, row["starts_at"], row["ends_at"], row["unit_id"])


def _touches(starts_at: datetime, ends_at: datetime | None, start: datetime, until: datetime) -> bool:
    return starts_at < until and (ends_at is None or ends_at > start)
