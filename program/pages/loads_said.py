"""Whether a load can be right at a station, in the words of staff."""

from decimal import Decimal

from program.models import Station
from program.rules.loads import wrong_load


def wrong_at(station: Station, load: Decimal | None, *, planned: Decimal | None, unit: str) -> str:
    """A sentence for a load that the station does not have; what the plan asks for is always right."""
    if load is None or load == planned or unit != station.load_unit:
        return ""
    return wrong_load(
        load,
        lightest=station.lightest,
        heaviest=station.heaviest,
        step=station.load_step,
        unit=station.load_unit,
    )
