"""Prints how well the light of a photo is estimated where nothing of known colour lies in it, with n and seed.

    python tests/benchmarks/illuminant_figures.py [--seed N] [--stones N] [--photos N] [--write]

Scenes worked out from spectra (``spectral.py``): stones on six grounds and from edge to edge, under CIE illuminants,
seen by seven cameras, the phone's white balance left out in half of them. Renders of the kept-back style, as they are
and in strong casts: the error of the shares of their largest stones. Beside the estimate stand the camera's own
colours, grey world and shades of grey (Finlayson & Trezzi 2004).
"""

import argparse
from collections import defaultdict

import cv2
import metrics
import numpy as np
import spectral as sp
import stone_lights
import tables
from light_figures import ENCODINGS
from numpy.typing import NDArray
from renders import held_out_render
from tables import Row

from grader.face.regions.regions import find_regions
from grader.face.sight.cut import cut_face
from grader.face.sight.glare import find_glare
from grader.photo.colour import codes_from_linear, linear_srgb, srgb_encoding
from grader.photo.illuminant import Illuminant, angle_deg, estimate_illuminant, shades_of_grey
from grader.photo.light import estimated_white
from grader.photo.photo import Photo
from grader.photo.pieces import Piece
from grader.photo.reference import Reference
from grader.profile import load_profile

LIGHTS = ("A", "D50", "D65", "FL2", "FL11", "LED-B3")
STEPS = np.linspace(0.7, 1.25, 7)
UNSURE = np.array([0.1, 0.1])
#: Colours that a lamp or a sky leaves where the white balance does nothing: bulb, shade, green tube, LED.
CASTS = ((1.45, 1.0, 0.55), (0.8, 1.0, 1.35), (0.92, 1.0, 0.75), (1.2, 1.0, 0.8))
WAYS = {
    "as it is": lambda linear, whole: Illuminant(np.ones(3), UNSURE),
    "grey world": lambda linear, whole: Illuminant(shades_of_grey(linear, 1), UNSURE),
    "shades of grey": lambda linear, whole: Illuminant(shades_of_grey(linear), UNSURE),
    "ours": estimate_illuminant,
}


def grounds() -> dict[str, NDArray[np.float64]]:
    """Return reflectances, (1, 31) each, of what stones are laid on."""
    nm = sp.WAVELENGTHS_NM[None].astype(float)

    def hump(centre: float, width: float) -> NDArray:
        return np.exp(-0.5 * ((nm - centre) / width) ** 2)

    def rise(at: float, width: float) -> NDArray:
        return 1 / (1 + np.exp(-(nm - at) / width))

    return {
        "grey card": np.full((1, 31), 0.18),
        "white paper": sp.paper_reflectance(-4.0),
        "wooden table": 0.08 + 0.32 * rise(570, 45),
        "green cloth": 0.05 + 0.22 * hump(530, 38),
        "blue cloth": 0.04 + 0.28 * hump(455, 42),
        "hand": 0.18 + 0.32 * rise(590, 22) - 0.06 * hump(555, 25),
    }


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--seed", type=int, default=78)
    asked.add_argument("--stones", type=int, default=8)
    asked.add_argument("--photos", type=int, default=60, help="renders for the shares")
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    given = asked.parse_args()
    cv2.setNumThreads(1)
    rows = [*scene_rows(given.seed, given.stones), *share_rows(given.seed, given.photos)]
    print(tables.as_table(rows))
    if given.write:
        tables.write("light", rows)


def scene_rows(seed: int, count: int) -> list[Row]:
    """The angle between true and estimated light: median and mean of the worst quarter, by ground."""
    off = {way: defaultdict(list) for way in WAYS}
    stones = [stone_lights.drawn_stone(np.random.default_rng([seed, 5, k])) for k in range(count)]
    rng = np.random.default_rng([seed, 6])
    within = []
    for ground in (*grounds(), "edge to edge"):
        for light in LIGHTS:
            for camera in range(len(sp.cameras())):
                stone = stones[rng.integers(len(stones))]
                linear, white = scene(rng, stone, ground, light, camera)
                for way, estimate in WAYS.items():
                    found = estimate(linear, False)
                    off[way][ground].append(angle_deg(found.colour, white))
                    if way == "ours":
                        within.append(off[way][ground][-1] <= 2 * found.sd_deg)
    rows = []
    for way, by_ground in off.items():
        angles = np.concatenate(list(by_ground.values()))
        worst = [_worst_quarter(a) for a in by_ground.values()]
        rows.append(
            Row(
                f"light estimated, {way}: angle, median / worst quarter, degrees",
                f"{count} stones simulated from spectra on six grounds and edge to edge, seed {seed}",
                f"{len(angles)} photos",
                f"{np.median(angles):.1f} / {_worst_quarter(angles):.1f}",
                f"worst quarter by ground {min(worst):.1f} to {max(worst):.1f}",
                "aim ≤ 3 / ≤ 7" if way == "ours" else "",
            )
        )
    rows.append(
        Row(
            "light estimated: angle within two of its standard deviations, share",
            f"{count} stones simulated from spectra on six grounds and edge to edge, seed {seed}",
            f"{len(within)} photos",
            f"{np.mean(within):.2f}",
        )
    )
    return rows


