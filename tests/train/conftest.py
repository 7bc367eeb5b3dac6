"""Examples of two rendered photos, drawn once for all tests of training."""

import pytest

from grader.render import TRAINING
from grader.train.examples import draw_examples

SEED, PHOTOS = 5, 2


@pytest.fixture(scope="session")
def drawn(tmp_path_factory):
    folder = tmp_path_factory.mktemp("examples")
    draw_examples(folder, SEED, PHOTOS, TRAINING, jobs=1)
    return folder
