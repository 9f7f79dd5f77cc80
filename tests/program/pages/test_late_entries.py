"""Late entries: a day's paper, session by session; once, in time, and with what it means for the next."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from program.actions.records import NewLine, write_lines
from program.actions.sessions import withdraw_sessions
from program.models import Record, Role, Session, Set
from program.rules.states import State
from tests import factories
from tests.program.actions.arranging import booked, train
from tests.program.pages.words import refusal, words

# By the clock of the house: Tuesday ten o'clock, Wednesday four o'clock.
TUE, WED_FOUR = datetime(2026, 12, 1, 15, 0, tzinfo=UTC), datetime(2026, 12, 2, 21, 0, tzinfo=UTC)
DAY = "2026-12-01"
HALF_AN_HOUR = timedelta(minutes=30)


@pytest.fixture
def resident(arrowfen):
    return arrowfen.resident(given_name="Rose", family_name="Oak")


@pytest.fixture
def session(arrowfen, resident):
    return booked(arrowfen, resident, TUE)


@pytest.fixture
def q(arrowfen):
    return factories.with_role(arrowfen.building, Role.Kind.STAFF, name="Quill Example")


def address(house, name="late", *rest):
    return reverse(f"program:{name}", args=[house.building.pk, *(rest or [DAY])])


def page_of(house, session):
    return address(house, "late-session", DAY, session.pk)


def rows_of(lines, **more):
    told = {}
    for number, line in enumerate(lines):
        fields = {"is_done": "on", "load": "20", "repetitions": str(8 + number % 3), "seconds": "75", "pain": ""}
        told |= {f"line-{line.pk}-{name}": value for name, value in fields.items()}
    return told | more


def paper(house, lines, **more):
    told = {"event_id": str(uuid4()), "done_by": house.aide.pk, "started": "10:00", "ended": "10:30"}
    return told | rows_of(lines) | more


@pytest.fixture
def lines(session):
    return list(session.prescription.lines.all())


def test_walk_through_12_the_sheet_is_saved_and_says_by_whom_how_late_and_what_it_overtakes(
    arrowfen, resident, lines, session, client_of, q, see_all, at
):
    # As the outage had it: done half an hour after the plan, so that Thursday ten o'clock is overtaken.
    thursday = booked(arrowfen, resident, TUE + timedelta(days=2, minutes=30))
    sent = paper(arrowfen, lines, started="10:06", ended="10:36")
    with at(WED_FOUR):
        shown = client_of(q).post(page_of(arrowfen, session), sent, follow=True)

    see_all()
    session.refresh_from_db()
    thursday.refresh_from_db()
    ended = Record.objects.get(kind="ended")
    assert (session.state_at(WED_FOUR), session.sets_done) == (State.DONE, 5)
    assert (session.started_at, session.last_set_ended_at) == (
        TUE + timedelta(minutes=6),
        TUE + timedelta(minutes=36),
    )
    assert (ended.done_by, ended.entered_by, ended.entered_at) == (arrowfen.aide, q, WED_FOUR)
    assert thursday.is_overtaken is True
    assert [str(message) for message in shown.context["messages"]] == [
        f"Saved for Rose Oak: done by {arrowfen.aide.name}, entered by Quill Example. "
        "Late entry: 29 h 24 min after it ended. "
        "Thu 3 Dec 10:30 is too early now: have it moved. "
        "The next session may begin from Thu 3 Dec 10:36."
    ]
    assert f"Done by {arrowfen.aide.name}, entered by Quill Example Wed 2 Dec 16:00. Late entry: 29 h 24 min." in words(
        shown
    )


def test_the_same_paper_sent_twice_is_saved_once(arrowfen, session, lines, client_of, see_all, at):
    sent = paper(arrowfen, lines)
    with at(WED_FOUR):
        client = client_of(arrowfen.aide)
        answers = [client.post(page_of(arrowfen, session), sent) for _ in range(2)]

    see_all()
    assert [answer.status_code for answer in answers] == [302, 302]
    assert (Set.objects.count(), Record.objects.filter(kind__in=["started", "ended"]).count()) == (5, 2)


def test_another_persons_paper_of_a_session_written_meanwhile_is_refused(
    arrowfen, session, lines, client_of, see_all, at
):
    with at(WED_FOUR):
        client_of(arrowfen.aide).post(page_of(arrowfen, session), paper(arrowfen, lines))
        shown = client_of(arrowfen.clinician).post(page_of(arrowfen, session), paper(arrowfen, lines))

    see_all()
    assert (shown.status_code, Set.objects.count()) == (409, 5)
    assert refusal(shown) == "This session has been written down already. See below what stands there."


def test_a_station_without_a_tick_was_not_done(arrowfen, session, lines, client_of, see_all, at):
    sent = paper(arrowfen, lines)
    for name in ("is_done", "repetitions", "seconds"):
        del sent[f"line-{lines[2].pk}-{name}"]
    with at(WED_FOUR):
        client_of(arrowfen.aide).post(page_of(arrowfen, session), sent)

    see_all()
    done = Set.objects.order_by("ended_at")
    assert [one.line_id for one in done] == [lines[0].pk, lines[1].pk, lines[3].pk, lines[4].pk]


def test_pain_is_a_number_or_not_able_to_rate_or_not_asked(arrowfen, session, lines, client_of, see_all, at):
    sent = paper(arrowfen, lines) | {f"line-{lines[0].pk}-pain": "4", f"line-{lines[1].pk}-pain": "not able to rate"}
    with at(WED_FOUR):
        client_of(arrowfen.aide).post(page_of(arrowfen, session), sent)

    see_all()
    told = Set.objects.order_by("ended_at").values_list("pain", "pain_cannot_be_rated")
    assert list(told)[:3] == [(4, False), (None, True), (None, False)]


@pytest.mark.parametrize(
    ("changed", "status", "sentence"),
    [
        ({"ended": "09:59"}, 422, "Ended at: It must end after it started."),
        ({"started": ""}, 422, "Started at: Fill this in."),
        ({"ended": "10:05"}, 422, "The sets take longer than from 10:00 to 10:05. Correct the times or the seconds."),
        ({"repetitions": ""}, 422, "A, times: Fill this in, or take the tick away."),
        ({"seconds": "901"}, 422, "A, seconds: At most 900."),
        ({"load": "-1"}, 422, "A, load, kg: At least 0."),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence_and_everything_typed_is_kept(
    arrowfen, session, lines, client_of, see_all, at, changed, status, sentence
):
    own = {name: value for name, value in changed.items() if name in ("started", "ended")}
    row = {f"line-{lines[0].pk}-{name}": value for name, value in changed.items() if name not in own}
    sent = paper(arrowfen, lines) | own | row | {f"line-{lines[4].pk}-pain": "7"}
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).post(page_of(arrowfen, session), sent)

    see_all()
    assert (shown.status_code, refusal(shown)) == (status, sentence)
    assert shown.context["late"].rows[4][1]["pain"].value() == "7"
    assert shown.context["late"]["event_id"].value() == sent["event_id"]
    assert (Set.objects.count(), Record.objects.filter(kind="started").count()) == (0, 0)


def test_what_lies_ahead_is_refused_and_everything_typed_is_kept(arrowfen, session, lines, client_of, see_all, at):
    with at(TUE + timedelta(minutes=20)):
        shown = client_of(arrowfen.aide).post(page_of(arrowfen, session), paper(arrowfen, lines))

    see_all()
    assert (shown.status_code, refusal(shown)) == (409, "That is in the future. Enter what has already happened.")
    assert shown.context["late"]["ended"].value() == "10:30"
    assert (Set.objects.count(), Record.objects.filter(kind="started").count()) == (0, 0)


def test_nothing_ticked_is_no_session(arrowfen, session, lines, client_of, see_all, at):
    sent = {name: value for name, value in paper(arrowfen, lines).items() if not name.endswith("is_done")}
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).post(page_of(arrowfen, session), sent)

    see_all()
    assert shown.status_code == 422
    assert refusal(shown) == "Nothing is ticked as done. Tick what was done, or say why it did not happen."
    assert Set.objects.count() == 0


def test_a_session_that_did_not_happen_is_given_up_with_its_reason_once(arrowfen, session, client_of, see_all, at):
    sent = {"not-event_id": str(uuid4()), "not-done_by": arrowfen.aide.pk, "not-reason": "declined"}
    with at(WED_FOUR):
        client = client_of(arrowfen.aide)
        answers = [client.post(page_of(arrowfen, session), sent, follow=True) for _ in range(2)]

    see_all()
    session.refresh_from_db()
    line = Record.objects.get(kind="given up")
    assert session.state_at(WED_FOUR) is State.GIVEN_UP
    assert (line.reason, line.reason_class, line.happened_at) == ("declined", "resident", TUE)
    assert [str(message) for message in answers[0].context["messages"]] == [
        f"Saved for Rose Oak: it did not happen. Entered by {arrowfen.aide.name}. "
        "Late entry: 30 h after its planned start."
    ]


def test_a_reason_must_be_chosen(arrowfen, session, client_of, see_all, at):
    sent = {"not-event_id": str(uuid4()), "not-done_by": arrowfen.aide.pk, "not-reason": ""}
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).post(page_of(arrowfen, session), sent)

    see_all()
    assert (shown.status_code, refusal(shown)) == (422, "Why it did not happen: Fill this in.")
    assert Record.objects.filter(kind="given up").count() == 0


def test_a_done_session_cannot_be_written_down_as_not_done(arrowfen, session, client_of, see_all, at):
    sent = {"not-event_id": str(uuid4()), "not-done_by": arrowfen.aide.pk, "not-reason": "declined"}
    with at(WED_FOUR):
        train(arrowfen, session, ended_at=TUE + HALF_AN_HOUR)
        shown = client_of(arrowfen.aide).post(page_of(arrowfen, session), sent)

    see_all()
    assert (shown.status_code, Record.objects.filter(kind="given up").count()) == (409, 0)


def test_what_was_taken_off_the_plan_is_written_as_an_unplanned_visit(arrowfen, session, lines, client_of, see_all, at):
    withdraw_sessions(sessions=[session], reason="closed", by=arrowfen.coordinator)
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).post(page_of(arrowfen, session), paper(arrowfen, lines))

    see_all()
    assert refusal(shown) == (
        "This session was taken off the plan. Write it down as a visit that nobody had published."
    )
    assert Set.objects.count() == 0


def test_paper_completes_what_an_attempt_had_left_open(arrowfen, session, lines, client_of, see_all, at):
    with at(TUE):
        asleep = NewLine("attempt", TUE, uuid4(), reason="asleep")
        write_lines(session=session, lines=[asleep], done_by=arrowfen.aide, entered_by=arrowfen.aide)
    with at(WED_FOUR):
        client = client_of(arrowfen.aide)
        listed = client.get(address(arrowfen))
        client.post(page_of(arrowfen, session), paper(arrowfen, lines, started="11:00", ended="11:30"))

    see_all()
    session.refresh_from_db()
    assert [is_incomplete for _, is_incomplete in listed.context["written"]] == [True]
    assert session.state_at(WED_FOUR) is State.DONE


def test_a_colleague_who_has_left_since_may_have_done_it(arrowfen, session, lines, client_of, q, see_all, at):
    Role.objects.filter(user=q).update(until=TUE + timedelta(hours=6))
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).post(page_of(arrowfen, session), paper(arrowfen, lines, done_by=q.pk))

    see_all()
    assert (shown.status_code, Record.objects.get(kind="ended").done_by) == (302, q)


def test_somebody_of_another_house_cannot_have_done_it(arrowfen, stranger, session, lines, client_of, see_all, at):
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).post(page_of(arrowfen, session), paper(arrowfen, lines, done_by=stranger.pk))

    see_all()
    assert (shown.status_code, Set.objects.count()) == (422, 0)


def test_an_unplanned_visit_is_saved_once_and_says_that_it_was_too_soon(
    arrowfen, resident, session, lines, client_of, see_all, at
):
    with at(TUE + HALF_AN_HOUR):
        train(arrowfen, session, ended_at=TUE + HALF_AN_HOUR)
    where = f"{address(arrowfen, 'late-unplanned', '2026-12-02')}?resident={resident.pk}"
    sent = paper(arrowfen, lines, started="11:00", ended="11:30")
    with at(WED_FOUR):
        client = client_of(arrowfen.aide)
        form = client.get(where)
        shown = [client.post(where, sent, follow=True) for _ in range(2)]

    see_all()
    visit = Session.objects.get(published_at__isnull=True)
    assert [row["load"].value() for _, row in form.context["late"].rows] == ["20"] * 5
    assert (visit.is_too_soon, visit.sets_done, Session.objects.count()) == (True, 5, 2)
    assert [str(message) for message in shown[0].context["messages"]] == [
        f"Saved for Rose Oak: done by {arrowfen.aide.name}, entered by {arrowfen.aide.name}. "
        "Late entry: 4 h 30 min after it ended. "
        "Wed 2 Dec 11:00 was too soon: 24 h 30 min after the session before. "
        "The next session may begin from Fri 4 Dec 11:30."
    ]


def test_a_session_published_that_day_is_pointed_to(arrowfen, resident, session, client_of, at):
    with at(WED_FOUR):
        shown = client_of(arrowfen.aide).get(f"{address(arrowfen, 'late-unplanned')}?resident={resident.pk}")

    assert [one.session.pk for one in shown.context["same_day"]] == [session.pk]
    assert "A session is published at 10:00 on this day." in words(shown)
