"""This week in all its states: nothing, at work, a draft, clashes, published, failed, overtaken by somebody else."""

import re
from datetime import date, timedelta

import pytest
from django.urls import reverse

from program import clock
from program.actions.places import change_building, close
from program.actions.safety import set_hold
from program.models import Audit, Hours, Resident, Session, ShiftTime, Station
from scheduling import actions
from scheduling.models import Roster
from tests.program.pages.words import refusal, words
from tests.scheduling.pages.building_weeks import WEEK, address, built


def test_nothing_is_planned_yet(busy, coordinator):
    shown = coordinator.get(address(busy))

    assert shown.context["meter"]["said"] == "Placed 0 of 6"
    assert "No sessions in this week yet" in words(shown)


def test_build_the_week_starts_one_roster_however_often_it_is_pressed(busy, coordinator, see_all):
    for _ in range(2):
        assert coordinator.post(address(busy, "build")).url == address(busy)

    see_all()
    assert Roster.objects.get().state == "waiting"
    assert "Waiting to be built." in words(coordinator.get(address(busy)))


def test_staff_can_neither_build_nor_publish(busy, client_of, see_all):
    draft = built(busy)
    aide = client_of(busy.aide)

    assert aide.post(address(busy, "build")).status_code == 403
    assert aide.post(address(busy, "publish", draft.pk), {"version": draft.version}).status_code == 403
    see_all()
    assert (Roster.objects.count(), Session.objects.count()) == (1, 0)


def test_progress_is_a_part_that_ends_by_loading_the_page_again(busy, coordinator, see_all):
    roster = actions.start_roster(building=busy.building, week=WEEK, by=busy.coordinator, seconds=10)
    told = {"placed": 4, "prescribed": 6, "booked": 0, "value": 1, "bound": 2, "most_possible": 6}
    Roster.objects.filter(pk=roster.pk).update(state="building", started_at=clock.now(), progress=told)
    part = address(busy, "progress", roster.pk)

    at_work = coordinator.get(part, headers={"HX-Request": "true"})
    assert "Building the week: 4 of 6 placed so far." in words(at_work)
    see_all()
    Roster.objects.filter(pk=roster.pk).update(state="failed", failure="It failed.")
    assert coordinator.get(part, headers={"HX-Request": "true"})["HX-Refresh"] == "true"
    assert coordinator.get(part).url == address(busy)
    assert "It failed. What is published stays as it is." in words(coordinator.get(address(busy)))


def test_a_draft_is_shown_as_a_draft_and_published(busy, coordinator, see_all):
    draft = built(busy)

    shown = coordinator.get(address(busy))

    assert shown.context["meter"]["said"] == "Placed 6 of 6; no roster can place more than 6"
    assert "draft, not published" in words(shown)
    assert "Publish this draft? 6 sessions new or moved; staff see it at once." in shown.content.decode()
    done = coordinator.post(address(busy, "publish", draft.pk), {"version": draft.version}, follow=True)
    assert "Published: 6 new, 0 moved, 0 withdrawn." in words(done)
    see_all()
    assert Session.objects.count() == 6


def test_who_is_left_out_is_named_with_what_stands_in_the_way(busy, coordinator):
    held = busy.resident(family_name="Dorn")
    set_hold(resident=held, kind="clinical", reason="chest infection", starts_at=clock.now(), by=busy.coordinator)
    many = busy.resident(family_name="Esch", help_sixths=12)
    built(busy)

    shown = coordinator.get(address(busy))

    assert [(one.resident, one.missing, one.reasons) for one in shown.context["left_out"]] == [
        (held, 2, "Exercise hold: chest infection"),
        (many, 2, "No help is free at any time that would suit; more staff on the circuit would."),
    ]


def test_clashes_are_all_listed_nothing_is_published_and_the_others_are_offered(busy, coordinator, see_all):
    draft = built(busy)
    first = busy.residents[0]
    set_hold(resident=first, kind="clinical", reason="fall", starts_at=clock.now(), by=busy.coordinator)

    shown = coordinator.post(address(busy, "publish", draft.pk), {"version": draft.version})

    see_all()
    assert (shown.status_code, Session.objects.count()) == (409, 0)
    assert refusal(shown).startswith("2 of 6 sessions cannot be published as things stand now")
    assert [clash["name"] for clash in shown.context["clashes"]] == [first.name, first.name]
    assert "Publish the other 4" in words(shown)
    rest = {"version": draft.version, "without": shown.context["without"]}
    assert coordinator.post(address(busy, "publish", draft.pk), rest).status_code == 302
    see_all()
    assert sorted(Session.objects.values_list("resident", flat=True).distinct()) == [
        resident.pk for resident in busy.residents[1:]
    ]


def test_publishing_twice_is_refused_and_says_so(busy, coordinator, see_all):
    draft = built(busy)
    coordinator.post(address(busy, "publish", draft.pk), {"version": draft.version})

    again = coordinator.post(address(busy, "publish", draft.pk), {"version": draft.version})

    see_all()
    assert (again.status_code, Session.objects.count()) == (409, 6)
    assert refusal(again) == "This roster is published, not a draft. Build the week again."


def test_a_draft_without_its_version_is_not_published(busy, coordinator, see_all):
    draft = built(busy)

    assert coordinator.post(address(busy, "publish", draft.pk)).status_code == 412
    see_all()
    assert Session.objects.count() == 0


def test_another_roster_published_meanwhile_is_pointed_out(busy, coordinator, see_all, at):
    mine, theirs = built(busy), built(busy)
    with at(clock.now() + timedelta(minutes=5)):
        actions.publish_roster(roster=theirs, by=busy.coordinator)
    Roster.objects.filter(pk=mine.pk).update(asked_at=clock.now() + timedelta(seconds=1))

    shown = coordinator.get(address(busy))

    assert shown.context["published_meanwhile"] == theirs
    assert "published another roster of this week" in words(shown)


