"""Pooled, not averaged; small is uncertain; and a manager reads figures, never names."""

from datetime import datetime, timedelta

import pytest

from program import clock
from program.models import User
from tests.conftest import House, build_house
from tests.program.api.asking import Api
from tests.reports.making import AFTER_W49, in_bulk, make_all, manager_of, run_over_api
from tests.walkthroughs.following import wall


@pytest.fixture
def region(arrowfen: House) -> dict[str, House]:
    """Three houses of one region: 45 of 50 done, 4 of 5, and one that has published nothing."""
    houses = {"Arrowfen House": arrowfen}
    for name in ("Brindlewharf", "Coppermere"):
        houses[name] = build_house(name, region=arrowfen.building.region)
    week(houses["Arrowfen House"], published=50, done=45)
    week(houses["Brindlewharf"], published=5, done=4)
    for _ in range(3):
        houses["Coppermere"].resident(family_name="Coppermere-Name")
    return houses


def week(house: House, *, published: int, done: int) -> None:
    """Ten residents a day, each once; those that were not done were given up."""
    residents = [house.resident(family_name=f"Name-{place}") for place in range(published)]
    starts = [
        wall("2026-11-30T08:00") + timedelta(days=place // 10, minutes=30 * (place % 10)) for place in range(published)
    ]
    sessions = in_bulk(house, residents, [utc(start) for start in starts], done=done)
    for session in sessions[done:]:
        with clock.at(session.starts_at):
            sent = {"reason": "declined"}
            answer = Api(house.aide).post(f"sessions/{session.pk}/give-up/", sent, of=session)
            assert answer.status_code == 200, answer.content


def utc(moment: datetime) -> datetime:
    return moment.astimezone(clock.now().tzinfo)


@pytest.fixture
def manager(region: dict[str, House]) -> User:
    return manager_of(region["Arrowfen House"])


def percent(attendance: dict) -> tuple[float, float, float]:
    return tuple(round(100 * attendance[name], 1) for name in ("share", "low", "high"))


def test_each_building_with_its_interval_and_the_region_as_one(region: dict[str, House], manager: User) -> None:
    with clock.at(AFTER_W49):
        told = run_over_api(manager)
    by_name = {one["name"]: one["attendance"] for one in told["buildings"]}

    assert list(by_name) == ["Arrowfen House", "Brindlewharf", "Coppermere"]
    assert (by_name["Arrowfen House"]["done"], by_name["Arrowfen House"]["published"]) == (45, 50)
    assert percent(by_name["Arrowfen House"]) == (90.0, 78.6, 95.7)
    assert percent(by_name["Brindlewharf"]) == (80.0, 37.6, 96.4)
    assert by_name["Coppermere"] == {
        "done": 0,
        "published": 0,
        "not_recorded": 0,
        "share": None,
        "low": None,
        "high": None,
        "is_range": False,
        "least": None,
        "most": None,
    }
    [pooled] = told["regions"]
    assert (pooled["buildings"], pooled["attendance"]["done"], pooled["attendance"]["published"]) == (3, 49, 55)
    assert percent(pooled["attendance"]) == (89.1, 78.2, 94.9)
    # The control: a mean of the two shares would say 85.0 %.
    assert round(100 * (45 / 50 + 4 / 5) / 2, 1) == 85.0


def test_a_manager_reads_no_name_and_finds_no_resident(region: dict[str, House], manager: User) -> None:
    arrowfen = region["Arrowfen House"]
    with clock.at(AFTER_W49):
        api = Api(manager)
        asked = api.post("report-runs/", {"period_kind": "week", "period_name": "2026-W49"})
        assert asked.status_code == 202, asked.content
        make_all(asked.json()["id"])
        pages = [
            api.get("reports/"),
            api.get(f"report-runs/{asked.json()['id']}/"),
            api.get("residents/"),
            api.get("residents/", q=arrowfen.residents[0].family_name),
            api.get("sessions/"),
            api.get("audit/"),
        ]
    read = " ".join(page.content.decode() for page in pages)

    assert [resident.family_name for resident in arrowfen.residents if resident.family_name in read] == []
    assert len(pages[0].json()["results"]) == 3
    assert [page.json()["results"] for page in pages[2:5]] == [[], [], []]
    # The control: whoever works there reads them.
    assert arrowfen.residents[0].family_name in Api(arrowfen.coordinator).get("residents/").content.decode()


def test_a_residents_address_is_answered_like_one_that_there_never_was(region: dict[str, House], manager: User) -> None:
    r1, api = region["Arrowfen House"].residents[0], Api(manager)
    known, made_up = api.get(f"residents/{r1.pk}/"), api.get("residents/987654321/")
    named, unnamed = api.get("sessions/", resident=r1.pk), api.get("sessions/", resident=987654321)

    assert (known.status_code, named.status_code) == (404, 400)
    for one, other in ((known, made_up), (named, unnamed)):
        assert one.json() | {"request_id": ""} == other.json() | {"request_id": ""}
    building = region["Arrowfen House"].building.pk
    pages = [api.client.get(f"/buildings/{building}/residents/{key}/") for key in (r1.pk, 987654321)]
    assert [page.status_code for page in pages] == [404, 404]
    assert pages[0].content == pages[1].content
