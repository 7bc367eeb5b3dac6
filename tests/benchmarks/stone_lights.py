"""The same stones under all lights: how far their shares drift, and whether the stated intervals hold.

    python tests/benchmarks/stone_lights.py [--stones N] [--seed N] [--write]

Faces from held-out renders are given the spectra of stone colours and photographed by seven cameras under six lights,
exposure off by up to 1 EV, light falling off by up to half across the frame (spectral.py). Their shares are compared
with those of the same stone under D65 with a chart, the outline being the true one.
"""

import argparse

import cv2
import numpy as np
import spectral as sp
import tables
from light_figures import ENCODINGS
from numpy.typing import NDArray
from tables import Row

from grader.face.regions.regions import find_regions
from grader.face.sight.cut import cut_face
from grader.face.sight.glare import find_glare
from grader.photo.photo import Photo
from grader.photo.pieces import Piece
from grader.photo.reference import find_reference
from grader.photo.terms import Neutral
from grader.profile import load_profile
from grader.render import HELD_OUT, render_photo

#: CIELAB (D65) of what the classes are made of: blue, white, host rusty and grey; spectra near them are drawn.
COLOURS = {1: [(45, -2, -28)], 2: [(80, 0, -3)], 3: [(42, 14, 22), (50, 1, 4)]}
#: Steps of brightness that a class's spectrum is drawn in, and how far they reach.
STEPS, REACH = 7, 0.35
WIDTH_PX, HEIGHT_PX = 1200, 900
STONE_PX = 420
WAYS = ("chart", "white paper", "neither")


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--stones", type=int, default=6)
    ask.add_argument("--seed", type=int, default=5)
    ask.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = ask.parse_args()
    found = [
        (way, light, drift, held)
        for number in range(args.stones)
        for way, light, drift, held in stone_rows(args.seed, number)
    ]
    rows = [figure(way, found, args) for way in WAYS]
    print(tables.as_table(rows))
    if args.write:
        tables.write("light", rows)


def figure(way: str, found: list, args) -> Row:
    """Return the row of one way: the drift of the worst class, by light, and how often all intervals hold."""
    of_way = [row for row in found if row[0] == way]
    drift, held = np.array([row[2] for row in of_way]), np.mean([row[3] for row in of_way])
    reach = {light: [r[2] for r in of_way if r[1] == light] for light in sp.LIGHTS}
    reach = [float(np.quantile(values, 0.95)) for values in reach.values()]
    floors = {"chart": "95 % ≤ 2", "white paper": "95 % ≤ 3", "neither": "holds ≥ 0.90"}
    return Row(
        f"drift of a share between lights, {way}: median / 95 %, points; intervals hold, share",
        f"{args.stones} stones simulated from spectra, seed {args.seed}",
        f"{len(drift)} photos",
        f"{np.median(drift):.1f} / {np.quantile(drift, 0.95):.1f}; {held:.2f}",
        f"95 % by light {min(reach):.1f} to {max(reach):.1f}",
        floors[way],
    )


def stone_rows(seed: int, number: int):
    """Yield way, light, drift in points and whether all intervals hold, for every photo of one stone."""
    rng = np.random.default_rng([seed, number])
    places, spectra, outline = drawn_stone(rng)
    first = shares(rng, places, spectra, outline, "D65", 0, "chart", plain=True)
    true = np.array([share.value for share in first])
    for light in sp.LIGHTS:
        for camera in range(len(sp.cameras())):
            for way in WAYS:
                found = shares(rng, places, spectra, outline, light, camera, way)
                drift = 100 * float(np.abs(np.array([s.value for s in found]) - true).max())
                held = all(s.low <= t <= s.high for s, t in zip(found, true, strict=True))
                yield way, light, drift, held


