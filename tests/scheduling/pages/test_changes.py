"""What publishing a draft changes: a page of its own, and the same as a part of the week."""

from datetime import date

from program import clock
from program.actions.places import change_building, close
from program.models import Audit, Session, Slot
from scheduling import actions
from tests.program.pages.words import words
from tests.scheduling.pages.building_weeks import address, built

PART = {"HX-Request": "true"}


def counts(shown):
    compared = shown.context["compared"]
    return {name: len(getattr(compared, name)) for name in ("kept", "new", "moved", "withdrawn")}


def test_the_week_leads_to_what_publishing_changes_and_loads_it(busy, coordinator):
    draft = built(busy)
    changes = address(busy, "changes", draft.pk)

    assert f'hx-get="{changes}" hx-trigger="load"' in coordinator.get(address(busy)).content.decode()
    page, part = coordinator.get(changes), coordinator.get(changes, headers=PART)
    assert counts(page) == {"kept": 0, "new": 6, "moved": 0, "withdrawn": 0}
    assert words(part).startswith("Stay 0 New 6 Moved 0 Withdrawn 0")
    assert "<html" in page.content.decode()
    assert "<html" not in part.content.decode()
    assert part["Vary"].split(", ")[0] == "HX-Request"


def test_sessions_that_can_no_longer_stay_are_named_with_where_they_go(busy, coordinator, see_all):
    actions.publish_roster(roster=built(busy), by=busy.coordinator)
    first = Session.objects.order_by("starts_at", "pk").first()
    was = f"{first.starts_at.astimezone(busy.building.zone):%H:%M}"
    close(
        building=busy.building,
        reason="holiday",
        starts_at=first.starts_at,
        ends_at=first.ends_at,
        by=busy.coordinator,
    )
    draft = built(busy)

    shown = coordinator.get(address(busy, "changes", draft.pk))

    moved = [session.pk for session, _ in shown.context["compared"].moved]
    assert first.pk in moved
    assert f"{first.resident.name}: Mon 30 Nov {was}" in words(shown)
    see_all()
    seen = Audit.objects.get(action="view", noun="changes")
    assert first.resident_id in seen.resident_ids


def test_a_session_that_keeps_its_time_and_changes_its_stations_says_so(busy, coordinator):
    actions.publish_roster(roster=built(busy), by=busy.coordinator)
    change_building(building=busy.building, skips_closed_stations=False)
    first = Slot.objects.order_by("starts_at", "pk").first()
    close(
        building=busy.building,
        station=first.station,
        reason="other",
        starts_at=first.starts_at,
        ends_at=first.ends_at,
        by=busy.coordinator,
    )

    shown = coordinator.get(address(busy, "changes", built(busy).pk))

    stay = [session for session, place in shown.context["compared"].moved if session.starts_at == place.start]
    said = [f"{one.resident.name}: Mon 30 Nov {one.starts_at.astimezone(busy.building.zone):%H:%M}, " for one in stay]
    assert stay != []
    assert [line for line in said if f"{line}same time, other stations" not in words(shown)] == []


def test_a_roster_that_is_no_longer_a_draft_leads_back_to_its_week(busy, coordinator):
    draft = built(busy)
    actions.publish_roster(roster=draft, by=busy.coordinator)
    changes = address(busy, "changes", draft.pk)

    assert coordinator.get(changes).url == address(busy)
    assert coordinator.get(changes, headers=PART)["HX-Refresh"] == "true"


def test_a_draft_of_another_house_does_not_exist(busy, brindlewharf, client_of):
    draft = built(busy)
    stranger = client_of(brindlewharf.coordinator)

    assert stranger.get(address(busy, "changes", draft.pk)).status_code == 404
    assert stranger.get(address(brindlewharf, "changes", draft.pk)).status_code == 404


def test_the_queries_do_not_grow_with_the_residents(busy, coordinator, queries, see_all):
    actions.publish_roster(roster=built(busy), by=busy.coordinator)
    busy.resident(family_name="Late", since=clock.now(), date_of_birth=date(1941, 1, 1))
    few = queries(coordinator, address(busy, "changes", built(busy).pk))
    see_all()
    for number in range(10):
        busy.resident(family_name=f"More{number}")
    actions.publish_roster(roster=built(busy), by=busy.coordinator)
    busy.resident(family_name="Later")

    assert (few, queries(coordinator, address(busy, "changes", built(busy).pk))) == (19, 19)
