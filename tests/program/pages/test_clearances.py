"""Clearances: who needs one, and one entered for many."""

from datetime import date

from django.urls import reverse

from program import clock
from program.models import Clearance
from tests.program.pages.words import chips, refusal

TYPED = {
    "given_by": "C. Example",
    "credential": "physician",
    "given_on": "2026-11-30",
    "until_on": "2027-05-31",
    "limits": "no overhead work",
}


def test_those_whose_clearance_ends_first_stand_first(arrowfen, coordinator):
    late, none, soon = (arrowfen.resident(family_name=name) for name in ("Abel", "Berg", "Czar"))
    Clearance.objects.filter(resident=none).update(withdrawn_at=clock.now())
    Clearance.objects.filter(resident=soon).update(until_on=date(2026, 12, 10))

    shown = coordinator.get(reverse("program:clearances", args=[arrowfen.building.pk]))

    assert [resident for resident, _ in shown.context["rows"]] == [none, soon, late]
    assert chips(shown) == ["None", "Until 10 Dec 2026, 10 days left", "Until 31 Dec 2027"]


def test_one_clearance_is_entered_for_all_who_were_chosen(arrowfen, coordinator, see_all):
    chosen = [arrowfen.resident(), arrowfen.resident()]
    arrowfen.resident()

    coordinator.post(
        reverse("program:clearances", args=[arrowfen.building.pk]),
        TYPED | {"residents": [resident.pk for resident in chosen]},
    )

    see_all()
    entered = Clearance.objects.filter(until_on=date(2027, 5, 31))
    assert sorted(clearance.resident_id for clearance in entered) == [resident.pk for resident in chosen]


def test_one_resident_is_one(arrowfen, coordinator):
    chosen = {"residents": [arrowfen.resident().pk]}

    shown = coordinator.post(reverse("program:clearances", args=[arrowfen.building.pk]), TYPED | chosen, follow=True)

    assert [str(message) for message in shown.context["messages"]] == ["Entered for 1 resident."]


def test_without_anybody_chosen_nothing_is_entered_and_everything_is_kept(arrowfen, coordinator, see_all):
    arrowfen.resident()

    shown = coordinator.post(reverse("program:clearances", args=[arrowfen.building.pk]), TYPED)

    see_all()
    assert (shown.status_code, Clearance.objects.count()) == (422, 1)
    assert refusal(shown) == "Choose at least one resident."
    assert shown.context["form"]["limits"].value() == "no overhead work"


def test_a_resident_of_another_house_cannot_be_chosen(arrowfen, brindlewharf, coordinator, see_all):
    foreign = brindlewharf.resident()

    shown = coordinator.post(
        reverse("program:clearances", args=[arrowfen.building.pk]), TYPED | {"residents": [foreign.pk]}
    )

    see_all()
    assert (shown.status_code, Clearance.objects.count()) == (422, 1)


def test_staff_may_look_but_not_enter(arrowfen, client_of):
    resident = arrowfen.resident()
    address = reverse("program:clearances", args=[arrowfen.building.pk])
    aide = client_of(arrowfen.aide)

    assert aide.get(address).status_code == 200
    assert aide.post(address, TYPED | {"residents": [resident.pk]}).status_code == 403
