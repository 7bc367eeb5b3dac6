"""The house keeps its shape: imports go one way, and the light parts stay light."""

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import cv2
import pytest

PACKAGE = Path(__file__).parents[1] / "grader"

#: Floors from the top down; a module imports only from its own room or a lower floor.
FLOORS = [
    ["cli"],
    ["table"],
    ["starter", "train"],
    ["drawn"],
    ["__init__"],
    ["asking", "resorting", "comparing", "retraining", "demo"],
    ["called", "opinions", "patching", "piece_calls"],
    ["calling", "batch", "colours", "checking", "deals"],
    ["downloads", "looking", "pieces", "nearest"],
    ["workers"],
    ["looks", "session"],
    ["report"],
    ["ledger"],
    ["trade"],
    ["cutting", "working"],
    ["grade"],
    ["further"],
    ["grading"],
    ["face"],
    ["render", "photo"],
    ["settings", "spots"],
    ["profile"],
    ["measures", "weight", "checks"],
    ["made", "outfolder"],
    ["files"],
    ["errors"],
]
FLOOR = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}
#: Sideways, from left to right only: all other rooms of one floor do not know each other.
SIDEWAYS = {("starter", "train"), ("render", "photo")}


@cache
def modules():
    return sorted(PACKAGE.rglob("*.py"))


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


@cache
def imports(path: Path) -> frozenset[str]:
    """Every module that a file imports, wherever in it the import stands."""
    names = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import"
            names.add(node.module)
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return frozenset(names)


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
    # The table of commands names modules of its own room alone.
    if room(path) != "__init__" and path.relative_to(PACKAGE) != Path("cli/commands.py"):
        assert imports(path).isdisjoint({"importlib.import_module", "importlib.__import__"})


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_nothing_that_a_seller_runs_draws_stones(path):
    # The others are for those who build the tool, but for one: ``grader demo`` makes an invented season.
    if room(path) not in ("render", "drawn", "train", "starter", "demo"):
        assert "render" not in rooms_imported(path)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_only_its_own_command_makes_the_invented_season(path):
    if room(path) != "demo" and path.relative_to(PACKAGE) != Path("cli/demo.py"):
        assert "demo" not in rooms_imported(path) - {"cli"}


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


#: The core: it gives back data, which ``report`` tells in sentences.
CORE = ("photo", "face", "grading", "further", "grade", "ledger")
#: So many words in one text are a sentence; shorter ones are names, units and codes.
SENTENCE_WORDS = 5
#: Where the core writes sentences all the same, and why.
SENTENCES = {
    "photo": "remarks, each with its code: it is made where the fact is known, with what to do about it",
    "further.py": "remarks on further photos, each with its code",
    "grading/calls": "remarks on rows of a table, beside the row that they speak of",
    "grading/features/features.py": "what each feature is, beside its declaration; cards of models print it",
    "grading/learning/called_faces.py": "remarks on calls that cannot be used",
    "grading/models/model_files.py": "errors of a folder that holds no sound model",
    "ledger/place.py": "remarks on where a ledger lies",
    "ledger/store.py": "errors of a database, by what it says itself",
    "ledger/columns.py": "comments of columns, kept in the database",
    "ledger/schema.py": "comments of tables and columns, kept in the database",
    "ledger/deed_tables.py": "the same",
    "ledger/migrations": "comments of tables and columns, kept in the database",
}


def sentences(tree: ast.AST) -> list[str]:
    """Texts of so many words, outside docstrings, errors, and remarks, which hold their code beside the text."""
    found = []
    for node in ast.iter_child_nodes(tree):
        remark = isinstance(node, ast.Call) and getattr(node.func, "id", "") in (
            "Remark",
            "RowRemark",
        )
        docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        if isinstance(node, ast.Raise) or remark or docstring:
            continue
        text = written(node)
        if text is None:
            found += sentences(node)
        elif (
            len([word for word in text.split() if word.strip(".,:;()").isalpha()]) >= SENTENCE_WORDS
        ):
            found.append(text)
    return found


def written(node: ast.AST) -> str | None:
    """The text of a string, what is filled in left out; ``None`` of what is none."""
    if isinstance(node, ast.JoinedStr):
        return " ".join(part.value for part in node.values if isinstance(part, ast.Constant))
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


@cache
def writers() -> frozenset[str]:
    """Modules of the core that write sentences, by their path in the package."""
    return frozenset(
        str(path.relative_to(PACKAGE))
        for path in modules()
        if room(path) in CORE and sentences(tree_of(path))
    )


def test_the_core_writes_no_sentences_but_where_it_says_why():
    excused = {path for path in writers() if any(path.startswith(where) for where in SENTENCES)}
    assert writers() - excused == set(), "let report write it, or say here why not"
    # An excuse that nobody needs any more goes.
    assert all(any(path.startswith(where) for path in excused) for where in SENTENCES)


def test_a_sentence_is_seen_wherever_it_hides():
    code = """
def tell(name):
    \"\"\"This is no more than a docstring of many words.\"\"\"
    if name:
        raise ValueError("that is an error with many words")
    remark = Remark("code", f"{name}: look at this stone once more")
    return {"select": "a stone that is good enough to cut"}, f"{name} lies at the lower left corner"
"""
    assert sentences(ast.parse(code)) == [
        "a stone that is good enough to cut", " lies at the lower left corner"
    ]  # fmt: skip


