"""``python -m grader.train.illuminant``: trains what tells the colour of the light from a photo, on renders only.

Each render comes up in several lights: what a phone's white balance leaves of lamps and daylight, mostly little, at
times all of it; on grounds of any colour; and as a face that fills the picture.
"""

import argparse
import json
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import torch
from joblib import Parallel, delayed
from numpy.typing import NDArray
from torch import nn

from grader.files import write_text
from grader.photo.colour import linear_srgb, srgb_encoding
from grader.photo.illuminant import LOOK_PX, channel_ratios, illuminant_features
from grader.photo.light import RESPONSES_FROM_LINEAR
from grader.render import TRAINING, Rendered, Style, render_photo
from grader.train.casts import draw_cast

#: How often the ground has another colour, the photo is a close-up, a face fills the picture; how often that is said.
OTHER_GROUND, CLOSER, FILLED, FILLED_KNOWN = 0.35, 0.4, 0.22, 0.6
#: Least half side of a square inside a stone that stands for a picture filled by it, px.
LEAST_SQUARE_PX = 14
#: Widths of the two layers between; the seed of their first numbers.
HIDDEN, START = (64, 48), 1


@dataclass(frozen=True)
class LitLook:
    """A small picture, (h, w, 3) linear sRGB, the colour of its light, (3,), and whether a face is said to fill it."""

    linear: NDArray[np.float32]
    white: NDArray[np.float64]
    whole: bool


def lit_looks(seed: int, number: int, style: Style, count: int) -> list[LitLook]:
    """Return ``count`` looks at one render, each in a light of its own."""
    rng = np.random.default_rng([seed, number])
    stones = int(rng.choice([0, 1, 2, 3, 5, 9], p=[0.05, 0.45, 0.2, 0.12, 0.1, 0.08]))
    rendered = render_photo(rng, style, width_px=400, height_px=300, stones=stones)
    linear = linear_srgb(rendered.rgb, srgb_encoding())
    stone = (rendered.pieces > 0).astype(np.float32)
    inside = _inside_a_stone(rendered)
    looks = []
    for _ in range(count):
        if inside is not None and rng.random() < FILLED:
            picture, whole = linear[inside], bool(rng.random() < FILLED_KNOWN)
        else:
            picture, whole = linear, False
            if rng.random() < OTHER_GROUND:
                picture = _on_other_ground(rng, picture, stone)
            if rng.random() < CLOSER:
                picture = _closer(rng, picture)
        looks.append(LitLook(*_in_light(rng, _smaller(picture), rendered.white), whole))
    return looks


def _inside_a_stone(rendered: Rendered) -> tuple[slice, slice] | None:
    """The largest square inside the largest stone."""
    if not rendered.stones:
        return None
    largest = max(rendered.stones, key=lambda stone: stone.area_px)
    mask = np.pad((rendered.pieces == largest.id).astype(np.uint8), 1)
    depth = cv2.distanceTransform(mask, cv2.DIST_C, 3)[1:-1, 1:-1]
    y, x = np.unravel_index(depth.argmax(), depth.shape)
    half = int(depth[y, x]) - 1
    return (
        (slice(y - half, y + half), slice(x - half, x + half)) if half >= LEAST_SQUARE_PX else None
    )


def _on_other_ground(rng, linear: NDArray, stone: NDArray) -> NDArray[np.float32]:
    """The ground dyed: any hue, three in ten of them blue, as a cloth that a light must not be taken from."""
    dye = np.exp(rng.normal(0, 0.45, 3))
    if rng.random() < 0.3:
        dye = np.exp(rng.normal((-0.5, 0.0, 0.5), (0.3, 0.2, 0.3)))
    ground = (1 - stone)[..., None].astype(np.float32)
    return linear * (1 + ground * (dye / dye.mean() - 1).astype(np.float32))


def _closer(rng, linear: NDArray) -> NDArray:
    h, w = linear.shape[:2]
    part = rng.uniform(0.45, 0.95)
    high, wide = int(h * part), int(w * part)
    y, x = rng.integers(h - high + 1), rng.integers(w - wide + 1)
    return linear[y : y + high, x : x + wide]


def _smaller(linear: NDArray) -> NDArray[np.float32]:
    factor = min(1.0, LOOK_PX / max(linear.shape[:2]))
    return cv2.resize(linear, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)


