"""What the doors of reports share: figures are shown to those who answer for a building, also through its region."""

from typing import Any

from django.http import Http404
from django_filters import rest_framework as filters

from program import clock
from program.access import RIGHTS
from program.models import Building
from program.rules.errors import NotAllowed
from program.web.doors import Door
from program.web.fields import VisibleField
from program.web.filtering import VisibleFilter
from reports.models import BuildingsInSight
from reports.periods import KINDS


class BuildingInSightField(VisibleField):
    """A building by its number; who may only work there is told so, to anybody else it does not exist."""

    def __init__(self, **options: Any) -> None:
        super().__init__(queryset=BuildingsInSight, **options)

    def get_queryset(self) -> Any:
        return BuildingsInSight.visible_to(self.context["request"].user)


class OfPeriodFilters(filters.FilterSet):
    period_kind = filters.ChoiceFilter(choices=[(kind, kind) for kind in KINDS])
    period_name = filters.CharFilter(max_length=8, label="Like 2026-W48 or 2026-11.")


class OfReportFilters(OfPeriodFilters):
    building = VisibleFilter(BuildingsInSight)


class ReportsDoor(Door):
    """404 for what is elsewhere, 403 for those who work in the building and do not answer for its reports."""

    def found(self) -> Any:
        shown = self.get_queryset().filter(pk=self.kwargs["pk"]).first()
        if shown is not None:
            return shown
        if self.model.objects.visible_to(self.request.user, where_they_work=True).filter(pk=self.kwargs["pk"]).exists():
            raise self.not_allowed()
        raise Http404

    def listed(self) -> None:
        if not self.request.user.reported_building_ids().exists():
            raise self.not_allowed()

    def not_allowed(self) -> NotAllowed:
        right = self.rights[self.action]
        return NotAllowed(f"You may not {right} here. Ask your {' or '.join(sorted(RIGHTS[right]))}.")

    def buildings_with_right(self) -> set[int]:
        """Those in which the person has the right of the action, found at once rather than one by one."""
        held = self.request.user.roles.held_at(clock.now()).filter(kind__in=RIGHTS[self.rights[self.action]])
        return set(held.building_ids())

    def all_with_right(self, makes: set[int]) -> list[Building]:
        if not makes:
            raise self.not_allowed()
        return [one for one in BuildingsInSight.visible_to(self.request.user).order_by("pk") if one.pk in makes]

    def may_replay_in(self) -> Any:
        return self.request.user.reported_building_ids()
