"""Filters of lists by an allow-list: no other name is accepted, so that nothing can be found out by asking for it."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django import forms
from django.db.models import QuerySet
from django_filters import filters
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework.request import Request

from program.rules.errors import Invalid
from program.rules.week import Week
from program.web.fields import instant_named
from program.web.problems import NOTHING_HERE, Problem

OF_EVERY_LIST = frozenset({"limit", "cursor"})


def refuse_unknown(request: Request, known: Collection[str]) -> None:
    """400 naming the first query parameter that is not known, or comes twice."""
    for name, values in request.query_params.lists():
        if name not in known:
            may_be = f"Known are: {', '.join(sorted(known))}." if known else "There is none at this address."
            raise Problem("unknown-filter", 400, f"“{name[:40]}” is not known here. {may_be}")
        if len(values) > 1:
            raise Problem("invalid-filter", 400, f"“{name}” comes twice. Send it once.")


class OnlyKnownFilters(DjangoFilterBackend):
    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        filterset_class = self.get_filterset_class(view, queryset)
        refuse_unknown(request, {*(filterset_class.base_filters if filterset_class else ()), *OF_EVERY_LIST})
        if filterset_class is None:
            return queryset
        filterset = filterset_class(request.query_params, queryset=queryset, request=request)
        if not filterset.is_valid():
            errors = [
                {"field": name, "sentence": sentence}
                for name, sentences in filterset.errors.items()
                for sentence in sentences
            ]
            sentence = f"“{errors[0]['field']}”: {errors[0]['sentence']}"
            raise Problem("invalid-filter", 400, sentence, errors=errors)
        return filterset.qs


@extend_schema_field(OpenApiTypes.INT64)
class VisibleFilter(filters.ModelChoiceFilter):
    """Rows that belong to another one, which must be visible: to name a foreign one is to name a missing one."""

    def __init__(self, rows: Any, **options: Any) -> None:
        super().__init__(
            queryset=lambda request: rows.visible_to(request.user),
            error_messages={"invalid_choice": NOTHING_HERE},
            **options,
        )


class _InstantFormField(forms.CharField):
    def clean(self, value: str) -> datetime | None:
        text = super().clean(value)
        try:
            return instant_named(text) if text else None
        except ValueError as error:
            raise forms.ValidationError(str(error)) from None


class InstantFilter(filters.IsoDateTimeFilter):
    field_class = _InstantFormField

    def __init__(self, **options: Any) -> None:
        super().__init__(required=False, **options)


class _WeekFormField(forms.CharField):
    def clean(self, value: str) -> Week | None:
        text = super().clean(value)
        try:
            return Week.named(text) if text else None
        except Invalid as error:
            raise forms.ValidationError(error.sentence) from None


class WeekFilter(filters.CharFilter):
    field_class = _WeekFormField

    def __init__(self, **options: Any) -> None:
        super().__init__(required=False, **options)
