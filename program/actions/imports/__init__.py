"""Files from outside: judged row by row against what is there, and applied whole once somebody says so."""

from hashlib import sha256
from typing import Any

from django.db import transaction
from django.db.models import F

from program import clock
from program.actions.imports import building as buildings
from program.actions.imports import calendars, residents
from program.actions.imports.judged import Judged
from program.actions.locks import lock_plan
from program.importing.refusals import Unreadable
from program.models import Building, Import, User
from program.rules.errors import Invalid, Refused, Stale

LONGEST_FILE_NAME = 120


@transaction.atomic
def judge_file(
    *,
    kind: str,
    content: bytes,
    file_name: str,
    by: User,
    building: Building | None = None,
    person_key: str | None = None,
) -> Import:
    """Read a file and compare it with what is there; nothing of it is written. Refused where it cannot be read at all.

    `building` is None for the workbook that starts one; `person_key` says whose calendar it is where the file does not.
    """
    if kind not in Import.Kind.values:
        raise Invalid(f"Choose what the file holds: {', '.join(Import.Kind.values)}.", field="kind")
    if (kind == Import.Kind.BUILDING) != (building is None):
        raise Invalid(
            "Name the building of this file; a workbook that starts a building has none yet.", field="building"
        )
    try:
        judged = _judged(kind, content, file_name, building, person_key or "")
    except Unreadable as unreadable:
        raise Refused(unreadable.sentence, problem="unreadable-file") from None
    # Not judged by full_clean: a file without refusals is a sound one, and an empty list would be refused there.
    return Import.objects.create(
        building=building,
        kind=kind,
        file_name=file_name[-LONGEST_FILE_NAME:],
        sha256=sha256(content).hexdigest(),
        rows=judged.rows,
        refusals=judged.refusals,
        counts=judged.counts,
        entered_by=by,
        entered_at=clock.now(),
    )


@transaction.atomic
def apply_import(*, imported: Import, by: User, version: int | None = None) -> Import:
    """Write all that was not refused, or nothing; Refused “judge-again” where what is there has changed meanwhile."""
    imported = Import.objects.select_for_update().get(pk=imported.pk)
    if version is not None and version != imported.version:
        raise Stale("Somebody else has applied or judged this file.", current_version=imported.version)
    if imported.state == Import.State.APPLIED:
        raise Refused(
            "This file has been applied already. Send it again to see what is new in it.", problem="already-applied"
        )
    building = imported.building
    if building is None:
        building = buildings.apply(imported, by=by)
    else:
        lock_plan(building=building)
        reading = residents if imported.kind == Import.Kind.RESIDENTS else calendars
        again = reading.compare(building, [row for row in imported.rows if "values" in row])
        _refuse_unless_same(imported, again)
        reading.apply(again, building=building, by=by)
    Import.objects.filter(pk=imported.pk).update(
        state=Import.State.APPLIED,
        building=building,
        applied_at=clock.now(),
        applied_by=by,
        version=F("version") + 1,
    )
    imported.refresh_from_db()
    return imported


def _judged(kind: str, content: bytes, file_name: str, building: Building | None, person_key: str) -> Judged:
    if building is None:
        return buildings.judge(content, file_name)
    if kind == Import.Kind.RESIDENTS:
        return residents.judge(content, file_name, building=building)
    return calendars.judge(content, building=building, person_key=person_key)


def _refuse_unless_same(imported: Import, again: Judged) -> None:
    before: list[dict[str, Any]] = Judged(rows=imported.rows).outcome()
    if before != again.outcome() or again.refusals:
        raise Refused(
            "What is in the service has changed since this file was read. Send it again and look at the new preview.",
            problem="judge-again",
        )
