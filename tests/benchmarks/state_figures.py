"""How often wet, dry and patchy are told right by the photo alone.

    python tests/benchmarks/state_figures.py [--stones N] [--seed N] [--tuning] [--write]

Slabs and broken pieces of the held-out style, each drawn wet, dry and half dried: the same stone, light and camera.
Outlines are the true ones. No card lies in these photos, so their colours are as the camera made them: harder than
with a card.
"""

import argparse

import cv2
import numpy as np
import tables
from numpy.typing import NDArray
from tables import Row

from grader.face.sight.cut import cut_face
from grader.face.sight.view import see_face
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo
from grader.photo.pieces import Piece
from grader.photo.reference import no_reference
from grader.profile import load_profile
from grader.render import HELD_OUT, TRAINING, Style, render_photo

#: Patchy is what is wet on between these shares of the face: less than that is a drop, or a dry spot.
PATCHY = (0.2, 0.8)
LEAST_PX = 160


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--stones", type=int, default=120)
    ask.add_argument("--seed", type=int, default=6)
    ask.add_argument("--tuning", action="store_true", help="stones of the style to learn from")
    ask.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = ask.parse_args()
    style = TRAINING if args.tuning else HELD_OUT
    found = {state: [] for state in ("wet", "dry", "patchy")}
    pairs = []
    for number in range(args.stones):
        by_state = {}
        for state in found:
            read_state, wet_share = state_of(args.seed, number, style, state)
            if read_state is None or (state == "patchy" and not PATCHY[0] < wet_share < PATCHY[1]):
                continue
            by_state[state] = read_state
            found[state].append(read_state)
        if {"wet", "dry"} <= by_state.keys():
            pairs.append((by_state["wet"], by_state["dry"]))
    rows = rows_of(found, pairs, f"{style.name} renders, seed {args.seed}")
    print(tables.as_table(rows))
    if args.write and not args.tuning:
        tables.write("state", rows)


def state_of(seed: int, number: int, style: Style, state: str):
    """Return the state read from a photo of one stone, and its true wet share; ``None`` twice where it is too small."""
    rng = np.random.default_rng([seed, number])
    kind = str(rng.choice(["slab", "chunk"]))
    fill = rng.uniform(0.15, 0.5)
    drawn = render_photo(
        rng, style, width_px=900, height_px=675, stones=1, kind=kind, state=state, fill=fill
    )
    if not drawn.stones or min(drawn.stones[0].box[2:]) < LEAST_PX:
        return None, None
    mask = drawn.pieces == drawn.stones[0].id
    photo = Photo("a", drawn.rgb, srgb_encoding(), "")
    face = cut_face(photo, Piece(1, drawn.stones[0].box, _outline(mask)), no_reference(photo))
    return see_face(face, load_profile()).state.value, float(drawn.wet[mask].mean())


def _outline(mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    contours, _ = cv2.findContours(mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return (max(contours, key=cv2.contourArea)[:, 0] + 0.5).astype(np.float32)


def rows_of(found: dict[str, list[str]], pairs: list, measured_on: str) -> list[Row]:
    both = np.mean([pair == ("wet", "dry") for pair in pairs])
    wrong = [
        state == other for name, other in (("wet", "dry"), ("dry", "wet")) for state in found[name]
    ]
    false = [state == "patchy" for name in ("wet", "dry") for state in found[name]]

    def share(name: str, value: str) -> str:
        return f"{np.mean([state == value for state in found[name]]):.2f}"

    detail = "; ".join(
        f"{name}: wet {share(name, 'wet')}, dry {share(name, 'dry')}, patchy {share(name, 'patchy')}, "
        f"unknown {share(name, 'unknown')}"
        for name in found
    )
    return [
        Row(
            "wet and dry photo of a stone both told right, share",
            measured_on,
            f"{len(pairs)} pairs",
            f"{both:.2f}",
            detail,
            "≥ 0.90",
        ),
        Row(
            "wet told dry, or dry told wet, share",
            measured_on,
            str(len(wrong)),
            f"{np.mean(wrong):.2f}",
        ),
        Row(
            "patchy told, share",
            f"{measured_on}, wet on {PATCHY[0]:.0%} to {PATCHY[1]:.0%}",
            str(len(found["patchy"])),
            share("patchy", "patchy"),
            "–",
            "≥ 0.95",
        ),
        Row(
            "patchy told of wet or dry faces, share",
            measured_on,
            str(len(false)),
            f"{np.mean(false):.3f}",
            "–",
            "≤ 0.02",
        ),
    ]


if __name__ == "__main__":
    main()