#: A function of a command that branches more often holds a rule, which belongs below.
MOST_BRANCHES = 14


def branches(function: ast.AST) -> int:
    """In how many places a function takes one way or another."""
    forks = (ast.If, ast.IfExp, ast.For, ast.While, ast.ExceptHandler, ast.comprehension)
    nodes = list(ast.walk(function))
    joined = sum(len(node.values) - 1 for node in nodes if isinstance(node, ast.BoolOp))
    return sum(isinstance(node, forks) for node in nodes) + joined


def commands_files() -> list[Path]:
    return [path for path in modules() if room(path) == "cli"]


@pytest.mark.parametrize("path", commands_files(), ids=lambda path: path.name)
def test_a_command_holds_no_rule(path):
    """It counts no arrays, adds nothing to a ledger itself, and none of its functions is a maze."""
    tree = tree_of(path)
    assert {name.split(".")[0] for name in imports(path)}.isdisjoint({"numpy", "cv2"})
    calls = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    written = [
        ast.unparse(call)
        for call in calls
        if isinstance(call, ast.Attribute)
        and call.attr in ("add", "take")
        and ast.unparse(call.value).split(".")[-1] == "ledger"
    ]
    assert written == []
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    assert {f.name: branches(f) for f in functions if branches(f) > MOST_BRANCHES} == {}


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
    from grader.cli.commands import COMMANDS

    return [*COMMANDS]


def test_help_loads_nothing_heavy():
    """Of any command: all in one Python, which starts once; what the first ones load would be seen."""
    code = (
        "import sys",
        "from grader.cli.main import run",
        f"for command in {[[], *([name] for name in commands())]!r}:",
        "    sys.argv = ['grader', *command, '--help']",
        "    try:\n        run()\n    except SystemExit as done:\n        assert not done.code, command",
        f"    heavy = {sorted(HEAVY)!r}",
        "    assert not {name.split('.')[0] for name in sys.modules}.intersection(heavy), command",
    )
    assert loaded(*code).isdisjoint(HEAVY)


SAMPLE = PACKAGE.parent / "sample_images" / "01_lake_over_shore.jpg"


@pytest.fixture(scope="module")
def photo(tmp_path_factory) -> Path:
    """A sample at a quarter of its size: what is loaded does not hang on it."""
    path = tmp_path_factory.mktemp("photo") / "lake.png"
    cv2.imwrite(str(path), cv2.resize(cv2.imread(str(SAMPLE)), None, fx=0.25, fy=0.25))
    return path


@pytest.mark.slow
def test_grading_a_photo_loads_neither_sklearn_nor_skimage_nor_scipy(photo):
    code = "import grader", f"assert grader.grade_photo({str(photo)!r}).pieces"
    assert loaded(*code).isdisjoint({"sklearn", "skimage", "scipy", "sqlalchemy", "alembic"})


@pytest.mark.slow
def test_a_look_with_a_ledger_that_is_there_loads_what_makes_one_no_more(photo, tmp_path):
    from grader.ledger.store import open_ledger

    ledger = tmp_path / "ledger.sqlite"
    open_ledger(ledger).close()
    code = (
        "import sys",
        f"sys.argv = {['grader', 'check', str(photo), '--ledger', str(ledger)]!r}",
        "from grader.cli.main import run",
        "try:\n    run()\nexcept SystemExit as done:\n    assert not done.code",
    )
    modules_loaded = loaded(*code)
    assert "sqlalchemy" in modules_loaded
    assert modules_loaded.isdisjoint(
        {"alembic", "mako", "sklearn", "skimage", "scipy", "joblib", "jinja2"}
    )


@pytest.mark.slow
def test_the_sale_waits_for_no_picture(tmp_path):
    """Ten thousand pieces are to be listed, weighed and sold within a second: OpenCV alone takes a good part of one."""
    ledger = tmp_path / "ledger.sqlite"
    (tmp_path / "grader.toml").write_text('currency = "USD"')
    code = (
        "import os, sys",
        f"os.chdir({str(tmp_path)!r})",
        "from grader.cli.main import run",
        f"commands = {SALE!r}",
        "for command in commands:",
        f"    sys.argv = ['grader', *command, '--ledger', {str(ledger)!r}]",
        "    try:\n        run()\n    except SystemExit as done:\n        assert not done.code, command",
    )
    assert loaded(*code).isdisjoint({"cv2", "PIL", "sklearn", "scipy", "skimage", "joblib"})


#: As a seller types them, one after the other.
SALE = [
    ["haul", "new", "07", "--raw", "2kg"], ["weigh", "07-001", "1lb", "--new"], ["haul", "list", "07"],
    ["sell", "07-001", "--for", "38"], ["history", "07-001"], ["undo"], ["haul", "list", "07", "--json"],
]  # fmt: skip


def test_every_public_name_can_be_resolved():
    import grader

    for name in grader.__all__:
        assert getattr(grader, name) is not None


def test_an_unknown_public_name_is_an_attribute_error():
    import grader

    with pytest.raises(AttributeError, match="has no attribute 'grade_foto'"):
        _ = grader.grade_foto