def _in_light(
    rng, linear: NDArray, white: NDArray
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """The picture under a cast and newly exposed, and the colour of its light.

    Half of the casts act on the channels themselves, half on sharpened responses: cameras lie between.
    """
    cast = draw_cast(rng)
    mix = np.diag(cast)
    if rng.random() < 0.5:
        gains = (RESPONSES_FROM_LINEAR @ cast) / (RESPONSES_FROM_LINEAR @ np.ones(3))
        mix = np.linalg.solve(RESPONSES_FROM_LINEAR, gains[:, None] * RESPONSES_FROM_LINEAR)
    lit, white = np.maximum(linear @ mix.T, 0), np.maximum(mix @ white, 0.02)
    top = max(float(np.quantile(lit, 0.98)), 0.05)
    lit = lit * min(1.2, rng.uniform(0.6, 1.15) / top)
    return np.clip(lit, 0, 1).astype(np.float32), white / white[1]


def features_and_goals(looks: list[LitLook]) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Return features, (n, m), and how far each light's ratios lie from the first estimate's, (n, 2)."""
    rows = [(*illuminant_features(look.linear, look.whole), look.white) for look in looks]
    goals = np.array([channel_ratios(white) - base for _, base, white in rows])
    return np.array([features for features, _, _ in rows]), goals


def train(features: NDArray, goals: NDArray, epochs: int) -> dict:
    """Return the network's numbers: likelihood of a normal error with a spread of its own for each photo."""
    torch.manual_seed(START)
    middle = np.median(features, axis=0)
    spread = np.maximum(features.std(axis=0), 1e-3)
    x = torch.from_numpy(np.clip((features - middle) / spread, -4, 4).astype(np.float32))
    y = torch.from_numpy(goals.astype(np.float32))
    sizes = (x.shape[1], *HIDDEN, 4)
    layers = [nn.Linear(a, b) for a, b in pairwise(sizes)]
    parts = [part for layer in layers[:-1] for part in (layer, nn.Tanh(), nn.Dropout(0.05))]
    net = nn.Sequential(*parts, layers[-1])
    tuner = torch.optim.AdamW(net.parameters(), lr=3e-3, weight_decay=1e-2)
    steps = epochs * -(-len(x) // 256)
    pace = torch.optim.lr_scheduler.OneCycleLR(tuner, 3e-3, total_steps=steps)
    for _ in range(epochs):
        for pick in torch.randperm(len(x)).split(256):
            out = net(x[pick] + 0.02 * torch.randn_like(x[pick]))
            log_sd = out[:, 2:].clamp(-5, 1)
            # Laplace's law for the middle, so that a few photos that tell nothing do not pull at all others.
            loss = (log_sd + (out[:, :2] - y[pick]).abs() * 2**0.5 * torch.exp(-log_sd)).mean()
            tuner.zero_grad()
            loss.backward()
            tuner.step()
            pace.step()
    return {
        "middle": _rounded(middle, 5), "spread": _rounded(spread, 5),
        "layers": [
            {"weights": _rounded(layer.weight.detach().numpy().T, 4),
             "offsets": _rounded(layer.bias.detach().numpy(), 4)}
            for layer in layers
        ],
    }  # fmt: skip


def _rounded(values: NDArray, decimals: int) -> list:
    return np.round(values.astype(np.float64), decimals).tolist()


def main() -> None:
    """Draw, train, and write ``illuminant.json``."""
    ask = argparse.ArgumentParser(prog="python -m grader.train.illuminant", description=__doc__)
    ask.add_argument("--out", type=Path, default=Path("models/starter"))
    ask.add_argument("--photos", type=int, default=5600)
    ask.add_argument("--looks", type=int, default=6)
    ask.add_argument("--epochs", type=int, default=60)
    ask.add_argument("--seed", type=int, default=88105)
    ask.add_argument("--jobs", type=int, default=-1)
    given = ask.parse_args()
    drawn = Parallel(n_jobs=given.jobs)(
        delayed(_drawn)(given.seed, number, given.looks) for number in range(given.photos)
    )
    features, goals = (np.concatenate(part) for part in zip(*drawn, strict=True))
    kept = train(features, goals, given.epochs)
    kept |= {
        "photos": given.photos,
        "looks": given.looks,
        "epochs": given.epochs,
        "seed": given.seed,
    }
    write_text(given.out / "illuminant.json", json.dumps(kept) + "\n")
    print(f"{len(features)} looks, {features.shape[1]} features")


def _drawn(seed: int, number: int, count: int) -> tuple[NDArray, NDArray]:
    return features_and_goals(lit_looks(seed, number, TRAINING, count))


if __name__ == "__main__":
    main()
