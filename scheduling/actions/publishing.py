"""Publishing a draft: all of it in one transaction, or nothing and every clash by name."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from program import clock
from program.actions.changing import change
from program.actions.locks import lock_persons, lock_plan
from program.actions.sessions import book_sessions, rebook_sessions, withdraw_sessions
from program.models import Session, User
from program.rules.errors import Refused
from program.rules.week import Week
from scheduling.actions.moving import booking_of
from scheduling.check import broken_rules, value
from scheduling.load import Loaded, load_week, standing_in, would_move
from scheduling.models import Roster
from scheduling.problem import PlacedSession, Reason, Unplaced, read_roster
from scheduling.problem import Roster as Answer
from scheduling.times import Refusal, judge_start


@dataclass(frozen=True, slots=True)
class Comparison:
    """A draft beside what is published: `moved` pairs a published session with its new place."""

    kept: Sequence[Session]
    new: Sequence[PlacedSession]
    moved: Sequence[tuple[Session, PlacedSession]]
    withdrawn: Sequence[Session]
    # By new place: the commitments that would have to move for it, in words.
    would_move: Mapping[PlacedSession, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Published:
    roster: Roster
    booked: Sequence[Session]
    moved: Sequence[Session]
    withdrawn: Sequence[Session]


def placed_in(roster: Roster) -> tuple[PlacedSession, ...]:
    """The sessions of a draft, in the order in which requests number them."""
    return read_roster(roster.answer or {}).sessions


def compare(*, roster: Roster) -> Comparison:
    """What publishing the draft would do, as things stand now."""
    stands = standing_in(building=roster.building, week=Week(roster.monday))
    new, moved = _matched(stands.loose, placed_in(roster))
    replaced = {session.pk for session, _ in moved}
    return Comparison(
        kept=stands.firm,
        new=new,
        moved=moved,
        withdrawn=[session for session in stands.loose if session.pk not in replaced],
        would_move={place: told for place in placed_in(roster) if (told := would_move(stands, place))},
    )


@transaction.atomic
def publish_roster(*, roster: Roster, by: User, version: int | None = None, without: Sequence[int] = ()) -> Published:
    """Publish the draft; `without` leaves out sessions by their number in the draft (0 is the first)."""
    lock_plan(building=roster.building)
    roster.refresh_from_db()
    if roster.state != Roster.State.DRAFT:
        raise Refused(f"This roster is {roster.state}, not a draft. Build the week again.", problem="roster-not-draft")
    _replace_the_published(roster)
    change(
        roster,
        version=version,
        state=Roster.State.PUBLISHED,
        published_at=clock.now(),
        published_by=by,
    )
    loaded = load_week(building=roster.building, week=Week(roster.monday), has_buffer=False)
    placed = [(index, session) for index, session in enumerate(placed_in(roster)) if index not in set(without)]
    if clashes := _clashes(loaded, placed):
        raise _refusal(clashes, len(placed))
    try:
        return _book(roster, loaded, [session for _, session in placed], by)
    except Refused as refusal:
        if not (refused := _refused_by_the_database(loaded, placed, refusal)):
            raise
        raise _refusal(refused, len(placed)) from None


def _replace_the_published(roster: Roster) -> None:
    others = Roster.objects.of(roster.building).filter(monday=roster.monday, state=Roster.State.PUBLISHED)
    for earlier in others:
        change(earlier, version=None, state=Roster.State.REPLACED)


def _book(roster: Roster, loaded: Loaded, placed: Sequence[PlacedSession], by: User) -> Published:
    new, moved = _matched(loaded.loose, placed)
    replaced = {session.pk for session, _ in moved}
    withdrawn = [session for session in loaded.loose if session.pk not in replaced]
    bookings = [booking_of(loaded, loaded.residents[session.resident], session.slots) for session in new]
    # All at once and in order of their ids: two publishing at the same time never wait for each other in a circle.
    lock_persons(
        person_ids=[session.person_id for session in loaded.loose]
        + [booking.resident.person_id for booking in bookings]
    )
    withdrawn = withdraw_sessions(sessions=withdrawn, reason="planned again", by=by) if withdrawn else []
    moves = [(session, booking_of(loaded, session.resident, place.slots)) for session, place in moved]
    rebooked = rebook_sessions(moves=moves, by=by) if moves else []
    booked = book_sessions(building=roster.building, bookings=bookings, by=by) if bookings else []
    return Published(roster=roster, booked=booked, moved=rebooked, withdrawn=withdrawn)


def _matched(
    loose: Sequence[Session], placed: Sequence[PlacedSession]
) -> tuple[list[PlacedSession], list[tuple[Session, PlacedSession]]]:
    """A published session that cannot stay is moved to a new place of the same resident, where there is one."""
    waiting = list(loose)
    new, moved = [], []
    for place in placed:
        session = next((one for one in waiting if str(one.resident_id) == place.resident), None)
        if session is None:
            new.append(place)
        else:
            waiting.remove(session)
            moved.append((session, place))
    return new, moved


def _clashes(loaded: Loaded, placed: Sequence[tuple[int, PlacedSession]]) -> list[dict[str, Any]]:
    """Each session that breaks a rule as things stand now, with the rule's sentence."""
    faults = broken_rules(loaded.problem, _as_answer(loaded, [session for _, session in placed]))
    return [
        _clash(loaded, index, session, _why(loaded, session))
        for index, session in placed
        if any(session.resident in fault.residents for fault in faults)
    ]


