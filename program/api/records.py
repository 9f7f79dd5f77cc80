"""What was written about sessions: lines and sets, with what was corrected still there."""

from datetime import datetime
from typing import Any

from django_filters import rest_framework as filters
from rest_framework import serializers

from program.api.places import OfBuildingFilters
from program.models import Record, Resident, Session, Set, Station
from program.rules.late_entry import hours_and_minutes, late_entry
from program.web.doors import Door, Listed
from program.web.fields import Shown
from program.web.filtering import VisibleFilter

WRITTEN = (
    *("id", "building", "session", "resident", "event_id", "done_by", "entered_by", "entered_at", "phone_happened_at"),
    *("replaced_at", "replaced_by", "replaced_because"),
)


def delay_of(happened_at: datetime, entered_at: datetime) -> str:
    late = late_entry(happened_at, entered_at)
    return hours_and_minutes(late) if late else ""


class RecordShown(Shown):
    resident = serializers.IntegerField(source="session.resident_id", read_only=True)
    late_entry = serializers.SerializerMethodField(help_text="Like “29 h 30 min”; empty if written at once.")

    class Meta:
        model = Record
        fields = [
            *WRITTEN,
            *("kind", "happened_at", "reason", "reason_class", "note", "moved_from_starts_at", "moved_from_ends_at"),
            *("identified_by", "late_entry"),
        ]

    def get_late_entry(self, record: Record) -> str:
        return delay_of(record.happened_at, record.entered_at)


class SetShown(Shown):
    resident = serializers.IntegerField(source="session.resident_id", read_only=True)
    late_entry = serializers.SerializerMethodField(help_text="Like “29 h 30 min”; empty if written at once.")

    class Meta:
        model = Set
        fields = [
            *WRITTEN,
            *("line", "station", "exercise", "load", "load_unit", "load_kg", "repetitions", "seconds", "ended_at"),
            *("more_possible", "pain", "pain_cannot_be_rated", "pain_signs_seen", "stop_reason", "late_entry"),
        ]

    def get_late_entry(self, done: Set) -> str:
        return delay_of(done.ended_at, done.entered_at)


class WrittenFilters(OfBuildingFilters):
    resident = VisibleFilter(Resident.objects, field_name="session__resident")
    session = VisibleFilter(Session.objects)
    replaced = filters.BooleanFilter("replaced_at", lookup_expr="isnull", exclude=True)


class RecordFilters(WrittenFilters):
    kind = filters.ChoiceFilter(choices=Record.Kind.choices)


class SetFilters(WrittenFilters):
    station = VisibleFilter(Station.objects)


class WrittenDoor(Listed, Door):
    joins = ("building", "session")
    rights = {"list": "see residents"}

    def seen_in(self, row: Any) -> list[tuple[int, int]]:
        return [(row.building_id, row.session.resident_id)]


class RecordDoor(WrittenDoor):
    model = Record
    reads = RecordShown
    shows = "record"
    filterset_class = RecordFilters


class SetDoor(WrittenDoor):
    model = Set
    reads = SetShown
    shows = "set"
    filterset_class = SetFilters
