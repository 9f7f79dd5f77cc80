"""What holds for every door of the API, found by walking its addresses."""

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.test import RequestFactory
from rest_framework.response import Response

from program.access import RIGHTS
from program.models import Station
from program.models.scoped import set_scope
from program.web.doors import SIGNED_IN, Door, Listed
from tests.conftest import House
from tests.program.api.asking import Api, problem_of
from tests.program.api.walking import addresses, doors

ADDRESSES = [(path, method) for path, _, methods in addresses() for method in methods]


class Undeclared(Listed, Door):
    """A door that somebody forgot to give a right."""

    model = Station


class Unasked(Door):
    """A door that somebody forgot to let ask."""

    model = Station
    rights = {"create": "change places"}

    def create(self, request):
        return Response({}, status=201)


@pytest.mark.parametrize("door", doors(), ids=lambda door: door.__name__)
def test_every_action_of_a_door_has_a_right_of_the_table(door: type[Door]) -> None:
    actions = {action for _, one, methods in addresses() if one is door for action in methods.values()}

    assert {*door.rights} == actions
    assert {*door.rights.values()} <= {*RIGHTS, SIGNED_IN}


@pytest.mark.parametrize("door", doors(), ids=lambda door: door.__name__)
def test_no_door_reads_all_fields_of_a_table(door: type[Door]) -> None:
    read = [door.reads, *door.answers.values()]

    assert [getattr(one.Meta, "fields", None) for one in read if hasattr(one, "Meta")].count("__all__") == 0


def test_a_door_without_a_right_is_refused(arrowfen: House) -> None:
    request = RequestFactory().get("/")
    request.user = arrowfen.coordinator

    with pytest.raises(ImproperlyConfigured, match="declares no right for “list”"):
        Undeclared.as_view({"get": "list"})(request)


def test_a_write_that_asked_for_no_right_is_refused(arrowfen: House) -> None:
    request = RequestFactory().post(
        "/", {}, content_type="application/json", headers={"Idempotency-Key": "a-key-of-a-test"}
    )
    request.user, request._dont_enforce_csrf_checks = arrowfen.coordinator, True
    set_scope([arrowfen.building.pk], user_id=arrowfen.coordinator.pk)

    with pytest.raises(ImproperlyConfigured, match="without asking for a right"):
        Unasked.as_view({"post": "create"})(request)


@pytest.mark.parametrize(("path", "method"), ADDRESSES)
def test_nobody_gets_in_without_signing_in(db: None, path: str, method: str) -> None:
    address = "/" + path.replace("<int:pk>", "1")
    answer = Api(None).client.generic(method.upper(), address, headers={"Idempotency-Key": "a-key-of-a-test"})

    if method == "head":
        assert answer.status_code == 401
    else:
        assert problem_of(answer) == (401, "not-signed-in")
    assert answer.headers["WWW-Authenticate"] == 'Session realm="service"'


@pytest.mark.parametrize(("path", "method"), [one for one in ADDRESSES if one[1] not in ("get", "head")])
def test_nothing_is_written_without_the_token(arrowfen: House, path: str, method: str) -> None:
    api = Api(arrowfen.coordinator)
    api.client.handler.enforce_csrf_checks = True
    answer = api.client.generic(method.upper(), "/" + path.replace("<int:pk>", "1"))

    assert problem_of(answer) == (403, "token-missing")


@pytest.mark.parametrize("path", [path for path, method in ADDRESSES if method == "get" and "<int:pk>" in path])
def test_what_is_missing_is_not_found(arrowfen: House, path: str) -> None:
    path = path.removeprefix("api/")

    assert problem_of(Api(arrowfen.coordinator).get(path.replace("<int:pk>", "4611686018427387904"))) == (
        404,
        "not-found",
    )
    assert problem_of(Api(arrowfen.coordinator).get(path.replace("<int:pk>", "9" * 30))) == (404, "not-found")
