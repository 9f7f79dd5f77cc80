"""A building from its workbook."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from program.actions.imports import apply_import, judge_file
from program.models import (
    Building,
    Hours,
    Region,
    Role,
    Shift,
    ShiftTime,
    Station,
    User,
)
from program.rules.errors import Refused
from tests.data.arrowfen.make import building_rows, workbook
from tests.program.actions.imports.arranging import FILES, started


def test_a_building_starts_from_its_workbook(administrator):
    building = started(administrator)

    assert (building.name, building.region.name, building.timezone) == (
        "Arrowfen House",
        "Lower Fens",
        "America/New_York",
    )
    assert (building.rest_after_meal_minutes, building.buffer_turns, building.overdue_hours) == (30, 0, 120)
    assert [hours.weekday for hours in Hours.objects.filter(kind="open").order_by("weekday")] == [0, 1, 2, 3, 4, 5]
    assert Hours.objects.filter(kind="meal", starts_minute=720, ends_minute=780, unit=None).count() == 7
    assert [(station.name, station.load_step) for station in Station.objects.all()] == [
        ("Leg press", Decimal(5)),
        ("Pulley row", Decimal("2.5")),
        ("Heel rail", Decimal(1)),
        ("Cuff chair", Decimal("0.5")),
        ("High pulley", Decimal("2.5")),
    ]
    assert set(Role.objects.filter(building=building).values_list("user__name", "kind")) == {
        ("Marnie Oxbow", "coordinator"),
        ("Tobiah Reedham", "staff"),
        ("Zdeňka Wharfe", "staff"),
        ("Dr. Ottoline Farrowgate", "clinician"),
    }
    assert not any(person.has_usable_password() for person in User.objects.filter(roles__building=building))
    # Six weekdays over 400 days ahead and a week back.
    assert (
        Shift.objects.count(),
        ShiftTime.objects.filter(starts_at__gte=datetime(2026, 11, 30, tzinfo=UTC)).count(),
    ) == (
        6,
        343,
    )


def test_a_workbook_that_is_wrong_somewhere_starts_nothing(administrator):
    sheets = building_rows()
    sheets["Shifts"].append(["Nobody Known", "Monday", "08:00", "09:00", ""])
    judged = judge_file(kind="building", content=workbook(sheets), file_name="building.xlsx", by=administrator)

    with pytest.raises(Refused) as refusal:
        apply_import(imported=judged, by=administrator)

    assert [(told["sheet"], told["line"], told["field"]) for told in judged.refusals] == [("Shifts", 8, "person")]
    assert refusal.value.problem == "refused-rows"
    assert Building.objects.count() == Region.objects.count() == 0


def test_a_shift_that_clashes_with_another_building_leaves_no_building_behind(administrator, from_files):
    sheets = building_rows()
    sheets["Building"][1][1] = "Brindlewharf"
    judged = judge_file(kind="building", content=workbook(sheets), file_name="building.xlsx", by=administrator)

    with pytest.raises(Refused, match="already on the circuit"):
        apply_import(imported=judged, by=administrator)

    assert list(Building.objects.values_list("name", flat=True)) == ["Arrowfen House"]


def test_people_who_sign_in_already_are_found_by_their_address(administrator, from_files):
    sheets = building_rows()
    sheets["Building"][1][1], sheets["Shifts"] = "Brindlewharf", sheets["Shifts"][:1]
    before = User.objects.count()

    judged = judge_file(kind="building", content=workbook(sheets), file_name="building.xlsx", by=administrator)
    apply_import(imported=judged, by=administrator)

    assert (User.objects.count(), judged.counts["changed"]) == (before, 4)
    assert Role.objects.filter(user__email="marnie.oxbow@example.org").count() == 2


def test_a_name_that_is_taken_is_refused(administrator, from_files):
    content = (FILES / "building.xlsx").read_bytes()

    judged = judge_file(kind="building", content=content, file_name="building.xlsx", by=administrator)

    assert [told["sentence"] for told in judged.refusals] == ["There is a building of that name. Choose another."]
