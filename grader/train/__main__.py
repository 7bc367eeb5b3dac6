"""``python -m grader.train draw DATA``, then ``python -m grader.train learn regions DATA``: networks from renders.

``learn glare`` needs no ``DATA``: it draws what it learns from as it goes.
"""

import argparse
import time
from pathlib import Path

from grader.render import HELD_OUT, TRAINING
from grader.train.examples import MAKERS, draw_examples


def main() -> None:
    ask = argparse.ArgumentParser(prog="python -m grader.train", description=__doc__)
    verbs = ask.add_subparsers(dest="verb", required=True)
    draw = verbs.add_parser("draw", help="render examples for all networks into a folder")
    draw.add_argument("data", type=Path)
    draw.add_argument("--photos", type=int, default=5000)
    draw.add_argument("--checks", type=int, default=96, help="photos of each style to check on")
    draw.add_argument("--parts", nargs="+", choices=sorted(MAKERS), default=list(MAKERS))
    draw.add_argument("--seed", type=int, default=1)
    draw.add_argument("--jobs", type=int, default=-1)
    learn = verbs.add_parser("learn", help="train one network on them")
    learn.add_argument("part", choices=sorted(MAKERS))
    learn.add_argument("data", type=Path, nargs="?", help="as drawn; glare needs none")
    learn.add_argument("--out", type=Path, default=Path("models/starter"))
    learn.add_argument("--steps", type=int, default=6000)
    learn.add_argument("--batch", type=int, default=32)
    learn.add_argument("--seed", type=int, default=1)
    learn.add_argument("--jobs", type=int, default=-1, help="cores that draw for glare")
    given = ask.parse_args()
    if given.verb == "learn" and (given.part == "glare") != (given.data is None):
        ask.error("glare draws its own examples; each other part needs the folder of drawn ones.")
    if given.verb == "draw":
        began = time.perf_counter()
        for name, seed, photos, style in (
            ("tuning", given.seed + 1, given.checks, TRAINING),
            ("held_out", given.seed + 2, given.checks, HELD_OUT),
            ("training", given.seed, given.photos, TRAINING),
        ):
            draw_examples(given.data / name, seed, photos, style, given.jobs, tuple(given.parts))
        print(f"drawn in {time.perf_counter() - began:.0f} s", flush=True)
    elif given.part == "glare":
        from grader.train.stages import GLARE_STAGES, learn_in_stages

        learn_in_stages(GLARE_STAGES, given.out, given.seed, given.jobs)
    else:
        from grader.train.learn import learn as train_part  # PyTorch is not needed for drawing

        train_part(given.part, given.data, given.out, given.steps, given.batch, given.seed)


if __name__ == "__main__":
    main()
