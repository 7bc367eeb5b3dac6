"""The house keeps its shape: imports go one way, and the light parts stay light."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "grader"

#: Floors from the top down; a module imports only from its own floor or a lower one.
FLOORS = [
    ["cli", "table"],
    ["starter", "train"],
    ["drawn"],
    ["__init__"],
    ["batch", "calling"],
    ["report"],
    ["trade"],
    ["ledger"],
    ["grade"],
    ["grading"],
    ["face"],
    ["photo", "render"],
    ["settings"],
    ["profile"],
    ["measures"],
    ["files"],
    ["errors"],
]
FLOOR = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}
#: Rooms that share a floor and still do not know each other.
APART = {("photo", "render")}


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


def rooms_imported(path: Path) -> set[str]:
    parts = [name.split(".") for name in imports(path)]
    return {p[1] for p in parts if p[0] == "grader" and len(p) > 1 and p[1] in FLOOR}


def test_every_module_lives_on_a_floor():
    assert [str(path) for path in modules() if room(path) not in FLOOR] == []


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path):
    own = room(path)
    upwards = {other for other in rooms_imported(path) if FLOOR[other] < FLOOR[own]}
    assert upwards == set(), f"{path.name} imports from a higher floor"


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_nothing_that_a_seller_runs_draws_stones(path):
    if room(path) in ("photo", "face", "grading", "grade", "report", "batch", "calling", "cli"):
        assert "render" not in rooms_imported(path)


def test_the_face_knows_no_file():
    for path in modules():
        if room(path) == "face":
            assert imports(path).isdisjoint(
                {"pathlib", "os", "io", "PIL", "sqlite3", "pathlib.Path"}
            ), path


def loaded(*code: str) -> set[str]:
    """Top-level names of all modules that are loaded after this code ran in a fresh Python."""
    script = "\n".join(
        [*code, "import sys", "print(*{name.split('.')[0] for name in sys.modules})"]
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(run.stdout.splitlines()[-1].split())


HEAVY = {"cv2", "sklearn", "scipy", "skimage", "numpy", "PIL", "joblib", "jinja2"}


def test_importing_the_package_loads_nothing_heavy():
    assert loaded("import grader").isdisjoint(HEAVY)


@pytest.mark.parametrize("command", [[], ["check"], ["batch"], ["call"], ["retrain"]])
def test_help_loads_nothing_heavy(command):
    code = (
        "import sys",
        f"sys.argv = {['grader', *command, '--help']!r}",
        "from grader.cli.main import run",
        "try:\n    run()\nexcept SystemExit as done:\n    assert not done.code",
    )
    assert loaded(*code).isdisjoint(HEAVY)


def test_grading_a_photo_loads_neither_sklearn_nor_skimage_nor_scipy():
    assert loaded("import grader", "grader.grade_photo").isdisjoint({"sklearn", "skimage", "scipy"})


def test_every_public_name_can_be_resolved():
    import grader

    for name in grader.__all__:
        assert getattr(grader, name) is not None


def test_an_unknown_public_name_is_an_attribute_error():
    import grader

    with pytest.raises(AttributeError, match="has no attribute 'grade_foto'"):
        _ = grader.grade_foto
