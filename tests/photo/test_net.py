"""Weights are taken only as they were made."""

import shutil

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
