"""A resident: one person's stay in one building, from-until, with what staff must know to help them train."""

from typing import Self
from uuid import uuid4

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import ArrayField, RangeBoundary, RangeOperators
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Greatest, Least

from program.models.people import TsTzRange
from program.models.places import Unit
from program.models.scoped import BuildingForeignKey, OfBuilding, OfBuildingQuerySet, Versioned, only_one


class Person(models.Model):
    """What joins the stays of one person: an id and nothing else. The row is what sessions of a person lock."""

    id = models.UUIDField(primary_key=True, default=uuid4, editable=False)


class Help(models.IntegerChoices):
    """The share of one member of staff at the stations, in sixths."""

    SHARED_BY_THREE = 2, "one helps three"
    SHARED_BY_TWO = 3, "one helps two"
    ONE_TO_ONE = 6, "one-to-one"
    TWO_STAFF = 12, "two staff"


class Escort(models.IntegerChoices):
    """How many people fetch the resident and bring them back."""

    ALONE = 0, "alone"
    ESCORTED = 1, "escorted"
    TWO_PEOPLE = 2, "two people"


class ResidentQuerySet(OfBuildingQuerySet):
    def staying_at(self, moment: object) -> Self:
        return self.filter(Q(until__isnull=True) | Q(until__gt=moment), since__lte=moment)

    def in_the_programme(self) -> Self:
        return self.filter(enrolled_at__isnull=False)


class Resident(OfBuilding, Versioned):
    """One stay. Names and dates of birth identify; unit, room and bed are for finding only."""

    class Half(models.TextChoices):
        MORNING = "morning"
        AFTERNOON = "afternoon"

    person = models.ForeignKey(Person, models.PROTECT, related_name="stays")
    key = models.CharField(max_length=40)
    unit = BuildingForeignKey(Unit, related_name="residents")
    given_name = models.CharField(max_length=80)
    family_name = models.CharField(max_length=80)
    date_of_birth = models.DateField()
    room = models.CharField(max_length=20, blank=True)
    bed = models.CharField(max_length=20, blank=True)
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    enrolled_at = models.DateTimeField(null=True, blank=True)
    help_sixths = models.PositiveSmallIntegerField(choices=Help)
    escort_people = models.PositiveSmallIntegerField(choices=Escort, default=Escort.ALONE)
    escort_minutes = models.PositiveSmallIntegerField(default=0)
    helper_notes = ArrayField(models.CharField(max_length=80), default=list, blank=True)
    recovery_hours = models.DecimalField(max_digits=6, decimal_places=2, default=48)
    # Carried from before this service or from another building; nothing older is read here.
    last_session_ended_at = models.DateTimeField(null=True, blank=True)
    recovered_at = models.DateTimeField(null=True, blank=True)
    sessions_before = models.PositiveIntegerField(default=0)
    preferred_half = models.CharField(max_length=9, choices=Half, blank=True)
    agreed_on = models.DateField(null=True, blank=True)
    agreed_by = models.CharField(max_length=120, blank=True)
    agreement_authority = models.CharField(max_length=120, blank=True)
    agreement_withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = ResidentQuerySet.as_manager()  # type: ignore[misc] # its own questions beside those of OfBuilding

    class Meta:
        constraints = [
            only_one(
                "no_two_residents_of_a_building_share_a_key",
                "building",
                "key",
                sentence="Another resident of this building has that key.",
            ),
            ExclusionConstraint(
                name="a_person_stays_in_one_building_at_a_time",
                expressions=[
                    ("person", RangeOperators.EQUAL),
                    (TsTzRange("since", "until", RangeBoundary()), RangeOperators.OVERLAPS),
                ],
                violation_error_message="That person is already staying somewhere at that time.",
            ),
            models.CheckConstraint(
                name="a_stay_ends_after_it_begins",
                condition=Q(until__isnull=True) | Q(until__gt=F("since")),
                violation_error_message="A stay must end after it begins.",
            ),
            models.CheckConstraint(
                name="help_is_a_share_that_a_session_can_have",
                condition=Q(help_sixths__in=Help.values),
                violation_error_message="Help is one of: one helps three, one helps two, one-to-one, two staff.",
            ),
            models.CheckConstraint(
                name="fetching_takes_people_and_minutes_or_neither",
                condition=Q(escort_people=0, escort_minutes=0)
                | Q(escort_people__in=(1, 2), escort_minutes__range=(1, 60)),
                violation_error_message="Say how many minutes fetching takes each way, 1 to 60, or choose alone.",
            ),
            models.CheckConstraint(
                name="a_helper_sees_at_most_six_notes",
                condition=Q(helper_notes__len__lte=6),
                violation_error_message="At most six notes of 80 letters: a helper must read them at a glance.",
            ),
            models.CheckConstraint(
                name="recovery_is_at_least_48_hours",
                condition=Q(recovery_hours__gte=48, recovery_hours__lte=1000),
                violation_error_message="Recovery is at least 48 hours; a clinician may make it longer, never shorter.",
            ),
            models.CheckConstraint(
                name="an_agreement_names_who_agreed_and_when",
                condition=Q(agreed_on__isnull=True, agreed_by="") | (Q(agreed_on__isnull=False) & ~Q(agreed_by="")),
                violation_error_message="An agreement needs who agreed and on which day.",
            ),
            models.CheckConstraint(
                name="nobody_is_in_the_programme_without_an_agreement",
                condition=Q(enrolled_at__isnull=True) | Q(agreed_on__isnull=False),
                violation_error_message="Nobody is in the programme without an agreement.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def name(self) -> str:
        return f"{self.given_name} {self.family_name}"

    @property
    def short_name(self) -> str:
        """For lists on a wall: first name and initial only."""
        return f"{self.given_name} {self.family_name[:1]}."


class Pairing(OfBuilding):
    """Two residents who are never at the stations together, or gladly are."""

    class Kind(models.TextChoices):
        APART = "apart"
        TOGETHER = "together"

    kind = models.CharField(max_length=8, choices=Kind)
    first = BuildingForeignKey(Resident, related_name="+")
    second = BuildingForeignKey(Resident, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="a_pair_is_of_two_residents",
                condition=~Q(first=F("second")),
                violation_error_message="A pair is of two different residents.",
            ),
            models.UniqueConstraint(
                Least("first", "second"),
                Greatest("first", "second"),
                name="two_residents_are_paired_once",
                violation_error_message="These two are already paired.",
            ),
        ]
