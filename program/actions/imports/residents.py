"""Residents from a table: compared with those of the building by key, new ones written in bulk."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F

from program import clock
from program.actions.imports.judged import Judged, Row
from program.actions.imports.resident_comparing import compare_line, line_inputs, typed
from program.actions.imports.resident_there import There, line_values, look_up
from program.actions.imports.resident_values import values_of, written_cells
from program.actions.locks import lock_persons
from program.actions.prescriptions import plan_lines
from program.actions.refusing import refusing_what_the_database_refuses
from program.actions.residents import follow_recovery
from program.importing.exercise_lines import StationFact
from program.importing.residents import judge as judge_table
from program.importing.tables import read_table
from program.models import (
    Building,
    Clearance,
    Person,
    Prescription,
    PrescriptionLine,
    Resident,
    Station,
    Unit,
    User,
)
from program.rules.errors import Refused

# Where a file names exercises and not how often.
SESSIONS_A_WEEK = 2


def judge(content: bytes, file_name: str, *, building: Building) -> Judged:
    """Raises Unreadable."""
    table = read_table(content, file_name)
    stations = Station.objects.of(building).filter(retired_at__isnull=True)
    read = judge_table(
        table,
        timezone=building.timezone,
        stations=[StationFact(row.name, row.load_unit, row.load_step, row.exercise) for row in stations],
        units=list(Unit.objects.of(building).values_list("name", flat=True)),
        today=clock.now().astimezone(building.zone).date(),
    )
    cells = written_cells(table)
    rows = [
        {"line": row.line, "resident": row.person_key, "values": values_of(row, cells[row.line], building)}
        for row in read.rows
    ]
    judged = compare(building, rows)
    for refusal in read.refusals:
        judged.refuse(refusal.line, refusal.field, refusal.sentence)
    judged.refusals.sort(key=lambda refusal: refusal["line"])
    return judged


def compare(building: Building, rows: Sequence[Row]) -> Judged:
    """What these rows would change, as things stand."""
    there, judged = look_up(building, {row["resident"] for row in rows}), Judged()
    for row in rows:
        compare_line(judged, row, there)
    return judged


def apply(judged: Judged, *, building: Building, by: User) -> None:
    """Write what is new or changed. Refused naming the first line that the database does not take."""
    there = look_up(building, {row["resident"] for row in judged.rows if "values" in row})
    lock_persons(person_ids=[resident.person_id for resident in there.residents.values()])
    new = [row for row in judged.rows if row["what"] == "new"]
    changed = [row for row in judged.rows if row["what"] == "changed"]
    _enrol_all(new, there, by)
    for row in changed:
        with _naming_the_line(row):
            _change(row, there, by)


def _enrol_all(rows: Sequence[Row], there: There, by: User) -> None:
    """All at once; where the database refuses that, one by one until the line is found."""
    try:
        with transaction.atomic():
            _enrol(rows, there, by)
    except IntegrityError:
        for row in rows:
            with _naming_the_line(row):
                _enrol([row], there, by)


@contextmanager
def _naming_the_line(row: Row) -> Iterator[None]:
    try:
        with refusing_what_the_database_refuses():
            yield
    except Refused as refusal:
        sentence = f"Line {row['line']}: {refusal.sentence} Nothing of the file was written."
        raise Refused(sentence, problem=refusal.problem, details={"line": row["line"]}) from None


def _enrol(rows: Sequence[Row], there: There, by: User) -> None:
    now, building = clock.now(), there.building
    persons = Person.objects.bulk_create([Person() for _ in rows])
    residents = Resident.objects.bulk_create(
        [_resident(row, there, person) for row, person in zip(rows, persons, strict=True)]
    )
    Clearance.objects.bulk_create(
        Clearance(
            building=building, resident=resident, entered_by=by, entered_at=now, **typed(row["values"]["clearance"])
        )
        for row, resident in zip(rows, residents, strict=True)
        if row["values"]["clearance"]
    )
    planned = [
        (row["values"]["plan"], resident)
        for row, resident in zip(rows, residents, strict=True)
        if row["values"]["plan"]["lines"]
    ]
    plans = Prescription.objects.bulk_create(
        Prescription(
            building=building,
            resident=resident,
            number=1,
            sessions_a_week=plan["sessions_a_week"] or SESSIONS_A_WEEK,
            entered_by=by,
            entered_at=now,
        )
        for plan, resident in planned
    )
    PrescriptionLine.objects.bulk_create(
        line
        for row, (values, _) in zip(plans, planned, strict=True)
        for line in plan_lines(row, line_inputs(values["lines"], there))
    )


def _resident(row: Row, there: There, person: Person) -> Resident:
    fields = typed(row["values"]["resident"]) | typed(row["values"]["agreement"] or {})
    fields |= _recovered(fields)
    return Resident(
        building=there.building,
        person=person,
        key=row["resident"],
        unit=there.units[row["values"]["resident"]["unit"].casefold()],
        since=fields.get("enrolled_at") or clock.now(),
        **fields,
    )


def _recovered(fields: dict[str, Any], resident: Resident | None = None) -> dict[str, Any]:
    """The end of recovery that follows from the last session before this service, where the file speaks of either."""
    if not {"last_session_ended_at", "recovery_hours"} & set(fields):
        return {}
    ended_at = fields.get("last_session_ended_at") or (resident and resident.last_session_ended_at)
    if not ended_at:
        return {}
    hours = fields.get("recovery_hours") or (resident.recovery_hours if resident else 48)
    return {"recovered_at": ended_at + timedelta(hours=float(hours))}


def _change(row: Row, there: There, by: User) -> None:
    resident, values = there.residents[row["resident"]], row["values"]
    is_changed = {entry["field"] for entry in row["changes"]}
    fields = {
        name: value
        for name, value in typed(values["resident"] | (values["agreement"] or {})).items()
        if name in is_changed
    }
    if "unit" in is_changed:
        fields["unit"] = there.units[values["resident"]["unit"].casefold()]
    if "agreement" in is_changed:
        fields["agreement_withdrawn_at"] = None
    fields |= _recovered(fields, resident)
    if fields:
        # Judged by the database alone, which asks once where full_clean asks twenty times. The person is locked.
        Resident.objects.filter(pk=resident.pk).update(version=F("version") + 1, **fields)
        resident.refresh_from_db()
    if "recovery_hours" in fields:
        follow_recovery(resident=resident)
    if "clearance" in is_changed:
        Clearance.objects.create(
            building=there.building,
            resident=resident,
            entered_by=by,
            entered_at=clock.now(),
            **typed(values["clearance"]),
        )
    _change_plan(resident, values["plan"], is_changed - set(fields) - {"clearance", "agreement"}, there, by)


def _change_plan(resident: Resident, asked: dict[str, Any], is_changed: set[str], there: There, by: User) -> None:
    if not is_changed:
        return
    standing = there.plans.get(resident.pk)
    lines, sessions_a_week = asked["lines"], asked["sessions_a_week"]
    if standing is not None:
        lines = lines or [line_values(line) for line in standing.lines.all()]
        sessions_a_week = sessions_a_week or standing.sessions_a_week
    plan = Prescription.objects.create(
        building=there.building,
        resident=resident,
        number=standing.number + 1 if standing else 1,
        sessions_a_week=sessions_a_week or SESSIONS_A_WEEK,
        entered_by=by,
        entered_at=clock.now(),
    )
    PrescriptionLine.objects.bulk_create(plan_lines(plan, line_inputs(lines, there)))