def test_a_roster_of_another_house_does_not_exist(busy, brindlewharf, client_of):
    draft = built(busy)
    stranger = client_of(brindlewharf.coordinator)

    assert stranger.get(address(busy)).status_code == 404
    assert stranger.post(address(brindlewharf, "publish", draft.pk), {"version": draft.version}).status_code == 404


def test_looking_at_the_week_is_in_the_trail(busy, coordinator, see_all):
    built(busy)

    coordinator.get(address(busy))

    see_all()
    seen = Audit.objects.get(action="view", noun="week")
    assert sorted(seen.resident_ids) == [resident.pk for resident in busy.residents]


def test_a_week_that_does_not_exist_is_not_found(busy, coordinator):
    assert coordinator.get(address(busy, "week", "2026-W60")).status_code == 404


def test_few_stations_are_shown_all_week_and_many_a_day_at_a_time(busy, coordinator, see_all):
    built(busy)
    assert [day for _, day in coordinator.get(address(busy)).context["grid"].days] == [WEEK.monday]
    chosen = coordinator.get(address(busy), {"day": 3}).context["grid"]
    assert [day for _, day in chosen.days] == [date(2026, 12, 2)]
    see_all()
    for station in busy.stations[3:]:
        station.retired_at = clock.now()
        station.save()

    whole = coordinator.get(address(busy)).context["grid"]

    assert [number for number, _ in whole.days] == [1, 2, 3, 4, 5, 6]
    assert whole.stations == ["A", "B", "C"]


def test_whoever_publishes_is_asked_with_how_many_are_withdrawn(busy, coordinator):
    actions.publish_roster(roster=built(busy), by=busy.coordinator)
    close(building=busy.building, reason="outbreak", starts_at=clock.now(), by=busy.coordinator)
    built(busy)

    asked = re.search(r'data-ask="([^"]*)"', coordinator.get(address(busy)).content.decode())[1]

    assert asked == "Publish this draft? No sessions new or moved, 6 withdrawn; staff see it at once."


def test_a_session_that_the_draft_moves_takes_no_help_where_it_was(busy, coordinator):
    actions.publish_roster(roster=built(busy), by=busy.coordinator)
    change_building(building=busy.building, skips_closed_stations=False)
    eleven = WEEK.starts_at(busy.building.zone) + timedelta(hours=11)
    closed = {"station": busy.stations[0], "reason": "other", "starts_at": clock.now(), "ends_at": eleven}
    close(building=busy.building, by=busy.coordinator, **closed)
    draft = built(busy)

    shown = coordinator.get(address(busy))

    moved = actions.compare(roster=draft).moved
    monday = [place for _, place in moved if place.start < WEEK.starts_at(busy.building.zone) + timedelta(days=1)]
    assert len(monday) == 3
    # On Monday stands each of the three once: where the draft puts them, not where they were as well.
    assert [visit.said for visit in shown.context["visits_of_day"]] == [None, None, None]


def test_the_queries_of_a_published_week_do_not_grow_with_the_residents(busy, coordinator, queries, see_all):
    draft = built(busy)
    actions.publish_roster(roster=draft, by=busy.coordinator)
    few = queries(coordinator, address(busy))
    see_all()
    for number in range(12):
        busy.resident(family_name=f"More{number}")
    actions.publish_roster(roster=built(busy), by=busy.coordinator)

    assert (few, queries(coordinator, address(busy))) == (18, 18)


def test_the_queries_of_a_draft_beside_a_published_week_do_not_grow_with_the_residents(
    busy, coordinator, queries, see_all
):
    change_building(building=busy.building, buffer_turns=1)
    actions.publish_roster(roster=built(busy), by=busy.coordinator)
    busy.resident(family_name="Late")
    built(busy)
    few = queries(coordinator, address(busy))
    see_all()
    for number in range(10):
        busy.resident(family_name=f"More{number}")
    actions.publish_roster(roster=built(busy), by=busy.coordinator)
    busy.resident(family_name="Later")
    built(busy)

    assert (few, queries(coordinator, address(busy))) == (29, 29)


@pytest.mark.parametrize(
    ("take_away", "heading", "leads_to"),
    [
        (lambda: Hours.objects.all().delete(), "The circuit has no opening hours", "program:places"),
        (lambda: Station.objects.update(retired_at=clock.now()), "There are no stations yet", "program:places"),
        (lambda: Resident.objects.update(enrolled_at=None), "Nobody has an exercise plan yet", "program:imports"),
        (lambda: ShiftTime.objects.all().delete(), "Nobody is on the circuit in this week", "program:shifts"),
    ],
)
def test_what_a_week_cannot_be_built_without_is_named_and_leads_there(
    busy, coordinator, client_of, take_away, heading, leads_to
):
    take_away()

    shown = coordinator.get(address(busy))

    missing = shown.context["missing"]
    assert (missing["heading"], missing["address"].partition("?")[0]) == (
        heading,
        reverse(leads_to, args=[busy.building.pk]),
    )
    assert "Build the week" not in words(shown)
    assert client_of(busy.aide).get(address(busy)).context["missing"]["address"] == ""


def test_a_week_that_went_by_without_sessions_is_not_measured(busy, coordinator):
    shown = coordinator.get(address(busy, "week", "2026-W45"))

    assert (shown.context["meter"], shown.context["missing"]) == ({}, None)
    assert "No sessions were published in this week" in words(shown)
    assert "Does the week hold?" not in words(shown)
