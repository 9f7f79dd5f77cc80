"""Residents' pages: who is shown, why somebody cannot train, and changes that are kept, refused or overtaken."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from program import clock
from program.actions.residents import change_resident
from program.actions.safety import set_hold
from program.models import Audit, Clearance, Commitment, CommitmentTime, Hold, Unit
from tests.program.pages.words import chips, refusal, words


def page(house, *rest):
    return reverse("program:resident", args=[house.building.pk, *rest])


def form_of(client, address):
    """What the form of a page would send as it stands."""
    form = client.get(address).context["form"]
    values = {name: form[name].value() for name in form.fields}
    return {name: "" if value is None else value for name, value in values.items()}


def test_the_list_names_everybody_with_the_one_thing_that_stands_in_the_way(arrowfen, coordinator):
    fit, held, expired = (arrowfen.resident(family_name=name) for name in ("Abel", "Berg", "Czar"))
    set_hold(resident=held, kind="clinical", reason="chest infection", starts_at=clock.now(), by=arrowfen.coordinator)
    Clearance.objects.filter(resident=expired).update(until_on=date(2026, 11, 20))

    shown = coordinator.get(reverse("program:residents", args=[arrowfen.building.pk]))

    assert chips(shown) == ["Can train", "Exercise hold: chest infection", "Clearance ended 20 Nov 2026"]
    assert [resident for resident, _ in shown.context["rows"]] == [fit, held, expired]


def test_the_list_is_narrowed_by_name_unit_and_what_stands_in_the_way(arrowfen, coordinator):
    address = reverse("program:residents", args=[arrowfen.building.pk])
    other = Unit.objects.create(building=arrowfen.building, name="Mill court")
    first, second = arrowfen.resident(given_name="Åsa"), arrowfen.resident(given_name="Gö")
    second.unit = other
    second.save()
    Clearance.objects.filter(resident=first).update(until_on=date(2026, 12, 12))

    def found(**asked):
        return [resident.pk for resident, _ in coordinator.get(address, asked).context["rows"]]

    assert found(name="åsa") == [first.pk]
    assert found(unit=other.pk) == [second.pk]
    assert found(cannot="expiring") == [first.pk]
    assert found(cannot="hold") == []
    assert found(name="nobody") == []


def test_a_strangers_house_does_not_exist(arrowfen, stranger, client_of, coordinator):
    resident = arrowfen.resident()
    address = page(arrowfen, resident.pk)

    assert client_of(stranger).get(address).status_code == 404
    assert client_of(stranger).get(reverse("program:residents", args=[arrowfen.building.pk])).status_code == 404
    assert coordinator.get(address).status_code == 200


def test_looking_at_a_resident_is_in_the_trail(arrowfen, coordinator, see_all):
    resident = arrowfen.resident()

    coordinator.get(page(arrowfen, resident.pk))

    see_all()
    seen = Audit.objects.get(action="view", user_id=arrowfen.coordinator.pk)
    assert (seen.noun, seen.resident_ids) == ("resident", [resident.pk])


def test_a_change_is_saved_and_said(arrowfen, coordinator, see_all):
    resident = arrowfen.resident(room="101")
    address = reverse("program:change-resident", args=[arrowfen.building.pk, resident.pk])

    done = coordinator.post(address, form_of(coordinator, address) | {"room": "202"}, follow=True)

    see_all()
    resident.refresh_from_db()
    assert resident.room == "202"
    assert done.redirect_chain == [(page(arrowfen, resident.pk), 302)]
    assert "Saved." in words(done)


def test_a_refused_change_keeps_everything_typed_and_says_why_once(arrowfen, coordinator, see_all):
    resident = arrowfen.resident(room="101")
    address = reverse("program:change-resident", args=[arrowfen.building.pk, resident.pk])

    shown = coordinator.post(address, form_of(coordinator, address) | {"room": "9", "escort_minutes": "99"})

    see_all()
    resident.refresh_from_db()
    assert (shown.status_code, resident.room) == (422, "101")
    assert refusal(shown) == "Minutes each way: At most 60."
    assert (shown.context["form"]["room"].value(), shown.context["form"]["escort_minutes"].value()) == ("9", "99")


def test_a_change_of_an_older_version_is_refused_with_what_has_changed(arrowfen, coordinator, see_all):
    resident = arrowfen.resident(room="101")
    address = reverse("program:change-resident", args=[arrowfen.building.pk, resident.pk])
    typed = form_of(coordinator, address) | {"bed": "B"}
    see_all()
    change_resident(resident=resident, room="202")

    shown = coordinator.post(address, typed)

    assert shown.status_code == 412
    assert shown.context["changes"] == ["Room: was 101, is now 202"]
    again = shown.context["form"]
    assert (again["bed"].value(), again["version"].value()) == ("B", 2)


def test_staff_may_look_but_not_change(arrowfen, client_of):
    resident = arrowfen.resident()
    aide = client_of(arrowfen.aide)

    assert "Change" not in words(aide.get(page(arrowfen, resident.pk)))
    refused = aide.post(reverse("program:change-resident", args=[arrowfen.building.pk, resident.pk]), {"room": "9"})
    assert refused.status_code == 403
    assert "You may not change residents here. Ask your coordinator. Nothing was changed." in words(refused)


def test_nobody_who_cannot_train_is_offered_times(arrowfen, coordinator, see_all):
    resident = arrowfen.resident()
    assert "Offer times" in words(coordinator.get(page(arrowfen, resident.pk)))
    see_all()
    set_hold(resident=resident, kind="clinical", reason="fall", starts_at=clock.now(), by=arrowfen.coordinator)

    assert "Offer times" not in words(coordinator.get(page(arrowfen, resident.pk)))


def test_a_building_without_residents_has_nothing_to_search(arrowfen, coordinator):
    for name in ("residents", "clearances"):
        shown = coordinator.get(reverse(f"program:{name}", args=[arrowfen.building.pk]))
        assert "No residents yet" in words(shown)
        assert "every unit" not in words(shown)


def test_anyone_on_duty_enters_an_absence_and_ends_it(arrowfen, client_of, see_all):
    resident = arrowfen.resident()
    aide = client_of(arrowfen.aide)
    address = reverse("program:away", args=[arrowfen.building.pk, resident.pk])

    aide.post(address, form_of(aide, address) | {"reason": "leave"})

    see_all()
    away = Hold.objects.get(resident=resident)
    assert (away.kind, away.reason, away.ends_at) == ("away", "leave", None)
    back = reverse("program:hold-ends", args=[arrowfen.building.pk, resident.pk, away.pk])
    ends = {"version": away.version, "ends_at": "2026-12-02T09:00", "note": ""}
    assert aide.post(back, ends).status_code == 302
    see_all()
    away.refresh_from_db()
    assert away.ends_at.isoformat() == "2026-12-02T14:00:00+00:00"


def test_only_a_clinician_releases_an_exercise_hold(arrowfen, client_of, see_all):
    resident = arrowfen.resident()
    held = set_hold(
        resident=resident,
        kind="clinical",
        reason="fall",
        starts_at=clock.now() - timedelta(days=1),
        by=arrowfen.coordinator,
    )
    address = reverse("program:hold-ends", args=[arrowfen.building.pk, resident.pk, held.pk])
    release = {"version": held.version, "ends_at": "2026-11-30T06:00", "note": "seen"}

    assert client_of(arrowfen.coordinator).post(address, release).status_code == 403
    assert client_of(arrowfen.clinician).post(address, release).status_code == 302
    see_all()
    held.refresh_from_db()
    assert held.released_by == arrowfen.clinician


def test_a_withdrawn_agreement_is_entered_once_it_is_sure(arrowfen, coordinator, see_all):
    resident = arrowfen.resident()
    address = reverse("program:agreement", args=[arrowfen.building.pk, resident.pk])

    assert coordinator.post(address, {"version": 1}).status_code == 422
    assert coordinator.post(address, {"version": 1, "is_sure": "on"}).status_code == 302
    see_all()
    resident.refresh_from_db()
    assert resident.agreement_withdrawn_at == clock.now()


def test_a_weekly_commitment_is_added_changed_and_ended_by_hand(arrowfen, coordinator, see_all):
    resident = arrowfen.resident()
    at = [arrowfen.building.pk, resident.pk]
    typed = {
        "kind": "bathing",
        "title": "",
        "first_on": "2026-12-01",
        "from_time": "09:00",
        "until_time": "09:30",
        "weekdays": ["WE"],
        "last_on": "2026-12-09",
    }

    assert coordinator.post(reverse("program:add-commitment", args=at), typed).status_code == 302
    see_all()
    bath = Commitment.objects.get(resident=resident)
    starts = CommitmentTime.objects.filter(commitment=bath).order_by("starts_at").values_list("starts_at", flat=True)
    assert [start.isoformat() for start in starts] == ["2026-12-02T14:00:00+00:00", "2026-12-09T14:00:00+00:00"]

    address = reverse("program:change-commitment", args=[*at, bath.pk])
    asked = form_of(coordinator, address)
    assert (asked["weekdays"], str(asked["last_on"])) == (["WE"], "2026-12-09")
    coordinator.post(address, typed | {"version": bath.version, "from_time": "10:00", "until_time": "10:30"})
    see_all()
    bath.refresh_from_db()
    assert (bath.starts, bath.version) == ("2026-12-02T10:00:00", 2)

    coordinator.post(reverse("program:end-commitment", args=[*at, bath.pk]), {"version": 2})
    see_all()
    bath.refresh_from_db()
    assert bath.ended_at == clock.now()


@pytest.mark.parametrize("name", ["residents", "clearances"])
def test_the_queries_of_a_list_do_not_grow_with_the_residents(arrowfen, coordinator, queries, see_all, name):
    address = reverse(f"program:{name}", args=[arrowfen.building.pk])
    for _ in range(3):
        arrowfen.resident()
    few = queries(coordinator, address)
    see_all()
    for _ in range(27):
        arrowfen.resident()

    assert (few, queries(coordinator, address)) == (10, 10)


def test_the_queries_of_a_resident_are_few(arrowfen, coordinator, queries):
    resident = arrowfen.resident()

    assert queries(coordinator, page(arrowfen, resident.pk)) == 17


def test_the_end_of_a_hospital_stay_says_that_an_exercise_hold_begins(arrowfen, coordinator, see_all):
    resident = arrowfen.resident()
    away = reverse("program:away", args=[arrowfen.building.pk, resident.pk])
    told = {"reason": "hospital", "starts_at": "2026-11-30T05:00", "ends_at": ""}
    follows = "An exercise hold (review after hospital) begins then; a clinician releases it."
    assert follows[1:] in words(coordinator.get(away))
    entered = coordinator.post(away, told, follow=True)
    see_all()
    held = Hold.objects.get(resident=resident)
    back = reverse("program:hold-ends", args=[arrowfen.building.pk, resident.pk, held.pk])
    assert follows in words(coordinator.get(back))
    ended = coordinator.post(back, {"version": held.version, "ends_at": "2026-11-30T06:00", "note": ""}, follow=True)

    said = [[str(message) for message in shown.context["messages"]] for shown in (entered, ended)]
    assert said == [["The absence is entered."], [f"The absence ends Mon 30 Nov 06:00. {follows}"]]


def test_a_hospital_stay_whose_end_is_known_says_at_once_that_a_hold_follows(arrowfen, coordinator):
    resident = arrowfen.resident()
    away = reverse("program:away", args=[arrowfen.building.pk, resident.pk])
    told = {"reason": "hospital", "starts_at": "2026-11-30T05:00", "ends_at": "2026-12-04T15:00"}

    shown = coordinator.post(away, told, follow=True)

    assert [str(message) for message in shown.context["messages"]] == [
        "The absence is entered. Back Fri 4 Dec 15:00. "
        "An exercise hold (review after hospital) begins then; a clinician releases it."
    ]


def test_a_resident_leads_to_the_entry_of_a_clearance_with_them_chosen(arrowfen, coordinator):
    resident, other = arrowfen.resident(), arrowfen.resident()
    page = coordinator.get(reverse("program:resident", args=[arrowfen.building.pk, resident.pk]))
    leads_to = f"{reverse('program:clearances', args=[arrowfen.building.pk])}?resident={resident.pk}"

    assert f'href="{leads_to}#enter"' in page.content.decode()
    assert coordinator.get(leads_to).context["chosen"] == {str(resident.pk)} != {str(other.pk)}
