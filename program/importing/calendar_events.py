"""One event of an iCalendar file: what it says in our own terms, or a sentence on why it cannot be used."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import icalendar
from icalendar.prop import vBroken
from icalendar.timezone import tzp

from program.importing import cells, limits
from program.importing.calendar_text import EventText
from program.importing.recurrence import Recurrence, check_rule
from program.importing.refusals import Unfit

_TIMES: Final = ("DTSTART", "DTEND", "DURATION", "RECURRENCE-ID", "RDATE", "EXDATE", "RRULE")
_SINGLE: Final = ("DTSTART", "DTEND", "DURATION", "RECURRENCE-ID", "UID", "SUMMARY", "STATUS", "TRANSP")
_LONGEST: Final = timedelta(days=366)


@dataclass(frozen=True, slots=True)
class Event:
    """`recurrence` is the start of the one time that this event changes; None for a commitment of its own."""

    number: int
    line: int
    uid: str
    resident_key: str
    categories: tuple[str, ...]
    title: str
    is_movable: bool
    is_cancelled: bool
    times: Recurrence
    recurrence: date | datetime | None

    @property
    def is_recurrence_day(self) -> bool:
        return not isinstance(self.recurrence, datetime)

    def walls_in(self, zone: ZoneInfo, building_zone: ZoneInfo) -> tuple[datetime, datetime]:
        """RECURRENCE-ID and the new start in the wall time of the series that they belong to."""
        own_zone = ZoneInfo(self.times.timezone) if self.times.timezone else building_zone
        starts = self.times.starts
        if own_zone != zone and not self.times.is_all_day:
            starts = starts.replace(tzinfo=own_zone).astimezone(zone).replace(tzinfo=None)
        return _wall(self.recurrence, zone), starts


def event_zone(name: str) -> ZoneInfo:
    """The zone of an IANA or Windows name. Raises Unfit."""
    try:
        zone = tzp.timezone(name) if len(name) <= 80 and not name.startswith("/") else None
    except (ValueError, OSError):
        zone = None
    if not isinstance(zone, ZoneInfo):
        raise Unfit(f"The time zone “{name[:80]}” is not known. Use an IANA name like America/New_York.")
    return zone


def read_event(text: EventText, *, default_zone: ZoneInfo | None, building_zone: ZoneInfo) -> Event:
    """Raises Unfit. `default_zone` is the one that the file names for the whole calendar."""
    component = _component(text.text)
    title = " ".join(str(component.get("SUMMARY", "")).split())
    return Event(
        number=text.number,
        line=text.line,
        uid=_uid(component),
        resident_key=cells.text(_first(component, "X-RESIDENT-KEY"), longest=64),
        categories=_categories(component),
        title=cells.text(title),
        is_movable=_says(component, "TRANSP", "TRANSPARENT") or _says(component, "X-CAN-MOVE", "TRUE"),
        is_cancelled=_says(component, "STATUS", "CANCELLED"),
        times=_times(component, default_zone, building_zone),
        recurrence=component["RECURRENCE-ID"].dt if "RECURRENCE-ID" in component else None,
    )


def _component(text: str) -> Any:
    _refuse_before_parsing(text)
    try:
        component = icalendar.Event.from_ical(text)
    except Exception:  # noqa: BLE001 - a hostile event can make the parser raise anything at all
        raise Unfit("This cannot be read as an event. Export it again.") from None
    for name in _SINGLE:
        if isinstance(component.get(name), list):
            raise Unfit(f"It has {name} more than once. Export it again.")
    for name in _TIMES:
        if any(isinstance(value, vBroken) for value in _all(component, name)):
            raise Unfit(f"{name} cannot be read. Correct it.")
    return component


def _refuse_before_parsing(text: str) -> None:
    # The library would look such a name up, guess and warn.
    if ";TZID=/" in text or ';TZID="/' in text:
        raise Unfit("Its time zone has a private name. Use an IANA name like America/New_York.")
    if any(line[:6].upper() == "EXRULE" for line in text.split("\r\n")):
        raise Unfit("It uses EXRULE, which is no longer part of the standard. List the left-out times as EXDATE.")
    rules = [line for line in text.split("\r\n") if line[:5].upper() == "RRULE"]
    if len(rules) > 1:
        raise Unfit("It has RRULE more than once. Make several events of it.")
    if any(len(rule) > limits.RULE_CHARACTERS for rule in rules):
        raise Unfit("The recurrence rule is too long. Make a simpler series.")


def _all(component: Any, name: str) -> list[Any]:
    value = component.get(name)
    return [] if value is None else value if isinstance(value, list) else [value]


def _first(component: Any, name: str) -> str:
    values = _all(component, name)
    return str(values[0]).strip() if values else ""


def _says(component: Any, name: str, word: str) -> bool:
    return _first(component, name).upper() == word


def _uid(component: Any) -> str:
    uid = cells.text(_first(component, "UID"), longest=255)
    if not uid:
        raise Unfit("It has no UID, so it could not be found again next time. Export it again.")
    return uid


def _categories(component: Any) -> tuple[str, ...]:
    return tuple(str(word) for value in _all(component, "CATEGORIES") for word in getattr(value, "cats", [value]))[:20]


def _times(component: Any, default_zone: ZoneInfo | None, building_zone: ZoneInfo) -> Recurrence:
    if "DTSTART" not in component:
        raise Unfit("It has no start. Give it DTSTART.")
    _refuse_other_zones(component)
    starts = component["DTSTART"].dt
    is_all_day = not isinstance(starts, datetime)
    zone = None if is_all_day else _series_zone(starts, default_zone)
    days, length = _length(component, starts, zone or building_zone)
    return Recurrence(
        starts=_wall(starts, zone or building_zone),
        days=days,
        length=length,
        is_all_day=is_all_day,
        timezone=zone.key if zone else "",
        rrule=_rule(component),
        extra=_listed(component, "RDATE", limits.EXTRA_TIMES, is_all_day, zone or building_zone),
        left_out=_listed(component, "EXDATE", limits.TIMES_LEFT_OUT, is_all_day, zone or building_zone),
    )


def _refuse_other_zones(component: Any) -> None:
    """The library reads a time in an unknown zone as one without a zone: that would be hours off, unseen."""
    for name in ("DTSTART", "DTEND", "RECURRENCE-ID", "RDATE", "EXDATE"):
        for value in _all(component, name):
            if "TZID" in value.params:
                event_zone(str(value.params["TZID"]))


def _series_zone(starts: datetime, default_zone: ZoneInfo | None) -> ZoneInfo | None:
    if starts.tzinfo is None:
        return default_zone
    zone = starts.tzinfo if isinstance(starts.tzinfo, ZoneInfo) else ZoneInfo("UTC")
    # A calendar that names its zone beside times in UTC means wall time there.
    return default_zone if zone.key == "UTC" and default_zone else zone


def _wall(value: Any, zone: ZoneInfo) -> datetime:
    if not isinstance(value, datetime):
        return datetime.combine(value, time())
    try:
        return value.astimezone(zone).replace(tzinfo=None) if value.tzinfo else value
    except OverflowError:
        raise Unfit("It has a time outside the calendar. Correct it.") from None


def _length(component: Any, starts: date | datetime, zone: ZoneInfo) -> tuple[int, timedelta]:
    """Calendar days, and elapsed time after them (RFC 5545, 3.8.5.3: an end is exact, a duration of days nominal)."""
    if "DTEND" in component and "DURATION" in component:
        raise Unfit("It has both an end and a duration. Remove one.")
    if "DTEND" in component:
        ends = component["DTEND"].dt
        if isinstance(ends, datetime) != isinstance(starts, datetime):
            raise Unfit("Its start is a day and its end a time, or the other way round. Correct it.")
        elapsed = _instant(ends, zone) - _instant(starts, zone) if isinstance(starts, datetime) else ends - starts
        days = 0 if isinstance(starts, datetime) else elapsed.days
    elif "DURATION" in component:
        elapsed = component["DURATION"].dt
        days = elapsed.days
    elif not isinstance(starts, datetime):
        elapsed, days = timedelta(days=1), 1
    else:
        raise Unfit("It has no end. Give it DTEND or DURATION.")
    if elapsed <= timedelta() or elapsed > _LONGEST:
        raise Unfit("It must end after its start, within a year. Correct its end.")
    return days, elapsed - timedelta(days=days)


def _instant(moment: datetime, zone: ZoneInfo) -> datetime:
    try:
        return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).astimezone(UTC)
    except OverflowError:
        raise Unfit("It has a time outside the calendar. Correct it.") from None


def _rule(component: Any) -> str:
    if "RRULE" not in component:
        return ""
    rule: str = component["RRULE"].to_ical().decode()
    check_rule(rule)
    return rule


def _listed(component: Any, name: str, most: int, is_all_day: bool, zone: ZoneInfo) -> tuple[datetime, ...]:
    moments = [moment.dt for value in _all(component, name) for moment in value.dts]
    if len(moments) > most:
        raise Unfit(f"{name} lists more than {most:,} times. Make a simpler series.")
    for moment in moments:
        if not isinstance(moment, date):
            raise Unfit(f"{name} lists spans instead of starts. Make them events of their own.")
        if isinstance(moment, datetime) == is_all_day:
            raise Unfit(f"{name} lists days where the event has times, or the other way round. Correct it.")
    return tuple(sorted({_wall(moment, zone) for moment in moments}))
