"""Weights are taken only as they were made."""

import shutil
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from grader.errors import ModelError
from grader.photo import net


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for name in ("glare", "regions"):
        for suffix in ("onnx", "training.json"):
            shutil.copy(net.starter_folder() / f"{name}.{suffix}", tmp_path)
    monkeypatch.setattr(net, "starter_folder", lambda: tmp_path)
    net._load.cache_clear()
    yield tmp_path
    net._load.cache_clear()


def _spoilt(folder, how):
    weights, card = folder / "glare.onnx", folder / "glare.training.json"
    if how == "one bit":
        data = bytearray(weights.read_bytes())
        data[len(data) // 2] ^= 1
        weights.write_bytes(data)
    elif how == "of another name":
        shutil.copy(folder / "regions.onnx", weights)
    elif how == "gone":
        weights.unlink()
    elif how == "card gone":
        card.unlink()
    elif how == "card a list":
        card.write_text("[]")
    elif how == "card garbled":
        card.write_bytes(b"\xff{")


@pytest.mark.parametrize(
    "how", ["one bit", "of another name", "gone", "card gone", "card a list", "card garbled"]
)
def test_weights_other_than_those_that_were_made_are_refused(folder, how):
    _spoilt(folder, how)
    with pytest.raises(ModelError, match="missing or damaged; install the tool again") as err:
        net.run_net("glare", np.zeros((32, 32, 4), np.float32))
    assert "\n" not in str(err.value)


def test_every_network_that_ships_fits_its_card():
    for name in ("pieces", "glare", "regions", "cracks"):
        net._load.cache_clear()
        assert net._load(name) is not None


def test_threads_at_one_network_get_what_each_ones_picture_shows():
    rng = np.random.default_rng(0)
    pictures = [rng.random((side, 64, 4), np.float32) for side in (64, 96, 128, 160)]
    alone = [net.run_net("glare", picture) for picture in pictures]
    with ThreadPoolExecutor(4) as threads:
        together = list(threads.map(lambda picture: net.run_net("glare", picture), pictures * 8))
    for said, expected in zip(together, alone * 8, strict=True):
        np.testing.assert_array_equal(said, expected)
