"""Sessions and their slots: booked, or really happened; and what each of them holds."""

from datetime import datetime, timedelta
from typing import Self

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import ArrayField, RangeBoundary, RangeOperators
from django.db import models
from django.db.models import DurationField, ExpressionWrapper, F, Q
from django.db.models.lookups import GreaterThanOrEqual

from program.models.circuit import Station
from program.models.people import TsTzRange
from program.models.prescription import Prescription
from program.models.resident import Person, Resident
from program.models.scoped import (
    BuildingForeignKey,
    OfBuilding,
    OfBuildingQuerySet,
    Versioned,
    ends_after_it_starts,
    is_finite,
)
from program.rules.states import State, Traces, state_at

# Elapsed time, as a difference of two instants: an interval of "2 days" would follow the session's time zone.
HOLDS_48_HOURS = GreaterThanOrEqual(
    ExpressionWrapper(F("held_until") - F("ends_at"), output_field=DurationField()), timedelta(hours=48)
)
LASTS_AT_MOST_A_DAY = GreaterThanOrEqual(
    timedelta(hours=24), ExpressionWrapper(F("ends_at") - F("starts_at"), output_field=DurationField())
)


class SessionQuerySet(OfBuildingQuerySet):
    def touching(self, start: datetime, until: datetime) -> Self:
        """Those of which some instant, planned or real, lies in the half-open span."""
        return self.filter(
            Q(starts_at__lt=until, ends_at__gt=start) | Q(started_at__lt=until, last_set_ended_at__gt=start)
        )

    def on_the_plan(self) -> Self:
        """Not withdrawn and not given up."""
        return self.filter(withdrawn_at__isnull=True, given_up_at__isnull=True)


