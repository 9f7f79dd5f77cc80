"""What is elsewhere does not exist: not by number, not by filter, not in a body; and with the guards out it does."""

import re

import pytest
from django.http import HttpResponse

from program.access import Reach
from program.models import Building, User
from program.models.places import BuildingQuerySet
from program.models.scoped import OfBuildingQuerySet, set_scope
from tests.program.api import walking
from tests.promises.asking import Address, addresses, ask, client_of, everything
from tests.promises.furnished import Furnished, furnish
from tests.promises.matrix import MATRIX, ROW_OF
from tests.promises.racing import tell

pytestmark = pytest.mark.django_db
OF_A_BUILDING = [address for address in addresses() if address.is_of_a_building]
READ = [address for address in addresses() if "GET" in MATRIX[address.path]]
LISTS = [address for address in READ if address.is_api and not address.parts]
NOBODYS = 987_654_321
TwoHouses = tuple[Furnished, Furnished]


@pytest.fixture
def houses() -> TwoHouses:
    return furnish("Arrowfen"), furnish("Brindlewharf")


def without_names(answer: HttpResponse, *numbers: object) -> tuple[int, str]:
    """What is left of an answer when the numbers asked for, the number of the request and the token are taken out."""
    # A row may have the number of a status.
    told = re.sub(r'"status": ?\d+', "", answer.content.decode())
    for number in sorted(map(str, numbers), key=len, reverse=True):
        told = re.sub(rf"(?<![\w-]){re.escape(number)}(?![\w-])", "N", told)
    told = re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", told)
    request_id = answer.headers.get("X-Request-Id") or answer.headers.get("Request-Id") or "-"
    return answer.status_code, told.replace(request_id, "R")


@pytest.mark.parametrize("address", OF_A_BUILDING, ids=lambda address: address.path)
def test_a_foreign_row_is_answered_like_one_that_there_never_was(houses: TwoHouses, address: Address) -> None:
    here, there = houses
    client = client_of(here.house.coordinator)
    part = "pk" if "pk" in address.parts else "building_id"
    key = there.rows[address.noun if part == "pk" else ROW_OF[part]].pk
    for method in MATRIX[address.path]:
        foreign = ask(client, address, method, there)
        made_up = ask(client, address, method, there, **{part: NOBODYS})
        assert without_names(foreign, key) == without_names(made_up, NOBODYS)
        assert foreign.status_code == 404


@pytest.mark.parametrize("address", [one for one in OF_A_BUILDING if len(one.parts) > 1 and "pk" not in one.parts])
def test_a_foreign_row_under_ones_own_building_is_not_found(houses: TwoHouses, address: Address) -> None:
    """The address begins at home, and names something elsewhere."""
    here, there = houses
    client = client_of(here.house.coordinator)
    for part in address.parts[1:]:
        if part in ROW_OF:
            keys = {part: there.rows[ROW_OF[part]].pk}
            told = {method: ask(client, address, method, here, **keys).status_code for method in MATRIX[address.path]}
            assert set(told.values()) == {404}


def filters_of(address: Address) -> list[str]:
    door = next(door for path, door, _ in walking.addresses() if path == address.path)
    named = getattr(door, "filterset_class", None)
    return list(named.base_filters) if named else []


@pytest.mark.parametrize("address", [one for one in LISTS if one.path not in ("api/me/", "api/schema/")])
def test_no_filter_of_a_list_finds_what_is_elsewhere(houses: TwoHouses, address: Address) -> None:
    here, there = houses
    client = client_of(here.house.coordinator)
    url = address.filled(here)
    for name in filters_of(address):
        row = there.rows.get("Building" if name == "building" else name.replace("_", " ").title().replace(" ", ""))
        for sent in {there.mark, str(row.pk) if row else "1", there.rows["Resident"].family_name}:
            answer = client.get(url, {name: sent})
            assert there.mark.casefold() not in without_names(answer)[1].replace(sent, "").casefold()
            if answer.status_code == 200:
                assert [one for one in answer.json()["results"] if "building" in one and is_elsewhere(one, there)] == []


def is_elsewhere(told: dict, there: Furnished) -> bool:
    return told["building"] == there.house.building.pk


def canaries(houses: TwoHouses, person: User) -> tuple[int, int]:
    """(answers, those with a word of the other house), over everything that can be read."""
    here, there = houses
    # With a guard out a page may break in the middle; then it shows nothing.
    client = client_of(person, raise_request_exception=False)
    answers = [ask(client, address, "GET", where) for address in READ for where in (here, there)]
    return len(answers), sum(there.mark in everything(answer) for answer in answers)


def everybody_sees(query_set: OfBuildingQuerySet, user: User) -> OfBuildingQuerySet:
    return query_set.all()


def test_nothing_of_another_building_is_read_anywhere(houses: TwoHouses) -> None:
    tried, bad = canaries(houses, houses[0].house.coordinator)

    tell("reading as the coordinator of one building", tried=tried, bad=bad)
    assert bad == 0


def test_where_the_service_forgets_to_filter_the_database_does_not(
    houses: TwoHouses, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a control: one of two guards is out."""
    monkeypatch.setattr(OfBuildingQuerySet, "visible_to", everybody_sees)
    tried, bad = canaries(houses, houses[0].house.coordinator)

    tell("reading with the filter out", tried=tried, bad=bad)
    assert bad == 0


def test_with_both_guards_out_the_other_building_is_read(houses: TwoHouses, monkeypatch: pytest.MonkeyPatch) -> None:
    """The control: roles that reach everywhere open the filter and the scope alike."""
    monkeypatch.setattr(User, "care_building_ids", lambda user: Building.objects.values_list("pk", flat=True))
    everywhere = frozenset(Building.objects.values_list("pk", flat=True))
    monkeypatch.setattr("program.web.scope.reach_of", lambda user: Reach(care=everywhere, reported=everywhere))
    monkeypatch.setattr(BuildingQuerySet, "visible_to", everybody_sees)
    monkeypatch.setattr("program.access.may", lambda user, right, building: True)
    tried, bad = canaries(houses, houses[0].house.coordinator)

    tell("reading with both guards out", tried=tried, bad=bad)
    assert bad >= 40


def test_every_reference_in_a_body_is_one_that_the_person_may_see(houses: TwoHouses) -> None:
    """A body that names a row elsewhere is refused as if there were none, at every address that takes one."""
    here, there = houses
    client = client_of(here.house.coordinator)
    makes = [one for one in addresses() if one.is_api and not one.parts and "POST" in MATRIX[one.path]]
    told = {address.path: ask(client, address, "POST", there) for address in makes}

    assert {path for path, answer in told.items() if answer.status_code not in (400, 422)} == set()
    assert [path for path, answer in told.items() if there.mark in everything(answer)] == []
    # The same bodies of one's own house are not refused for what they name.
    set_scope(list(Building.objects.values_list("pk", flat=True)), user_id=None)
    taken = {address.path: ask(client, address, "POST", here).status_code for address in makes}
    assert {path: status for path, status in taken.items() if status not in (200, 201, 202)} == {
        "api/prescriptions/": 403
    }
