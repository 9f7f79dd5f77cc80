"""Enough for today: done for attendance, and counted by its sets for volume."""

import pytest

from program import clock
from program.models import Resident
from tests.conftest import House
from tests.program.api.arranging import one_line
from tests.program.api.asking import Api
from tests.reports.making import AFTER_W49, report_over_api
from tests.walkthroughs.following import book, wall, with_aide

PLAN = (40, 20, 10, 20, 15)
MONDAY = "2026-11-30"


@pytest.fixture
def house(arrowfen: House) -> House:
    return with_aide(arrowfen)


def prescribed(house: House, loads: tuple[int, ...]) -> Resident:
    """A resident with these kilograms at the stations A to E, up to ten repetitions each."""
    resident = house.resident()
    lines = [
        {
            "station": station.pk,
            "load": str(load),
            "load_unit": "kg",
            "repetitions_least": 8,
            "repetitions_most": 10,
        }
        for station, load in zip(house.stations, loads, strict=True)
    ]
    sent = {"resident": resident.pk, "expected_number": 1, "sessions_a_week": 2, "lines": lines}
    assert Api(house.clinician).post("prescriptions/", sent).status_code == 201
    return resident


def trains(house: House, resident: Resident, start: str, loads: tuple[int, ...]) -> None:
    """Ten repetitions of each load in the order of the stations, one every six minutes, then the end."""
    booked = book(house, resident, f"{MONDAY}T{start}")
    assert booked.status_code == 201
    began = wall(f"{MONDAY}T{start}")
    sets = [
        {
            "station": house.stations[place].pk,
            "exercise": house.stations[place].exercise,
            "load": str(load),
            "load_unit": "kg",
            "repetitions": 10,
            "seconds": 80,
            "ended_at": began.replace(minute=began.minute + 2 + 6 * place).isoformat(),
            "event_id": f"00000000-0000-4000-8000-{resident.pk:08}{place:04}",
        }
        for place, load in enumerate(loads)
    ]
    lines = [one_line("started", began), one_line("ended", began.replace(minute=began.minute + 28))]
    with clock.at(wall(f"{MONDAY}T12:00")):
        answer = Api(house.aide).post(f"sessions/{booked.json()['id']}/records/", {"lines": lines, "sets": sets})
    assert answer.status_code == 200, answer.content


def figures(house: House) -> dict:
    with clock.at(AFTER_W49):
        return report_over_api(house.coordinator, house)["figures"]


def test_two_of_five_stations_count_whole_for_attendance_and_by_their_sets_for_volume(house: House) -> None:
    r2 = prescribed(house, PLAN)
    trains(house, r2, "10:00", PLAN[:2])
    told = figures(house)

    assert (told["attendance"]["done"], told["attendance"]["published"]) == (1, 1)
    assert told["volume"]["share"] == round(600 / 1050, 6)
    assert round(100 * told["volume"]["share"], 1) == 57.1
    assert (told["stopped_early"], told["missed"]) == (1, {"resident": 0, "clinical": 0, "our side": 0})


@pytest.mark.parametrize("times", [1, 2])
def test_the_building_is_the_mean_of_its_residents_however_heavy_their_plans(house: House, times: int) -> None:
    r2 = prescribed(house, PLAN)
    trains(house, r2, "10:00", PLAN[:2])
    heavier = tuple(times * load for load in PLAN)
    r3 = prescribed(house, heavier)
    trains(house, r3, "10:30", heavier)
    told = figures(house)

    assert (told["attendance"]["done"], told["attendance"]["published"]) == (2, 2)
    assert round(100 * told["volume"]["share"], 1) == 78.6
    # The control: what a ratio of sums would say, 78.6 % where both are alike and 85.7 % twice as heavy
    # (2,700 of 3,150 kg).
    sums = (600 + times * 1050) / (1050 + times * 1050)
    assert round(100 * sums, 1) == (78.6 if times == 1 else 85.7)
    assert told["volume"]["residents"] == 2
