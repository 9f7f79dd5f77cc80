"""Residents, their agreements, clearances and exercise plans, from a table to rows that can be written or refused."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import partial
from typing import Any, Final
from zoneinfo import ZoneInfo

from program.importing import cells
from program.importing.exercise_lines import PlanLine, StationFact, plan_lines
from program.importing.judging import RowJudge, header_refusals, row_judge
from program.importing.refusals import RowRefusal, Unfit
from program.importing.resident_columns import COLUMNS, ESCORTS, HALVES, HELP_SIXTHS, all_names
from program.importing.tables import Table

LEAST_RECOVERY_HOURS: Final = Decimal(48)
MOST_HELPER_NOTES: Final = 6
_short = partial(cells.text, longest=80)


@dataclass(frozen=True, slots=True)
class Agreement:
    agreed_on: date
    agreed_by: str
    authority: str


@dataclass(frozen=True, slots=True)
class ClearanceGiven:
    cleared_by: str
    credential: str
    cleared_on: date
    cleared_until: date
    limits: str


@dataclass(frozen=True, slots=True)
class ResidentRow:
    """One resident as the file has them. `help_sixths` counts sixths of one member of staff; instants are UTC."""

    line: int
    person_key: str
    given_name: str
    family_name: str
    date_of_birth: date
    unit: str
    room: str
    bed: str
    help_sixths: int
    escort: str
    escort_minutes: int
    helper_notes: tuple[str, ...]
    in_programme_from: date | None
    agreement: Agreement | None
    clearance: ClearanceGiven | None
    sessions_a_week: int | None
    recovery_hours: Decimal
    last_session_ended_at: datetime | None
    sessions_so_far: int
    preferred: str
    plan: tuple[PlanLine, ...]


@dataclass(frozen=True, slots=True)
class JudgedResidents:
    """Every line of the file is either among `rows` or has at least one refusal."""

    rows: tuple[ResidentRow, ...]
    refusals: tuple[RowRefusal, ...]


@dataclass(frozen=True, slots=True)
class _Known:
    timezone: ZoneInfo
    stations: Sequence[StationFact]
    units: Sequence[str]
    today: date


def judge(
    table: Table, *, timezone: str, stations: Sequence[StationFact], units: Sequence[str], today: date
) -> JudgedResidents:
    """Judge all rows. `units` and `stations` are what the building has; empty ones are not checked against."""
    names = all_names()
    required = [column.name for column in COLUMNS if column.is_required]
    if refusals := header_refusals(table, allowed=names, required=required):
        return JudgedResidents((), tuple(refusals))
    known = _Known(ZoneInfo(timezone), stations, units, today)
    rows: list[ResidentRow] = []
    lines_by_key: dict[str, int] = {}
    for row in table.rows:
        judging = row_judge(table, row, names)
        _refuse_repeated_key(judging, lines_by_key)
        resident = _resident(judging, known)
        refusals.extend(judging.refusals)
        if not judging.refusals and resident is not None:
            rows.append(resident)
    return JudgedResidents(tuple(rows), tuple(refusals))


def _refuse_repeated_key(judging: RowJudge, lines_by_key: dict[str, int]) -> None:
    key = judging.written("person_key")
    if key in lines_by_key:
        judging.refuse(
            "person_key", f"This person_key is already on line {lines_by_key[key]}. Give each person one line."
        )
    elif key:
        lines_by_key[key] = judging.line


def _resident(judging: RowJudge, known: _Known) -> ResidentRow | None:
    key = judging.need("person_key", partial(cells.text, longest=64))
    given, family = judging.need("given_name", _short), judging.need("family_name", _short)
    born = judging.need("date_of_birth", partial(_past_day, today=known.today))
    unit = judging.need("unit", partial(cells.one_of, choices=known.units) if known.units else _short)
    help_needed = judging.need("help", partial(cells.one_of, choices=HELP_SIXTHS))
    optional = _optional(judging, known)
    if key is None or given is None or family is None or born is None or unit is None or help_needed is None:
        return None
    return ResidentRow(
        line=judging.line,
        person_key=key,
        given_name=given,
        family_name=family,
        date_of_birth=born,
        unit=unit,
        help_sixths=HELP_SIXTHS[help_needed],
        **optional,
    )


def _optional(judging: RowJudge, known: _Known) -> dict[str, Any]:
    """Everything that may be left empty, with what an empty cell means."""
    escort, escort_minutes = _escort(judging)
    agreement, from_on = _agreement(judging, known.today)
    return {
        "room": judging.read("room", _short) or "",
        "bed": judging.read("bed", _short) or "",
        "escort": escort,
        "escort_minutes": escort_minutes,
        "helper_notes": judging.read("helper_notes", _helper_notes) or (),
        "in_programme_from": from_on,
        "agreement": agreement,
        "clearance": _clearance(judging, known.today),
        "sessions_a_week": judging.read("sessions_a_week", partial(cells.whole, least=1, most=3)),
        "recovery_hours": judging.read("recovery_hours", _recovery_hours) or LEAST_RECOVERY_HOURS,
        "last_session_ended_at": judging.read("last_session_ended_at", partial(_past_moment, known=known)),
        "sessions_so_far": judging.read("sessions_so_far", partial(cells.whole, least=0, most=10_000)) or 0,
        "preferred": judging.read("preferred", partial(cells.one_of, choices=HALVES)) or "",
        "plan": plan_lines(judging, known.stations),
    }


def _escort(judging: RowJudge) -> tuple[str, int]:
    escort = judging.read("escort", partial(cells.one_of, choices=ESCORTS))
    minutes = judging.read("escort_minutes", partial(cells.whole, least=0, most=60))
    if escort is None and judging.written("escort"):
        return "", 0
    if escort in (None, "alone") and minutes:
        judging.refuse("escort_minutes", "Who comes alone has no escort minutes. Empty this, or name the escort.")
    if escort not in (None, "alone") and (minutes == 0 or not judging.written("escort_minutes")):
        judging.refuse("escort_minutes", "Say how many minutes the way takes, 1 to 60.")
    return escort or "alone", minutes or 0


def _helper_notes(cell: str) -> tuple[str, ...]:
    notes = tuple(cells.text(note.strip(), longest=120) for note in cell.split(";") if note.strip())
    if len(notes) > MOST_HELPER_NOTES:
        raise Unfit(f"There are {len(notes)} helper notes; at most {MOST_HELPER_NOTES} are shown. Shorten the list.")
    return notes


def _agreement(judging: RowJudge, today: date) -> tuple[Agreement | None, date | None]:
    from_on = judging.read("in_programme_from", cells.day)
    named = [name for name in ("agreed_on", "agreed_by", "agreement_authority") if judging.written(name)]
    if not named:
        if from_on:
            judging.refuse(
                "agreed_on", "Nobody is in the programme without an agreement. Fill in agreed_on and agreed_by."
            )
        return None, from_on
    agreed_on = judging.need("agreed_on", partial(_past_day, today=today))
    agreed_by = judging.need("agreed_by", cells.text)
    authority = judging.read("agreement_authority", cells.text) or ""
    if agreed_on is None or agreed_by is None:
        return None, from_on
    if from_on and from_on < agreed_on:
        judging.refuse("in_programme_from", f"This is before the agreement of {agreed_on}. Correct one of the two.")
    return Agreement(agreed_on, agreed_by, authority), from_on


def _clearance(judging: RowJudge, today: date) -> ClearanceGiven | None:
    names = ("cleared_by", "clearance_credential", "cleared_on", "cleared_until", "clearance_limits")
    if not any(judging.written(name) for name in names):
        return None
    by = judging.need("cleared_by", cells.text)
    credential = judging.need("clearance_credential", cells.text)
    cleared_on = judging.need("cleared_on", partial(_past_day, today=today))
    cleared_until = judging.need("cleared_until", cells.day)
    limits = judging.read("clearance_limits", partial(cells.text, longest=500)) or ""
    if by is None or credential is None or cleared_on is None or cleared_until is None:
        return None
    if cleared_until < cleared_on:
        judging.refuse(
            "cleared_until", f"This is before the clearance was given, {cleared_on}. Correct one of the two."
        )
    return ClearanceGiven(by, credential, cleared_on, cleared_until, limits)


def _recovery_hours(cell: str) -> Decimal:
    return cells.number(cell, least=str(LEAST_RECOVERY_HOURS), most="336")


def _past_day(cell: str, *, today: date) -> date:
    day = cells.day(cell)
    if day > today:
        raise Unfit(f"{day} is in the future. Correct the date.")
    if day.year < 1900:
        raise Unfit(f"{day} is before 1900. Correct the date.")
    return day


def _past_moment(cell: str, *, known: _Known) -> datetime:
    moment = cells.moment(cell, known.timezone)
    _past_day(moment.astimezone(known.timezone).date().isoformat(), today=known.today)
    return moment
