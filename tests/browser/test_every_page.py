"""Every page on a phone and at a desk: nothing for axe to find, nothing to scroll sideways, no error in the console."""

from datetime import timedelta

import pytest

from program import clock
from program.actions.imports import judge_file
from program.actions.places import close
from program.actions.safety import set_hold
from program.models import Clearance, Session
from program.rules.week import Week
from scheduling import actions
from tests.browser.conftest import DESK, PHONE

WEEK = Week.named("2026-W49")
TABLE = (
    "person_key,given_name,family_name,date_of_birth,unit,help,room\n"
    "{key},Åsa,Quillmoor,1940-05-17,{unit},one-to-one,202\n"
    "N1,Nova,Newling,1941-01-01,{unit},one helps two,7\n"
    "N2,,Nameless,1941-01-01,{unit},one helps two,8\n"
)


@pytest.fixture
def addresses(house, in_house):
    """Each page in its full state, then what the week and the day show on the way from nothing to published."""
    building = house.building
    with in_house():
        held, resident = house.residents[1], house.residents[0]
        set_hold(resident=held, kind="clinical", reason="chest infection", starts_at=clock.now(), by=house.coordinator)
        Clearance.objects.filter(resident=house.residents[2]).update(until_on=WEEK.monday + timedelta(days=9))
        close(
            building=building,
            reason="out of order",
            starts_at=clock.now(),
            by=house.coordinator,
            station=house.stations[2],
        )
        table = TABLE.format(key=resident.key, unit=house.unit.name).encode()
        imported = judge_file(
            kind="residents", content=table, file_name="residents.csv", by=house.coordinator, building=building
        )
        actions.start_roster(building=building, week=WEEK.next, by=house.coordinator)
        roster = actions.start_roster(building=building, week=WEEK, by=house.coordinator, seconds=5)
    actions.fill_roster(roster_id=roster.pk, building_id=building.pk)
    with in_house():
        roster.refresh_from_db()
        actions.publish_roster(roster=roster, by=house.coordinator)
        session = Session.objects.of(building).order_by("starts_at").first()
        again = actions.start_roster(building=building, week=WEEK, by=house.coordinator, seconds=5)
    actions.fill_roster(roster_id=again.pk, building_id=building.pk)
    here, person = f"/buildings/{building.pk}", f"/buildings/{building.pk}/residents/{resident.pk}"
    return [
        f"{here}/week/2026-W49/",
        f"{here}/week/2026-W49/?show=published",
        f"{here}/rosters/{again.pk}/changes/",
        f"{here}/week/2026-W50/",
        f"{here}/week/2026-W51/",
        f"{here}/day/2026-11-30/",
        f"{here}/day/2026-12-06/",
        f"{here}/sessions/{session.pk}/move/",
        f"{here}/sessions/{session.pk}/withdraw/",
        f"{here}/residents/",
        f"{here}/residents/?name=nobody",
        f"{person}/",
        f"{here}/residents/{held.pk}/times/",
        f"{person}/change/",
        f"{person}/away/",
        f"{person}/calendar/",
        f"{here}/clearances/",
        f"{here}/shifts/",
        f"{here}/shifts/add/",
        f"{here}/places/",
        f"{here}/places/rules/",
        f"{here}/places/hours/",
        f"{here}/imports/",
        f"{here}/imports/{imported.pk}/",
    ]


def test_every_page_can_be_used_by_everybody_on_every_screen(visit, addresses):
    found = []
    for size in (PHONE, DESK):
        visitor = visit(size=size)
        for address in addresses:
            assert visitor.page.goto(address).status == 200, address
            found += [(address, size, one) for one in visitor.violations()]
            found += [(address, size, "scrolls sideways")] if visitor.scrolls_sideways() else []
            found += [(address, size, one) for one in visitor.squeezed()]
        found += [(size, fault) for fault in visitor.faults]

    assert found == []


def test_nothing_is_squeezed_for_those_who_may_only_look(visit, house, addresses):
    visitor = visit(house.aide, size=PHONE)
    for address in addresses:
        visitor.page.goto(address)
        assert (address, visitor.squeezed(), visitor.scrolls_sideways()) == (address, [], False)
    # The control: one heading is squeezed, and found.
    visitor.page.goto(f"/buildings/{house.building.pk}/residents/")
    visitor.page.evaluate("() => { document.querySelector('h1').style.inlineSize = '1ch'; }")
    assert len(visitor.squeezed()) == 1


def test_a_refused_form_can_be_used_by_everybody(visit, house):
    for size in (PHONE, DESK):
        visitor = visit(size=size)
        visitor.page.goto(f"/buildings/{house.building.pk}/residents/{house.residents[0].pk}/change/")
        visitor.page.get_by_label("Minutes each way").fill("99")
        visitor.page.get_by_role("button", name="Save").click()

        sentence = visitor.page.locator("#refusal")
        assert sentence.inner_text().strip() == "Minutes each way: At most 60."
        assert sentence.evaluate("(box) => box === document.activeElement")
        assert (visitor.violations(), visitor.scrolls_sideways(), visitor.faults) == ([], False, [])
