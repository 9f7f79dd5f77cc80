from decimal import Decimal

import pytest

from program.actions.prescriptions import LineInput, prescribe
from program.models import Prescription, PrescriptionLine
from program.rules.errors import Refused, Stale
from tests import factories


def plan(house, resident, *lines, **fields):
    lines = lines or [LineInput(station=house.stations[0], load=Decimal("22.5"), load_unit="kg")]
    told = {"sessions_a_week": 2, "lines": lines, "by": house.clinician}
    return prescribe(resident=resident, **(told | fields))


def in_pounds(house, **fields):
    told = {"name": "Sled", "load_unit": "lb", "load_step": Decimal(5)}
    return factories.StationFactory(building=house.building, **(told | fields))


def test_a_change_is_a_new_version_and_the_old_one_stays(arrowfen):
    resident = arrowfen.resident()
    changed = plan(arrowfen, resident)

    assert Prescription.objects.in_force().get(resident=resident) == changed
    assert list(changed.lines.values_list("load", "exercise")) == [(Decimal("22.5"), "leg press")]
    assert Prescription.objects.get(resident=resident, number=1).lines.count() == 5


def test_pounds_are_kept_as_entered_and_exactly_in_kilograms(arrowfen):
    line = LineInput(station=in_pounds(arrowfen), load=Decimal(65), load_unit="lb")
    written = plan(arrowfen, arrowfen.resident(), line).lines.values_list("load", "load_unit", "load_kg").get()

    # 65 lb of 0.45359237 kg each (NIST SP 811, appendix B).
    assert written == (Decimal(65), "lb", Decimal("29.48350405"))


@pytest.mark.parametrize(
    ("load", "unit", "sentence"),
    [
        ("62", "lb", "Sled goes in steps of 5 lb; 62 cannot be set there."),
        ("30", "kg", "Sled is loaded in lb, not in kg. Correct load and unit."),
        ("5", "lb", "Sled goes from 10 to 90 lb, not to 5."),
        ("95", "lb", "Sled goes from 10 to 90 lb, not to 95."),
    ],
)
def test_a_load_that_the_station_cannot_have_is_refused(arrowfen, load, unit, sentence):
    station = in_pounds(arrowfen, lightest=Decimal(10), heaviest=Decimal(90))
    resident = arrowfen.resident()

    with pytest.raises(Refused) as refusal:
        plan(arrowfen, resident, LineInput(station=station, load=Decimal(load), load_unit=unit))

    assert refusal.value.sentence == sentence
    assert Prescription.objects.filter(resident=resident).count() == 1


def test_a_station_of_another_building_does_not_exist_here(arrowfen, brindlewharf):
    line = LineInput(station=brindlewharf.stations[0], load=Decimal(20), load_unit="kg")

    with pytest.raises(Refused) as refusal:
        plan(arrowfen, arrowfen.resident(), line)

    assert refusal.value.sentence == "Arrowfen House has no such station. Choose one of its own."


def test_a_station_stands_in_a_plan_once(arrowfen):
    line = LineInput(station=arrowfen.stations[0], load=Decimal(20), load_unit="kg")

    with pytest.raises(Refused) as refusal:
        plan(arrowfen, arrowfen.resident(), line, line)

    assert refusal.value.sentence == "A is in this plan twice. Keep one of the two."


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"repetitions_least": 12}, "Repetitions run from the least to the most, 1 to 30."),
        ({"seconds_most": 30}, "The set time runs from the least to the most, 10 to 600 seconds."),
        ({"turns": 6}, "A station is used for one to five turns."),
        ({"load": Decimal("22.5001")}, "A goes in steps of 2.5 kg; 22.5001 cannot be set there."),
    ],
)
def test_an_impossible_line_leaves_nothing_behind(arrowfen, fields, sentence):
    line = {"station": arrowfen.stations[0], "load": Decimal(20), "load_unit": "kg"} | fields
    resident = arrowfen.resident()

    with pytest.raises(Refused) as refusal:
        plan(arrowfen, resident, LineInput(**line))

    assert refusal.value.sentence == sentence
    assert Prescription.objects.filter(resident=resident).count() == 1
    assert PrescriptionLine.objects.count() == 5


def test_more_than_three_sessions_a_week_are_refused(arrowfen):
    with pytest.raises(Refused, match="one to three sessions a week"):
        plan(arrowfen, arrowfen.resident(), sessions_a_week=4)


def test_a_plan_that_somebody_else_has_changed_meanwhile_is_stale(arrowfen):
    resident = arrowfen.resident()
    plan(arrowfen, resident, expected_number=1)

    with pytest.raises(Stale) as refusal:
        plan(arrowfen, resident, expected_number=1)

    assert refusal.value.details == {"current_version": 2}
