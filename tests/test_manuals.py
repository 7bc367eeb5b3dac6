"""What the manuals say of the code is so: floors, names, links, and the numbers that README quotes."""

import ast
import re
from pathlib import Path

import pytest
import tables

HOUSE = Path(__file__).parents[1]
GUIDE = (HOUSE / "DEVELOPERS.md").read_text("utf-8")
BENCHMARKS = HOUSE / "tests" / "benchmarks"
PAGES = [
    *(HOUSE / name for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md")),
    HOUSE / "grader" / "report" / "measures.md",
    *(BENCHMARKS / name for name in ("README.md", "FIGURES.md")),
    *sorted((BENCHMARKS / "figures").glob("*.md")),
    *sorted((BENCHMARKS / "notes").glob("*.md")),
]


def contract(name: str):
    """A table of the contract's test, read without running it."""
    tree = ast.parse((HOUSE / "tests" / "test_contract.py").read_text("utf-8"))
    return next(
        ast.literal_eval(node.value)
        for node in tree.body
        if isinstance(node, ast.Assign) and node.targets[0].id == name
    )


def test_the_guides_floors_are_those_of_the_contract():
    rows = re.findall(r"^\| (\d+) \| (.*) \|$", GUIDE, re.MULTILINE)
    listed = [set(re.findall(r"`(\w+)`", rooms)) for _, rooms in rows]
    floors = contract("FLOORS")
    table = "\n".join(
        f"| {n} | {', '.join(f'`{room}`' for room in rooms)} |"
        for n, rooms in enumerate(floors, start=1)
    )
    assert listed == [set(rooms) for rooms in floors], f"DEVELOPERS.md must hold\n{table}"
    assert [int(n) for n, _ in rows] == list(range(1, len(floors) + 1))


def test_the_guide_names_what_may_be_imported_sideways():
    assert set(re.findall(r"`(\w+)` → `(\w+)`", GUIDE)) == contract("SIDEWAYS")


def where(path: str) -> Path:
    """A path as the guide writes it: from the top, or from inside the package."""
    return HOUSE / path if (HOUSE / path).exists() else HOUSE / "grader" / path


@pytest.mark.parametrize("path", sorted(set(re.findall(r"`([\w/.]+\.(?:py|toml))`", GUIDE))))
def test_a_file_that_the_guide_names_is_there(path):
    # The seller's own settings lie wherever he works.
    assert where(path).is_file() or path == "grader.toml"


def names_in(path: Path) -> set[str]:
    """What a module holds at its top level."""
    names = set()
    for node in ast.parse(path.read_text("utf-8")).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names |= {target.id for target in targets if isinstance(target, ast.Name)}
    return names


@pytest.mark.parametrize(
    ("path", "name"), sorted(set(re.findall(r"`([\w/]+\.py)` `(\w+)`", GUIDE)))
)
def test_a_name_that_the_guide_gives_with_its_file_is_in_it(path, name):
    assert name in names_in(where(path))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(HOUSE)))
def test_links_of_a_page_lead_somewhere(page):
    links = re.findall(r"\]\(([^)#]+)[^)]*\)", page.read_text("utf-8"))
    assert [ln for ln in links if "://" not in ln and not (page.parent / ln).exists()] == []


def test_every_note_says_question_choice_date_seed_and_command():
    for note in (BENCHMARKS / "notes").iterdir():
        text = note.read_text("utf-8")
        assert re.fullmatch(r"\d{3}-[a-z0-9-]+\.md", note.name)
        assert text.startswith(f"# {note.name[:3]} ")
        for part in (
            "\n- date: ",
            "\n- seed: ",
            "\n- command: ",
            "\n## Question\n",
            "\n## Choice\n",
        ):
            assert part in text, f"{note.name} lacks {part.strip()!r}"


#: Area, figure, start of what it was measured on, and how README says its number.
QUOTED = (
    ("regions", "share error, points", "photographs", lambda v: f"off by {v:.0f} points"),
    ("lines", "cracks alone, recall at 5 px", "photographs of cracked surfaces, 768",
     lambda v: f"finds {100 * v:.0f} % of the length"),
    ("lines", "cracks alone, precision at 5 px", "photographs of cracked surfaces, 768",
     lambda v: f"{100 * v:.0f} % of what is called a crack"),
    ("lines", "cracks alone, recall at 5 px", "held-out",
     lambda v: f"misses {100 * (1 - v):.0f} % of the crack length"),
    ("state", "wet and dry photo of a stone both told right, share", "held-out",
     lambda v: f"for {100 * v:.0f} % of pairs"),
    ("regions", "stones invented or missed, in 100 stones", "held-out",
     lambda v: f"{v:.0f} are missed, or invented"),
)  # fmt: skip


@pytest.mark.parametrize(("area", "figure", "measured_on", "words"), QUOTED)
def test_a_number_in_the_readmes_limits_is_that_of_the_figures(area, figure, measured_on, words):
    row = tables.headline(tables.read(tables.FOLDER / f"{area}.md"), figure, measured_on)
    limits = (
        (HOUSE / "README.md").read_text("utf-8").partition("## Limits")[2].partition("\n## ")[0]
    )
    assert words(float(row.ours)) in " ".join(limits.split())
