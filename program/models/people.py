"""Who works here: people, the roles they hold from-until, and the weekly shifts on the circuit."""

from datetime import datetime
from typing import Any, Self

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateTimeRangeField, RangeBoundary, RangeOperators
from django.db import models
from django.db.models import F, Func, Q, Value
from django.db.models.functions import Coalesce, Lower

from program import clock
from program.models.places import Building, Region
from program.models.scoped import BuildingForeignKey, OfBuilding, Versioned, ends_after_it_starts


class TsTzRange(Func):
    function = "tstzrange"
    output_field = DateTimeRangeField()


class UserManager(BaseUserManager["User"]):
    def create_user(self, *, username: str, name: str, email: str | None = None, password: str | None = None) -> "User":
        user = self.model(username=username, name=name, email=self.normalize_email(email) or None)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> "User":
        return self.get(username__iexact=username)


class User(AbstractBaseUser):
    """A person who signs in. Rights come from roles alone; there is no account that may do everything."""

    username = models.CharField(max_length=60, unique=True)
    name = models.CharField(max_length=120)
    email = models.EmailField(null=True, blank=True)
    is_active = models.BooleanField(default=True)
    # Sessions that began before it are dead, whatever cookie asks.
    signed_out_at = models.DateTimeField(null=True, blank=True)

    USERNAME_FIELD = "username"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    objects = UserManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("username"),
                name="no_two_people_share_a_sign_in_name",
                violation_error_message="That name is taken.",
            ),
            models.UniqueConstraint(
                Lower("email"), name="no_two_people_share_an_address", violation_error_message="That address is taken."
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def care_building_ids(self) -> models.QuerySet[Any]:
        """The buildings whose residents the person may see now; a query, so that an ended role ends at once."""
        return self.roles.in_care_at(clock.now()).building_ids()

    def reported_building_ids(self) -> models.QuerySet[Any]:
        """The buildings whose saved reports the person may see now: those of their regions, and those they work in."""
        return self.roles.held_at(clock.now()).exclude(kind=Role.Kind.STAFF).building_ids()


class RoleQuerySet(models.QuerySet["Role"]):
    def held_at(self, moment: datetime) -> Self:
        return self.filter(Q(until__isnull=True) | Q(until__gt=moment), since__lte=moment, user__is_active=True)

    def in_care_at(self, moment: datetime) -> Self:
        return self.held_at(moment).filter(kind__in=Role.IN_CARE)

    def building_ids(self) -> models.QuerySet[Any]:
        """The buildings these roles reach, directly or through a region."""
        return Building.objects.filter(
            Q(pk__in=self.values("building")) | Q(region__in=self.filter(region__isnull=False).values("region"))
        ).values_list("pk", flat=True)


class Role(models.Model):
    """What a person may do, where, from-until. Kinds as in the design (4.11)."""

    class Kind(models.TextChoices):
        COORDINATOR = "coordinator"
        STAFF = "staff"
        CLINICIAN = "clinician"
        REGIONAL_MANAGER = "regional manager"
        ADMINISTRATOR = "administrator"

    IN_CARE = (Kind.COORDINATOR, Kind.STAFF, Kind.CLINICIAN)

    user = models.ForeignKey(User, models.PROTECT, related_name="roles")
    kind = models.CharField(max_length=20, choices=Kind)
    building = models.ForeignKey(Building, models.PROTECT, null=True, blank=True, related_name="roles")
    region = models.ForeignKey(Region, models.PROTECT, null=True, blank=True, related_name="roles")
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)

    objects = RoleQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="a_role_is_held_in_a_building_or_a_region_or_everywhere",
                condition=(
                    Q(kind="administrator", building__isnull=True, region__isnull=True)
                    | Q(kind="regional manager", building__isnull=True, region__isnull=False)
                    | Q(kind__in=("coordinator", "staff", "clinician"), building__isnull=False, region__isnull=True)
                    | Q(kind__in=("coordinator", "staff", "clinician"), building__isnull=True, region__isnull=False)
                ),
                violation_error_message="Name the building or the region of this role; an administrator has neither.",
            ),
            models.CheckConstraint(
                name="a_role_ends_after_it_begins",
                condition=Q(until__isnull=True) | Q(until__gt=F("since")),
                violation_error_message="A role must end after it begins.",
            ),
            ExclusionConstraint(
                name="nobody_holds_a_role_twice_at_once",
                expressions=[
                    ("user", RangeOperators.EQUAL),
                    ("kind", RangeOperators.EQUAL),
                    (Coalesce("building", Value(0)), RangeOperators.EQUAL),
                    (Coalesce("region", Value(0)), RangeOperators.EQUAL),
                    (TsTzRange("since", "until", RangeBoundary()), RangeOperators.OVERLAPS),
                ],
                violation_error_message="The person already holds that role at that time.",
            ),
        ]


class Shift(OfBuilding, Versioned):
    """A person on the circuit every week on one weekday, from the first day until the last (or until changed)."""

    user = models.ForeignKey(User, models.PROTECT, related_name="shifts")
    first_on = models.DateField()
    last_on = models.DateField(null=True, blank=True)
    starts_minute = models.PositiveSmallIntegerField()
    ends_minute = models.PositiveSmallIntegerField()
    # Times are made up to this day; they are never made twice, so that a change of one day stays changed.
    made_until = models.DateField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="a_shift_ends_after_it_starts",
                condition=Q(ends_minute__gt=F("starts_minute"), ends_minute__lte=1440),
                violation_error_message="A shift must end after it starts, on the same day.",
            ),
            models.CheckConstraint(
                name="the_last_day_of_a_shift_is_not_before_the_first",
                condition=Q(last_on__isnull=True) | Q(last_on__gte=F("first_on")),
                violation_error_message="The last day of a shift cannot be before its first.",
            ),
        ]


class ShiftTime(OfBuilding, Versioned):
    """One occurrence of a shift. Nobody is on the circuit twice at once, in whatever building."""

    shift = BuildingForeignKey(Shift, related_name="times")
    user = models.ForeignKey(User, models.PROTECT, related_name="+")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()

    class Meta:
        constraints = [
            ends_after_it_starts("a_time_on_the_circuit_ends_after_it_starts"),
            models.CheckConstraint(
                name="a_time_on_the_circuit_is_within_a_day",
                condition=Q(ends_at__lte=F("starts_at") + Value("24:00:00", output_field=models.DurationField())),
                violation_error_message="A shift cannot be longer than 24 hours.",
            ),
            ExclusionConstraint(
                name="nobody_is_on_the_circuit_twice_at_once",
                expressions=[
                    ("user", RangeOperators.EQUAL),
                    (TsTzRange("starts_at", "ends_at", RangeBoundary()), RangeOperators.OVERLAPS),
                ],
                violation_error_message="That person is already on the circuit at that time.",
            ),
        ]
