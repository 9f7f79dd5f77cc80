"""What the figures are made of: visits, stays and closures as they stood at one moment."""

from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import cached_property
from zoneinfo import ZoneInfo

from program.rules.lines import Happened
from program.rules.states import State, Traces, state_at
from program.rules.week import local_instant
from reports.periods import Period


@dataclass(frozen=True, slots=True)
class Reason:
    """A line that says why: an attempt, a given up or withdrawn session, an end."""

    kind: str
    happened_at: datetime
    reason: str
    reason_class: str


@dataclass(frozen=True, slots=True)
class PlannedLine:
    """One station of the exercise plan: load × the top of the range of repetitions, in kilograms."""

    station: int
    kilograms: Decimal


@dataclass(frozen=True, slots=True)
class Visit:
    """A session, published or not, and what happened to it."""

    key: int
    resident: int
    starts_at: datetime
    ends_at: datetime
    day_closes_at: datetime
    is_published: bool
    happened: Happened
    reasons: tuple[Reason, ...] = ()
    planned: tuple[PlannedLine, ...] = ()
    left_out: frozenset[int] = frozenset()
    kilograms_done: Decimal = Decimal(0)
    is_too_soon: bool = False
    is_late_entry: bool = False

    @property
    def is_done(self) -> bool:
        return self.happened.sets_done > 0

    def state_at(self, moment: datetime) -> State:
        happened = asdict(self.happened)
        del happened["last_set_ended_at"]
        return state_at(Traces(self.starts_at, self.day_closes_at, **happened, is_published=self.is_published), moment)

    def latest(self, *kinds: str) -> Reason | None:
        """The latest line of these kinds that gives a reason."""
        lines = [line for line in self.reasons if line.kind in kinds and line.reason]
        return max(lines, key=lambda line: line.happened_at, default=None)


@dataclass(frozen=True, slots=True)
class Plan:
    """One version of an exercise plan; a later number replaces an earlier one from when it was entered."""

    number: int
    entered_at: datetime
    sessions_a_week: int


@dataclass(frozen=True, slots=True)
class Pause:
    """On hold or away, half-open; None is open-ended."""

    starts_at: datetime
    ends_at: datetime | None
    set_at: datetime

    def holds_at(self, moment: datetime) -> bool:
        return self.starts_at <= moment and (self.ends_at is None or moment < self.ends_at)

    def touches(self, start: datetime, until: datetime) -> bool:
        return self.starts_at < until and (self.ends_at is None or start < self.ends_at)


@dataclass(frozen=True, slots=True)
class Stay:
    """A resident's stay, with all versions of the plan and everything that kept them from training."""

    key: int
    help_sixths: int
    since: datetime
    until: datetime | None
    enrolled_at: datetime | None
    agreement_withdrawn_at: datetime | None
    plans: tuple[Plan, ...] = ()
    pauses: tuple[Pause, ...] = ()
    unit_id: int | None = None

    def is_in_the_programme_at(self, moment: datetime) -> bool:
        """Staying, enrolled, agreeing, and neither on hold nor away."""
        return (
            self.since <= moment
            and (self.until is None or moment < self.until)
            and self.enrolled_at is not None
            and self.enrolled_at <= moment
            and (self.agreement_withdrawn_at is None or moment < self.agreement_withdrawn_at)
            and not any(pause.holds_at(moment) for pause in self.pauses)
        )

    def sessions_a_week_at(self, moment: datetime) -> int:
        """By the version in force; 0 before there was one."""
        known = [plan for plan in self.plans if plan.entered_at <= moment]
        return max(known, key=lambda plan: plan.number).sessions_a_week if known else 0


@dataclass(frozen=True, slots=True)
class Closed:
    """A closure of the `building`, a `unit` or a `station` (`what`), half-open; None is open-ended."""

    reason: str
    what: str
    starts_at: datetime
    ends_at: datetime | None
    unit_id: int | None = None

    def covers(self, start: datetime, until: datetime) -> bool:
        return self.starts_at <= start and (self.ends_at is None or until <= self.ends_at)

    def touches(self, start: datetime, until: datetime) -> bool:
        return self.starts_at < until and (self.ends_at is None or start < self.ends_at)


@dataclass(frozen=True)
class Facts:
    """Everything of one building that its figures over `period` need, as of `as_of`."""

    period: Period
    zone: ZoneInfo
    as_of: datetime
    grace: timedelta
    visits: tuple[Visit, ...]
    stays: tuple[Stay, ...]
    closures: tuple[Closed, ...]
    # Of the weeks before the period: only what tells whether a building trains and records is read from these.
    earlier: tuple[Visit, ...] = ()
    # Whether a session had been published before the period began: who never began has not stopped.
    has_begun_before: bool = False

    @cached_property
    def starts_at(self) -> datetime:
        return self.period.starts_at(self.zone)

    @cached_property
    def ends_at(self) -> datetime:
        return self.period.ends_at(self.zone)

    @cached_property
    def judged_at(self) -> datetime:
        """Where the period ends for these figures: a running one ends now."""
        return min(self.ends_at, self.as_of)

    @cached_property
    def stay_of(self) -> dict[int, Stay]:
        return {stay.key: stay for stay in self.stays}

    def pauses_of(self, resident: int) -> tuple[Pause, ...]:
        stay = self.stay_of.get(resident)
        return stay.pauses if stay else ()

    def closures_of(self, resident: int) -> list[Closed]:
        """Those of the building and of the resident's unit; a station that is closed lets them train at others."""
        stay = self.stay_of.get(resident)
        unit_id = stay.unit_id if stay else None
        return [
            closed
            for closed in self.closures
            if closed.what == "building" or (closed.what == "unit" and closed.unit_id == unit_id is not None)
        ]

    def day_of(self, moment: datetime) -> date:
        return moment.astimezone(self.zone).date()

    def days_before(self, moment: datetime, days: int) -> datetime:
        """The same time by the wall clock, however long the days between were."""
        return (moment.astimezone(self.zone) - timedelta(days=days)).astimezone(UTC)

    def midnight_before(self, moment: datetime) -> datetime:
        return local_instant(self.day_of(moment), 0, self.zone)
