"""From facts and answers back to their JSON form; instants in UTC, written with Z."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any

from scheduling.problem.facts import Cost, Escort, Problem, Resident, ShortGap, Slot, Span, Value
from scheduling.problem.roster import Roster

Json = dict[str, Any]


def write_problem(problem: Problem) -> Json:
    """The `roster-problem/1` form, ready for `json.dumps`; reading it gives the same problem."""
    return {
        "format": "roster-problem/1",
        "timezone": problem.timezone,
        "turn_minutes": _number(Fraction(problem.turn // timedelta(microseconds=1), 60_000_000)),
        "days": [{"opens": _instant(day.opens), "closes": _instant(day.closes)} for day in problem.days],
        "max_wait_turns": problem.max_wait_turns,
        "stations": [
            {"id": station.id, "closed": [_span(span) for span in station.closed]} for station in problem.stations
        ],
        "supervision": [
            {"start": _instant(entry.start), "end": _instant(entry.end), "capacity": entry.capacity}
            for entry in problem.supervision
        ],
        "residents": [_resident(resident) for resident in problem.residents],
        "apart": [list(pair) for pair in problem.apart],
        "together": [{"residents": list(pair.residents), "reward": _number(pair.reward)} for pair in problem.together],
    }


def write_roster(roster: Roster) -> Json:
    """The `roster/1` form, ready for `json.dumps`."""
    answer: Json = {
        "format": "roster/1",
        "status": roster.status,
        "objective": _number(roster.objective),
        "bound": _number(roster.bound),
        "seconds": roster.seconds,
        "sessions": [
            {
                "resident": session.resident,
                "start": _instant(session.start),
                "end": _instant(session.end),
                "slots": [_slot(slot) for slot in session.slots],
            }
            for session in roster.sessions
        ],
        "unplaced": [
            {
                "resident": entry.resident,
                "missing": entry.missing,
                "reasons": [{"code": reason.code, "text": reason.text} for reason in entry.reasons],
            }
            for entry in roster.unplaced
        ],
        "conflicts": [
            {"code": conflict.code, "text": conflict.text, "residents": list(conflict.residents)}
            for conflict in roster.conflicts
        ],
    }
    if roster.kept is not None:
        kept = roster.kept
        answer["kept"] = {
            "stay": kept.stay,
            "moved": kept.moved,
            "lost": kept.lost,
            "moved_bound": kept.moved_bound,
        }
    return answer


def _resident(resident: Resident) -> Json:
    return {
        "id": resident.id,
        "sessions": resident.sessions,
        "stations": [{"station": need.station, "turns": need.turns} for need in resident.stations],
        "if_closed": "skip" if resident.skips_closed_stations else "block",
        "supervision": resident.supervision,
        "escort": _escort(resident.escort),
        "available": [_span(span) for span in resident.available],
        "recovery_hours": _number(resident.recovery_hours),
        "recovered_at": _instant(resident.recovered_at) if resident.recovered_at else None,
        "next_session_at": _instant(resident.next_session_at) if resident.next_session_at else None,
        "rewards": [_number(reward) for reward in resident.rewards],
        "cost": _cost(resident.cost),
        "short_gap": _short_gap(resident.short_gap),
        "fixed": [{"slots": [_slot(slot) for slot in fixed.slots]} for fixed in resident.fixed],
    }


def _escort(escort: Escort | None) -> Json | None:
    return {"turns": escort.turns, "supervision": escort.supervision} if escort else None


def _cost(cost: Cost) -> Json:
    windows = [
        {"start": _instant(window.start), "end": _instant(window.end), "cost": _number(window.cost)}
        for window in cost.windows
    ]
    return {"default": _number(cost.default), "windows": windows}


def _short_gap(gap: ShortGap | None) -> Json | None:
    return {"hours": _number(gap.hours), "cost": _number(gap.cost)} if gap else None


def _slot(slot: Slot) -> Json:
    return {"station": slot.station, "start": _instant(slot.start), "end": _instant(slot.end)}


def _span(span: Span) -> list[str]:
    return [_instant(span.start), _instant(span.end)]


def _instant(instant: datetime) -> str:
    return instant.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _number(value: Value) -> int | float:
    return int(value) if value == int(value) else float(value)
