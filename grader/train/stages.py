"""The glare network from nothing: its stages, each with what is drawn for it and how fast is learned.

``python -m grader.train learn glare``. Examples are drawn on all cores while it learns, in rounds of fixed size, so
that a seed stands for the same lessons on any machine.
"""

import json
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from itertools import islice
from pathlib import Path

import cv2
import numpy as np
import torch
from joblib import Parallel, delayed
from numpy.typing import NDArray

from grader.face.sight.glare import LOOK_PX
from grader.measures import MEASUREMENT_VERSION
from grader.profile import load_profile
from grader.render import HELD_OUT, TRAINING, Style
from grader.train.batches import Variety
from grader.train.examples import glare_examples, reflection_examples, render_example_photo
from grader.train.learn import Pace, export, new_net, overlap, taught
from grader.train.reflections import CHECKED, Lesson

#: A patch of this many px counts as much as ever, a smaller one more, a larger one less, down to this.
ALIKE_PX, LEAST_COUNT = 400, 0.5


@dataclass(frozen=True)
class Stage:
    """One stretch of training.

    photos : drawn for it, in ``rounds``, one after the other.
    alike : how much a px of a small patch counts at most; from 1 on patches count alike, whatever their size.
    """

    lesson: Lesson
    photos: int
    rounds: int
    pace: Pace
    alike: float = 0.0


_VIVID = Variety(vivid=0.25)
#: First faces without mottles; then, for a short while and by small steps, many mottled ones.
GLARE_STAGES = (
    Stage(
        Lesson(side_px=LOOK_PX, mottled=0.0, polished=0.25), 2100, 7,
        Pace(9100, 32, variety=_VIVID), alike=3,
    ),
    Stage(
        Lesson(side_px=LOOK_PX, mottled=0.7, polished=0.25), 300, 1,
        Pace(1200, 16, rate=8e-4, kept=0.995, settled=True, variety=_VIVID), alike=3,
    ),
)  # fmt: skip
#: Photos of each style that are never learned from.
CHECKS = 48


def patch_counts(hidden: NDArray[np.bool_], most: float) -> NDArray[np.uint8]:
    """Return 16 times what each px counts, (h, w): at most ``most`` in patches of all sizes alike, 1 off them."""
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(hidden.astype(np.uint8))
    of_patch = np.clip(ALIKE_PX / boxes[:, cv2.CC_STAT_AREA].clip(1), LEAST_COUNT, most)
    of_patch[0] = 1
    return np.rint(16 * of_patch[:count])[labels].astype(np.uint8)


def draw_photo(
    seed: int, photo: int, style: Style, lesson: Lesson, alike: float = 0.0
) -> NDArray[np.uint8]:
    """Return the examples of one photo and of stones drawn beside it, (n, side, side, 4), or 5 where patches count."""
    cv2.setNumThreads(1)
    rendered = render_example_photo(np.random.default_rng([seed, photo]), style)
    rng = np.random.default_rng([seed, photo, 3])
    made = glare_examples(rendered, rng, lesson=lesson)
    made += reflection_examples(rng, style, lesson=lesson)
    layers = [
        [e.picture, e.target, patch_counts(e.target == 1, alike)]
        if alike
        else [e.picture, e.target]
        for e in made
    ]
    return np.stack([np.dstack(one) for one in layers])


def learn_in_stages(
    stages: tuple[Stage, ...], out: Path, seed: int, jobs: int = -1, checks: int = CHECKS
) -> None:
    """Train the glare network from nothing, and write its weights and card to ``out``."""
    device = "cuda" if torch.cuda.is_available() else "cpu"
    began = time.perf_counter()
    asked = [
        (seed + 10 * number, photo, TRAINING, stage.lesson, stage.alike)
        for number, stage in enumerate(stages)
        for photo in range(stage.photos)
    ]
    asked += [(seed + 1, photo, TRAINING, CHECKED) for photo in range(checks)]
    asked += [(seed + 2, photo, HELD_OUT, CHECKED) for photo in range(checks)]
    drawn = Parallel(n_jobs=jobs, return_as="generator")(delayed(draw_photo)(*one) for one in asked)
    net, dice, learned_from = new_net("glare", seed, device), np.random.default_rng(seed), []
    for stage in stages:
        pools = _pools(drawn, stage, device, learned_from)
        net = taught("glare", net, pools, stage.rounds, stage.pace, dice, device)
        print(f"stage done, {time.perf_counter() - began:.0f} s", flush=True)
    judged = {
        name: overlap("glare", net, _tensor(drawn, checks), load_profile(), device)
        for name in ("tuning", "held_out")
    }
    card = {
        "part": "glare", "measurement_version": MEASUREMENT_VERSION, "learned_from": "renders only",
        "seed": seed, "examples": learned_from, "stages": [asdict(stage) for stage in stages],
        "parameters": sum(p.numel() for p in net.parameters()), "overlap": judged,
        "torch": torch.__version__,
    }  # fmt: skip
    out.mkdir(parents=True, exist_ok=True)
    export(net, "glare", out)
    (out / "glare.training.json").write_text(json.dumps(card, indent=1) + "\n", "utf-8")
    print(json.dumps(card), flush=True)


def _pools(
    drawn: Iterator[NDArray[np.uint8]], stage: Stage, device: str, learned_from: list[int]
) -> Iterator[torch.Tensor]:
    """All examples of a stage that are drawn by each of its rounds; how many they were is noted."""
    pool, at = None, 0
    learned_from.append(0)
    for number in range(stage.rounds):
        upto = stage.photos * (number + 1) // stage.rounds
        more = _tensor(drawn, upto - at).to(device)
        pool, at = more if pool is None else torch.cat([pool, more]), upto
        learned_from[-1] = len(pool)
        yield pool


def _tensor(drawn: Iterator[NDArray[np.uint8]], photos: int) -> torch.Tensor:
    return torch.from_numpy(np.concatenate(list(islice(drawn, photos))))
