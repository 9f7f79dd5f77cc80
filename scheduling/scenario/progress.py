"""Loads follow what residents can do: now and then the clinician writes a new version of an exercise plan."""

from dataclasses import replace

from program.actions.prescriptions import LineInput, prescribe
from program.models import Prescription, PrescriptionLine
from program.rules.week import Week
from scheduling.scenario.cast import Cast

FIELDS = (
    *("station", "load", "load_unit", "exercise", "repetitions_least", "repetitions_most", "pace"),
    *("seconds_least", "seconds_most", "turns", "range_limits", "settings"),
)
# Most go up by a step or two, one in eight goes back.
STEPS = (1, 1, 1, 1, 2, 2, 1, -1)


def change_loads(cast: Cast, week: Week) -> None:
    """One or two residents of the building in this week, one station each."""
    dice = cast.plan.dice(f"loads {week.name}")
    for resident in dice.sample(cast.residents, dice.choice((1, 1, 2))):
        plan = Prescription.objects.in_force().get(resident=resident)
        lines = [_as_input(line) for line in plan.lines.select_related("station")]
        place = dice.randrange(len(lines))
        lines[place] = _heavier(lines[place], dice.choice(STEPS))
        prescribe(
            resident=resident,
            sessions_a_week=plan.sessions_a_week,
            lines=lines,
            by=cast.clinician,
            expected_number=plan.number,
        )


def _as_input(line: PrescriptionLine) -> LineInput:
    return LineInput(**{name: getattr(line, name) for name in FIELDS})


def _heavier(line: LineInput, steps: int) -> LineInput:
    station = line.station
    heaviest = line.load if station.heaviest is None else station.heaviest
    load = min(max(line.load + steps * station.load_step, station.lightest), heaviest)
    return replace(line, load=load)
