"""How long a person is taken by each session: the spans that no two sessions of one person may share."""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

LEAST_RECOVERY = timedelta(hours=48)


@dataclass(frozen=True, slots=True)
class Span:
    """Half-open: the instant `until` is free again."""

    start: datetime
    until: datetime


@dataclass(frozen=True, slots=True)
class Claim:
    """One session of a person: its start and end, really happened (`is_fact`) or booked, and its recovery."""

    key: Hashable
    start: datetime
    end: datetime
    is_fact: bool
    recovery: timedelta = LEAST_RECOVERY

    @property
    def recovered_at(self) -> datetime:
        return self.end + max(self.recovery, LEAST_RECOVERY)


@dataclass(frozen=True, slots=True)
class Held:
    """What a claim holds: nothing is left of it when `span` is None. `is_cut` when it holds less than it asked for."""

    span: Span | None
    is_cut: bool
    is_too_soon: bool = False


def spans(claims: Iterable[Claim]) -> dict[Hashable, Held]:
    """What each session of one person holds; no two of the spans share an instant.

    Facts come first: each from its real start to the latest end of recovery of all facts so far, cut where the next
    fact starts, so that every instant of a fact's recovery is held by some fact. A booking keeps what facts and
    earlier bookings leave of it.
    """
    in_order = sorted(claims, key=lambda claim: (claim.start, claim.end, str(claim.key)))
    held = _spans_of_facts([claim for claim in in_order if claim.is_fact])
    taken = [answer.span for answer in held.values() if answer.span]
    for booking in (claim for claim in in_order if not claim.is_fact):
        asked = Span(booking.start, booking.recovered_at)
        left = _first_free_part(asked, taken)
        held[booking.key] = Held(span=left, is_cut=left != asked)
        if left:
            taken.append(left)
    return held


def _spans_of_facts(facts: Sequence[Claim]) -> dict[Hashable, Held]:
    held: dict[Hashable, Held] = {}
    recovered_at: datetime | None = None
    for position, fact in enumerate(facts):
        is_too_soon = recovered_at is not None and fact.start < recovered_at
        recovered_at = fact.recovered_at if recovered_at is None else max(recovered_at, fact.recovered_at)
        following = facts[position + 1].start if position + 1 < len(facts) else recovered_at
        until = min(recovered_at, following)
        # Two facts at the same instant: the first holds nothing, the second holds for both.
        span = Span(fact.start, until) if until > fact.start else None
        held[fact.key] = Held(span=span, is_cut=until != fact.recovered_at, is_too_soon=is_too_soon)
    return held


def _first_free_part(asked: Span, taken: Iterable[Span]) -> Span | None:
    start, until = asked.start, asked.until
    for span in sorted(taken, key=lambda span: span.start):
        if span.until <= start:
            continue
        if span.start >= until:
            break
        if span.start > start:
            until = span.start
            break
        start = span.until
    return Span(start, until) if start < until else None


def recovered_at(claims: Iterable[Claim]) -> datetime | None:
    """The latest end of recovery of all claims, None without any."""
    return max((claim.recovered_at for claim in claims), default=None)
