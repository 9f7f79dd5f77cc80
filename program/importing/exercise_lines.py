"""The exercises of one resident's plan: the repeated columns of a residents' row."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import partial

from program.importing import cells
from program.importing.judging import RowJudge
from program.importing.resident_columns import LINE_COLUMNS, LINES
from program.rules.units import LOAD_UNITS, is_whole_multiple


@dataclass(frozen=True, slots=True)
class StationFact:
    """What the building says of a station; `unit` is kg or lb, `step` the smallest change of load in that unit."""

    name: str
    unit: str
    step: Decimal
    exercise: str = ""


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One exercise: load exactly as entered with its unit; repetitions from–to; no seconds means not prescribed."""

    station: str
    exercise: str
    load: Decimal
    unit: str
    repetitions: tuple[int, int]
    turns: int
    seconds: int | None
    pace: str
    seat: str
    pad: str
    range_limits: str


def plan_lines(judging: RowJudge, stations: Sequence[StationFact]) -> tuple[PlanLine, ...]:
    lines: list[PlanLine] = []
    for number in range(1, LINES + 1):
        if not any(judging.written(f"{column.name} {number}") for column in LINE_COLUMNS):
            continue
        line = _line(judging, number, stations)
        if line is None:
            continue
        if any((line.station, line.exercise) == (other.station, other.exercise) for other in lines):
            judging.refuse(f"station {number}", f"{line.station} is in this plan twice. Keep one of the two.")
        lines.append(line)
    return tuple(lines)


def _line(judging: RowJudge, number: int, stations: Sequence[StationFact]) -> PlanLine | None:
    short = partial(cells.text, longest=80)
    station = judging.need(f"station {number}", short)
    load = judging.need(f"load {number}", partial(cells.number, most="1000"))
    unit = judging.need(f"unit {number}", partial(cells.one_of, choices=LOAD_UNITS))
    repetitions = judging.need(f"repetitions {number}", partial(cells.whole_range, most=30))
    exercise = judging.read(f"exercise {number}", short) or ""
    turns = judging.read(f"turns {number}", partial(cells.whole, least=1, most=10)) or 1
    seconds = judging.read(f"seconds {number}", partial(cells.whole, least=10, most=600))
    words = {name: judging.read(f"{name} {number}", short) or "" for name in ("pace", "seat", "pad", "range")}
    if station is None or load is None or unit is None or repetitions is None:
        return None
    if stations:
        fact = _fact(judging, number, (station, exercise), stations)
        if fact is None:
            return None
        _refuse_load(judging, number, (load, unit), fact)
        station, exercise = fact.name, fact.exercise
    return PlanLine(
        station,
        exercise,
        load,
        unit,
        repetitions,
        turns,
        seconds,
        words["pace"],
        words["seat"],
        words["pad"],
        words["range"],
    )


def _fact(
    judging: RowJudge, number: int, wanted: tuple[str, str], stations: Sequence[StationFact]
) -> StationFact | None:
    station, exercise = (word.casefold() for word in wanted)
    named = [fact for fact in stations if fact.name.casefold() == station]
    if not named:
        judging.refuse(
            f"station {number}", f"The building has no station “{wanted[0]}”. Add it there, or correct this."
        )
        return None
    fitting = [fact for fact in named if not exercise or fact.exercise.casefold() == exercise]
    if len(fitting) != 1:
        offered = ", ".join(fact.exercise for fact in named)
        judging.refuse(f"exercise {number}", f"Say which exercise is done at {named[0].name}: {offered}.")
        return None
    return fitting[0]


def _refuse_load(judging: RowJudge, number: int, entered: tuple[Decimal, str], fact: StationFact) -> None:
    load, unit = entered
    if unit != fact.unit:
        judging.refuse(f"unit {number}", f"{fact.name} is loaded in {fact.unit}, not in {unit}. Correct load and unit.")
    elif not is_whole_multiple(load, fact.step):
        judging.refuse(
            f"load {number}", f"{fact.name} goes in steps of {fact.step} {unit}; {load} cannot be set there."
        )
