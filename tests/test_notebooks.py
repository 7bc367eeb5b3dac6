"""Every notebook runs from top to bottom with the public API as it stands."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


def test_there_is_a_notebook():
    assert NOTEBOOKS


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_runs(path):
    notebook = nbformat.read(path, as_version=4)
    place = {"metadata": {"path": str(path.parent)}}
    NotebookClient(notebook, timeout=120, kernel_name="python3", resources=place).execute()
    shown = [
        kind
        for cell in notebook.cells
        if cell.cell_type == "code"
        for output in cell.outputs
        for kind in output.get("data", {})
    ]
    assert any(kind.startswith("image/") for kind in shown)
