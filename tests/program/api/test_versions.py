"""Changes name the version they change. The measure: RFC 9110, 8.8.3 and 13.1.1; RFC 6585, 3."""

import pytest

from program.web.doors import Door
from tests.conftest import House
from tests.program.api.asking import Api, problem_of
from tests.program.api.walking import doors

# New rows, and lines that are added whatever has become of the plan meanwhile.
CHANGES_NOTHING_THAT_EXISTS = {"create", "unplanned", "records", "start", "warning_sign"}


def patch(house: House, version: str | None) -> object:
    headers = {} if version is None else {"If-Match": version}
    path = f"/api/stations/{house.stations[0].pk}/"
    client = Api(house.coordinator).client
    return client.patch(path, {"load_step": "5"}, content_type="application/json", headers=headers)


def test_the_version_of_a_row_is_strong_and_changes_with_it(arrowfen: House) -> None:
    station = arrowfen.stations[0]
    before = Api(arrowfen.coordinator).get(f"stations/{station.pk}/").headers["ETag"]
    after = patch(arrowfen, before).headers["ETag"]

    assert (before, after) == (f'"{station.pk}-1"', f'"{station.pk}-2"')
    assert Api(arrowfen.coordinator).get(f"stations/{station.pk}/").headers["ETag"] == after


@pytest.mark.parametrize(
    ("sent", "refusal"),
    [
        (None, (428, "version-missing")),
        ("*", (428, "version-missing")),
        ("1", (400, "version-malformed")),
        ('"{pk}-1', (400, "version-malformed")),
        ('W/"{pk}-1"', (412, "stale-version")),
        ('"{pk}-0"', (412, "stale-version")),
        ('"{other}-1"', (412, "stale-version")),
    ],
)
def test_a_change_without_the_version_it_changes_is_refused(
    arrowfen: House, sent: str | None, refusal: tuple[int, str]
) -> None:
    station, other = arrowfen.stations[:2]
    version = sent and sent.format(pk=station.pk, other=other.pk)

    assert problem_of(patch(arrowfen, version)) == refusal
    station.refresh_from_db()
    assert station.version == 1


def test_one_of_several_versions_is_enough(arrowfen: House) -> None:
    pk = arrowfen.stations[0].pk

    assert patch(arrowfen, f'"{pk}-7", "{pk}-1"').status_code == 200


def test_a_stale_change_is_told_what_is_newest_and_changes_nothing(arrowfen: House) -> None:
    station = arrowfen.stations[0]
    patch(arrowfen, f'"{station.pk}-1"')
    answer = patch(arrowfen, f'"{station.pk}-1"')

    assert problem_of(answer) == (412, "stale-version")
    assert answer.json()["current_version"] == 2


@pytest.mark.parametrize("door", doors(), ids=lambda door: door.__name__)
def test_every_verb_that_changes_what_exists_names_its_version(door: type[Door]) -> None:
    unsafe = {action for action in door.rights if action in door.inputs or action == "destroy"}

    assert door.names_version == unsafe - CHANGES_NOTHING_THAT_EXISTS
