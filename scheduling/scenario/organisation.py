"""What stands above the buildings: two regions, their managers, and the administrator; and who can sign in."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

from django.contrib.auth.hashers import make_password
from django.db import connection, transaction

from program import clock
from program.actions.changing import make
from program.actions.locks import SEEDING
from program.models import Region, Role, User
from scheduling.scenario.buildings import BUILDINGS
from scheduling.scenario.second_factors import give_second_factors
from scheduling.scenario.workbook import people_of

ADMINISTRATOR = "administrator@example.org"
SINCE = timedelta(days=400)


@dataclass(frozen=True, slots=True)
class Login:
    """Somebody of the demo: the address to sign in with, what they are, and where."""

    username: str
    kind: str
    where: str


def logins() -> Iterator[Login]:
    """Everybody who can sign in, from the top of the organisation down."""
    yield Login(ADMINISTRATOR, Role.Kind.ADMINISTRATOR, "everywhere")
    for region in regions():
        yield Login(manager_of(region), Role.Kind.REGIONAL_MANAGER, region)
    for plan in BUILDINGS:
        for _, email, role in people_of(plan):
            yield Login(email, role, plan.name)


def regions() -> list[str]:
    return sorted({plan.region for plan in BUILDINGS})


def manager_of(region: str) -> str:
    return f"manager.{region.lower()}@example.org"


@transaction.atomic
def seed_organisation(*, password: str) -> None:
    """Regions, managers and administrator where they are missing; `password` is that of all of the demo's people."""
    # Two seeds at once take turns.
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s, 0)", [SEEDING])
    administrator = User.objects.filter(username=ADMINISTRATOR).first()
    if administrator is None:
        administrator = _person(ADMINISTRATOR, "Amberley Invented", Role.Kind.ADMINISTRATOR)
        for name in regions():
            region = Region.objects.filter(name__iexact=name).first() or make(Region(name=name))
            _person(manager_of(name), f"Manager of {name}", Role.Kind.REGIONAL_MANAGER, region)
    if not administrator.check_password(password):
        # One hash for all: making one takes a good part of a second, and the password is the same anyway.
        usernames = [login.username for login in logins()]
        User.objects.filter(username__in=usernames).update(password=make_password(password))
    give_second_factors(User.objects.filter(username__in=[login.username for login in logins()]))


def _person(username: str, name: str, kind: str, region: Region | None = None) -> User:
    user = User.objects.create_user(username=username, name=name, email=username)
    make(Role(user=user, kind=kind, region=region, since=clock.now() - SINCE))
    return user