def _refused_by_the_database(
    loaded: Loaded, placed: Sequence[tuple[int, PlacedSession]], refusal: Refused
) -> list[dict[str, Any]]:
    """What only the database can see, such as a session in another building, told like every other clash."""
    sentences = {
        (str(clash["resident"]), clash["starts_at"]): clash["sentence"] for clash in refusal.details.get("clashes", ())
    }
    return [
        _clash(loaded, index, session, sentences[session.resident, session.start])
        for index, session in placed
        if (session.resident, session.start) in sentences
    ]


def _clash(loaded: Loaded, index: int, session: PlacedSession, sentence: str) -> dict[str, Any]:
    return {
        "session": index,
        "resident": int(session.resident),
        "name": _name(loaded, session),
        "starts_at": session.start,
        "sentence": sentence,
    }


def _name(loaded: Loaded, session: PlacedSession) -> str:
    resident = loaded.residents.get(session.resident)
    return resident.name if resident else "a resident who has left"


def _why(loaded: Loaded, session: PlacedSession) -> str:
    """The rule that refuses this session by itself; else it no longer fits beside the others of the draft."""
    if session.resident not in loaded.residents:
        return "The resident is no longer in the programme here."
    judged = judge_start(loaded.problem, session.resident, session.start, loaded.blocks[session.resident])
    if isinstance(judged, Refusal):
        return judged.sentence
    return "It no longer fits beside the other sessions of the draft: stations or help have become fewer."


def _refusal(clashes: list[dict[str, Any]], count: int) -> Refused:
    others = count - len(clashes)
    return Refused(
        f"{len(clashes)} of {count} sessions cannot be published as things stand now; nothing has been published. "
        f"Look at them, then publish the other {others} or build the week again.",
        problem="roster-clashes",
        details={"clashes": clashes, "others": others},
    )


def _as_answer(loaded: Loaded, placed: Sequence[PlacedSession]) -> Answer:
    """A part of a draft as an answer of its own, so that every rule can judge it."""
    counted = Counter(session.resident for session in placed)
    missing = [
        Unplaced(one.id, one.sessions - counted[one.id], (Reason("left_out", "Not part of what is published."),))
        for one in loaded.problem.residents
        if counted[one.id] < one.sessions
    ]
    bare = Answer(sessions=tuple(placed), unplaced=tuple(missing))
    worth = value(loaded.problem, bare)
    return Answer(sessions=bare.sessions, unplaced=bare.unplaced, status="optimal", objective=worth, bound=worth)
