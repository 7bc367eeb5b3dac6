"""How long a whole check takes, in units of a plain decoding of the same file, one thread."""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import yardstick
from figures import Row
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from grader import grade_photo
from grader.grading.model import load_model
from grader.profile import load_profile

PHOTO_SIZE = (4000, 3000)
ROUNDS = 5
FLOOR = "≤ 8 R"


def twelve_megapixels(rgb: NDArray[np.uint8], rng: np.random.Generator) -> bytes:
    """Return a 12-megapixel JPEG of an enlarged picture; grain makes it pack as photos do."""
    large = cv2.resize(rgb, PHOTO_SIZE, interpolation=cv2.INTER_CUBIC)[..., ::-1]
    grain = rng.normal(0, 2.5, large.shape).astype(np.float32)
    noisy = np.clip(large + grain, 0, 255).astype(np.uint8)
    return cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()


def speed_row(rgb: NDArray[np.uint8], rng: np.random.Generator) -> Row:
    """Return the row: median of a few rounds in which unit, check and yardstick take turns.

    R is what ``decoded_to_lab`` takes.
    """
    cv2.setNumThreads(1)
    threadpool_limits(1)
    data = np.frombuffer(twelve_megapixels(rgb, rng), np.uint8)
    profile, model = load_profile(), load_model()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.jpg"
        path.write_bytes(data.tobytes())
        ways = [
            lambda: decoded_to_lab(data),
            lambda: grade_photo(path, profile=profile, model=model),
            lambda: yardstick.grade(np.ascontiguousarray(_decoded(data)[..., ::-1])),
        ]
        for way in ways:
            way()
        seconds = np.array([[seconds_of(way) for way in ways] for _ in range(ROUNDS)])
    unit, ours, naive = np.median(seconds, axis=0)
    by_round = seconds[:, 1] / seconds[:, 0]
    return Row(
        "whole check of 12 megapixels, R",
        "one enlarged render, one thread",
        f"{ROUNDS} rounds",
        f"{ours / unit:.1f} (R = {unit:.2f} s)",
        f"{by_round.min():.1f} to {by_round.max():.1f} (all rounds)",
        FLOOR,
        f"{naive / unit:.1f}",
    )


def decoded_to_lab(data: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return a file's picture as Lab: ``cv2.imdecode`` at full size and ``cv2.cvtColor`` of it as float32.

    What this takes for 12 megapixels is R, the unit of times in the table.
    """
    return cv2.cvtColor(_decoded(data).astype(np.float32) / 255, cv2.COLOR_BGR2LAB)


def _decoded(data: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return cv2.imdecode(data, cv2.IMREAD_COLOR)


def seconds_of(way: Callable[[], object]) -> float:
    """Return how long one call takes, on the clock."""
    start = time.perf_counter()
    way()
    return time.perf_counter() - start