def _worst_quarter(values: list[float] | NDArray) -> float:
    return float(np.mean(np.sort(values)[-max(1, len(values) // 4) :]))


def scene(
    rng: np.random.Generator, stone: tuple, ground: str, light: str, camera: int
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Return a photo, (h, w, 3) linear sRGB, of a stone on that ground, and the colour of its light, (3,)."""
    shot = sp.draw_shot(rng, light, camera)
    if rng.random() < 0.5:  # no white balance but that for daylight
        white_rgb = np.linalg.solve(sp.XYZ_FROM_SRGB, sp.true_xyz(np.ones((1, 31)), light)[0])
        white_rgb = np.maximum(white_rgb, 0.02)
        balance = np.linalg.solve(sp.own_matrix(camera), white_rgb / white_rgb[1])
        shot = sp.Shot(light, camera, balance, shot.exposure, shot.lamp, shot.p3)
    places, spectra, outline = stone
    cloth = cv2.GaussianBlur(rng.normal(0, 1, (225, 300)).astype(np.float32), (0, 0), 6)
    cloth = cv2.resize(cloth, places.shape[::-1])
    step = np.rint((len(STEPS) - 1) * (cloth - cloth.min()) / np.ptp(cloth))
    first = sp.FIRST_SWATCH + len(spectra)
    all_places = np.where(places >= sp.FIRST_SWATCH, places, first + step).astype(np.uint8)
    below = grounds().get(ground, np.full((1, 31), 0.18))
    spectra = np.vstack([spectra, *(np.clip(below * s, 0.005, 0.95) for s in STEPS)])
    laid = sp.Scene(all_places, stone_lights.WIDTH_PX, stone_lights.HEIGHT_PX)
    rgb = sp.take(rng, laid, shot, spectra, sp.paper_reflectance(-4.0))
    (x0, y0), (x1, y1) = np.floor(outline.min(0)).astype(int), np.ceil(outline.max(0)).astype(int)
    if ground == "edge to edge":
        w, h = (x1 - x0) // 4, (y1 - y0) // 4
        box = np.s_[y0 + h : y1 - h, x0 + w : x1 - w]
    else:
        beyond = max(60, round(0.24 * (x1 - x0)))
        box = np.s_[max(0, y0 - beyond) : y1 + beyond, max(0, x0 - beyond) : x1 + beyond]
    white = sp.phone_linear(np.ones((1, 31)), shot)[0]
    white = sp.SRGB_FROM_P3 @ white if shot.p3 else white
    return linear_srgb(np.ascontiguousarray(rgb[box]), ENCODINGS[shot.p3]), white / white[1]


def share_rows(seed: int, count: int) -> list[Row]:
    """The error of shares on held-out renders as they are and in strong casts, true outlines, by way."""
    lost = {(way, cast): [] for way in WAYS for cast in ("as rendered", "in a strong cast")}
    encoding = srgb_encoding()
    for number in range(count):
        truth = held_out_render(seed, number)
        if not truth.by_piece:
            continue
        linear = linear_srgb(truth.rgb, encoding)
        cast = np.float32(CASTS[number % len(CASTS)])
        lit = {
            "as rendered": truth.rgb,
            "in a strong cast": codes_from_linear(
                np.clip(linear * cast / cast.max(), 0, 1), encoding
            ),
        }
        for name, rgb in lit.items():
            photo = Photo("cast", rgb, encoding, "")
            for way, estimate in WAYS.items():
                light = estimate(linear_srgb(rgb, encoding), False)
                lost[way, name].append(_share_error(photo, truth, estimated_white(light)))
    rows = []
    for (way, cast), errors in lost.items():
        low, high = metrics.resampled_range(
            [np.array([e]) for e in errors], np.mean, np.random.default_rng([seed, 9])
        )
        rows.append(
            Row(
                f"share error by light, {way}, {cast}, points",
                f"held-out renders, true outlines, seed {seed}",
                f"{len(errors)} photos",
                f"{np.mean(errors):.1f}",
                f"{low:.1f} to {high:.1f}",
                {"ours": "≤ 2.5"}.get(way, "") if cast != "as rendered" else "",
            )
        )
    return rows


def _share_error(photo: Photo, truth, white) -> float:
    """Mean error, points, of the shares of a photo's largest stone."""
    number = max(truth.by_piece, key=lambda n: int((truth.pieces == n).sum()))
    mask = (truth.pieces == number).astype(np.uint8)
    outline = max(
        cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0], key=cv2.contourArea
    )
    piece = Piece(1, cv2.boundingRect(mask), (outline[:, 0] + 0.5).astype(np.float32))
    face = cut_face(photo, piece, Reference(white))
    found = find_regions(face, find_glare(face), load_profile()).shares
    read = np.array([found[name].value for name in ("blue", "white", "host")])
    return 100 * float(np.abs(read - truth.by_piece[number].shares).mean())


if __name__ == "__main__":
    main()
