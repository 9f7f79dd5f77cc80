"""Fields of the API: references a person may see, instants with their offset, weeks by name, nothing unknown."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import models
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from program.models import Building
from program.rules.errors import Invalid
from program.rules.week import Week
from program.web.problems import NOTHING_HERE

FIRST, LAST = datetime(1900, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)
NAMED_BY_NUMBER = {"does_not_exist": NOTHING_HERE, "incorrect_type": "Name this by its number."}
UNESCAPED_PLUS = re.compile(r"(?<=T\d\d:\d\d:\d\d) (?=\d\d:\d\d$)")
# A number that no row can have.
LARGEST_ID = 2**63 - 1


def instant_named(text: str) -> datetime:
    """The instant in UTC; ValueError with a sentence unless it is ISO 8601 with an offset, 1900 to 2200."""
    try:
        # The plus of an offset in a query is read as a space where it was not escaped.
        instant = datetime.fromisoformat(UNESCAPED_PLUS.sub("+", text))
    except ValueError:
        raise ValueError("That is not a time. Write it like 2026-12-02T10:30:00-05:00.") from None
    if instant.tzinfo is None:
        raise ValueError("A time needs its offset from UTC. Write it like 2026-12-02T10:30:00-05:00.")
    try:
        instant = instant.astimezone(UTC)
    except OverflowError:
        raise ValueError("That time is out of range.") from None
    if not FIRST <= instant < LAST:
        raise ValueError("A time lies between 1900 and 2200.")
    return instant


def zone_of(row: Any) -> ZoneInfo:
    """Of the building a row belongs to, or is."""
    building = row if isinstance(row, Building) else getattr(row, "building", None)
    return building.zone if building else ZoneInfo("UTC")


class InstantField(serializers.DateTimeField):
    """In: ISO 8601 with an offset. Out: the same, by the clock of the row's building."""

    def to_internal_value(self, value: Any) -> datetime:
        if not isinstance(value, str):
            raise serializers.ValidationError("A time is text like 2026-12-02T10:30:00-05:00.")
        try:
            return instant_named(value)
        except ValueError as error:
            raise serializers.ValidationError(str(error)) from None

    def get_attribute(self, instance: Any) -> datetime | None:
        instant = super().get_attribute(instance)
        return instant and instant.astimezone(zone_of(instance))

    def to_representation(self, value: datetime | None) -> str | None:
        return value and value.isoformat()


@extend_schema_field({"type": "string", "pattern": r"^\d{4}-W\d{2}$", "example": "2026-W49"})
class WeekField(serializers.CharField):
    def to_internal_value(self, value: Any) -> Week:
        try:
            return Week.named(super().to_internal_value(value))
        except Invalid as error:
            raise serializers.ValidationError(error.sentence) from None

    def to_representation(self, value: Week) -> str:
        return value.name


class VisibleField(serializers.PrimaryKeyRelatedField):
    """A reference the asking person may see; anything else does not exist."""

    def __init__(self, **options: Any) -> None:
        super().__init__(error_messages=NAMED_BY_NUMBER, **options)

    def get_queryset(self) -> Any:
        return super().get_queryset().visible_to(self.context["request"].user)

    def to_internal_value(self, value: Any) -> Any:
        if not isinstance(value, int) and not (isinstance(value, str) and value.isascii() and value.isdigit()):
            self.fail("incorrect_type", data_type=type(value).__name__)
        if int(value) > LARGEST_ID:
            self.fail("does_not_exist", pk_value=value)
        return super().to_internal_value(value)


class Input(serializers.Serializer):
    """What an action takes: everything else in the body is refused, not ignored."""

    def to_internal_value(self, sent: Any) -> Any:
        if isinstance(sent, Mapping):
            unknown = [name for name in sent if name not in self.fields]
            if unknown:
                raise serializers.ValidationError({name: [f"“{name[:40]}” is not known here."] for name in unknown})
        return super().to_internal_value(sent)


class Change(Input):
    """What may be changed of something: at least one of its fields."""

    def validate(self, sent: dict[str, Any]) -> dict[str, Any]:
        if not sent:
            raise serializers.ValidationError(f"Name what to change: {', '.join(self.fields)}.")
        return sent


class Shown(serializers.ModelSerializer):
    """How a row is read: the fields named, instants by the clock of its building."""

    serializer_field_mapping = serializers.ModelSerializer.serializer_field_mapping | {
        models.DateTimeField: InstantField
    }
