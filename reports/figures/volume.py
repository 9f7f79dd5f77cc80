"""Training volume: load × repetitions done of planned, per resident, then the mean of the residents' ratios."""

from collections import defaultdict
from decimal import Decimal
from typing import Any

from reports.figures.attendance import rounded
from reports.figures.outcomes import Judged
from reports.statistics import mean


def volume(sessions: list[Judged]) -> dict[str, Any]:
    """Over the sessions that attendance counts; `equipment` is the planned part at stations that had to be left out."""
    done: dict[int, Decimal] = defaultdict(Decimal)
    planned: dict[int, Decimal] = defaultdict(Decimal)
    left_out: dict[int, Decimal] = defaultdict(Decimal)
    for one in sessions:
        if one.is_counted:
            visit = one.visit
            done[visit.resident] += visit.kilograms_done
            planned[visit.resident] += sum((line.kilograms for line in visit.planned), Decimal(0))
            left_out[visit.resident] += sum(
                (line.kilograms for line in visit.planned if line.station in visit.left_out), Decimal(0)
            )
    # Where nothing weighs anything there is no ratio to take.
    weighed = [resident for resident in planned if planned[resident]]
    return {
        "share": rounded(mean(float(done[resident] / planned[resident]) for resident in weighed)),
        "residents": len(weighed),
        "equipment": rounded(mean(float(left_out[resident] / planned[resident]) for resident in weighed)),
    }
