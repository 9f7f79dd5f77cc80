"""Who did what: written by the database itself in the transaction of the change; nobody's to rewrite or to silence."""

from typing import TYPE_CHECKING, Self

from django.contrib.postgres.fields import ArrayField
from django.db import models

if TYPE_CHECKING:
    from program.models.people import User


class AuditQuerySet(models.QuerySet["Audit"]):
    def visible_to(self, user: "User") -> Self:
        return self.filter(building_id__in=user.care_building_ids())


class Audit(models.Model):
    """One change of one row, or one look at residents' data. The service can add through triggers alone."""

    # No foreign keys: the trail outlives what it speaks of.
    building_id = models.BigIntegerField(null=True)
    user_id = models.BigIntegerField(null=True)
    request_id = models.CharField(max_length=64, blank=True)
    action = models.CharField(max_length=8)
    noun = models.CharField(max_length=60)
    row_id = models.CharField(max_length=60, blank=True)
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)
    resident_ids = ArrayField(models.BigIntegerField(), default=list)
    happened_at = models.DateTimeField()
    # By the database's own clock, whatever the service believes the time to be.
    written_at = models.DateTimeField()

    objects = AuditQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["building_id", "-happened_at"], name="audit_of_a_building"),
            models.Index(fields=["noun", "row_id"], name="audit_of_a_row"),
        ]
