"""Every address, every method, every kind of person: the written table is what happens, and nobody sees elsewhere."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
from django.http import HttpResponse

from program.access import RIGHTS
from program.models import Role, User
from program.web.doors import SIGNED_IN as BE_HERE
from tests import factories
from tests.program.api import walking
from tests.promises.asking import METHODS, Address, addresses, ask, client_of, everything
from tests.promises.furnished import Furnished, a_start, furnish, place_of
from tests.promises.matrix import EVERYWHERE, MATRIX, PUBLIC, ROW_OF, SIGNED_IN

pytestmark = pytest.mark.django_db
ALL = addresses()
IN_CARE = ("staff", "coordinator", "clinician")
ACTORS = ("nobody", *IN_CARE, "stranger", "regional manager", "administrator")


@dataclass
class World:
    here: Furnished
    there: Furnished
    actors: dict[str, User | None]

    def home_of(self, actor: str) -> Furnished | None:
        if actor == "stranger":
            return self.there
        return self.here if actor in IN_CARE else None


@pytest.fixture
def world() -> World:
    here, there = furnish("Arrowfen"), furnish("Brindlewharf")
    house = here.house
    administrator = factories.with_role(None, Role.Kind.ADMINISTRATOR)
    for one in (here, there):
        one.rows["Start"] = a_start(administrator, "start")
    return World(
        here,
        there,
        {
            "nobody": None,
            "staff": house.aide,
            "coordinator": house.coordinator,
            "clinician": house.clinician,
            "stranger": there.house.coordinator,
            "regional manager": factories.with_role(None, Role.Kind.REGIONAL_MANAGER, region=house.building.region),
            "administrator": administrator,
        },
    )


def expected(address: Address, method: str, actor: str) -> str:
    """In one word what happens when that person asks for a row of Arrowfen."""
    right = MATRIX[address.path].get("GET" if method == "HEAD" else method)
    if right in (PUBLIC, SIGNED_IN):
        return "allowed" if right == PUBLIC or actor != "nobody" else "signed out"
    if actor == "nobody":
        return "signed out"
    if right is None:
        return "no such method"
    if actor == "stranger" and not address.is_api and not set(address.parts) & set(ROW_OF):
        # A page that stands outside the buildings shows them their own.
        actor = "coordinator"
    if actor not in IN_CARE and actor not in RIGHTS[right] and right not in EVERYWHERE:
        return "not found"
    return "allowed" if actor in RIGHTS[right] else "not allowed"


def happened(address: Address, answer: HttpResponse) -> str:
    status = answer.status_code
    if status == 302 and "/account/login/" in answer.headers["Location"]:
        return "signed out"
    if answer.status_code == 200 and answer.wsgi_request.method == "OPTIONS":
        return "no such method"
    words = {401: "signed out", 403: "not allowed", 404: "not found", 405: "no such method"}
    return words.get(status, "allowed" if status < 500 else "broken")


def judged(address: Address, method: str, actor: str, answer: HttpResponse) -> tuple[str, str]:
    """What should happen and what did, in the same words."""
    should, did = expected(address, method, actor), happened(address, answer)
    line = MATRIX[address.path]
    is_making = address.is_api and not address.is_of_a_building
    if should == "not found" and is_making and answer.status_code in (200, 400, 403, 422):
        # A list is empty for them, and what they name in a body does not exist: its own refusal, not an address.
        return should, should
    if did == "no such method" and (method == "HEAD" or PUBLIC in line.values()):
        # Forms have no HEAD; who is not signed in may learn that a public address has no POST.
        return should, should
    if should == "no such method" and not address.is_api and did in ("not found", "not allowed"):
        return should, should
    if PUBLIC in line.values() and answer.status_code == 200:
        # The probes look at no method.
        return should, should
    return should, did


def test_every_address_has_its_line_and_every_line_its_address() -> None:
    assert sorted({address.path for address in ALL}) == sorted(MATRIX)
    assert len(ALL) == len(MATRIX)


def test_the_table_names_rights_that_there_are() -> None:
    named = {right for line in MATRIX.values() for right in line.values()}

    assert named - {PUBLIC, SIGNED_IN} <= set(RIGHTS)


def test_the_table_is_what_the_doors_of_the_api_declare() -> None:
    declared = {
        (path, method.upper()): door.rights[action].replace(BE_HERE, SIGNED_IN)
        for path, door, methods in walking.addresses()
        for method, action in methods.items()
        if method != "head"
    }
    written = {
        (path, method): right
        for path, line in MATRIX.items()
        if path.startswith("api/") and path != "api/schema/"
        for method, right in line.items()
    }

    assert written == declared


@dataclass
class Told:
    """What went otherwise than written, and where words of the other house were read."""

    cells: int = 0
    wrong: list[tuple[object, ...]] = field(default_factory=list)
    canaries: list[tuple[object, ...]] = field(default_factory=list)

    def ask(self, world: World, actor: str, address: Address, there: Furnished) -> Iterator[tuple[str, HttpResponse]]:
        """The answers to all methods; nobody but those who work there may read a word of a house."""
        client = client_of(world.actors[actor])
        # Names of buildings are no care data: those of their region, and for whoever gives roles in them, all.
        reads_names = [("regional manager", world.here), ("administrator", world.here), ("administrator", world.there)]
        houses = [one for one in (world.here, world.there) if one is not world.home_of(actor)]
        foreign = [one.mark for one in houses]
        foreign += [place_of(one.mark) for one in houses if (actor, one) not in reads_names]
        for method in METHODS:
            answer = ask(client, address, method, there)
            self.cells += 1
            if any(mark in everything(answer) for mark in foreign):
                self.canaries.append((actor, method, answer.status_code))
            yield method, answer


def at_home(world: World, address: Address) -> Told:
    """Everybody asks for what is Arrowfen's."""
    told = Told()
    for actor in ACTORS:
        for method, answer in told.ask(world, actor, address, world.here):
            should, did = judged(address, method, actor, answer)
            if should != did:
                told.wrong.append((actor, method, should, did, answer.status_code))
    return told


def elsewhere(world: World, address: Address) -> Told:
    """Those who work at Arrowfen ask for what is Brindlewharf's: it is not there."""
    told = Told()
    for actor in IN_CARE:
        for method, answer in told.ask(world, actor, address, world.there):
            is_there = method in MATRIX[address.path] and answer.status_code != 404
            if address.is_of_a_building and is_there:
                told.wrong.append((actor, method, "not found", answer.status_code))
    return told


@pytest.mark.parametrize("address", ALL, ids=lambda address: address.path or "/")
def test_what_the_table_says_is_what_happens(world: World, address: Address) -> None:
    home, away = at_home(world, address), elsewhere(world, address)

    assert (home.wrong, home.canaries, away.wrong, away.canaries) == ([], [], [], [])
    assert home.cells + away.cells == len(METHODS) * 10
