"""Whatever is sent, the answer is one of the schema's: never a 5xx, and every refusal a known type of problem."""

import json
from typing import Any
from urllib.parse import quote

import pytest
import schemathesis
from django.db import transaction
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, given, settings

from program.models import Hours, Role, Session
from program.web.problem_types import PROBLEM_TYPES
from program.web.problems import MEDIA_TYPE
from tests.conftest import House
from tests.factories import LONG_AGO
from tests.program.api.arranging import at, booked
from tests.program.api.asking import Api


def operations() -> list[Any]:
    told = json.loads(json.dumps(SchemaGenerator().get_schema(request=None, public=True), default=str))
    schema = schemathesis.openapi.from_dict(told)
    return [found.ok() for found in schema.get_all_operations()]


def real(sent: Any, known: dict[str, int]) -> Any:
    """The same with references to what is there, so that it gets past the first look."""
    if isinstance(sent, dict):
        return {name: known.get(name, real(inner, known)) for name, inner in sent.items()}
    return [real(inner, known) for inner in sent] if isinstance(sent, list) else sent


def send(api: Api, case: Any, known: dict[str, Any]) -> Any:
    headers = {name: str(value).encode("ascii", "replace").decode() for name, value in (case.headers or {}).items()}
    noun = case.path.split("/")[2]
    if noun in known:
        row = known[noun]
        case.path_parameters = dict.fromkeys(case.path_parameters, row.pk)
        headers |= {"If-Match": f'"{row.pk}-{row.version}"'}
    asked = "&".join(f"{quote(str(name))}={quote(str(value), safe='')}" for name, value in (case.query or {}).items())
    body = b"" if isinstance(case.body, schemathesis.core.NotSet) else json.dumps(case.body, default=str).encode()
    if known and body:
        body = json.dumps(real(json.loads(body), known["named"])).encode()
    with transaction.atomic():
        answer = api.client.generic(
            case.method, f"{case.formatted_path}?{asked}", body, content_type="application/json", headers=headers
        )
        transaction.set_rollback(True)
    return answer


def known_in(house: House, session: Session) -> dict[str, Any]:
    resident, station = session.resident, house.stations[0]
    named = {"building": house.building.pk, "resident": resident.pk, "unit": house.unit.pk, "station": station.pk}
    return {
        "named": named | {"residents": [resident.pk], "user": house.aide.pk, "done_by": house.aide.pk},
        "buildings": house.building,
        "residents": resident,
        "sessions": session,
        "stations": station,
        "clearances": resident.clearances.get(),
        "hours": Hours.objects.of(house.building).first(),
    }


@pytest.mark.parametrize("operation", operations(), ids=lambda operation: operation.label)
@pytest.mark.parametrize("is_real", [False, True], ids=["any number", "what is there"])
def test_every_answer_is_one_of_the_schema(arrowfen: House, operation: Any, is_real: bool) -> None:
    session = booked(arrowfen, arrowfen.resident(), at(arrowfen, 0, 600))
    known = known_in(arrowfen, session) if is_real else {}
    # A clinician too, so that no right is in the way.
    Role.objects.create(user=arrowfen.coordinator, kind="clinician", building=arrowfen.building, since=LONG_AGO)
    api = Api(arrowfen.coordinator)

    @settings(
        max_examples=5,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=[*HealthCheck],
    )
    @given(case=operation.as_strategy())
    def try_out(case: Any) -> None:
        answer = send(api, case, known)
        assert answer.status_code < 500
        if answer.status_code >= 400:
            assert answer.headers["Content-Type"] == MEDIA_TYPE
            assert answer.json()["type"].removeprefix("/problems/") in PROBLEM_TYPES

    try_out()
