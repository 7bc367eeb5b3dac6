"""Every notebook runs from top to bottom with the public API as it stands, and prints what is kept in it.

After a change: ``jupyter execute --inplace notebooks/NAME.ipynb``, and look at its pictures.
"""

import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))
#: Libraries of other builds round otherwise: so far may a printed number lie off, of itself or by itself.
SHARE, STEP = 0.05, 1.01
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def test_there_is_a_notebook():
    assert NOTEBOOKS


def printed(notebook) -> list[str]:
    """What each cell prints; it may come in one piece or in several."""
    return [
        "".join(
            output["text"]
            for output in cell.outputs
            if output["output_type"] == "stream" and output["name"] == "stdout"
        )
        for cell in notebook.cells
        if cell.cell_type == "code"
    ]


def alike(kept: str, now: str) -> bool:
    """Whether two texts say the same in the same words, their numbers nearly so."""
    numbers = [[float(n) for n in _NUMBER.findall(text)] for text in (kept, now)]
    return _NUMBER.sub("#", kept) == _NUMBER.sub("#", now) and all(
        abs(a - b) <= max(SHARE * a, STEP if a == int(a) else 0.02)
        for a, b in zip(*numbers, strict=True)
    )


@pytest.mark.parametrize(
    ("now", "answer"),
    [("blue 43% of 12 stones", True), ("blue 44% of 12 stones", True), ("blue 63% of 12 stones", False),
     ("white 43% of 12 stones", False)],
)  # fmt: skip
def test_texts_are_alike_whose_words_are_the_same_and_whose_numbers_lie_near(now, answer):
    assert alike("blue 43% of 12 stones", now) is answer


#: The first one stands for all in the usual run; the others take a minute each.
SLOWLY = [
    pytest.param(path, marks=() if path.stem == "one_stone" else pytest.mark.slow, id=path.stem)
    for path in NOTEBOOKS
]


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("path", SLOWLY)
def test_a_notebook_runs_and_prints_what_is_kept(path):
    kept = nbformat.read(path, as_version=4)
    notebook = nbformat.read(path, as_version=4)
    place = {"metadata": {"path": str(path.parent)}}
    NotebookClient(notebook, timeout=300, kernel_name="python3", resources=place).execute()
    for old, new in zip(printed(kept), printed(notebook), strict=True):
        assert alike(old, new), f"kept:\n{old}now:\n{new}"
    shown = [
        kind
        for cell in notebook.cells
        if cell.cell_type == "code"
        for output in cell.outputs
        for kind in output.get("data", {})
    ]
    assert any(kind.startswith("image/") for kind in shown)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_cells_are_short(path):
    cells = nbformat.read(path, as_version=4).cells
    assert max(len(cell.source.splitlines()) for cell in cells) <= 20
