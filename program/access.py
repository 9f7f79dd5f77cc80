"""Who may do what: the written table of rights is the behaviour. What a person may not see does not exist for them."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Q

from program import clock
from program.models import Building, Role, User
from program.rules.errors import NotAllowed

COORDINATOR, STAFF, CLINICIAN = Role.Kind.COORDINATOR, Role.Kind.STAFF, Role.Kind.CLINICIAN
REGIONAL_MANAGER, ADMINISTRATOR = Role.Kind.REGIONAL_MANAGER, Role.Kind.ADMINISTRATOR
ANYONE_IN_CARE = frozenset(Role.IN_CARE)

# A right, in words that complete “You may not …”, and the kinds of role that give it in a building.
RIGHTS: dict[str, frozenset[str]] = {
    "see this building": ANYONE_IN_CARE,
    "see residents": ANYONE_IN_CARE,
    "plan sessions": frozenset({COORDINATOR}),
    "record sessions": ANYONE_IN_CARE,
    "see the audit trail": frozenset({COORDINATOR, CLINICIAN}),
    "correct records": frozenset({COORDINATOR, CLINICIAN}),
    "see to incidents": frozenset({CLINICIAN}),
    "change residents": frozenset({COORDINATOR}),
    "change calendars": frozenset({COORDINATOR, CLINICIAN}),
    "change shifts": frozenset({COORDINATOR}),
    "change places": frozenset({COORDINATOR}),
    "report a closure": frozenset({COORDINATOR, STAFF}),
    "enter clearances": frozenset({COORDINATOR, CLINICIAN}),
    "prescribe": frozenset({CLINICIAN}),
    "set a hold": ANYONE_IN_CARE,
    "release an exercise hold": frozenset({CLINICIAN}),
    "import files": frozenset({COORDINATOR}),
    "start a building": frozenset({ADMINISTRATOR}),
    "see reports": frozenset({COORDINATOR, CLINICIAN, REGIONAL_MANAGER}),
    "make reports": frozenset({COORDINATOR, REGIONAL_MANAGER}),
    "manage people": frozenset({ADMINISTRATOR}),
}

# Who reads or decides beyond one building's day signs in with a second factor: these wherever, and those who decide in
# all of a region. Staff of a region are on the floor of one building at a time, as all staff.
NEEDS_SECOND_FACTOR = frozenset({CLINICIAN, REGIONAL_MANAGER, ADMINISTRATOR})
NEEDS_SECOND_FACTOR_IN_A_REGION = NEEDS_SECOND_FACTOR | {COORDINATOR}


@dataclass(frozen=True, slots=True)
class Held:
    """The kinds of role a person holds now, wherever; and of these the ones for all of a region."""

    kinds: frozenset[str] = frozenset()
    kinds_in_regions: frozenset[str] = frozenset()

    @property
    def needs_second_factor(self) -> bool:
        return bool(self.kinds & NEEDS_SECOND_FACTOR or self.kinds_in_regions & NEEDS_SECOND_FACTOR_IN_A_REGION)


def held_by(user: User) -> Held:
    held = list(Role.objects.held_at(clock.now()).filter(user=user).values_list("kind", "region_id"))
    return Held(
        kinds=frozenset(kind for kind, _ in held), kinds_in_regions=frozenset(kind for kind, region in held if region)
    )


def kinds_held(user: User) -> frozenset[str]:
    """The kinds of role the person holds now, wherever."""
    return held_by(user).kinds


def kinds_in(user: User, building: Building) -> frozenset[str]:
    """The kinds of role the person holds now in the building, directly or through its region."""
    held = Role.objects.held_at(clock.now()).filter(user=user)
    return frozenset(held.filter(Q(building=building) | Q(region=building.region_id)).values_list("kind", flat=True))


@dataclass(frozen=True, slots=True)
class Reach:
    """How far the roles of a person reach: buildings whose residents show, buildings whose saved reports show."""

    care: frozenset[int] = frozenset()
    reported: frozenset[int] = frozenset()
    is_administration: bool = False


def reach_of(user: User) -> Reach:
    """Of all roles held now, in one reading; the buildings of whole regions take another."""
    held = list(Role.objects.held_at(clock.now()).filter(user=user).values_list("kind", "building_id", "region_id"))
    regions = {region for _, _, region in held if region}
    within: dict[int, set[int]] = defaultdict(set)
    for building, region in (
        Building.objects.filter(region__in=regions).values_list("pk", "region_id") if regions else ()
    ):
        within[region].add(building)

    def reached(kinds: Collection[str]) -> frozenset[int]:
        mine = [({building} if building else within[region]) for kind, building, region in held if kind in kinds]
        return frozenset().union(*mine)

    return Reach(
        care=reached(ANYONE_IN_CARE),
        reported=reached(RIGHTS["see reports"]),
        is_administration=any(kind == ADMINISTRATOR for kind, _, _ in held),
    )


def is_administrator(user: User) -> bool:
    return Role.objects.held_at(clock.now()).filter(user=user, kind=ADMINISTRATOR).exists()


def may(user: User, right: str, building: Building | None) -> bool:
    if building is None:
        return ADMINISTRATOR in RIGHTS[right] and is_administrator(user)
    return bool(RIGHTS[right] & kinds_in(user, building))


def require(user: User, right: str, building: Building | None) -> None:
    """NotAllowed with a sentence unless the person has the right; that they may see the building is found before."""
    if not may(user, right, building):
        who = " or ".join(sorted(RIGHTS[right]))
        raise NotAllowed(f"You may not {right} here. Ask your {who}.")
