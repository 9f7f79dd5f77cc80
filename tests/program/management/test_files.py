from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from program.models import Building, Import, Resident, User
from program.models.scoped import set_scope
from tests import factories

FILES = Path(__file__).parents[2] / "data" / "arrowfen"


def run(command, name, **options):
    """Exit status, what was written, and what was refused."""
    out, err = StringIO(), StringIO()
    try:
        call_command(command, str(FILES / name), stdout=out, stderr=err, **options)
    except SystemExit as ended:
        return ended.code, out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def see_everything():
    set_scope([*Building.objects.values_list("pk", flat=True)], user_id=None)


@pytest.fixture
def administrator(db):
    return factories.with_role(None, "administrator")


@pytest.fixture
def coordinator(administrator):
    run("start_building", "building.xlsx", username=administrator.username, apply=True)
    return User.objects.get(name="Marnie Oxbow")


def test_a_building_starts_only_when_told_to_apply(administrator):
    preview = run("start_building", "building.xlsx", username=administrator.username)
    before = Building.objects.count()
    applied = run("start_building", "building.xlsx", username=administrator.username, apply=True)

    assert (preview[0], before, applied[0]) == (0, 0, 0)
    assert preview[1].splitlines()[-1] == "Nothing is written yet. Add --apply to write it."
    assert list(Building.objects.values_list("name", flat=True)) == ["Arrowfen House"]


def test_a_coordinator_takes_in_residents_and_calendars(coordinator):
    told = {"username": coordinator.username, "building": "arrowfen house", "apply": True}

    residents = run("import_residents", "residents.csv", **told)
    calendars = run("import_calendars", "calendars.ics", **told)

    see_everything()
    assert residents == (0, "new           40\nchanged        0\nunchanged      0\nrefused        0\nApplied.\n", "")
    assert calendars[1].splitlines()[:2] == ["new            5", "changed        0"]
    assert Resident.objects.count() == 40


def test_refused_lines_are_named_and_the_exit_says_so(coordinator, tmp_path):
    (tmp_path / "residents.csv").write_text(
        "person_key,given_name,family_name,date_of_birth,unit,help\n"
        "Z-1,Ansgar,Fenwright,1938-04-17,Attic,one helps three\n"
    )
    told = {"username": coordinator.username, "building": "Arrowfen House"}

    status, _, refused = run("import_residents", tmp_path / "residents.csv", **told)

    assert (status, refused) == (
        2,
        "line 2 unit: “Attic” is not one of: Heron wing, Alder floor, Mill court. Choose one of them.\n",
    )


@pytest.mark.parametrize(
    ("name", "options", "sentence"),
    [
        ("residents.csv", {"username": "nobody", "building": "Arrowfen House"}, "Nobody signs in as “nobody”.\n"),
        ("residents.csv", {"building": "Brindlewharf"}, "There is no building “Brindlewharf” for you.\n"),
        ("nothing.csv", {"building": "Arrowfen House"}, "nothing.csv cannot be read: No such file or directory.\n"),
        (
            "calendars.ics",
            {"building": "Arrowfen House"},
            "Only .csv and .xlsx files can be read, not “.ics”. Save the table as one of the two.\n",
        ),
    ],
)
def test_what_cannot_be_done_is_said_in_a_sentence(coordinator, name, options, sentence):
    answer = run("import_residents", name, **({"username": coordinator.username} | options))

    assert (answer[0], answer[2]) == (2, sentence)


def test_only_an_administrator_starts_a_building(coordinator):
    answer = run("start_building", "building.xlsx", username=coordinator.username)

    assert (answer[0], answer[2][:33]) == (2, "You may not start a building here")
    assert Import.objects.filter(entered_by=coordinator).count() == 0
