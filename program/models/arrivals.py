"""What arrives from outside: files to import, judged before they are applied, and requests that may come twice."""

from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import Q

from program.models.scoped import Versioned, only_one

if TYPE_CHECKING:
    from program.models.people import User


class ImportQuerySet(models.QuerySet["Import"]):
    def visible_to(self, user: "User") -> Self:
        return self.filter(Q(building_id__in=user.care_building_ids()) | Q(building__isnull=True, entered_by=user))


class Import(Versioned):
    """A file that was read: every row judged, nothing applied before somebody says so."""

    class Kind(models.TextChoices):
        BUILDING = "building"
        RESIDENTS = "residents"
        CALENDARS = "calendars"

    class State(models.TextChoices):
        JUDGED = "judged"
        APPLIED = "applied"

    # Empty for a workbook that starts a new building, until it is applied.
    building = models.ForeignKey("program.Building", models.PROTECT, null=True, blank=True, related_name="+")
    kind = models.CharField(max_length=9, choices=Kind)
    state = models.CharField(max_length=8, choices=State, default=State.JUDGED)
    file_name = models.CharField(max_length=120)
    sha256 = models.CharField(max_length=64)
    # Rows as judged: what is written in one is in the words of the file.
    rows = models.JSONField(blank=True)
    refusals = models.JSONField(default=list, blank=True)
    counts = models.JSONField(default=dict, blank=True)
    entered_by = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    applied_at = models.DateTimeField(null=True, blank=True)
    applied_by = models.ForeignKey("program.User", models.PROTECT, null=True, blank=True, related_name="+")

    objects = ImportQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="an_applied_import_says_when_and_by_whom",
                condition=Q(state="judged", applied_at__isnull=True)
                | Q(state="applied", applied_at__isnull=False, applied_by__isnull=False),
                violation_error_message="An applied import says when and by whom.",
            )
        ]


class Answer(models.Model):
    """The answer given to a request with an Idempotency-Key, to be given again when the request comes again."""

    user = models.ForeignKey("program.User", models.PROTECT, related_name="+")
    key = models.CharField(max_length=80)
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.BinaryField(default=b"")
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            only_one("a_request_is_answered_once", "user", "key", sentence="A request with that key is being answered.")
        ]
