"""What must be true before anyone trains: clearances by a licensed clinician, and holds."""

from datetime import datetime
from typing import Self

from django.db import models
from django.db.models import F, Q

from program.models.resident import Resident
from program.models.scoped import BuildingForeignKey, OfBuilding, OfBuildingQuerySet, Versioned, is_finite, only_one


class Clearance(OfBuilding, Versioned):
    """A licensed clinician's yes: name, credential, day, expiry and limits. Both days count."""

    resident = BuildingForeignKey(Resident, related_name="clearances")
    given_by = models.CharField(max_length=120)
    credential = models.CharField(max_length=60)
    given_on = models.DateField()
    until_on = models.DateField()
    limits = models.TextField(max_length=1000, blank=True)
    entered_by = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="a_clearance_names_the_clinician_and_the_credential",
                condition=~Q(given_by="") & ~Q(credential=""),
                violation_error_message="A clearance needs the clinician's name and credential.",
            ),
            models.CheckConstraint(
                name="a_clearance_expires_after_it_is_given",
                condition=Q(until_on__gte=F("given_on")),
                violation_error_message="A clearance cannot expire before it is given.",
            ),
            models.UniqueConstraint(
                fields=["building", "resident", "given_by", "given_on", "until_on"],
                condition=Q(withdrawn_at__isnull=True),
                name="a_clearance_is_entered_once",
                violation_error_message="That clearance has been entered already.",
            ),
        ]


class HoldQuerySet(OfBuildingQuerySet):
    def holding_at(self, moment: datetime) -> Self:
        return self.filter(Q(ends_at__isnull=True) | Q(ends_at__gt=moment), starts_at__lte=moment)


class Hold(OfBuilding, Versioned):
    """No training from-until: clinical (released by a clinician), or away (ended by anyone on duty)."""

    class Kind(models.TextChoices):
        CLINICAL = "clinical"
        AWAY = "away"

    resident = BuildingForeignKey(Resident, related_name="holds")
    kind = models.CharField(max_length=8, choices=Kind)
    reason = models.CharField(max_length=120)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True)
    set_by = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
    released_by = models.ForeignKey("program.User", models.PROTECT, null=True, blank=True, related_name="+")
    release_note = models.CharField(max_length=300, blank=True)

    objects = HoldQuerySet.as_manager()  # type: ignore[misc] # its own questions beside those of OfBuilding

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="a_hold_ends_after_it_starts",
                condition=Q(is_finite("starts_at")) & (Q(ends_at__isnull=True) | Q(ends_at__gt=F("starts_at"))),
                violation_error_message="The end must come after the start.",
            ),
            models.CheckConstraint(
                name="a_hold_has_a_reason",
                condition=~Q(reason=""),
                violation_error_message="Say why: a hold needs a reason.",
            ),
        ]


class IncidentQuerySet(OfBuildingQuerySet):
    def waiting(self) -> Self:
        """Those that no clinician has seen yet."""
        return self.filter(seen_at__isnull=True)


class Incident(OfBuilding, Versioned):
    """Something happened: a warning sign at the stations. Open until a named clinician has seen it."""

    resident = BuildingForeignKey(Resident, related_name="incidents")
    session = BuildingForeignKey("program.Session", null=True, blank=True, related_name="incidents")
    hold = BuildingForeignKey(Hold, null=True, blank=True, related_name="+")
    event_id = models.UUIDField()
    sign = models.CharField(max_length=40)
    note = models.CharField(max_length=300, blank=True)
    happened_at = models.DateTimeField()
    phone_happened_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    entered_by = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    seen_at = models.DateTimeField(null=True, blank=True)
    seen_by = models.ForeignKey("program.User", models.PROTECT, null=True, blank=True, related_name="+")
    seen_note = models.CharField(max_length=300, blank=True)

    objects = IncidentQuerySet.as_manager()  # type: ignore[misc] # its own questions beside those of OfBuilding

    class Meta:
        constraints = [
            only_one("an_incident_is_told_once", "building", "event_id", sentence="That has been told already."),
            models.CheckConstraint(
                name="an_incident_names_its_sign",
                condition=~Q(sign=""),
                violation_error_message="Say what was seen.",
            ),
            models.CheckConstraint(
                name="a_seen_incident_says_by_whom",
                condition=Q(seen_at__isnull=True, seen_by__isnull=True)
                | Q(seen_at__isnull=False, seen_by__isnull=False),
                violation_error_message="An incident is seen by a named person.",
            ),
        ]
