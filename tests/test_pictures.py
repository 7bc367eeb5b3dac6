"""The kept pictures are what the commands and pages draw today."""

import importlib.util
import os
from pathlib import Path

import cv2
import numpy as np
import pytest

PICTURES = Path(__file__).parent / "pictures"
_spec = importlib.util.spec_from_file_location("draw", PICTURES / "draw.py")
draw = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(draw)
#: Other builds of the libraries round otherwise, and a listing tells its day: so much, of 255, may a picture of 200 px
#: differ, on average and where it differs most but for one px in a hundred.
MEAN, MOST = 2.0, 40
#: Drawn by a browser, which may be missing.
IN_BROWSER = ("second_look", "sheet_card")


def small(picture):
    return cv2.resize(picture, (200, 150), interpolation=cv2.INTER_AREA).astype(int)


@pytest.mark.slow
@pytest.mark.parametrize("name", [*draw.COMMANDS, *draw.PAGES])
def test_a_picture_is_drawn_as_it_is_kept(name, tmp_path):
    if name in IN_BROWSER:
        pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
        if not os.path.exists(draw.CHROMIUM):
            pytest.skip("chromium is not installed; the page is not drawn")
    kept = cv2.imread(str(PICTURES / f"{name}.jpg"))
    now = draw.drawn(name, tmp_path)
    assert now.shape[1] == pytest.approx(kept.shape[1], abs=3)
    assert now.shape[0] == pytest.approx(kept.shape[0], rel=0.02)
    off = np.abs(small(now) - small(kept))
    assert off.mean() <= MEAN and np.quantile(off, 0.99) <= MOST


def test_a_picture_of_another_stone_is_seen():
    # The tolerance is no barn door.
    first, other = (
        small(cv2.imread(str(PICTURES / f"{name}.jpg"))) for name in ("check", "cutplan")
    )
    assert np.abs(first - other).mean() > 5 * MEAN


def test_every_picture_of_the_readme_is_kept_and_stands_there():
    readme = (PICTURES.parents[1] / "README.md").read_text("utf-8")
    for name in [*draw.COMMANDS, *draw.PAGES]:
        assert (PICTURES / f"{name}.jpg").stat().st_size < 200_000
    for name in draw.COMMANDS:
        assert f"tests/pictures/{name}.jpg" in readme
