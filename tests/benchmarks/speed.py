"""How long a whole check takes, in units of a plain decoding of the same file, one thread; and how long it takes to
learn from calls, and to propose, where the stones are measured already.

    python tests/benchmarks/speed.py

prints the rows of stones that are measured already, and writes nothing.
"""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import yardstick
from numpy.typing import NDArray
from tables import Row, as_table
from threadpoolctl import threadpool_limits

from grader import grade_photo
from grader.face.measurements import (
    Banding,
    Line,
    Measurements,
    RegionColour,
    Regions,
    Scene,
    Share,
)
from grader.grading.features.facts import StoneFacts, stone_facts
from grader.grading.learning.retrain import retrain
from grader.grading.models.model import Model
from grader.grading.models.model_files import load_model
from grader.grading.proposal import Call
from grader.grading.propose import propose, scene_estimate
from grader.profile import SCENE_PARTS, Profile, load_profile

PHOTO_SIZE = (4000, 3000)
ROUNDS = 5
FLOOR = "≤ 8 R"
CALLED, KNOWN = 200, 300


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


def known_rows(rng: np.random.Generator) -> list[Row]:
    """Return the rows of stones that are measured already: retraining on calls, and proposals. Processor time."""
    threadpool_limits(1)
    profile, model = load_profile(), load_model()
    appearance = dict(zip(model.familiarity.names, model.familiarity.mean, strict=True))
    called, known = (
        [
            stone_facts(made_up_face(rng), profile, size_class=None, appearance=appearance)
            for _ in range(n)
        ]
        for n in (CALLED, KNOWN)
    )
    seconds = {}
    start = time.process_time()
    learned = learned_from(called, profile, model, rng)
    seconds["retrain on 200 known calls, one core, s"] = (time.process_time() - start, "≤ 10")
    for words, grader in (("starter", model), ("retrained", learned)):
        start = time.process_time()
        for facts in known:
            propose(facts, scene_estimate(facts, grader), profile, grader)
        name = f"proposals for 300 known stones, {words}, s"
        seconds[name] = (time.process_time() - start, "≤ 2")
    return [
        Row(name, "made-up faces", "1 round", f"{took:.1f}", "", floor, "")
        for name, (took, floor) in seconds.items()
    ]


def learned_from(
    stones: list[StoneFacts], profile: Profile, model: Model, rng: np.random.Generator
) -> Model:
    """Return the model after a call on each stone, by a seller who wavers; every second one with a scene."""
    measured = {(f"{n:064x}", 1): facts.features for n, facts in enumerate(stones)}
    value = [
        row["rules_grade"] + 1.5 * row["blue_share"] + rng.normal(0, 0.35)
        for row in measured.values()
    ]
    rung = np.digitize(value, np.quantile(value, [0.25, 0.5, 0.75]))
    calls = [
        Call(
            f"{n}.jpg", sha256, piece, None, profile.grades[rung[n]],
            round(row["scene_score"]) if n % 2 else None, None, "2024-05-01T10:00:00+02:00", None,
        )
        for n, ((sha256, piece), row) in enumerate(measured.items())
    ]  # fmt: skip
    return retrain(calls, measured, profile, model).model


def made_up_face(rng: np.random.Generator) -> Measurements:
    """Return a face as numbers alone, with up to four lines: for timing, it looks like no stone."""
    blue, white = rng.dirichlet([2, 2, 2])[:2]
    shares = {"blue": blue, "white": white, "host": 1 - blue - white}
    codes = np.zeros((110, 210), np.uint8)
    codes[5:105, 5:205] = 3
    ends = rng.uniform(10, 100, (rng.integers(0, 5), 2, 2)).astype(np.float32)
    lines = [Line(p, float(np.hypot(*(p[1] - p[0]))), 1.5, "crack", 0.9) for p in ends]
    regions = Regions(
        codes=codes,
        shares={name: Share(share, share, share) for name, share in shares.items()},
        kinds={"host": {"rusty": 0.75 * shares["host"], "grey": 0.25 * shares["host"]}},
        colour=dict.fromkeys(shares, RegionColour(60.0, rng.gamma(6, 3), 260.0, 5.0)),
        glare_share=0.05,
    )
    return Measurements(
        regions=regions,
        banding=Banding(rng.beta(3, 2), 0.7, 4, 10.0, 9.0, 30.0, 0.8),
        lines=tuple(lines),
        scene=Scene({part: rng.beta(4, 3) for part in SCENE_PARTS}),
        face_area_px=20_000,
        px_per_photo_px=1.0,
        mm_per_px=0.2,
    )


if __name__ == "__main__":
    print(as_table(known_rows(np.random.default_rng(20_250))))
