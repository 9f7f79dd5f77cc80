"""A started session on the phone: set by set, ended, enough for today, a warning sign; nothing twice."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest

from program import clock
from program.actions.incidents import see_incident
from program.models import Audit, Hold, Incident, Prescription, Set
from program.rules.reasons import WARNING_SIGNS
from program.rules.states import State
from tests.program.pages.at_nine import address, as_it_is, begin, figures, nine, rose, save, sent, session, staff
from tests.program.pages.words import refusal, words

__all__ = ["nine", "rose", "session", "staff"]


def test_started_it_shows_the_stations_in_order_and_opens_the_first_not_done(staff, session):
    begin(staff, session)
    shown = staff.get(address(session))
    assert [one.station.name for one in shown.context["stations"]] == ["A", "B", "C", "D", "E"]
    assert "Load 20 kg Repetitions 8 to 10 Pace 3 out, pause, 5 back Set time 60 to 90 s" in words(shown)
    assert shown.context["stations"][0].form["load"].value() == "20"
    assert shown.context["opened"] == 0

    with clock.at(clock.now() + timedelta(minutes=2)):
        save(staff, session)
        after = staff.get(address(session))

    assert after.context["opened"] == 1
    assert after.context["stations"][0].sets == ["9 × 20 kg, 78 s, pain 0"]


def test_a_set_is_saved_as_typed(arrowfen, staff, session, see_all):
    begin(staff, session)
    with clock.at(clock.now() + timedelta(minutes=2)):
        save(staff, session, 1, repetitions="0", load="17.5", stopped="pain", words="left knee", pain="7")
        see_all()
        done = Set.objects.get()
        assert (done.station, done.line.position, done.exercise) == (arrowfen.stations[1], 1, "leg press")
        assert (done.repetitions, done.seconds, done.load, done.load_unit) == (0, 78, 17.5, "kg")
        assert (done.pain, done.more_possible, done.stop_reason) == (7, 2, "pain: left knee")
        assert (done.ended_at, done.done_by, done.entered_by) == (clock.now(), arrowfen.aide, arrowfen.aide)


@pytest.mark.parametrize(
    ("typed", "stored"),
    [
        ({"pain": ""}, (None, False, None)),
        ({"pain": "10"}, (10, False, None)),
        ({"pain": "unable", "signs": "yes"}, (None, True, True)),
        ({"pain": "unable", "signs": "no"}, (None, True, False)),
        ({"pain": "3", "signs": "yes"}, (3, False, None)),
    ],
)
def test_pain_is_a_number_or_not_able_to_rate_or_not_asked(staff, session, see_all, typed, stored):
    begin(staff, session)
    save(staff, session, **typed)

    see_all()
    done = Set.objects.get()
    assert (done.pain, done.pain_cannot_be_rated, done.pain_signs_seen) == stored


@pytest.mark.parametrize(("typed", "stored"), [("4", 4), ("0", 0), ("", None)])
def test_effort_is_how_many_more_good_ones_or_not_asked(staff, session, see_all, typed, stored):
    begin(staff, session)
    save(staff, session, more_possible=typed)

    see_all()
    assert Set.objects.get().more_possible == stored


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"repetitions": "61"}, "Repetitions: At most 60."),
        ({"seconds": "0"}, "Seconds: At least 1."),
        ({"seconds": ""}, "Seconds: Fill this in."),
        ({"load": "-1"}, "Load in kg: At least 0."),
        ({"pain": "unable"}, "Signs of pain seen?: Say whether you saw signs of pain: yes or no."),
        (
            {"stopped": "enough for today", "words": "she had slept badly and said so"},
            "What you saw or heard: Too long by 9 letters. Say it shorter.",
        ),
        ({"event_id": "no"}, "This form did not arrive whole. Load the page again, then send it once more."),
    ],
)
def test_bad_input_is_one_sentence_and_keeps_everything_typed(staff, session, see_all, typed, sentence):
    begin(staff, session)
    shown = save(staff, session, 1, **{"load": "22.5"} | typed)

    assert (shown.status_code, refusal(shown)) == (422, sentence)
    kept = shown.context["stations"][1].form
    assert shown.context["opened"] == 1
    assert kept["load"].value() == typed.get("load", "22.5")
    assert {name: kept[name].value() for name in typed} == typed
    see_all()
    assert Set.objects.count() == 0


def test_a_double_tap_is_one_set_and_other_figures_under_the_same_id_are_refused(staff, session, see_all):
    begin(staff, session)
    typed = figures(session)
    answers = [staff.post(address(session, "set"), typed) for _ in range(2)]
    changed = staff.post(address(session, "set"), typed | {"repetitions": "8"})

    assert [answer.status_code for answer in answers] == [302, 302]
    assert changed.status_code == 409
    assert refusal(changed) == (
        "This set is saved already: 9 × 20 kg, 78 s, pain 0. Ask your coordinator to correct it."
    )
    see_all()
    assert [done.repetitions for done in Set.objects.all()] == [9]


def test_a_plan_changed_since_publishing_holds_at_the_stations(arrowfen, staff, session, see_all):
    begin(staff, session)
    old = figures(session)
    newer = Prescription.objects.create(
        building=arrowfen.building,
        resident=session.resident,
        number=2,
        entered_by=arrowfen.clinician,
        entered_at=clock.now(),
    )
    for line in list(session.prescription.lines.all())[:2]:
        line.pk, line._state.adding, line.prescription, line.load, line.load_kg = None, True, newer, 15, 15
        line.save()
    shown = staff.get(address(session))

    assert [one.load_said for one in shown.context["stations"]] == ["15 kg", "15 kg", "", "", ""]
    assert "C : no longer in the exercise plan. Leave it out." in words(shown)
    # A form from before the change is taken with what was really done.
    assert staff.post(address(session, "set"), old).status_code == 302
    see_all()
    done = Set.objects.get()
    assert (done.line.prescription, done.load) == (newer, 20)


def test_a_set_before_the_start_and_one_at_no_station_of_the_plan_are_refused(staff, session, see_all):
    early = save(staff, session)
    assert (early.status_code, refusal(early)) == (409, "This session has not been started. Start it first.")

    elsewhere = save(staff, session, station="987654")
    assert elsewhere.status_code == 422
    see_all()
    assert Set.objects.count() == 0


def test_once_all_stations_are_done_the_end_is_the_one_main_action(staff, session, see_all):
    begin(staff, session)
    for place in range(5):
        with clock.at(clock.now() + timedelta(minutes=6 * place + 2)):
            save(staff, session, place)
    with clock.at(clock.now() + timedelta(minutes=28)):
        shown = staff.get(address(session))
        page = shown.content.decode().partition("</main>")[0]
        assert re.findall(r'<button[^>]*class="primary".*?</button>', page) == [
            '<button class="primary">End the session</button>'
        ]

        event = str(uuid4())
        answers = [sent(staff, session, "end", event_id=event) for _ in range(2)]
        assert [answer.status_code for answer in answers] == [302, 302]
        ended = as_it_is(session, see_all)
        assert (ended.state_at(clock.now()), ended.ended_at, ended.sets_done) == (State.DONE, clock.now(), 5)


def test_enough_for_today_ends_it_without_incident_or_hold(staff, session, see_all):
    begin(staff, session)
    save(staff, session)
    answer = sent(staff, session, "end", reason="enough for today")

    told = words(staff.get(answer.url))
    assert "Rose Oak: the session has ended. Thank Rose." in told
    ended = as_it_is(session, see_all)
    assert (ended.state_at(clock.now()), ended.records.get(kind="ended").reason_class) == (State.DONE, "resident")
    assert (Incident.objects.count(), Hold.objects.count()) == (0, 0)


def test_the_six_signs_stand_on_a_page_of_their_own(staff, session):
    begin(staff, session)
    page = staff.get(address(session, "warning")).content.decode()

    assert [sign for sign in WARNING_SIGNS if f'<button name="sign" value="{sign}">' in page] == [*WARNING_SIGNS]


def test_a_warning_sign_ends_it_and_asks_for_the_nurse_until_somebody_has_seen_it(arrowfen, staff, session, see_all):
    begin(staff, session)
    event = str(uuid4())
    answers = [sent(staff, session, "warning", sign="chest pain", event_id=event) for _ in range(2)]
    shown = staff.get(answers[0].url)
    loud = "Session ended. NOT SEEN YET by a clinician: call the nurse now."
    assert [answer.url for answer in answers] == [address(session)] * 2
    assert loud in words(shown)
    assert f'hx-get="{address(session, "seen")}" hx-trigger="every 5s"' in shown.content.decode()

    def ask(**headers):
        return staff.get(address(session, "seen"), headers=headers)

    assert ask(**{"HX-Request": "true"}).status_code == 204
    see_all()
    incident = Incident.objects.get()
    assert (incident.sign, Hold.objects.get().reason) == ("chest pain", "warning sign: chest pain")
    with clock.at(clock.now() + timedelta(minutes=4)):
        see_incident(incident=incident, by=arrowfen.clinician)

    polled = ask(**{"HX-Request": "true"})
    seen = f"Seen by {arrowfen.clinician.name} at 09:04."
    assert (polled.status_code, seen in words(polled)) == (286, True)
    assert ask().url == address(session)
    shown = staff.get(address(session))
    assert (loud in words(shown), seen in words(shown), "every 5s" in shown.content.decode()) == (False, True, False)


def test_polling_leaves_no_line_in_the_trail(staff, session, see_all):
    begin(staff, session)
    sent(staff, session, "warning", sign="dizziness")
    see_all()
    before = Audit.objects.filter(action="view").count()
    staff.get(address(session, "seen"), headers={"HX-Request": "true"})

    see_all()
    assert Audit.objects.filter(action="view").count() == before


def test_a_warning_sign_must_be_named(staff, session, see_all):
    begin(staff, session)
    shown = sent(staff, session, "warning", sign="tired")

    assert shown.status_code == 422
    see_all()
    assert Incident.objects.count() == 0
