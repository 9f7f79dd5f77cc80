"""Days on which something is late, missed, overtaken: arranged by the real actions, and the flags they raise."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from program import clock
from program.actions.records import NewLine, write_lines
from program.actions.sessions import give_up_sessions
from program.models import Building, Session
from program.models.scoped import set_scope
from scheduling.actions import refresh_flags
from scheduling.flags import Refreshed
from scheduling.models import Flag
from tests.conftest import House
from tests.program.actions.arranging import train


def refreshed(*houses: House) -> Refreshed:
    set_scope(list(Building.objects.values_list("pk", flat=True)), user_id=None)
    return refresh_flags(building_ids=[house.building.pk for house in houses])


def flags(house: House, *kinds: str) -> list[Flag]:
    """The open flags after a pass, of these kinds, in the order in which they were opened."""
    refreshed(house)
    found = Flag.objects.of(house.building).open_now().order_by("pk")
    return list(found.filter(kind__in=kinds) if kinds else found)


def told(house: House, *kinds: str) -> list[tuple[str, str]]:
    return [(flag.kind, flag.cause) for flag in flags(house, *kinds)]


def everything_of(flag: Flag) -> tuple[Any, ...]:
    """All of a flag but its number and when it was opened."""
    return flag.kind, flag.cause, flag.sessions, flag.residents, flag.since, flag.due_at, flag.owner


def attempt(house: House, session: Session, moment: datetime, reason: str = "asleep") -> Session:
    line = NewLine(kind="attempt", happened_at=moment, event_id=uuid4(), reason=reason)
    with clock.at(moment):
        return write_lines(session=session, lines=[line], done_by=house.aide, entered_by=house.aide)


def gave_up(house: House, session: Session, moment: datetime, reason: str) -> Session:
    with clock.at(moment):
        return give_up_sessions(sessions=[session], reason=reason, by=house.aide)[0]


def trained(house: House, session: Session, start: datetime, minutes: int = 30) -> Session:
    ended_at = start + timedelta(minutes=minutes)
    with clock.at(ended_at):
        return train(house, session, started_at=start, ended_at=ended_at)
