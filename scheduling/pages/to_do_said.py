"""What must be looked at, in words: grouped by cause, the oldest harm first."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.urls import reverse

from program import clock
from program.models import Building, Record, Resident, Session, User
from program.pages.sessions_said import overtaken
from program.rules.reasons import CLASS_OF, OUR_SIDE
from program.rules.recovery import LEAST_RECOVERY
from program.rules.week import day_and_time
from program.web.standing import by_name
from scheduling.actions.offering import OFFERS
from scheduling.models import Flag

Kind = Flag.Kind
# The order of the page, with the heading of each group and one sentence on what it means.
GROUPS: dict[str, tuple[str, str]] = {
    Kind.TOO_SOON: ("Too soon", "Trained inside the recovery time. A clinician decides what follows from it."),
    Kind.OVERTAKEN: ("Too early now", "A session ended later than planned; these would begin before recovery is over."),
    Kind.INTERRUPTED: ("Three or more missed in a row", "Ask what stands in the way; never more pressure."),
    Kind.OVERDUE: ("Overdue", "Longer without a session than this building allows, holds and absences left out."),
    Kind.LATE: ("Late", "Past the planned start and the grace, and not begun."),
    Kind.NOT_RECORDED: ("Not recorded", "The day is over and nobody has written down what happened."),
    Kind.MISSED: ("Missed this week", "Not made up for yet."),
    Kind.DUE: ("Due this week", "The week holds fewer sessions than the exercise plan asks for."),
}
NAMED = 6
LONGEST_RECOVERY = timedelta(hours=1000)


@dataclass(frozen=True, slots=True)
class Todo:
    """One thing to look at; `resident` when it is about one alone, `link` where it is put right elsewhere."""

    flag: Flag
    resident: Resident | None
    who: str
    what: str
    has_times: bool
    link: tuple[str, str] | None = None

    @property
    def residents(self) -> int:
        return len(self.flag.residents)


@dataclass(frozen=True, slots=True)
class Group:
    kind: str
    heading: str
    sentence: str
    todos: list[Todo]


@dataclass(frozen=True, slots=True)
class Known:
    """What the flags are about: residents and sessions by number, the reason of each, what was done before."""

    building: Building
    residents: Mapping[int, Resident]
    sessions: Mapping[int, Session]
    reasons: Mapping[int, str]
    done: Mapping[int, Sequence[Session]]
    coming: Mapping[int, datetime]


def known_of(flags: Sequence[Flag], building: Building, user: User) -> Known:
    """In five queries, whatever the number of flags."""
    residents = Resident.objects.visible_to(user).of(building)
    found = residents.filter(pk__in={pk for flag in flags for pk in flag.residents}).select_related("unit")
    numbers = {pk for flag in flags for pk in flag.sessions}
    sessions = Session.objects.visible_to(user).of(building).filter(pk__in=numbers).select_related("resident")
    told = {session.pk: session for session in sessions}
    for session in told.values():
        session.building = building
    lines = Record.objects.visible_to(user).counting().filter(session__in=numbers, kind__in=("given up", "attempt"))
    return Known(
        building=building,
        residents={one.pk: one for one in found},
        sessions=told,
        reasons={line.session_id: line.reason for line in lines.order_by("happened_at", "pk")},
        done=_done_around([flag for flag in flags if flag.kind == Kind.TOO_SOON], building, user),
        coming=_coming([flag for flag in flags if flag.kind in (Kind.OVERDUE, Kind.INTERRUPTED)], building, user),
    )


def _coming(flags: Sequence[Flag], building: Building, user: User) -> dict[int, datetime]:
    """The next session of those who are looked at until they have trained, whatever is booked meanwhile."""
    people = {pk for flag in flags for pk in flag.residents}
    booked = Session.objects.visible_to(user).of(building).on_the_plan()
    booked = booked.filter(resident__in=people, started_at__isnull=True, starts_at__gte=clock.now())
    return dict(booked.order_by("-starts_at").values_list("resident", "starts_at"))


def _next(flag: Flag, known: Known) -> str:
    at = known.coming.get(flag.residents[0])
    return f"; next session {day_and_time(at, known.building.zone)}" if at else "; nothing is booked"


def _done_around(flags: Sequence[Flag], building: Building, user: User) -> dict[int, list[Session]]:
    """What was done by those who trained too soon, as far back as anybody recovers."""
    people = {pk for flag in flags for pk in flag.residents}
    earliest = min((flag.since for flag in flags), default=clock.now()) - LONGEST_RECOVERY
    done = Session.objects.visible_to(user).of(building)
    done = done.filter(resident__in=people, sets_done__gt=0, started_at__gte=earliest)
    found: dict[int, list[Session]] = defaultdict(list)
    for session in done.order_by("started_at"):
        found[session.resident_id].append(session)
    return found


def groups_of(flags: Sequence[Flag], known: Known) -> list[Group]:
    """Groups in the order of harm; within one the oldest first."""
    by_kind: dict[str, list[Todo]] = defaultdict(list)
    for flag in sorted(flags, key=lambda flag: (flag.since, _names(flag, known), flag.pk)):
        by_kind[flag.kind].append(todo_of(flag, known))
    return [Group(kind, *GROUPS[kind], by_kind[kind]) for kind in GROUPS if kind in by_kind]


def todo_of(flag: Flag, known: Known) -> Todo:
    people = _people(flag, known)
    alone = people[0] if len(people) == 1 else None
    who = alone.name if alone else f"{len(people)} residents"
    return Todo(flag, alone, who, _what(flag, known), flag.kind in OFFERS, _link(flag, known.building))


def _people(flag: Flag, known: Known) -> list[Resident]:
    return sorted((known.residents[pk] for pk in flag.residents if pk in known.residents), key=by_name)


def _names(flag: Flag, known: Known) -> list[tuple[str, str, int]]:
    return [by_name(one) for one in _people(flag, known)]


def _what(flag: Flag, known: Known) -> str:
    told = {
        Kind.TOO_SOON: _too_soon,
        Kind.OVERTAKEN: lambda flag, known: overtaken(known.sessions[flag.sessions[0]]),
        Kind.INTERRUPTED: _interrupted,
        Kind.OVERDUE: _overdue,
        Kind.LATE: _late,
        Kind.NOT_RECORDED: lambda flag, known: f"{_day(flag, known)}: {_count(flag)}{_named(flag, known)}",
        Kind.MISSED: _missed,
        Kind.DUE: lambda flag, known: "The week holds fewer sessions than the exercise plan asks for",
    }
    return told[Kind(flag.kind)](flag, known)


def _too_soon(flag: Flag, known: Known) -> str:
    zone, (resident,) = known.building.zone, flag.residents
    done = known.done.get(resident, ())
    before = [one.really_ended_at for one in done if one.started_at < flag.since]
    recovered = [one.really_ended_at + _recovery(one) for one in done]
    following = f"; next from {day_and_time(max(recovered), zone)}" if recovered else ""
    # A session in another building is not read here.
    if not before:
        return f"Trained after one elsewhere{following}"
    if max(before) > flag.since:
        return f"Written down as training while another session was going on: one of the two is a mistake{following}"
    return f"Trained {_hours(flag.since - max(before))} after the session before{following}"


def _recovery(session: Session) -> timedelta:
    return max(timedelta(hours=float(session.recovery_hours)), LEAST_RECOVERY)


def _interrupted(flag: Flag, known: Known) -> str:
    (person,) = _people(flag, known)
    ours = [reason for pk in flag.sessions if CLASS_OF.get(reason := known.reasons.get(pk, "")) == OUR_SIDE]
    missed = f"{len(flag.sessions)} missed in a row"
    if len(ours) == len(flag.sessions):
        return f"{missed}, all on our side ({', '.join(dict.fromkeys(ours))}): put that right first{_next(flag, known)}"
    ask = f"talk with {person.given_name} (pain? time? partner?), never more pressure"
    return f"{missed}{f', {len(ours)} of them on our side' if ours else ''}: {ask}{_next(flag, known)}"


def _overdue(flag: Flag, known: Known) -> str:
    return f"No session for more than {known.building.overdue_hours} hours{_next(flag, known)}"


def _late(flag: Flag, known: Known) -> str:
    zone = known.building.zone
    if flag.cause.startswith("session:"):
        return f"{day_and_time(known.sessions[flag.sessions[0]].starts_at, zone)} has not begun"
    return f"Nobody is on the circuit by the shifts, {_count(flag)} waiting{_named(flag, known)}"


def _missed(flag: Flag, known: Known) -> str:
    session = known.sessions[flag.sessions[0]]
    reason = known.reasons.get(session.pk, "no reason")
    if flag.cause.startswith("session:"):
        return f"{day_and_time(session.starts_at, known.building.zone)}: {reason}"
    return f"{reason.capitalize()}, {_day(flag, known)}: {_count(flag)}{_named(flag, known)}"


def _count(flag: Flag) -> str:
    return "1 session" if len(flag.sessions) == 1 else f"{len(flag.sessions)} sessions"


def _named(flag: Flag, known: Known) -> str:
    """The names, where it is about several, as long as they are few enough to read."""
    people = _people(flag, known)
    if len(people) < 2:
        return ""
    told = ", ".join(one.name for one in people[:NAMED])
    return f" ({told} and {len(people) - NAMED} more)" if len(people) > NAMED else f" ({told})"


def _day(flag: Flag, known: Known) -> str:
    day = known.sessions[flag.sessions[0]].starts_at.astimezone(known.building.zone)
    return f"{day:%a} {day.day} {day:%b}"


def _link(flag: Flag, building: Building) -> tuple[str, str] | None:
    if flag.kind == Kind.NOT_RECORDED:
        return "Enter what happened", reverse("program:late", args=[building.pk, date.fromisoformat(flag.cause)])
    if flag.cause == "nobody on the circuit":
        return "See the shifts", reverse("program:shifts", args=[building.pk])
    return None


def _hours(length: timedelta) -> str:
    minutes = length // timedelta(minutes=1)
    return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 else f"{minutes // 60} h"
