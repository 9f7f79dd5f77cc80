"""Files for imports, judged and applied."""

import csv
import io
from pathlib import Path

from program.actions.imports import apply_import, judge_file
from program.models import (
    Building,
    Clearance,
    Commitment,
    CommitmentTime,
    Prescription,
    PrescriptionLine,
    Resident,
    Role,
    Shift,
    Unit,
)

MOST_BYTES = 100_000
FILES = Path(__file__).parents[3] / "data" / "arrowfen"


def started(administrator, content=None):
    content = content or (FILES / "building.xlsx").read_bytes()
    judged = judge_file(kind="building", content=content, file_name="building.xlsx", by=administrator)
    return apply_import(imported=judged, by=administrator, version=1).building


def judge(building, by, name, content=None, **fields):
    kind = "calendars" if name.endswith(".ics") else "residents"
    content = (FILES / name).read_bytes() if content is None else content
    return judge_file(kind=kind, content=content, file_name=name, by=by, building=building, **fields)


def taken(building, by, name, content=None):
    return apply_import(imported=judge(building, by, name, content), by=by)


def residents_table(*rows):
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(dict.fromkeys(name for row in rows for name in row)))
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


ANSGAR = {
    "person_key": "Z-1",
    "given_name": "Ansgar",
    "family_name": "Fenwright",
    "date_of_birth": "1938-04-17",
    "unit": "Heron wing",
    "help": "one helps three",
}


def all_rows():
    kinds = (
        Building,
        Clearance,
        Commitment,
        CommitmentTime,
        Prescription,
        PrescriptionLine,
        Resident,
        Role,
        Shift,
        Unit,
    )
    return {kind.__name__: kind.objects.count() for kind in kinds}


def counts(new=0, changed=0, unchanged=0, refused=0):
    return {"new": new, "changed": changed, "unchanged": unchanged, "refused": refused}
