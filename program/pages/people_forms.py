"""What is asked about people: who they are, what they may do where, from when until when."""

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from program import clock
from program.models import Role
from program.rules.week import local_instant
from program.web.forms import DayInput, PlainForm
from program.web.people import place_named, places_for_roles

UTC_ZONE = ZoneInfo("UTC")


class PlaceForm(PlainForm):
    kind = forms.ChoiceField(label="Role", choices=Role.Kind.choices)
    where = forms.ChoiceField(required=False)

    def __init__(self, *values: Any, **options: Any) -> None:
        super().__init__(*values, **options)
        self.fields["kind"].choices = [(kind.value, kind.value) for kind in Role.Kind]
        self.fields["where"].choices = places_for_roles()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        cleaned["building"], cleaned["region"] = place_named(cleaned.pop("where", ""))
        return cleaned


class WhoForm(PlainForm):
    name = forms.CharField(max_length=120, help_text="As colleagues know the person.")
    username = forms.CharField(label="Sign-in name", max_length=60, help_text="What the person types to sign in.")
    email = forms.EmailField(label="E-mail address", required=False)


class AddPersonForm(PlaceForm, WhoForm):
    field_order = ["name", "username", "email", "kind", "where"]


class RoleForm(PlaceForm):
    # Without a day to begin with: which day it is depends on the place that is chosen.
    first_on = forms.DateField(
        label="First day", widget=DayInput(), required=False, help_text="Leave empty to begin now, at once."
    )
    last_on = forms.DateField(
        label="Last day", widget=DayInput(), required=False, help_text="Leave empty for a role without an end."
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        first_on, last_on = cleaned.pop("first_on", None), cleaned.pop("last_on", None)
        if first_on and last_on and last_on < first_on:
            self.add_error("last_on", "The last day cannot be before the first.")
        zone = cleaned["building"].zone if cleaned["building"] else UTC_ZONE
        if first_on is None:
            cleaned["since"] = clock.now()
        else:
            is_today = first_on == clock.now().astimezone(zone).date()
            cleaned["since"] = clock.now() if is_today else local_instant(first_on, 0, zone)
        cleaned["until"] = end_of(last_on, zone)
        return cleaned


class EndRoleForm(PlainForm):
    last_on = forms.DateField(
        label="Last day", widget=DayInput(), required=False, help_text="Leave empty to end the role now, at once."
    )


def end_of(day: date | None, zone: ZoneInfo) -> datetime | None:
    """Midnight after the day."""
    return local_instant(day, 24 * 60, zone) if day else None


def zone_of(role: Role) -> ZoneInfo:
    return role.building.zone if role.building else UTC_ZONE
