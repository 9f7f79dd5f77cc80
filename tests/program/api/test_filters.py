"""Filters by an allow-list, and pages that neither skip nor repeat."""

import pytest
from django.core import signing

from program.models import Resident
from tests.conftest import House
from tests.program.api.asking import Api, problem_of
from tests.program.api.walking import addresses

LISTS = [path.removeprefix("api/") for path, _, methods in addresses() if methods.get("get") == "list"]
DETAILS = [path for path, _, methods in addresses() if methods.get("get") == "retrieve"]


@pytest.mark.parametrize("path", LISTS)
@pytest.mark.parametrize(
    "name", ["ordering", "search", "id", "building__name", "building_id", "person", "q__gt", "format"]
)
def test_a_list_can_be_asked_by_the_known_names_only(arrowfen: House, path: str, name: str) -> None:
    answer = Api(arrowfen.coordinator).get(path, **{name: "1"})

    assert problem_of(answer) == (400, "unknown-filter")
    assert answer.json()["detail"].startswith(f"“{name}” is not known here.")


@pytest.mark.parametrize("path", DETAILS)
def test_one_row_cannot_be_asked_for_by_anything_but_its_number(arrowfen: House, path: str) -> None:
    path = path.removeprefix("api/").replace("<int:pk>", "1")

    assert problem_of(Api(arrowfen.coordinator).get(path, building=arrowfen.building.pk)) == (400, "unknown-filter")


def test_a_filter_that_comes_twice_is_refused(arrowfen: House) -> None:
    pk = arrowfen.building.pk

    assert problem_of(Api(arrowfen.aide).get("units/", building=[pk, pk])) == (400, "invalid-filter")


def test_a_choice_that_is_none_is_refused(arrowfen: House) -> None:
    answer = Api(arrowfen.aide).get("hours/", kind="tea")

    assert problem_of(answer) == (400, "invalid-filter")
    assert [error["field"] for error in answer.json()["errors"]] == ["kind"]


@pytest.mark.parametrize("limit", ["0", "201", "-1", "x", "", "1.5", "٣"])
def test_a_limit_outside_1_to_200_is_refused(arrowfen: House, limit: str) -> None:
    assert problem_of(Api(arrowfen.aide).get("units/", limit=limit)) == (400, "invalid-filter")


def test_residents_are_found_by_the_beginning_of_either_name(arrowfen: House) -> None:
    rose = arrowfen.resident(given_name="Rose", family_name="Invented")
    arrowfen.resident(given_name="Ambrose", family_name="Other")

    def found(beginning: str) -> list[int]:
        return [row["id"] for row in Api(arrowfen.aide).get("residents/", q=beginning).json()["results"]]

    assert (found("ros"), found("INV"), found("%"), found("ose")) == ([rose.pk], [rose.pk], [], [])


def walk(api: Api, path: str, limit: int, between=lambda: None) -> list[int]:
    seen, page = [], api.get(path, limit=limit).json()
    while True:
        seen += [row["id"] for row in page["results"]]
        if page["next"] is None:
            return seen
        between()
        page = api._seen(api.client.get(page["next"])).json()


@pytest.mark.parametrize("limit", [1, 2, 3, 5, 50])
def test_a_walk_sees_every_row_once_newest_first(arrowfen: House, limit: int) -> None:
    pks = [arrowfen.resident().pk for _ in range(5)]

    assert walk(Api(arrowfen.aide), "residents/", limit) == pks[::-1]


def test_rows_that_come_and_go_meanwhile_move_no_other(arrowfen: House) -> None:
    pks = [arrowfen.resident().pk for _ in range(6)]

    def meanwhile() -> None:
        arrowfen.resident()
        Resident.objects.filter(pk=pks[5]).update(family_name="Changed")

    assert walk(Api(arrowfen.aide), "residents/", 2, meanwhile) == pks[::-1]


def test_the_pages_stand_in_the_link_header(arrowfen: House) -> None:
    for _ in range(2):
        arrowfen.resident()
    answer = Api(arrowfen.aide).get("residents/", limit=1)

    # RFC 8288, 3.
    assert answer.headers["Link"] == f'<{answer.json()["next"]}>; rel="next"'


def test_a_cursor_is_good_for_its_list_and_its_person_alone(arrowfen: House, brindlewharf: House) -> None:
    for _ in range(2):
        arrowfen.resident()
    address = Api(arrowfen.aide).get("residents/", limit=1).json()["next"]
    cursor = address.split("cursor=")[1].split("&")[0].replace("%3A", ":")

    assert Api(arrowfen.aide).get("residents/", cursor=cursor).status_code == 200
    for api, path, sent in [
        (Api(arrowfen.aide), "stations/", cursor),
        (Api(arrowfen.coordinator), "residents/", cursor),
        (Api(arrowfen.aide), "residents/", f"{cursor}x"),
        (Api(arrowfen.aide), "residents/", signing.dumps([0, False, "1 OR 1=1"])),
        (Api(arrowfen.aide), "residents/", ""),
    ]:
        assert problem_of(api.get(path, cursor=sent)) == (400, "unknown-cursor")
