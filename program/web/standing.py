"""Whether a resident can train on a day, and the one thing that stands in the way, in words."""

import unicodedata
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, Max, OuterRef, Q, QuerySet, Subquery

from program import clock
from program.models import Building, Hold, Prescription, Resident, Session

# Letters that have no accent to take away.
LETTERS = str.maketrans({"ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d", "ð": "d", "þ": "th"})
EXPIRES_SOON = timedelta(days=30)

CANNOT = {
    "no-agreement": "those without an agreement",
    "no-clearance": "those without a valid clearance",
    "expiring": "those whose clearance ends within 30 days",
    "hold": "those on an exercise hold",
    "away": "those who are away",
}


@dataclass(frozen=True, slots=True)
class Standing:
    """`kind` is that of a chip: ok, wait or stop."""

    kind: str
    words: str


def with_standing(residents: QuerySet[Resident], building: Building) -> QuerySet[Resident]:
    """Residents with `cleared_until`, `held_kind`, `held_because`, `has_plan` and `next_at`, in the same query."""
    now = clock.now()
    held = Hold.objects.holding_at(now).filter(resident=OuterRef("pk")).order_by("-kind", "starts_at")
    valid = Q(clearances__withdrawn_at__isnull=True, clearances__given_on__lte=_today(building))
    coming = Session.objects.on_the_plan().filter(resident=OuterRef("pk"), started_at__isnull=True, starts_at__gte=now)
    return residents.annotate(
        cleared_until=Max("clearances__until_on", filter=valid),
        held_kind=Subquery(held.values("kind")[:1]),
        held_because=Subquery(held.values("reason")[:1]),
        has_plan=Exists(Prescription.objects.filter(resident=OuterRef("pk"))),
        next_at=Subquery(coming.order_by("starts_at").values("starts_at")[:1]),
    )


def by_name(resident: Resident) -> tuple[str, str, int]:
    """The order of names as people look them up: “Åsa” under A, whatever the database thinks of it."""
    family, given = (_plain(name) for name in (resident.family_name, resident.given_name))
    return family, given, resident.pk


def _plain(name: str) -> str:
    letters = unicodedata.normalize("NFKD", name).casefold().translate(LETTERS)
    return "".join(letter for letter in letters if not unicodedata.combining(letter))


def only_those_who(residents: QuerySet[Resident], cannot: str, building: Building) -> QuerySet[Resident]:
    today = _today(building)
    conditions = {
        "no-agreement": Q(agreed_on__isnull=True) | Q(agreement_withdrawn_at__isnull=False),
        "no-clearance": Q(cleared_until__isnull=True) | Q(cleared_until__lt=today),
        "expiring": Q(cleared_until__range=(today, today + EXPIRES_SOON)),
        "hold": Q(held_kind=Hold.Kind.CLINICAL),
        "away": Q(held_kind=Hold.Kind.AWAY),
    }
    return residents.filter(conditions[cannot]) if cannot in conditions else residents


def standing_of(resident: Resident, today: date) -> Standing:
    """Of a resident read by `with_standing`."""
    if standing := _not_asked_or_held(resident):
        return standing
    if resident.cleared_until is None or resident.cleared_until < today:
        ended = resident.cleared_until
        return Standing("stop", f"Clearance ended {_day(ended)}" if ended else "No clearance")
    if not resident.has_plan:
        return Standing("wait", "No exercise plan yet")
    if resident.cleared_until <= today + EXPIRES_SOON:
        return Standing("wait", f"Can train; cleared until {_day(resident.cleared_until)}")
    return Standing("ok", "Can train")


def _not_asked_or_held(resident: Resident) -> Standing | None:
    if resident.agreement_withdrawn_at:
        return Standing("stop", "Agreement withdrawn")
    if resident.agreed_on is None:
        return Standing("stop", "No agreement")
    if resident.held_kind:
        word = "Away" if resident.held_kind == Hold.Kind.AWAY else "Exercise hold"
        return Standing("stop", f"{word}: {resident.held_because}")
    return None


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _today(building: Building) -> date:
    return clock.now().astimezone(building.zone).date()
