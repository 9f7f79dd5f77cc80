"""The schema says what the API does."""

from io import StringIO

import pytest
from django.core.management import call_command
from drf_spectacular.generators import SchemaGenerator

from tests.program.api.walking import addresses

UNSAFE = {"post", "patch", "delete"}


@pytest.fixture(scope="module")
def schema() -> dict:
    return SchemaGenerator().get_schema(request=None, public=True)


def operations(schema: dict) -> dict[tuple[str, str], dict]:
    return {(path, verb): told for path, verbs in schema["paths"].items() for verb, told in verbs.items()}


def headers_of(operation: dict) -> set[str]:
    return {one["name"] for one in operation.get("parameters", ()) if one["in"] == "header" and one["required"]}


def test_the_schema_is_valid_and_made_without_a_warning() -> None:
    call_command(
        "spectacular",
        validate=True,
        fail_on_warn=True,
        stdout=StringIO(),
        stderr=StringIO(),
    )


def test_every_address_of_a_door_is_in_the_schema(schema: dict) -> None:
    walked = {
        (f"/{path}".replace("<int:pk>", "{id}"), verb)
        for path, _, methods in addresses()
        for verb in methods
        if verb != "head"
    }

    assert {*operations(schema)} == walked


def test_every_operation_tells_of_refusals_once(schema: dict) -> None:
    told = {str(operation["responses"]["4XX"]["content"]) for operation in operations(schema).values()}

    assert told == {"{'application/problem+json': {'schema': {'$ref': '#/components/schemas/Refusal'}}}"}


def test_the_headers_that_are_required_are_told(schema: dict) -> None:
    doors = {
        (f"/{path}".replace("<int:pk>", "{id}"), verb): action in door.names_version
        for path, door, methods in addresses()
        for verb, action in methods.items()
    }
    for (path, verb), operation in operations(schema).items():
        wanted = {"Idempotency-Key"} if verb == "post" else set()
        wanted |= {"If-Match"} if doors[path, verb] else set()
        assert headers_of(operation) == wanted, (path, verb)


def test_the_schema_is_served_to_whoever_is_signed_in(client, django_user_model, db: None) -> None:
    assert client.get("/api/schema/").status_code == 401
    client.force_login(django_user_model.objects.create(username="reader", name="A reader"))

    assert client.get("/api/schema/").status_code == 200
