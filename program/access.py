"""Who may do what: the written table of rights is the behaviour. What a person may not see does not exist for them."""

from django.db.models import Q

from program import clock
from program.models import Building, Role, User
from program.rules.errors import NotAllowed

COORDINATOR, STAFF, CLINICIAN = Role.Kind.COORDINATOR, Role.Kind.STAFF, Role.Kind.CLINICIAN
ADMINISTRATOR = Role.Kind.ADMINISTRATOR
ANYONE_IN_CARE = frozenset(Role.IN_CARE)

# A right, in words that complete “You may not …”, and the kinds of role that give it in a building.
RIGHTS: dict[str, frozenset[str]] = {
    "see this building": ANYONE_IN_CARE,
    "see residents": ANYONE_IN_CARE,
    "plan sessions": frozenset({COORDINATOR}),
    "record sessions": ANYONE_IN_CARE,
    "see the audit trail": frozenset({COORDINATOR, CLINICIAN}),
    "correct records": frozenset({COORDINATOR, CLINICIAN}),
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
}


def kinds_in(user: User, building: Building) -> frozenset[str]:
    """The kinds of role the person holds now in the building, directly or through its region."""
    held = Role.objects.held_at(clock.now()).filter(user=user)
    return frozenset(held.filter(Q(building=building) | Q(region=building.region_id)).values_list("kind", flat=True))


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
