"""What waits for a clinician: incidents that nobody has seen, holds that are open, clearances that end."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from program.actions.incidents import report_warning_sign, see_incident
from program.actions.safety import end_hold, set_hold
from program.models import Audit, Clearance, Hold, Incident
from tests.program.actions.arranging import booked
from tests.program.pages.words import refusal, words

MON = datetime(2026, 11, 30, 15, 0, tzinfo=UTC)
NOON = MON + timedelta(hours=2)


@pytest.fixture
def resident(arrowfen):
    return arrowfen.resident(given_name="Rose", family_name="Oak", room="12")


@pytest.fixture
def incident(arrowfen, resident, at):
    return reported(arrowfen, resident, at)


def reported(house, resident, at, *, first=0, minute=10):
    session = booked(house, resident, MON, first=first)
    moment = MON + timedelta(minutes=minute)
    with at(moment):
        return report_warning_sign(
            session=session,
            sign="chest pain",
            note="while pulling",
            event_id=uuid4(),
            happened_at=moment,
            done_by=house.aide,
            entered_by=house.aide,
        )


def address(house, name="waiting", *rest):
    return reverse(f"program:{name}", args=[house.building.pk, *rest])


def seen(incident, **typed):
    """The form of that incident as it stands on the page."""
    fields = {"version": incident.version, "note": ""} | typed
    return {f"incident-{incident.pk}-{name}": value for name, value in fields.items()}


def test_an_incident_says_who_what_when_and_who_told_it(arrowfen, incident, client_of, see_all, at):
    with at(NOON):
        shown = client_of(arrowfen.clinician).get(address(arrowfen))

    told = words(shown)
    assert [one.pk for one, _ in shown.context["incidents"]] == [incident.pk]
    for part in ("Chest pain: Rose Oak", "Mon 30 Nov 2026 10:10", "room 12", arrowfen.aide.name, "while pulling"):
        assert part in told
    see_all()
    assert Audit.objects.get(action="view", noun="waiting").resident_ids == [incident.resident_id]


def test_a_clinician_has_seen_it_and_the_hold_stays(arrowfen, incident, client_of, see_all, at):
    with at(NOON):
        client = client_of(arrowfen.clinician)
        shown = client.post(
            address(arrowfen, "seen", incident.pk), seen(incident, note="sent to the doctor"), follow=True
        )

    see_all()
    incident.refresh_from_db()
    assert (incident.seen_by, incident.seen_at, incident.seen_note) == (
        arrowfen.clinician,
        NOON,
        "sent to the doctor",
    )
    assert [str(message) for message in shown.context["messages"]] == [
        "Seen: chest pain, Rose Oak. The exercise hold stays until a clinician releases it."
    ]
    assert shown.context["incidents"] == []
    assert [hold.resident for hold in shown.context["holds"]] == [incident.resident]
    assert Hold.objects.get().ends_at is None


def test_what_somebody_else_has_seen_meanwhile_is_said(arrowfen, incident, client_of, see_all, at):
    with at(NOON):
        client = client_of(arrowfen.clinician)
        typed = seen(incident, note="mine")
        see_incident(incident=Incident.objects.get(), by=arrowfen.clinician)
        shown = client.post(address(arrowfen, "seen", incident.pk), typed)

    see_all()
    assert (shown.status_code, refusal(shown)) == (409, "Somebody has seen to this already.")
    assert Incident.objects.get().seen_note == ""


def test_a_version_that_has_moved_on_is_refused_once_and_what_was_typed_stays(
    arrowfen, incident, client_of, see_all, at
):
    Incident.objects.update(version=2)
    with at(NOON):
        shown = client_of(arrowfen.clinician).post(
            address(arrowfen, "seen", incident.pk), seen(incident, version=1, note="typed")
        )

    see_all()
    _, form = shown.context["incidents"][0]
    assert (shown.status_code, form["note"].value(), form["version"].value()) == (412, "typed", 2)
    assert Incident.objects.get().seen_at is None


@pytest.mark.parametrize("typed", [{"version": "x"}, {"note": "n" * 301}])
def test_what_cannot_be_read_writes_nothing(arrowfen, incident, client_of, see_all, at, typed):
    with at(NOON):
        shown = client_of(arrowfen.clinician).post(address(arrowfen, "seen", incident.pk), seen(incident, **typed))

    see_all()
    assert (shown.status_code, Incident.objects.get().seen_at) == (422, None)


def test_the_oldest_incident_stands_first(arrowfen, incident, client_of, at):
    earlier = reported(arrowfen, arrowfen.resident(), at, first=1, minute=5)
    with at(NOON):
        shown = client_of(arrowfen.clinician).get(address(arrowfen))

    assert [one.pk for one, _ in shown.context["incidents"]] == [earlier.pk, incident.pk]


def test_holds_that_are_open_lead_to_their_release(arrowfen, resident, client_of, see_all, at):
    other = arrowfen.resident()
    held = {"kind": "clinical", "starts_at": MON, "by": arrowfen.aide}
    hold = set_hold(resident=resident, reason="chest infection", **held)
    with at(MON):
        end_hold(
            hold=set_hold(resident=other, reason="pain", **held | {"starts_at": MON - timedelta(hours=1)}),
            by=arrowfen.clinician,
        )
    set_hold(resident=other, kind="away", reason="leave", starts_at=MON, by=arrowfen.aide)
    with at(NOON):
        shown = client_of(arrowfen.clinician).get(address(arrowfen))

    assert shown.context["holds"] == [hold]
    assert "Chest infection, since Mon 30 Nov 2026 10:00." in words(shown)
    assert reverse("program:hold-ends", args=[arrowfen.building.pk, resident.pk, hold.pk]) in shown.content.decode()


def test_clearances_are_counted_as_the_page_they_lead_to_lists_them(arrowfen, client_of, at):
    ended, soon, later = (arrowfen.resident() for _ in range(3))
    Clearance.objects.filter(resident=ended).update(until_on=date(2026, 11, 29))
    Clearance.objects.filter(resident=soon).update(until_on=date(2026, 12, 30))
    Clearance.objects.filter(resident=later).update(until_on=date(2026, 12, 31))
    with at(NOON):
        client = client_of(arrowfen.clinician)
        shown = client.get(address(arrowfen))
        listed = {
            which: len(client.get(f"{address(arrowfen, 'clearances')}?which={which}").context["rows"])
            for which, _, _ in shown.context["clearances"]
        }

    assert {which: count for which, count, _ in shown.context["clearances"]} == {"no-clearance": 1, "expiring": 1}
    assert listed == {"no-clearance": 1, "expiring": 1}


def test_with_nothing_waiting_the_page_says_so(arrowfen, resident, client_of, at):
    with at(NOON):
        shown = client_of(arrowfen.clinician).get(address(arrowfen))

    assert "Nothing is waiting" in words(shown)


def test_only_a_clinician_has_the_page_and_its_entry_in_the_menu(arrowfen, incident, stranger, client_of, at):
    with at(NOON):
        for person, status in ((arrowfen.aide, 403), (arrowfen.coordinator, 403), (stranger, 404)):
            client = client_of(person)
            assert client.get(address(arrowfen)).status_code == status
            assert client.post(address(arrowfen, "seen", incident.pk), seen(incident)).status_code == status
        menus = {
            person.pk: "Waiting"
            in [label for label, *_ in client_of(person).get(address(arrowfen, "residents")).context["nav"]]
            for person in (arrowfen.clinician, arrowfen.coordinator, arrowfen.aide)
        }

    assert menus == {arrowfen.clinician.pk: True, arrowfen.coordinator.pk: False, arrowfen.aide.pk: False}


def test_an_incident_of_another_house_does_not_exist(arrowfen, brindlewharf, client_of, see_all, at):
    foreign = reported(brindlewharf, brindlewharf.resident(), at)
    with at(NOON):
        shown = client_of(arrowfen.clinician).post(address(arrowfen, "seen", foreign.pk), seen(foreign))

    see_all()
    assert (shown.status_code, Incident.objects.get().seen_at) == (404, None)


def test_the_queries_do_not_grow_with_what_waits(arrowfen, incident, client_of, queries, see_all, at):
    with at(NOON):
        clinician = client_of(arrowfen.clinician)
        few = queries(clinician, address(arrowfen))
        see_all()
        for first in range(1, 5):
            reported(arrowfen, arrowfen.resident(), at, first=first)
    with at(NOON):
        assert queries(clinician, address(arrowfen)) == few == 14