def drawn_stone(rng: np.random.Generator) -> tuple[NDArray, NDArray, NDArray]:
    """Return places of the whole scene at twice the size, the spectra of its swatches, and the stone's outline, px."""
    while True:
        shot = render_photo(
            rng, HELD_OUT, width_px=700, height_px=700, stones=1, kind="slab", state="dry", cracks=0
        )
        present = [min(stone.shares.values()) for stone in shot.stones]
        if present and present[0] > 0.05 and not shot.stones[0].cut_by_frame:
            break
    x, y, w, h = shot.stones[0].box
    cut = np.s_[y : y + h, x : x + w]
    mask, codes = shot.pieces[cut] == 1, shot.regions[cut]
    light = cv2.cvtColor(shot.rgb[cut], cv2.COLOR_RGB2GRAY).astype(np.float32)
    named = np.where(np.isin(codes, list(COLOURS)), codes, 3)
    pool = sp.stone_reflectances(rng, 3000)
    labs = sp.lab_of(sp.true_linear(pool))
    spectra, swatch = [], np.zeros(mask.shape, np.intp)
    rusty = cv2.GaussianBlur(rng.normal(0, 1, mask.shape), (0, 0), 25) > 0
    for code, colours in COLOURS.items():
        for part, colour in enumerate(colours):
            here = mask & (named == code)
            here &= (rusty == bool(part)) if len(colours) > 1 else True
            base = pool[np.linalg.norm(labs - colour, axis=1).argmin()]
            steps = np.linspace(1 - REACH, 1 + REACH, STEPS)
            if here.any():
                rank = np.clip(
                    (light[here] / np.median(light[here]) - 1 + REACH) / (2 * REACH), 0, 1
                )
                swatch[here] = len(spectra) + np.rint(rank * (STEPS - 1)).astype(np.intp)
            spectra += [np.clip(base * step, 0.01, 0.95) for step in steps]
    scene = sp.lay_scene(rng, 0, width_px=WIDTH_PX, height_px=HEIGHT_PX, turn_deg=0, tilt=0)
    factor = 2 * STONE_PX / max(w, h)
    size = (round(w * factor), round(h * factor))
    large = cv2.resize(
        swatch.astype(np.int32).astype(np.float32), size, interpolation=cv2.INTER_NEAREST
    )
    inside = cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    places = scene.places.copy()
    left, top = round(0.5 * WIDTH_PX), round(0.3 * HEIGHT_PX)
    window = places[top : top + size[1], left : left + size[0]]
    window[inside] = sp.FIRST_SWATCH + large[inside].astype(np.uint8)
    contours, _ = cv2.findContours(
        inside.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    outline = (max(contours, key=cv2.contourArea)[:, 0] + 0.5 + (left, top)) / 2
    return places, np.array(spectra), outline.astype(np.float32)


def shares(rng, places, spectra, outline, light, camera, way, plain: bool = False):
    """Return the shares found in one photo of the stone."""
    shot = sp.draw_shot(rng, light, camera)
    if plain:
        shot = sp.Shot(light, camera, np.ones(3), sp.NOMINAL_WHITE, (0.5, 0.5, 3.0), False)
    scene = sp.Scene(places, WIDTH_PX, HEIGHT_PX)
    paper = sp.paper_reflectance(rng.uniform(-8, 0))
    rgb = sp.take(rng, scene, shot, spectra, paper)
    neutral = Neutral((40, 20, WIDTH_PX - 80, HEIGHT_PX // 8 - 40), "paper")
    if way != "chart":
        # The chart is covered by something grey.
        hidden = (scene.places[::2, ::2] > sp.PAPER) & (scene.places[::2, ::2] < sp.FIRST_SWATCH)
        rgb = rgb.copy()
        rgb[cv2.dilate(hidden.astype(np.uint8), np.ones((15, 15))) > 0] = 60
    photo = Photo("a", rgb, ENCODINGS[shot.p3], "")
    reference = find_reference(photo, neutral=None if way == "neither" else neutral)
    wanted = {"chart": "chart", "white paper": "paper", "neither": "estimated"}[way]
    # A chart or paper that cannot serve is left aside.
    if reference.colour_source not in (wanted, "estimated"):
        raise RuntimeError(f"colours by {reference.colour_source} where {wanted} was shown")
    x0, y0 = np.floor(outline.min(axis=0)).astype(int)
    x1, y1 = np.ceil(outline.max(axis=0)).astype(int)
    face = cut_face(photo, Piece(1, (x0, y0, x1 - x0, y1 - y0), outline), reference)
    return list(find_regions(face, find_glare(face), load_profile()).shares.values())


if __name__ == "__main__":
    main()
