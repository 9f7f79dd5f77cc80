"""Reports: the figures of one building over one period, as of one moment."""

from typing import Any

from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from program.web.doors import Listed, Single
from program.web.fields import Shown
from reports.api.doors import OfReportFilters, ReportsDoor
from reports.models import Report


class ReportShown(Shown):
    """`figures` are counts, and shares from 0 to 1 that are null where there is nothing to take a share of.

    Strength sessions here are not therapy minutes.
    """

    figures = serializers.DictField(allow_null=True)

    class Meta:
        model = Report
        fields = (
            *("id", "building", "run", "period_kind", "period_name", "starts_at", "ends_at", "as_of", "is_scheduled"),
            *("state", "asked_at", "made_at", "failure", "figures"),
        )


class ReportFilters(OfReportFilters):
    state = filters.ChoiceFilter(choices=Report.State.choices)


class ReportDoor(Listed, Single, ReportsDoor):
    model = Report
    reads = ReportShown
    filterset_class = ReportFilters
    rights = {"list": "see reports", "retrieve": "see reports"}

    def list(self, request: Request) -> Response:
        self.listed()
        return super().list(request)

    def answer(self, row: Any) -> Response:
        # Without an ETag: nobody edits a report, and the row changes while it is made.
        return Response(self.told([row])[0])
