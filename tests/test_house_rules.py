"""Habits of the house that no linter knows, read from the source."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from program.web.problem_types import PROBLEM_TYPES

TOP = Path(__file__).resolve().parents[1]
PACKAGES = ("program", "scheduling", "reports")
LONGEST_FILE, LONGEST_FUNCTION = 300, 40
VAGUE = {"utils", "util", "helpers", "helper", "common", "services", "service", "managers", "misc", "signals", "core"}
# Settings and facts are long for what they hold, not for what they do; migrations are written by a machine.
GENERATED = re.compile(r"/migrations/\d{4}_")
TEXTS = {".py", ".md", ".toml", ".txt", ".html", ".css", ".js", ".yml", ".yaml", ".sh", ".cfg", ".ini", ".json", ""}
# Spelled in pieces, so that this file does not name what it looks for.
MACHINE_PATHS = ("/" + "work/", "/" + "root/", "/" + "home/", "/" + "Users/")
REGISTRIES = ("pypi" + ".org", "python" + "hosted." + "org", "npmjs" + ".org", "jsdelivr." + "net", "unpkg." + "com")


@cache
def sources(*packages: str) -> list[tuple[str, ast.Module, str]]:
    """(path, tree, text) of every module of our own."""
    found = []
    for package in packages or PACKAGES:
        for path in sorted((TOP / package).rglob("*.py")):
            text = path.read_text()
            found.append((str(path.relative_to(TOP)), ast.parse(text), text))
    return found


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    return (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def dotted(node: ast.AST) -> str:
    """`program.models` of an attribute of names; empty for anything else."""
    if isinstance(node, ast.Attribute):
        return f"{dotted(node.value)}.{node.attr}"
    return node.id if isinstance(node, ast.Name) else ""


def test_files_are_short() -> None:
    long = {
        path: len(text.splitlines())
        for path, _, text in sources(*PACKAGES, "tests")
        if len(text.splitlines()) > LONGEST_FILE and not GENERATED.search(path)
    }

    assert long == {}


def test_functions_are_short() -> None:
    long = {
        f"{path}:{function.lineno} {function.name}": function.end_lineno - function.lineno + 1
        for path, tree, _ in sources()
        for function in functions(tree)
        if function.end_lineno - function.lineno + 1 > LONGEST_FUNCTION
    }

    assert long == {}


def test_no_import_hides_in_a_function() -> None:
    hidden = [
        f"{path}:{node.lineno}"
        for path, tree, _ in sources()
        for function in functions(tree)
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
    ]

    assert hidden == []


ROWS = ("objects", "_default_manager", "_base_manager")
# References of the API, in bodies and in filters, show what the person may see (program/web/fields.py, filtering.py).
ASKS_FOR_ITSELF = ("VisibleField", "VisibleFilter")


def unscoped(tree: ast.Module) -> Iterator[int]:
    """Lines on which rows are asked for without saying whose: `.objects` not followed by `visible_to`."""
    allowed: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in ("visible_to", "none"):
            allowed.add(id(node.value))
        if isinstance(node, ast.Call) and dotted(node.func) in ASKS_FOR_ITSELF:
            allowed |= {id(value) for value in [*node.args, *(keyword.value for keyword in node.keywords)]}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in ROWS and id(node) not in allowed:
            yield node.lineno


# All of reports but what opens the scope of a building itself, and the querysets that say whose.
DOORS = re.compile(r"/(api|pages)/|^reports/(?!(actions|models|queries|tasks)\.py|management/)")
# Where the row has no building: people are found through roles that are visible (program/web/colleagues.py).
NOT_OF_A_BUILDING = re.compile(r"\b(User|Role)\.objects")


@pytest.mark.parametrize("package", PACKAGES)
def test_every_door_says_whose_rows_it_asks_for(package: str) -> None:
    doors = [one for one in sources(package) if DOORS.search(one[0])]
    found = [
        f"{path}:{line} {text.splitlines()[line - 1].strip()}"
        for path, tree, text in doors
        for line in unscoped(tree)
        if not NOT_OF_A_BUILDING.search(text.splitlines()[line - 1])
    ]

    assert found == []


def test_the_look_for_unscoped_rows_finds_one() -> None:
    """The control: three ways to ask, one of them without saying whose."""
    tree = ast.parse(
        "Session.objects.visible_to(user).first()\n"
        "VisibleField(queryset=Session.objects)\n"
        "Session.objects.filter(pk=1)\n"
    )

    assert list(unscoped(tree)) == [3]


CLOCKS = {"timezone.now", "datetime.now", "datetime.utcnow", "datetime.today", "date.today", "time.time"}


def test_there_is_one_clock() -> None:
    asked = [
        f"{path}:{node.lineno}"
        for path, tree, _ in sources()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and ".".join(dotted(node.func).split(".")[-2:]) in CLOCKS
        and path != "program/clock.py"
    ]
    by_themselves = [path for path, _, text in sources() if re.search(r"auto_now|db_default=Now", text)]

    assert (asked, by_themselves) == ([], [])


def test_nothing_happens_by_signal_and_no_trigger_is_declared_by_a_library() -> None:
    magic = re.compile(r"^(from|import) .*(django\.dispatch|\.signals|pgtrigger|pghistory)|@receiver", re.M)

    assert [path for path, _, text in sources() if magic.search(text)] == []


def test_rooms_are_named_for_what_is_in_them() -> None:
    assert [path for path, _, _ in sources(*PACKAGES, "tests") if VAGUE & set(Path(path).with_suffix("").parts)] == []


def test_every_room_says_in_one_line_what_it_is_for() -> None:
    silent = [
        path
        for path, tree, text in sources()
        if text.strip() and not GENERATED.search(path) and not (ast.get_docstring(tree) or "").split("\n")[0]
    ]

    assert silent == []


def rooms() -> set[str]:
    """The modules and folders directly in a package, as the map for contributors writes them."""
    found = set()
    for package in PACKAGES:
        for path in (TOP / package).iterdir():
            if path.is_dir() and not path.name.startswith((".", "__")) and any(path.rglob("*.*")):
                found.add(f"{package}/{path.name}/")
            elif path.suffix == ".py" and path.name not in ("__init__.py", "urls.py"):
                found.add(f"{package}/{path.name}")
    return found


def test_the_map_for_contributors_names_every_room() -> None:
    told = (TOP / "DEVELOPERS.md").read_text()
    missing = {room for room in rooms() if room not in told and not room.startswith("reports/")}

    assert missing == set()


def environment_variables() -> set[str]:
    """Each name that the settings ask the environment for."""
    names = set()
    for path, tree, _ in sources():
        for node in ast.walk(tree):
            is_asked = isinstance(node, ast.Call) and re.fullmatch(
                r"env\.(text|flag|number|words|database)", dotted(node.func)
            )
            if is_asked and path.startswith("program/config/"):
                names.add(node.args[0].value)
    return names


def test_the_map_for_contributors_names_every_environment_variable() -> None:
    told = (TOP / "DEVELOPERS.md").read_text()

    assert len(environment_variables()) >= 15
    assert {name for name in environment_variables() if name not in told} == set()


def kept_files() -> Iterator[Path]:
    left_out = {".git", ".venv", ".local", "__pycache__", "node_modules"}
    for path in sorted(TOP.rglob("*")):
        inside = path.relative_to(TOP).parts
        is_cache = any(part in left_out or part.endswith("_cache") or part == ".hypothesis" for part in inside)
        if path.is_file() and path.suffix in TEXTS and not is_cache:
            yield path


@pytest.mark.parametrize("words", [MACHINE_PATHS, REGISTRIES], ids=["a machine's paths", "registries"])
def test_no_file_names_where_it_was_made(words: tuple[str, ...]) -> None:
    found = [
        f"{path.relative_to(TOP)}: {word}"
        for path in kept_files()
        for word in words
        if re.search(rf"(?<![\w.]){re.escape(word)}", path.read_text(errors="replace"))
    ]

    assert found == []


def problem_types_used() -> set[str]:
    """What is written as `problem=` of a refusal, or as the first word of a Problem."""
    used = set()
    for _, tree, _ in sources():
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            named = [keyword.value for keyword in node.keywords if keyword.arg == "problem"]
            first = node.args[:1] if dotted(node.func) == "Problem" else []
            used |= {value.value for value in named + first if isinstance(value, ast.Constant)}
    return used


def test_every_type_of_refusal_is_in_the_table_of_types() -> None:
    assert len(problem_types_used()) >= 15
    assert problem_types_used() - set(PROBLEM_TYPES) == set()
