"""Runs: asking for the reports of some buildings, and how far they are."""

from collections import defaultdict
from typing import Any

from django.db.models import Count, Q
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from program.web.doors import Listed
from program.web.fields import Input, InstantField, Shown
from reports.api.doors import BuildingInSightField, OfPeriodFilters, ReportsDoor
from reports.figures import pooled_attendance
from reports.models import Report, Run
from reports.periods import KINDS, Period
from reports.tasks import request_reports

MOST_BUILDINGS = 2000
COUNTS = tuple(Report.State.values)


class RunShown(Shown):
    """How many of the buildings that the person may see are waiting, made, failed or refused."""

    waiting = serializers.IntegerField(read_only=True)
    made = serializers.IntegerField(read_only=True)
    failed = serializers.IntegerField(read_only=True)
    refused = serializers.IntegerField(read_only=True)

    class Meta:
        model = Run
        fields = ("id", "period_kind", "period_name", "as_of", "asked_by", "asked_at", *COUNTS)


class AttendanceShown(serializers.Serializer):
    """Done of published with its 95 % interval; where more than 5 % is not recorded, a range from least to most."""

    done = serializers.IntegerField()
    published = serializers.IntegerField()
    not_recorded = serializers.IntegerField()
    share = serializers.FloatField(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    is_range = serializers.BooleanField()
    least = serializers.FloatField(allow_null=True)
    most = serializers.FloatField(allow_null=True)


class BuildingOfRun(serializers.Serializer):
    building = serializers.IntegerField(source="building_id")
    name = serializers.CharField(source="building.name")
    region = serializers.IntegerField(source="building.region_id")
    report = serializers.IntegerField(source="pk")
    state = serializers.CharField()
    failure = serializers.CharField()
    attendance = serializers.SerializerMethodField()

    @extend_schema_field(AttendanceShown(allow_null=True))
    def get_attendance(self, report: Report) -> Any:
        return report.figures and report.figures["attendance"]


class RegionOfRun(serializers.Serializer):
    """The buildings of a region that are made, as one: Σ done of Σ published, never a mean of shares."""

    region = serializers.IntegerField()
    name = serializers.CharField()
    buildings = serializers.IntegerField()
    attendance = AttendanceShown()


class RunWhole(RunShown):
    buildings = BuildingOfRun(many=True)
    regions = RegionOfRun(many=True)

    class Meta(RunShown.Meta):
        fields = (*RunShown.Meta.fields, "buildings", "regions")


class RunInput(Input):
    """Without `buildings`: all of those whose reports the person may make. Without `as_of`: as of now."""

    period_kind = serializers.ChoiceField(choices=KINDS)
    period_name = serializers.CharField(max_length=8)
    as_of = InstantField(required=False)
    buildings = serializers.ListField(
        child=BuildingInSightField(), min_length=1, max_length=MOST_BUILDINGS, required=False
    )


class RunDoor(Listed, ReportsDoor):
    model = Run
    joins = ()
    reads = RunShown
    inputs = {"create": RunInput}
    answers = {"retrieve": RunWhole}
    # Accepted, not done: workers make the reports.
    statuses = {"create": 202}
    filterset_class = OfPeriodFilters
    rights = {"list": "see reports", "retrieve": "see reports", "create": "make reports"}

    def get_queryset(self) -> Any:
        runs = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return runs
        mine = list(self.request.user.reported_building_ids())
        counts = {
            state: Count("reports", filter=Q(reports__state=state, reports__building__in=mine)) for state in COUNTS
        }
        return runs.annotate(**counts)

    def list(self, request: Request) -> Response:
        self.listed()
        return super().list(request)

    def retrieve(self, request: Request, pk: int) -> Response:
        run = self.found()
        reports = Report.objects.visible_to(request.user).filter(run=run).select_related("building__region")
        run.buildings = sorted(reports, key=lambda report: report.building.name.casefold())
        run.regions = regions_of(run.buildings)
        return Response(RunWhole(run, context=self.get_serializer_context()).data)

    def create(self, request: Request) -> Response:
        """Its address tells how far it is: ask for it again until nothing is waiting."""
        sent = self.taken()
        period = Period.named(sent.pop("period_kind"), sent.pop("period_name"))
        makes = self.buildings_with_right()
        buildings = sent.pop("buildings", None) or self.all_with_right(makes)
        for building in buildings:
            if building.pk not in makes:
                raise self.not_allowed()
        self.allowed_in = tuple(buildings)
        run = request_reports(by=request.user, buildings=buildings, period=period, **sent)
        told = RunShown(self.get_queryset().get(pk=run.pk), context=self.get_serializer_context()).data
        return Response(told, status=self.statuses["create"], headers={"Location": f"{request.path}{run.pk}/"})


def regions_of(reports: list[Report]) -> list[dict[str, Any]]:
    """Pooled by region; buildings under an outbreak closure stand apart, and are in no sum."""
    by_region: dict[Any, list[Report]] = defaultdict(list)
    for report in reports:
        if report.figures and not report.figures["outbreak"]:
            by_region[report.building.region].append(report)
    return [
        {
            "region": region.pk,
            "name": region.name,
            "buildings": len(made),
            "attendance": pooled_attendance(report.figures["attendance"] for report in made),
        }
        for region, made in sorted(by_region.items(), key=lambda row: row[0].name.casefold())
    ]
