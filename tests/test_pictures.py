"""The pictures of README are what the commands draw today."""

import importlib.util
from pathlib import Path

import cv2
import numpy as np
import pytest

PICTURES = Path(__file__).parent / "pictures"
_spec = importlib.util.spec_from_file_location("draw", PICTURES / "draw.py")
draw = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(draw)
#: Other builds of the libraries round otherwise: so much, of 255, may a picture of 200 px differ, on average and where
#: it differs most but for one px in a hundred.
MEAN, MOST = 2.0, 40


def small(picture):
    return cv2.resize(picture, (200, 150), interpolation=cv2.INTER_AREA).astype(int)


@pytest.mark.slow
@pytest.mark.parametrize("name", draw.COMMANDS)
def test_a_picture_of_the_readme_is_drawn_as_it_is_kept(name, tmp_path):
    kept = cv2.imread(str(PICTURES / f"{name}.jpg"))
    off = np.abs(small(draw.drawn(name, tmp_path)) - small(kept))
    assert off.mean() <= MEAN and np.quantile(off, 0.99) <= MOST


def test_every_picture_is_kept_and_stands_in_the_readme():
    readme = (PICTURES.parents[1] / "README.md").read_text("utf-8")
    for name in draw.COMMANDS:
        assert (PICTURES / f"{name}.jpg").stat().st_size < 200_000
        assert f"tests/pictures/{name}.jpg" in readme
