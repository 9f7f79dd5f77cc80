"""One line of a residents' file beside what is there: what it would change, or why it cannot be taken."""

from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from program import clock
from program.actions.imports.judged import Judged, Row, differing, row_of, unfit_fields
from program.actions.imports.resident_there import (
    There,
    agreement_values,
    in_words,
    line_values,
    resident_values,
)
from program.actions.prescriptions import LineInput, refusal_of_load
from program.models import Clearance, Prescription, PrescriptionLine, Resident
from program.rules.units import kilograms

# The column of the file that says what a field of ours holds.
COLUMN_OF = {
    "preferred_half": "preferred",
    "sessions_before": "sessions_so_far",
    "enrolled_at": "in_programme_from",
    "help_sixths": "help",
    "escort_people": "escort",
    "key": "person_key",
    "given_by": "cleared_by",
    "credential": "clearance_credential",
    "limits": "clearance_limits",
}
COLUMN_OF_LINE = {
    "load": "load",
    "exercise": "exercise",
    "turns": "turns",
    "pace": "pace",
    "settings": "seat",
    "range_limits": "range",
}


@dataclass(slots=True)
class Compared:
    """The changes of one line so far, what is wrong with it, and what a person should know."""

    changes: list[Row] = field(default_factory=list)
    unfit: list[tuple[str, str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def compare_line(judged: Judged, row: Row, there: There) -> None:
    """Take the line or refuse it."""
    resident, values, found = there.residents.get(row["resident"]), row["values"], Compared()
    if resident is not None and resident.until is not None and resident.until <= clock.now():
        judged.refuse(
            row["line"], "person_key", f"{resident.name} has left. Enrol them again under a key of the new stay."
        )
        return
    if values["resident"]["unit"].casefold() not in there.units:
        found.unfit.append(("unit", f"{there.building.name} has no unit “{values['resident']['unit']}”. Add it first."))
    _fields(found, row, resident, there)
    _agreement(found, values["agreement"], resident, there)
    _clearance(found, values["clearance"], resident, there)
    _plan(found, values["plan"], resident, there)
    for column, sentence in found.unfit:
        judged.refuse(row["line"], column, sentence)
    if not found.unfit:
        name = f"{values['resident']['given_name']} {values['resident']['family_name']}"
        kept = {"resident": row["resident"], "name": name, "values": values}
        judged.rows.append(row_of(row["line"], found.changes, is_new=resident is None, **kept))
        for sentence in found.notes:
            judged.note(row["line"], f"{name}: {sentence}")


def typed(values: dict[str, Any]) -> dict[str, Any]:
    """The values of a resident as the table has them, without the unit."""
    read = dict(values)
    read.pop("unit", None)
    for name in ("date_of_birth", "agreed_on", "given_on", "until_on"):
        if read.get(name):
            read[name] = date.fromisoformat(read[name])
    for name in ("last_session_ended_at", "enrolled_at"):
        if read.get(name):
            read[name] = datetime.fromisoformat(read[name])
    if "recovery_hours" in read:
        read["recovery_hours"] = Decimal(read["recovery_hours"])
    return read


def _fields(found: Compared, row: Row, resident: Resident | None, there: There) -> None:
    values, agreement = row["values"]["resident"], row["values"]["agreement"] or {}
    fields = typed(values | agreement) | {"key": row["resident"]}
    for name, sentence in unfit_fields(Resident(**fields), *fields).items():
        found.unfit.append((COLUMN_OF.get(name, name), sentence))
    if resident is not None:
        found.changes += differing(resident_values(resident), values)
    if values.get("enrolled_at") and not agreement and (resident is None or resident.agreed_on is None):
        found.unfit.append(
            ("agreed_on", "Nobody is in the programme without an agreement. Fill in agreed_on and agreed_by.")
        )
    if resident is None and agreement and not values.get("enrolled_at"):
        found.notes.append("Not in the programme: in_programme_from is empty.")


def _agreement(found: Compared, agreement: dict[str, Any] | None, resident: Resident | None, there: There) -> None:
    if agreement is None or resident is None:
        return
    changes = differing(agreement_values(resident), agreement)
    withdrawn_at = resident.agreement_withdrawn_at
    if withdrawn_at is not None:
        agreed_on = date.fromisoformat(agreement["agreed_on"])
        if not changes or agreed_on < withdrawn_at.astimezone(there.building.zone).date():
            found.notes.append("The agreement was withdrawn; this file does not bring it back.")
            return
        changes.append({"field": "agreement", "was": "withdrawn", "becomes": "agreed again"})
    found.changes += changes


def _clearance(found: Compared, clearance: dict[str, Any] | None, resident: Resident | None, there: There) -> None:
    if clearance is None:
        return
    for name, sentence in unfit_fields(Clearance(**typed(clearance)), *clearance).items():
        found.unfit.append((COLUMN_OF.get(name, name), sentence))
    if resident is None:
        return
    standing = there.clearances.get((resident.pk, clearance["given_by"], clearance["given_on"], clearance["until_on"]))
    if standing is None:
        until = f"{clearance['given_by']}, {clearance['given_on']} to {clearance['until_on']}"
        found.changes.append({"field": "clearance", "was": None, "becomes": until})
    elif standing.withdrawn_at is not None:
        found.notes.append("This clearance was withdrawn; this file does not bring it back.")
    elif (standing.credential, standing.limits) != (clearance["credential"], clearance["limits"]):
        found.unfit.append(
            (
                "clearance_limits",
                "The same clearance is there with another credential or limits. Withdraw it there first.",
            )
        )


def _plan(found: Compared, plan: dict[str, Any], resident: Resident | None, there: There) -> None:
    for number, line in enumerate(plan["lines"], start=1):
        _judge_line(found, number, line, there)
    stations = [line["station"].casefold() for line in plan["lines"]]
    if len(set(stations)) < len(stations):
        found.unfit.append(("station", "A station is in this plan twice. Keep one of the two."))
    standing = None if resident is None else there.plans.get(resident.pk)
    if standing is not None:
        _compare_plan(found, standing, plan, there)
    elif resident is not None and plan["lines"]:
        found.changes.append({"field": "exercise plan", "was": None, "becomes": f"{len(stations)} exercises"})
    elif plan["sessions_a_week"] and not plan["lines"]:
        found.notes.append("No exercise plan: no station is named.")


def _compare_plan(found: Compared, standing: Prescription, plan: dict[str, Any], there: There) -> None:
    was = [line_values(line) for line in standing.lines.all()]
    if plan["lines"]:
        _compare_lines(found, was, plan["lines"])
    if plan["sessions_a_week"] and plan["sessions_a_week"] != standing.sessions_a_week:
        if not plan["lines"] and any(line["station"].casefold() not in there.stations for line in was):
            found.unfit.append(("sessions_a_week", "The plan uses a station that is gone. Write the whole plan anew."))
        change = {"was": standing.sessions_a_week, "becomes": plan["sessions_a_week"]}
        found.changes.append({"field": "sessions_a_week", **change})


def _compare_lines(found: Compared, was: list[Row], becomes: list[Row]) -> None:
    before = {(line["station"], line["exercise"]): in_words(line) for line in was}
    after = {(line["station"], line["exercise"]): in_words(line) for line in becomes}
    for station, exercise in [*before, *(key for key in after if key not in before)]:
        old, new = before.get((station, exercise)), after.get((station, exercise))
        if old != new:
            found.changes.append({"field": f"{station}, {exercise}", "was": old, "becomes": new})
    if list(before) != list(after) and set(before) == set(after):
        order = {"was": [station for station, _ in before], "becomes": [station for station, _ in after]}
        found.changes.append({"field": "order of stations", **order})


def _judge_line(found: Compared, number: int, line: Row, there: There) -> None:
    station = there.stations.get(line["station"].casefold())
    if station is None:
        found.unfit.append((f"station {number}", f"The building has no station “{line['station']}”. Add it first."))
        return
    if not 1 <= line["turns"] <= 5:
        found.unfit.append((f"turns {number}", "A station is used for one to five turns."))
    load = Decimal(line["load"])
    if sentence := refusal_of_load(station, load=load, load_unit=line["load_unit"]):
        found.unfit.append((f"load {number}", sentence))
        return
    fields = {name: value for name, value in line.items() if name != "station"}
    entry = PrescriptionLine(**(fields | {"load": load, "load_kg": kilograms(load, line["load_unit"])}))
    for name, sentence in unfit_fields(entry, *fields).items():
        found.unfit.append((f"{COLUMN_OF_LINE.get(name, name)} {number}", sentence))


def line_inputs(lines: list[Row], there: There) -> list[LineInput]:
    return [
        LineInput(**(line | {"station": there.stations[line["station"].casefold()], "load": Decimal(line["load"])}))
        for line in lines
    ]
