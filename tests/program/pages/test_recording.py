"""One session on the phone: ready or not, started, not today, and what stands there afterwards; nothing twice."""

from datetime import timedelta
from uuid import uuid4

from django.urls import reverse

from program import clock
from program.actions.places import close
from program.actions.records import NewLine, write_lines
from program.models import Audit, Clearance, Hold, Record
from program.rules.reasons import ASKED
from program.rules.starting import IDENTIFIED_BY
from program.rules.states import State
from tests.program.actions.arranging import a_set, train
from tests.program.api.arranging import at, booked
from tests.program.pages.at_nine import address, as_it_is, begin, nine, rose, sent, session, staff
from tests.program.pages.words import chips, refusal, words

__all__ = ["nine", "rose", "session", "staff"]

NINE = 9 * 60
CAUTION = "This service supports and never replaces the judgement of licensed staff. Local rules come first."


def test_before_the_start_it_says_who_it_is_and_what_to_know(staff, session):
    shown = words(staff.get(address(session)))

    assert f"Rose Oak Born 17 May 1940 {session.resident.unit.name}, room 12" in shown
    assert "Before you start two wheels, brakes on hears on the left" in shown
    assert "Help at the stations: one helps three. Comes and goes alone." in shown
    assert CAUTION in shown
    asked = staff.get(address(session)).context["start_form"]["identified_by"]
    assert asked.label == "How did you make sure that this is Rose Oak?"
    assert [value for value, _ in asked.field.choices] == [*IDENTIFIED_BY]


def test_looking_is_in_the_trail_with_everybody_who_was_shown(arrowfen, staff, session, see_all):
    alike = arrowfen.resident(given_name="Rose", family_name="Oakes", room="9")
    staff.get(address(session))

    see_all()
    seen = Audit.objects.get(action="view")
    assert (seen.noun, sorted(seen.resident_ids)) == ("session", sorted([session.resident_id, alike.pk]))


def test_a_resident_with_a_similar_name_is_shown(arrowfen, staff, session):
    arrowfen.resident(given_name="Rose", family_name="Oakes", room="9")
    arrowfen.resident(given_name="Benno", family_name="Quillmoor")

    assert f"Take care: also here Rose Oakes, {arrowfen.unit.name}, room 9 " in words(staff.get(address(session)))


def test_it_starts_once_the_person_is_made_sure_of(staff, session, see_all):
    event = str(uuid4())
    answers = [sent(staff, session, "start", identified_by="said their name", event_id=event) for _ in range(2)]

    assert [answer.url for answer in answers] == [address(session)] * 2
    started = as_it_is(session, see_all)
    assert (started.state_at(clock.now()), started.started_at) == (State.STARTED, clock.now())
    assert [line.identified_by for line in Record.objects.filter(kind="started")] == ["said their name"]


def test_without_saying_how_it_does_not_start(staff, session, see_all):
    shown = sent(staff, session, "start")

    assert shown.status_code == 422
    assert refusal(shown) == "How did you make sure that this is Rose Oak?: Choose one, then start."
    assert as_it_is(session, see_all).started_at is None


def test_everything_that_is_missing_is_said_with_its_reason_and_no_start_is_offered(arrowfen, staff, session, see_all):
    Clearance.objects.update(until_on="2026-11-15")
    # Written straight into the table: the action would have taken the session off the plan.
    Hold.objects.create(
        building=arrowfen.building,
        resident=session.resident,
        kind="clinical",
        reason="dizzy at breakfast",
        starts_at=clock.now() - timedelta(hours=1),
        ends_at=clock.now() + timedelta(minutes=94),
        set_by=arrowfen.aide,
        set_at=clock.now(),
    )
    shown = staff.get(address(session))

    assert shown.context["missing"] == [
        ("The clearance ended on 15 Nov 2026. A clinician must clear Rose Oak first.", ""),
        ("Rose Oak is on an exercise hold (dizzy at breakfast) until Mon 30 Nov 10:34.", "from 10:34"),
    ]
    assert "Possible from 10:34." in words(shown)
    assert chips(shown)[1:] == ["Cannot start now", "Think of this"]
    assert address(session, "start") not in shown.content.decode()

    refused = sent(staff, session, "start", identified_by="date of birth")
    assert refused.status_code == 409
    assert refusal(refused) == shown.context["missing"][0][0]
    assert refused.context["missing"] == shown.context["missing"]
    assert as_it_is(session, see_all).started_at is None


def test_what_is_off_the_plan_is_a_warning_and_no_obstacle(arrowfen, staff, session):
    close(
        building=arrowfen.building,
        reason="out of order",
        starts_at=clock.now() - timedelta(hours=1),
        station=arrowfen.stations[0],
        by=arrowfen.coordinator,
    )
    shown = staff.get(address(session))

    assert "Nobody is on the circuit now" in words(shown)
    assert "Think of this" in chips(shown)
    assert address(session, "start") in shown.content.decode()


def test_a_session_of_another_day_offers_nothing_but_says_when_it_is(arrowfen, staff, rose, nine):
    later = booked(arrowfen, rose, at(arrowfen, 1, NINE))
    shown = staff.get(address(later))

    assert "This session is planned for Tue 1 Dec 09:00. Have it moved to today first." in words(shown)
    assert [
        verb for verb in ("start", "attempt", "give-up", "warning") if address(later, verb) in str(shown.content)
    ] == []
    assert sent(staff, later, "attempt", reason="asleep").status_code == 409


