"""To do: what needs somebody now, and the remedy one tap away."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from program import clock
from program.actions.safety import set_hold
from program.models import Audit, Session
from scheduling.actions import book_session
from scheduling.models import Flag
from tests import factories
from tests.program.pages.words import words
from tests.scheduling.flagging import flags, gave_up, refreshed, trained
from tests.scheduling.pages.test_days import MONDAY, at_clock

WEDNESDAY, THURSDAY, SATURDAY = (date(2026, 12, day) for day in (2, 3, 5))


@pytest.fixture
def manned(arrowfen):
    for offset in range(6):
        day = MONDAY + timedelta(days=offset)
        factories.on_the_circuit(arrowfen.building, arrowfen.aide, day, 8 * 60, 17 * 60)
    return arrowfen


def address(house, name="to-do", *rest):
    return reverse(f"scheduling:{name}", args=[house.building.pk, *rest])


@pytest.fixture
def look(manned, client_of):
    """The coordinator, signed in at the moment of looking: a session at a desk ends after half an hour."""
    return lambda: client_of(manned.coordinator)


def book(house, resident, *when):
    return book_session(resident=resident, starts_at=at_clock(*when), by=house.coordinator)


def headings(shown):
    return [(group.kind, len(group.todos)) for group in shown.context["groups"]]


def offered(shown):
    return {group.heading: [time.start for time, *_ in group.times] for group in shown.context["groups"]}


def test_nothing_to_do_says_so(arrowfen, coordinator):
    assert "Nothing needs you now." in words(coordinator.get(address(arrowfen)))


def test_groups_come_in_the_order_of_harm_with_who_what_and_by_when(manned, look):
    rose = manned.resident(given_name="Rose", family_name="Quillmoor", last_session_ended_at=clock.now())
    trained(manned, book(manned, rose, 9), at_clock(9), minutes=34)
    with clock.at(at_clock(9, 40)):
        book(manned, rose, 9, 42, WEDNESDAY)
    Session.objects.filter(starts_at=at_clock(9, 42, WEDNESDAY)).update(
        is_cut=True, held_from=at_clock(9, 46, WEDNESDAY)
    )
    late = manned.resident(given_name="Ida", family_name="Fernhollow", last_session_ended_at=clock.now())
    book(manned, late, 10)
    with clock.at(at_clock(10, 31)):
        coordinator = look()
        refreshed(manned)
        shown = coordinator.get(address(manned))

    assert headings(shown) == [("overtaken", 1), ("late", 1), ("due", 1)]
    told = words(shown)
    assert "Rose Quillmoor Wed 09:42 is 4 min too early: possible from 09:46 since Mon 30 Nov 09:34" in told
    assert "Ida Fernhollow Mon 10:00 has not begun since Mon 30 Nov 10:30, act by Mon 30 Nov 17:00, staff" in told


def test_one_aide_away_is_one_line_with_the_names(manned, look):
    for name, hour in (("Abel", 9), ("Berg", 10)):
        session = book(manned, manned.resident(family_name=name, given_name="Ola"), hour)
        gave_up(manned, session, at_clock(8), "no staff")
    with clock.at(at_clock(8)):
        coordinator = look()
        (flag,) = flags(manned, "missed")
        shown = coordinator.get(address(manned))
        choice = words(coordinator.get(address(manned, "to-do-one", flag.pk)))
        one = coordinator.get(address(manned, "to-do-one", flag.pk), {"resident": flag.residents[0]})
        wrong = coordinator.get(address(manned, "to-do-one", flag.pk), {"resident": 987654})

    assert "No staff, Mon 30 Nov: 2 sessions (Ola Abel, Ola Berg)" in words(shown)
    assert "Times for Ola Abel Times for Ola Berg" in choice
    assert list(offered(one)) == ["keeps all rules"]
    assert wrong.status_code == 404


def test_times_come_as_a_part_where_there_is_script_and_as_a_page_where_there_is_none(manned, coordinator):
    resident = manned.resident(last_session_ended_at=clock.now())
    (flag,) = flags(manned, "due")
    part = coordinator.get(address(manned, "to-do-one", flag.pk), headers={"HX-Request": "true"})
    page = coordinator.get(address(manned, "to-do-one", flag.pk))

    assert (b"<html" in part.content, b"<html" in page.content) == (False, True)
    assert "HX-Request" in part.headers["Vary"]
    assert offered(part) == {"keeps all rules": [at_clock(8), at_clock(13, 30), at_clock(8, 0, MONDAY + DAY), LATER]}
    assert part.context["offer"].resident == resident


DAY = timedelta(days=1)
LATER = at_clock(13, 30, MONDAY + DAY)


def test_a_time_that_keeps_the_other_session_is_booked_with_one_tap(manned, coordinator, see_all):
    resident = manned.resident(last_session_ended_at=clock.now())
    book(manned, resident, 9, 0, THURSDAY)
    (flag,) = flags(manned, "due")
    times = offered(coordinator.get(address(manned, "to-do-one", flag.pk)))

    done = coordinator.post(
        address(manned, "to-do-take", flag.pk), {"starts_at": times["keeps Thursday"][0].isoformat()}, follow=True
    )

    see_all()
    assert set(times) == {"keeps Thursday", "moves Thursday to …"}
    assert Session.objects.filter(resident=resident, starts_at=times["keeps Thursday"][0]).count() == 1
    assert f"On the plan: {resident.name} Mon 30 Nov 08:00." in words(done)
    assert "Nothing needs you now." in words(done)


def test_a_time_that_moves_the_other_session_moves_it_in_the_same_tap(manned, coordinator, see_all):
    resident = manned.resident(last_session_ended_at=clock.now())
    other = book(manned, resident, 9, 0, WEDNESDAY)
    (flag,) = flags(manned, "due")
    shown = coordinator.get(address(manned, "to-do-one", flag.pk))
    moves = next(group for group in shown.context["groups"] if group.heading.startswith("moves"))
    (time, told, along), *_ = moves.times

    coordinator.post(f"{address(manned, 'to-do-take', flag.pk)}?{along}", {"starts_at": time.start.isoformat()})

    see_all()
    other.refresh_from_db()
    starts = sorted(Session.objects.filter(resident=resident).values_list("starts_at", flat=True))
    assert len(starts) == 2
    assert time.start in starts
    assert other.starts_at != at_clock(9, 0, WEDNESDAY)
    assert told == f"Wed 09:00 goes to {other.starts_at.astimezone(manned.building.zone):%a %H:%M}"
    assert (
        f'formaction="{address(manned, "to-do-take", flag.pk)}?{along.replace("&", "&amp;")}"' in shown.content.decode()
    )
    assert abs(starts[1] - starts[0]) >= timedelta(hours=48, minutes=30)


def test_an_overtaken_session_is_moved_and_the_flag_is_gone(manned, look, see_all):
    resident = manned.resident(last_session_ended_at=clock.now())
    monday, wednesday = book(manned, resident, 10), book(manned, resident, 10, 30, WEDNESDAY)
    trained(manned, monday, at_clock(10), minutes=34)
    with clock.at(at_clock(11)):
        coordinator = look()
        (flag,) = flags(manned, "overtaken")
        shown = coordinator.get(address(manned, "to-do-one", flag.pk))
        times = offered(shown)
        version = shown.context["offer"].session.version
        stale = coordinator.post(
            address(manned, "to-do-take", flag.pk),
            {"starts_at": times["keeps all rules"][0].isoformat(), "version": version - 1},
        )
        coordinator.post(
            address(manned, "to-do-take", flag.pk),
            {"starts_at": times["keeps all rules"][0].isoformat(), "version": version},
        )

    see_all()
    wednesday.refresh_from_db()
    flag.refresh_from_db()
    assert stale.status_code == 412
    assert wednesday.starts_at == times["keeps all rules"][0] == at_clock(10, 36, WEDNESDAY)
    assert flag.closed_at == at_clock(11)


def test_a_refused_time_says_why_and_changes_nothing(manned, coordinator, see_all):
    manned.resident(last_session_ended_at=clock.now())
    (flag,) = flags(manned, "due")

    refused = coordinator.post(address(manned, "to-do-take", flag.pk), {"starts_at": at_clock(12, 30).isoformat()})
    empty = coordinator.post(address(manned, "to-do-take", flag.pk), {"starts_at": ""})

    see_all()
    assert (refused.status_code, empty.status_code) == (409, 422)
    assert "12:30 is inside lunch 12:00–13:00." in words(refused)
    assert "keeps all rules" in words(refused)
    assert Session.objects.count() == 0


def test_what_is_solved_meanwhile_is_not_done_twice(manned, coordinator, see_all):
    resident = manned.resident(sessions_a_week=1, last_session_ended_at=clock.now())
    (flag,) = flags(manned, "due")
    book(manned, resident, 9)

    told = coordinator.post(
        address(manned, "to-do-take", flag.pk), {"starts_at": at_clock(9, 0, THURSDAY).isoformat()}, follow=True
    )

    see_all()
    assert "This has been solved meanwhile; nothing was changed." in words(told)
    assert Session.objects.count() == 1
    refreshed(manned)
    assert "Solved meanwhile." in words(coordinator.get(address(manned, "to-do-one", flag.pk)))


def test_no_longer_possible_says_why(manned, look):
    manned.resident(last_session_ended_at=clock.now())
    with clock.at(at_clock(16, 45, SATURDAY)):
        coordinator = look()
        (flag,) = flags(manned, "due")
        shown = words(coordinator.get(address(manned, "to-do-one", flag.pk)))

    assert (
        "No longer possible this week: The calendar and the opening hours leave no time that is long enough." in shown
    )


def test_who_may_not_train_is_told_so_instead_of_times(manned, coordinator):
    resident = manned.resident(last_session_ended_at=clock.now())
    (flag,) = flags(manned, "due")
    set_hold(resident=resident, kind="clinical", reason="fall", starts_at=clock.now(), by=manned.coordinator)

    assert "Exercise hold: fall." in words(coordinator.get(address(manned, "to-do-one", flag.pk)))


def test_what_was_not_recorded_leads_to_where_it_is_entered(manned, look):
    book(manned, manned.resident(last_session_ended_at=clock.now()), 9)
    with clock.at(at_clock(17)):
        coordinator = look()
        flags(manned, "not recorded")
        shown = coordinator.get(address(manned))

    (group,) = [group for group in shown.context["groups"] if group.kind == "not recorded"]
    assert [todo.link for todo in group.todos] == [
        ("Enter what happened", reverse("program:late", args=[manned.building.pk, "2026-11-30"]))
    ]


def test_too_soon_says_how_soon_and_from_when_the_next_is_possible(manned, look):
    resident = manned.resident(last_session_ended_at=clock.now())
    trained(manned, book(manned, resident, 10), at_clock(10))
    thursday = book(manned, resident, 10, 0, THURSDAY)
    trained(manned, thursday, at_clock(11, 0, MONDAY + DAY))
    with clock.at(at_clock(12, 0, MONDAY + DAY)):
        coordinator = look()
        flags(manned, "too soon")
        shown = words(coordinator.get(address(manned)))

    assert "Trained 24 h 30 min after the session before; next from Thu 11:30" in shown


def test_staff_look_and_take_nothing(manned, client_of):
    manned.resident(last_session_ended_at=clock.now())
    (flag,) = flags(manned, "due")
    aide = client_of(manned.aide)

    assert b"<button name" not in aide.get(address(manned, "to-do-one", flag.pk)).content
    assert aide.post(address(manned, "to-do-take", flag.pk), {"starts_at": at_clock(9).isoformat()}).status_code == 403


def test_another_house_sees_nothing_of_it(manned, brindlewharf, client_of):
    manned.resident()
    (flag,) = flags(manned, "due")
    stranger = client_of(brindlewharf.coordinator)

    assert "Nothing needs you now." in words(stranger.get(address(brindlewharf)))
    for house in (manned, brindlewharf):
        assert stranger.get(address(house, "to-do-one", flag.pk)).status_code == 404


def test_the_queries_do_not_grow_with_the_flags(manned, look, queries, see_all):
    def more(hours):
        for hour in hours:
            resident = manned.resident()
            gave_up(manned, book(manned, resident, hour), at_clock(8), "declined")
            refreshed(manned)

    with clock.at(at_clock(8)):
        coordinator = look()
        more((9,))
        few = queries(coordinator, address(manned))
        see_all()
        more((10, 11, 14, 15))
        many = queries(coordinator, address(manned))

    see_all()
    assert Flag.objects.open_now().count() == 15
    assert few == many


def test_a_look_at_the_list_is_on_record(manned, coordinator, see_all):
    resident = manned.resident()
    flags(manned)
    coordinator.get(address(manned))

    see_all()
    line = Audit.objects.get(action="view", noun="to do")
    assert line.resident_ids == [resident.pk]
