"""The house keeps its shape: imports go one way, and the light parts stay light."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "grader"

#: Floors from the top down; a module imports only from its own room or a lower floor.
FLOORS = [
    ["cli"],
    ["starter", "train"],
    ["drawn"],
    ["__init__"],
    ["called", "said"],
    ["calling", "batch", "colours"],
    ["looks", "session"],
    ["report", "ledger"],
    ["cutting", "working"],
    ["grade"],
    ["grading"],
    ["face"],
    ["render", "photo"],
    ["settings"],
    ["profile"],
    ["measures", "weight"],
    ["made", "outfolder"],
    ["files"],
    ["errors"],
]
FLOOR = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}
#: Sideways, from left to right only: all other rooms of one floor do not know each other.
SIDEWAYS = {("starter", "train"), ("render", "photo")}


def modules():
    return sorted(PACKAGE.rglob("*.py"))


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path: Path) -> set[str]:
    """Every module that a file imports, wherever in it the import stands."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import"
            names.add(node.module)
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def rooms_of(names: set[str]) -> set[str]:
    """Rooms of the package among dotted names; what is no room comes through the front door."""
    parts = [name.split(".") for name in names]
    own = [p[1:] for p in parts if p[0] == "grader"]
    through_the_door = {"__init__" for p in own if p and p[0] not in FLOOR}
    return {p[0] for p in own if p and p[0] in FLOOR} | through_the_door


def rooms_imported(path: Path) -> set[str]:
    return rooms_of(imports(path))


def refused(own: str, others: set[str]) -> set[str]:
    """Rooms that ``own`` must not import: higher ones, and those beside it."""
    return {
        other
        for other in others - {own}
        if FLOOR[other] <= FLOOR[own]
        and not (FLOOR[other] == FLOOR[own] and (own, other) in SIDEWAYS)
    }


def test_every_module_lives_on_a_floor_and_every_room_is_there():
    assert {room(path) for path in modules()} == set(FLOOR)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path):
    wrong = refused(room(path), rooms_imported(path))
    assert wrong == set(), f"{path.name} imports from a higher floor, or from beside it"


def test_late_imports_sideways_ones_and_the_front_door_count(tmp_path):
    module = tmp_path / "cut.py"
    module.write_text(
        "def late():\n    from grader import grade_photo\n    import grader.render.style\n"
    )
    assert rooms_imported(module) == {"__init__", "render"}
    assert refused("photo", {"__init__", "render", "photo", "profile"}) == {"__init__", "render"}
    assert refused("render", {"photo"}) == set()
    assert refused("calling", {"looks", "ledger", "grade"}) == set()
    assert refused("batch", {"calling"}) == {"calling"}
    assert refused("ledger", {"grading", "looks", "report"}) == {"looks", "report"}


def test_public_names_lie_below_the_front_door():
    import grader

    homes = {f"{home}.{name}" for name, home in grader._PUBLIC.items()}
    assert refused("__init__", rooms_of(homes)) == set()


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_module_is_imported_by_a_name_in_a_string(path):
    if room(path) != "__init__":
        assert imports(path).isdisjoint({"importlib.import_module", "importlib.__import__"})


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_nothing_that_a_seller_runs_draws_stones(path):
    # The others are for those who build the tool.
    if room(path) not in ("render", "drawn", "train", "starter"):
        assert "render" not in rooms_imported(path)


def test_the_face_knows_no_file():
    for path in modules():
        if room(path) == "face":
            assert imports(path).isdisjoint(
                {"pathlib", "os", "io", "PIL", "sqlite3", "pathlib.Path"}
            ), path


def test_only_the_ledger_speaks_to_its_database():
    for path in modules():
        tops = {name.split(".")[0] for name in imports(path)}
        assert room(path) == "ledger" or tops.isdisjoint({"sqlite3", "sqlalchemy", "alembic"}), path


def loaded(*code: str) -> set[str]:
    """Top-level names of all modules that are loaded after this code ran in a fresh Python."""
    script = "\n".join(
        [*code, "import sys", "print(*{name.split('.')[0] for name in sys.modules})"]
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(run.stdout.splitlines()[-1].split())


HEAVY = {
    "cv2", "sklearn", "scipy", "skimage", "numpy", "PIL", "joblib", "jinja2", "sqlalchemy", "alembic",
}  # fmt: skip


def test_importing_the_package_loads_nothing_heavy():
    assert loaded("import grader").isdisjoint(HEAVY)


def commands() -> list[str]:
    from grader.cli.main import app

    return [command.name for command in app.registered_commands]


@pytest.mark.parametrize("command", [[], *([name] for name in commands())], ids=" ".join)
def test_help_loads_nothing_heavy(command):
    code = (
        "import sys",
        f"sys.argv = {['grader', *command, '--help']!r}",
        "from grader.cli.main import run",
        "try:\n    run()\nexcept SystemExit as done:\n    assert not done.code",
    )
    assert loaded(*code).isdisjoint(HEAVY)


SAMPLE = PACKAGE.parent / "sample_images" / "01_lake_over_shore.jpg"


def test_grading_a_photo_loads_neither_sklearn_nor_skimage_nor_scipy():
    code = "import grader", f"assert grader.grade_photo({str(SAMPLE)!r}).pieces"
    assert loaded(*code).isdisjoint({"sklearn", "skimage", "scipy", "sqlalchemy", "alembic"})


def test_a_look_with_a_ledger_that_is_there_loads_what_makes_one_no_more(tmp_path):
    from grader.ledger.store import open_ledger

    ledger = tmp_path / "ledger.sqlite"
    open_ledger(ledger).close()
    code = (
        "import sys",
        f"sys.argv = {['grader', 'check', str(SAMPLE), '--ledger', str(ledger)]!r}",
        "from grader.cli.main import run",
        "try:\n    run()\nexcept SystemExit as done:\n    assert not done.code",
    )
    there = loaded(*code)
    assert "sqlalchemy" in there
    assert there.isdisjoint({"alembic", "mako", "sklearn", "skimage", "scipy", "joblib", "jinja2"})


def test_every_public_name_can_be_resolved():
    import grader

    for name in grader.__all__:
        assert getattr(grader, name) is not None


def test_an_unknown_public_name_is_an_attribute_error():
    import grader

    with pytest.raises(AttributeError, match="has no attribute 'grade_foto'"):
        _ = grader.grade_foto
