"""The schema of the API: what a door declares about itself, and the refusals, the same everywhere."""

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework import serializers

from program.web.problems import MEDIA_TYPE

IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    {"type": "string", "pattern": "^[A-Za-z0-9_-]{8,80}$"},
    OpenApiParameter.HEADER,
    required=True,
    description="New for each thing that is done, the same when it is tried again. Kept for 24 hours.",
)
IF_MATCH = OpenApiParameter(
    "If-Match",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    required=True,
    description="The ETag of the version that is changed.",
)


class WrongField(serializers.Serializer):
    field = serializers.CharField(allow_null=True, help_text="Like lines.0.load; null for the whole.")
    sentence = serializers.CharField()


class Refusal(serializers.Serializer):
    """A refusal (RFC 9457). The type leads to its explanation; further members offer the remedy."""

    type = serializers.CharField(help_text="Stable, like /problems/stale-version.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField(help_text="One sentence: what is wrong, and what to do.")
    request_id = serializers.CharField(required=False)
    errors = WrongField(many=True, required=False)
    current_version = serializers.IntegerField(required=False)


REFUSED = OpenApiResponse(Refusal, description="Refused: the detail says why, and what to do.")


class Schema(AutoSchema):
    @property
    def action(self) -> str | None:
        return getattr(self.view, "action", None)

    def get_override_parameters(self) -> list[Any]:
        parameters: list[Any] = []
        if self.method == "POST":
            parameters.append(IDEMPOTENCY_KEY)
        if self.action in getattr(self.view, "names_version", ()):
            parameters.append(IF_MATCH)
        if names := getattr(self.view, "query_names", {}).get(self.action):
            parameters.append(names)
        return parameters

    def get_request_serializer(self) -> Any:
        return getattr(self.view, "inputs", {}).get(self.action)

    def get_response_serializers(self) -> Any:
        if not hasattr(self.view, "reads"):
            return {200: OpenApiTypes.OBJECT, ("4XX", MEDIA_TYPE): REFUSED}
        status = self.view.statuses.get(self.action, {"create": 201, "destroy": 204}.get(self.action, 200))
        reads = self.view.answers.get(self.action, self.view.reads)
        return {status: None if status == 204 else reads, ("4XX", MEDIA_TYPE): REFUSED}