def test_asleep_is_an_attempt_and_the_session_stays_open(arrowfen, staff, session, see_all):
    event = str(uuid4())
    answers = [sent(staff, session, "attempt", reason="asleep", event_id=event) for _ in range(2)]

    assert [answer.url for answer in answers] == [reverse("scheduling:now", args=[arrowfen.building.pk])] * 2
    tried = as_it_is(session, see_all)
    assert (tried.state_at(clock.now()), tried.attempted_at) == (State.PUBLISHED, clock.now())
    assert Record.objects.filter(kind="attempt").count() == 1
    assert "Tried: asleep" in words(staff.get(address(session)))


def test_it_will_not_happen_with_a_reason_in_one_of_three_groups(staff, session, see_all):
    shown = staff.get(address(session))
    assert [whose for whose, _ in shown.context["why"]] == ["Resident's choice", "Unwell", "Our side"]
    assert [reasons for _, reasons in shown.context["why"]] == list(ASKED.values())

    answers = [sent(staff, session, "give-up", reason="unwell", note="a cold") for _ in range(2)]

    assert [answer.status_code for answer in answers] == [302, 302]
    assert as_it_is(session, see_all).state_at(clock.now()) == State.GIVEN_UP
    assert Record.objects.filter(kind="given up").count() == 1
    assert "Given up: unwell, a cold" in words(staff.get(address(session)))


def test_giving_up_without_a_reason_keeps_the_words(staff, session):
    shown = sent(staff, session, "give-up", note="nobody came")

    assert (shown.status_code, refusal(shown)) == (422, "Why it will not happen: Choose a reason.")
    assert shown.context["give_up_form"]["note"].value() == "nobody came"


def test_giving_up_what_has_been_started_is_refused(staff, session, see_all):
    begin(staff, session)
    shown = sent(staff, session, "give-up", reason="declined")

    assert (shown.status_code, refusal(shown)) == (409, "This session is started. Look at what is there now.")
    assert as_it_is(session, see_all).given_up_at is None


def test_what_was_written_afterwards_says_so(arrowfen, rose, client_of):
    session = booked(arrowfen, rose, at(arrowfen, 0, NINE))
    with clock.at(at(arrowfen, 1, 15 * 60)):
        line = NewLine(
            kind="started",
            happened_at=session.starts_at,
            event_id=uuid4(),
            phone_happened_at=session.starts_at + timedelta(minutes=47),
        )
        done = a_set(arrowfen, session.starts_at + timedelta(minutes=30), seconds=78)
        write_lines(session=session, lines=[line], sets=[done], done_by=arrowfen.aide, entered_by=arrowfen.coordinator)
        shown = words(client_of(arrowfen.aide).get(address(session)))

    late = f"entered by {arrowfen.coordinator.name} on Tue 1 Dec 15:00, late entry 30 h"
    corrected = "time corrected: the phone's clock said 09:47"
    assert f"09:00 Started , {arrowfen.aide.name}; {late}; {corrected}" in shown
    assert f"Leg press at A: 8 × 20 kg, 78 s, pain not asked , {arrowfen.aide.name}; {late[:-4]}29 h 30 min" in shown
    assert "Nobody ended it. It ended by itself when the circuit closed at 17:00 ; the last set was at 09:30" in shown


def test_a_session_too_soon_says_so_and_names_the_next(arrowfen, rose, nine, client_of):
    first = booked(arrowfen, rose, at(arrowfen, -3, NINE))
    soon = booked(arrowfen, rose, at(arrowfen, -1, NINE + 30))
    booked(arrowfen, rose, at(arrowfen, 2, NINE + 30))
    train(arrowfen, first, started_at=at(arrowfen, -2, NINE), ended_at=at(arrowfen, -2, NINE + 20))
    train(arrowfen, soon, ended_at=soon.ends_at)
    shown = client_of(arrowfen.aide).get(address(soon))

    assert chips(shown) == ["Done", "Too soon after the session before"]
    assert "Next session: Wed 2 Dec 09:30" in words(shown)


def test_what_nobody_wrote_down_says_so(arrowfen, session, client_of):
    with clock.at(at(arrowfen, 1, NINE)):
        shown = client_of(arrowfen.aide).get(address(session))

    assert chips(shown)[0] == "Not recorded"
    late = reverse("program:late-session", args=[arrowfen.building.pk, "2026-11-30", session.pk])
    assert f'href="{late}"' in shown.content.decode()


def test_staff_and_coordinator_may_record_and_nobody_elsewhere_finds_it(arrowfen, brindlewharf, session, client_of):
    assert client_of(arrowfen.coordinator).get(address(session)).context["start_form"].is_bound is False
    stranger = client_of(brindlewharf.coordinator)
    verbs = ("start", "attempt", "give-up", "set", "end", "warning")

    assert stranger.get(address(session)).status_code == 404
    assert {stranger.post(address(session, verb), {}).status_code for verb in verbs} == {404}
