"""One session in the words of staff: its stations and their sets, what was written about it, who has seen to it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.forms import Form

from program.models import PrescriptionLine, Record, Session, Set, Station
from program.pages.residents import plainly
from program.rules.late_entry import hours_and_minutes, late_entry
from program.rules.week import clock_time, date_and_time

HAPPENED = {
    Record.Kind.PUBLISHED: "Published",
    Record.Kind.MOVED: "Moved",
    Record.Kind.WITHDRAWN: "Withdrawn",
    Record.Kind.STARTED: "Started",
    Record.Kind.ATTEMPT: "Tried",
    Record.Kind.ENDED: "Ended",
    Record.Kind.GIVEN_UP: "Given up",
}


@dataclass(slots=True)
class AtStation:
    """What is asked at one station of the session, and the sets done there; without a line nothing is asked."""

    station: Station
    exercise: str
    line: PrescriptionLine | None
    starts_at: datetime | None = None
    sets: list[str] = field(default_factory=list)
    form: Form | None = None

    @property
    def load_said(self) -> str:
        return f"{plainly(self.line.load)} {self.line.load_unit}" if self.line else ""

    @property
    def is_waiting(self) -> bool:
        return self.line is not None and not self.sets


@dataclass(frozen=True, slots=True)
class Told:
    """A line as it is read: when by the clock, what, who; and what must be known of when it was written."""

    when: str
    words: str
    by: str
    remarks: tuple[str, ...]


def is_at_the_stations(session: Session, now: datetime) -> bool:
    """Started and not ended, on its day: what was done can be written down after the circuit has closed, too."""
    is_over = session.ended_at or session.given_up_at or session.withdrawn_at
    return not is_over and was_begun_today(session, now)


def was_begun_today(session: Session, now: datetime) -> bool:
    zone, began_at = session.building.zone, session.started_at
    return began_at is not None and began_at.astimezone(zone).date() == now.astimezone(zone).date()


def is_of_today(session: Session, now: datetime) -> bool:
    zone = session.building.zone
    return session.starts_at.astimezone(zone).date() == now.astimezone(zone).date()


def stations_of(session: Session) -> list[AtStation]:
    """In the order of the slots, by the plan in force: what a clinician has changed since publishing holds."""
    plan = session.resident.prescriptions.in_force().first()
    lines: dict[int, list[PrescriptionLine]] = defaultdict(list)
    for line in plan.lines.select_related("station").order_by("position") if plan else ():
        lines[line.station_id].append(line)
    slots = list(session.slots.select_related("station"))
    if not slots:
        # A visit that nobody had planned.
        found = [AtStation(line.station, line.exercise, line) for those in lines.values() for line in those]
        return sorted(found, key=lambda one: one.line.position if one.line else 0)
    found = []
    for slot in slots:
        line = lines[slot.station_id].pop(0) if lines[slot.station_id] else None
        exercise = line.exercise if line else slot.station.exercise
        found.append(AtStation(slot.station, exercise, line, slot.starts_at))
    return found


def with_sets(stations: Sequence[AtStation], sets: Sequence[Set]) -> Sequence[AtStation]:
    """The same stations, each with what was done there."""
    for one in stations:
        one.sets = [
            set_said(done)
            for done in sets
            if (one.line and done.line_id == one.line.pk)
            or (done.station_id, done.exercise) == (one.station.pk, one.exercise)
        ]
    return stations


def set_said(done: Set) -> str:
    """`9 × 40 lb, 78 s, pain 0`."""
    said = f"{done.repetitions} × {plainly(done.load)} {done.load_unit}, {done.seconds} s, {pain_said(done)}"
    return f"{said}, stopped: {done.stop_reason}" if done.stop_reason else said


def pain_said(done: Set) -> str:
    if done.pain_cannot_be_rated:
        seen = {None: "", True: ", signs seen", False: ", no signs seen"}[done.pain_signs_seen]
        return f"pain not able to rate{seen}"
    return "pain not asked" if done.pain is None else f"pain {done.pain}"


def effort_said(done: Set) -> str:
    if done.more_possible is None:
        return ""
    many = {0: "none", 4: "4 or more"}.get(done.more_possible, str(done.more_possible))
    return f", {many} more possible"


def lines_told(session: Session, records: Sequence[Record], sets: Sequence[Set]) -> list[Told]:
    """Records and sets together, in the order in which they happened; the day is named where it is another one."""
    zone = session.building.zone
    day = session.starts_at.astimezone(zone).date()
    lines: list[tuple[datetime, str, Record | Set]] = [
        *((line.happened_at, _happened(line, zone), line) for line in records if line.kind != Record.Kind.ENDED),
        *((done.ended_at, _done(done), done) for done in sets),
        # Last, so that an end at the moment of the last set stands after it.
        *((line.happened_at, _happened(line, zone), line) for line in records if line.kind == Record.Kind.ENDED),
    ]
    return [
        Told(
            (clock_time if moment.astimezone(zone).date() == day else date_and_time)(moment, zone),
            words,
            line.done_by.name,
            _remarks(line, moment, zone),
        )
        for moment, words, line in sorted(lines, key=lambda each: each[0])
    ]


def _done(done: Set) -> str:
    return f"{done.exercise.capitalize()} at {done.station.name}: {set_said(done)}{effort_said(done)}"


def _happened(line: Record, zone: ZoneInfo) -> str:
    words = HAPPENED[Record.Kind(line.kind)]
    if line.moved_from_starts_at:
        words = f"{words} from {date_and_time(line.moved_from_starts_at, zone)}"
    about = [line.reason, line.identified_by, line.note if line.note not in line.reason else ""]
    return ": ".join([words, *[", ".join(filter(None, about))] * any(about)])


def _remarks(line: Record | Set, happened_at: datetime, zone: ZoneInfo) -> tuple[str, ...]:
    remarks = []
    delay = late_entry(happened_at, line.entered_at)
    if delay is not None:
        remarks.append(_late_said(line, delay, zone))
    elif line.entered_by_id != line.done_by_id:
        remarks.append(f"entered by {line.entered_by.name}")
    if line.phone_happened_at:
        remarks.append(f"time corrected: the phone's clock said {clock_time(line.phone_happened_at, zone)}")
    return tuple(remarks)


def _late_said(line: Record | Set, delay: timedelta, zone: ZoneInfo) -> str:
    when = date_and_time(line.entered_at, zone)
    return f"entered by {line.entered_by.name} on {when}, late entry {hours_and_minutes(delay)}"