class Session(OfBuilding, Versioned):
    """One visit of a resident to the circuit.

    `starts_at` and `ends_at` are planned; `started_at`, `last_set_ended_at` and `ended_at` are what happened.
    `held_from` and `held_until` are the span of the person that the session holds: written by settling alone.
    """

    resident = BuildingForeignKey(Resident, related_name="sessions")
    # The person again, for the exclusion constraint sees only its own row; copied when booking, by nothing else.
    person = models.ForeignKey(Person, models.PROTECT, related_name="sessions")
    prescription = BuildingForeignKey(Prescription, related_name="+")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    day_closes_at = models.DateTimeField()
    published_at = models.DateTimeField(null=True, blank=True)
    help_sixths = models.PositiveSmallIntegerField()
    escort_sixths = models.PositiveSmallIntegerField(default=0)
    escort_minutes = models.PositiveSmallIntegerField(default=0)
    recovery_hours = models.DecimalField(max_digits=6, decimal_places=2, default=48)
    left_out = ArrayField(models.BigIntegerField(), default=list, blank=True)
    is_locked = models.BooleanField(default=False)
    started_at = models.DateTimeField(null=True, blank=True)
    sets_done = models.PositiveSmallIntegerField(default=0)
    last_set_ended_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    attempted_at = models.DateTimeField(null=True, blank=True)
    given_up_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    held_from = models.DateTimeField(null=True, blank=True)
    held_until = models.DateTimeField(null=True, blank=True)
    is_cut = models.BooleanField(default=False)
    is_too_soon = models.BooleanField(default=False)

    objects = SessionQuerySet.as_manager()  # type: ignore[misc] # its own questions beside those of OfBuilding

    class Meta:
        indexes = [
            models.Index(fields=["building", "starts_at"], name="sessions_of_a_week"),
            models.Index(fields=["resident", "-starts_at"], name="sessions_of_a_resident"),
        ]
        constraints = [
            ends_after_it_starts("a_session_ends_after_it_starts"),
            models.CheckConstraint(
                name="a_session_is_followed_by_at_least_48_hours",
                condition=Q(recovery_hours__gte=48, recovery_hours__lte=1000),
                violation_error_message="Recovery is at least 48 hours.",
            ),
            models.CheckConstraint(
                name="a_session_lasts_at_most_a_day",
                condition=LASTS_AT_MOST_A_DAY,
                violation_error_message="A session cannot be longer than 24 hours.",
            ),
            models.CheckConstraint(
                name="a_span_has_both_ends_or_neither",
                # Both said to be there: a comparison with nothing is unknown, and what is unknown passes a check.
                condition=Q(held_from__isnull=True, held_until__isnull=True)
                | (
                    Q(held_from__isnull=False, held_until__isnull=False, held_until__gt=F("held_from"))
                    & Q(is_finite("held_from"))
                    & Q(is_finite("held_until"))
                ),
                violation_error_message="What a session holds has a start and an end.",
            ),
            models.CheckConstraint(
                name="a_booking_holds_its_time_and_48_hours_after",
                condition=Q(is_cut=True)
                | Q(started_at__isnull=False)
                | Q(held_from__isnull=True)
                | (Q(held_from=F("starts_at")) & Q(HOLDS_48_HOURS)),
                violation_error_message="A booking holds the person from its start to at least 48 hours after its end.",
            ),
            models.CheckConstraint(
                name="a_session_lets_go_only_when_it_will_not_happen",
                condition=Q(held_from__isnull=False)
                | Q(is_cut=True)
                | Q(withdrawn_at__isnull=False)
                | Q(given_up_at__isnull=False)
                | Q(ended_at__isnull=False, sets_done=0)
                | Q(attempted_at__isnull=False, sets_done=0)
                | Q(started_at__isnull=False, sets_done=0),
                violation_error_message="A session that may still happen holds its time.",
            ),
            models.CheckConstraint(
                name="a_done_session_has_a_start_and_a_last_set",
                condition=Q(sets_done=0, last_set_ended_at__isnull=True)
                | Q(
                    sets_done__gt=0,
                    started_at__isnull=False,
                    last_set_ended_at__isnull=False,
                    last_set_ended_at__gte=F("started_at"),
                ),
                violation_error_message="A session with sets has a start, and an end of the last set after it.",
            ),
            models.CheckConstraint(
                name="a_session_really_ends_after_it_really_starts",
                condition=Q(ended_at__isnull=True) | Q(started_at__isnull=True) | Q(ended_at__gte=F("started_at")),
                violation_error_message="A session cannot end before it started.",
            ),
            ExclusionConstraint(
                name="nobody_trains_before_they_have_recovered",
                expressions=[
                    ("person", RangeOperators.EQUAL),
                    (TsTzRange("held_from", "held_until", RangeBoundary()), RangeOperators.OVERLAPS),
                ],
                condition=Q(held_from__isnull=False),
                violation_error_message="That is too close to another session of the same person.",
            ),
        ]

    @property
    def traces(self) -> Traces:
        return Traces(
            starts_at=self.starts_at,
            day_closes_at=self.day_closes_at,
            started_at=self.started_at,
            sets_done=self.sets_done,
            ended_at=self.ended_at,
            attempted_at=self.attempted_at,
            given_up_at=self.given_up_at,
            withdrawn_at=self.withdrawn_at,
            is_published=self.published_at is not None,
        )

    def state_at(self, moment: datetime) -> State:
        return state_at(self.traces, moment)

    @property
    def really_ended_at(self) -> datetime | None:
        """The end of the last finished set, or the tapped end if later; None before the first set."""
        if self.last_set_ended_at is None:
            return None
        return max(self.last_set_ended_at, self.ended_at or self.last_set_ended_at)

    @property
    def is_overtaken(self) -> bool:
        """A booking that what really happened has left too little time before."""
        is_booking = self.published_at is not None and not self.started_at
        return is_booking and self.is_cut and self.held_from != self.starts_at


class Slot(OfBuilding):
    """One station of a session, start and end; `is_held` while nobody else can have the station then."""

    session = BuildingForeignKey(Session, related_name="slots")
    station = BuildingForeignKey(Station, related_name="slots")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    is_held = models.BooleanField(default=True)

    class Meta:
        ordering = ["starts_at"]
        indexes = [models.Index(fields=["building", "starts_at"], name="slots_of_a_week")]
        constraints = [
            ends_after_it_starts("a_slot_ends_after_it_starts"),
            models.CheckConstraint(
                name="a_slot_lasts_at_most_a_day",
                condition=LASTS_AT_MOST_A_DAY,
                violation_error_message="A slot cannot be longer than 24 hours.",
            ),
            ExclusionConstraint(
                name="a_station_holds_one_resident_at_a_time",
                expressions=[
                    ("station", RangeOperators.EQUAL),
                    (TsTzRange("starts_at", "ends_at", RangeBoundary()), RangeOperators.OVERLAPS),
                ],
                condition=Q(is_held=True),
                violation_error_message="That station is taken at that time.",
            ),
            ExclusionConstraint(
                name="nobody_is_at_two_stations_at_once",
                expressions=[
                    ("session", RangeOperators.EQUAL),
                    (TsTzRange("starts_at", "ends_at", RangeBoundary()), RangeOperators.OVERLAPS),
                ],
                violation_error_message="A resident cannot be at two stations at once.",
            ),
        ]
