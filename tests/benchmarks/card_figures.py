"""How well the photo card is found and what its millimetres are worth, on simulated photos.

    python tests/benchmarks/card_figures.py [--photos N] [--seed S] [--write]

Truth is the geometry of the camera in ``card_camera.py``. ``--write`` puts the rows into figures/.
"""

import argparse
import time
from pathlib import Path

import cv2
import numpy as np
import tables
from card_camera import (
    Pinhole,
    Scene,
    page,
    photograph,
    random_camera,
    random_light,
    with_stone,
)
from numpy.typing import NDArray
from speed import decoded_to_lab
from tables import Row

from grader.photo.card import CardSighting, find_card
from grader.photo.card_layout import HEIGHT_MM, STONE_AREA, WIDTH_MM
from grader.photo.pose import focal_range_px
from grader.photo.scale import face_scale
from grader.profile import Setup

LARGE, SMALL = (4000, 3000), (2000, 1500)
SAMPLES = Path(__file__).parents[2] / "sample_images"
MEASURED_ON = "simulated photos of the card"


def true_mm_per_px(camera: Pinhole, at_mm: NDArray) -> float:
    """Return the scale in the card's plane by small steps around a point of the card."""
    steps = np.array([[0.5, 0], [-0.5, 0], [0, 0.5], [0, -0.5]])
    right, left, down, up = camera.project(at_mm + steps)
    return float(1 / np.sqrt(abs(np.linalg.det(np.column_stack([right - left, down - up])))))


def plane_errors(
    sighting: CardSighting, camera: Pinhole, rng: np.random.Generator
) -> list[tuple[float, bool]]:
    """Return the relative error of the scale at five places of the stone, and whether the stated
    interval holds it."""
    found = []
    for at_mm in rng.uniform(size=(5, 2)) * (STONE_AREA.w_mm, STONE_AREA.h_mm) + (
        STONE_AREA.x_mm,
        STONE_AREA.y_mm,
    ):
        at_px = tuple(camera.project(at_mm[None])[0])
        error = sighting.mm_per_px(at_px) / true_mm_per_px(camera, at_mm) - 1
        found.append((error, abs(error) <= sighting.relative_uncertainty(at_px)))
    return found


def error_row(name: str, errors: list, seed: int, floor: str = "") -> Row:
    """Return the row of relative errors, which part of them a limit holds, and how often intervals do."""
    size = 100 * np.abs([e for e, _ in errors])
    held = np.mean([h for _, h in errors])
    return Row(
        f"{name}: error, %; the interval holds the truth, share",
        f"{MEASURED_ON}, seed {seed}",
        str(len(errors)),
        f"95 % under {np.quantile(size, 0.95):.2f}; {held:.2f}",
        f"median {np.median(size):.2f}, most {size.max():.2f}",
        floor,
    )


def counted(name: str, count: int, n: int, seed: int, floor: str = "") -> Row:
    """Return the row of how many of n there are."""
    return Row(
        f"{name}, share", f"{MEASURED_ON}, seed {seed}", str(n), f"{count / n:.3f}", floor=floor
    )


def size_of(number: int) -> tuple[int, int]:
    """Every third photo is of 12 megapixels, the others were made smaller."""
    return LARGE if number % 3 == 0 else SMALL


def whole_cards(scene: Scene, photos: int, seed: int) -> list[Row]:
    """Cards at any turn, up to 35 degrees of tilt, in any light."""
    rng = np.random.default_rng(seed)
    errors, missed, codes = {25: [], 35: []}, 0, []
    for number in range(photos):
        camera = random_camera(rng, size_of(number), rng.uniform(0, 35), (0.55, 0.98))
        light = random_light(rng, max(camera.size_px))
        sighting, remarks = find_card(photograph(scene, camera, light, rng))
        missed += sighting is None
        codes += [remark.code for remark in remarks]
        if sighting is not None:
            errors[25 if camera.tilt_deg <= 25 else 35] += plane_errors(sighting, camera, rng)
    return [
        counted("whole card found", photos - missed, photos, seed, "≥ 0.99"),
        *(
            error_row(
                f"scale in the card's plane, tilt to {tilt}°", errors[tilt], seed, f"≤ {limit} %"
            )
            for tilt, limit in ((25, 0.5), (35, 1))
        ),
        counted("whole flat card said to be bent or hidden", len(codes), photos, seed),
    ]


def poor_cards(scene: Scene, photos: int, seed: int) -> list[Row]:
    """Half hidden, glared, bent."""
    rows = []
    for kind in ("half hidden", "glared", "bent"):
        rng = np.random.default_rng(seed)
        errors, missed, reported = [], 0, 0
        for number in range(photos):
            size = SMALL if kind == "bent" else size_of(number)
            camera = random_camera(rng, size, rng.uniform(0, 35), (0.6, 0.98))
            light = random_light(rng, max(camera.size_px))
            sighting, remarks = find_card(photograph(scene, camera, light, rng, **harm(kind, rng)))
            missed += sighting is None
            reported += bool(
                {"card_half_hidden", "card_bent", "card_not_found"} & {r.code for r in remarks}
            )
            if sighting is not None:
                errors += plane_errors(sighting, camera, rng)
        rows += [
            counted(f"{kind} card found", photos - missed, photos, seed),
            counted(f"{kind} card told as such", reported, photos, seed),
            error_row(f"{kind} card: scale in its plane", errors, seed),
        ]
    return rows


def harm(kind: str, rng: np.random.Generator) -> dict:
    """Return what spoils a card: a cover over one half, a burnt spot on a strip, an edge lifted by up to 20 mm."""
    middle, way = np.array([WIDTH_MM, HEIGHT_MM]) / 2, rng.uniform(0, 2 * np.pi)
    along = np.array([np.cos(way), np.sin(way)])
    if kind == "half hidden":
        across = np.array([-along[1], along[0]])
        ends = ((0, -400), (0, 400), (400, 400), (400, -400))
        return {"cover": np.array([middle + a * along + b * across for a, b in ends])}
    if kind == "glared":
        spot = (12, rng.uniform(0, 240)) if rng.random() < 0.6 else (rng.uniform(36, 180), 228)
        return {"glare": (*spot, rng.uniform(20, 60))}
    rise, start = rng.uniform(0.5, 5), rng.uniform(-60, 60)

    def bent(x: NDArray, y: NDArray) -> NDArray:
        far = (x - middle[0]) * along[0] + (y - middle[1]) * along[1]
        return rise * np.clip((far - start) / 100, 0, 2) ** 2

    return {"surface": bent}


def faces(scene: Scene, photos: int, seed: int) -> list[Row]:
    """Lengths on faces 5 to 60 mm over the card, seen from 200 to 600 mm."""
    rng = np.random.default_rng(seed)
    ways = {
        "height typed, EXIF": [],
        "height typed, no EXIF": [],
        "height unknown, EXIF": [],
        "height unknown, no EXIF": [],
        "card at face height": [],
        "height typed, EXIF, one scale for all directions, tilt to 5°": [],
    }
    missed = 0
    for number in range(photos):
        size = size_of(number)
        # The 35 mm equivalent as EXIF gives it: a whole number, by the diagonal or the long side.
        equivalent = rng.uniform(24, 30)
        by_diagonal = rng.random() < 0.7
        focal = equivalent * max(size) * (1.25 / np.hypot(36, 24) if by_diagonal else 1 / 36)
        tilt = rng.uniform(0, 35) if number % 4 else rng.uniform(0, 5)
        camera = Pinhole(
            size,
            focal,
            rng.uniform(200, 600),
            tilt,
            rng.uniform(0, 360),
            rng.uniform(0, 360),
            tuple(rng.uniform(-10, 10, 2)),
        )
        light = random_light(rng, max(size))
        sighting, _ = find_card(photograph(scene, camera, light, rng))
        if sighting is None:
            missed += 1
            continue
        exif, none = focal_range_px(size, round(equivalent)), focal_range_px(size)
        height = rng.uniform(5, 60)
        start = rng.uniform(size=2) * (STONE_AREA.w_mm, STONE_AREA.h_mm) + (
            STONE_AREA.x_mm,
            STONE_AREA.y_mm,
        )
        end = rng.uniform(size=2) * (STONE_AREA.w_mm, STONE_AREA.h_mm) + (
            STONE_AREA.x_mm,
            STONE_AREA.y_mm,
        )
        true = float(np.linalg.norm(end - start))
        ends = camera.project(np.array([start, end]), height)
        flat = camera.project(np.array([start, end]))
        for name, focal_px, given, points in (
            ("height typed, EXIF", exif, height, ends),
            ("height typed, no EXIF", none, height, ends),
            ("height unknown, EXIF", exif, None, ends),
            ("height unknown, no EXIF", none, None, ends),
            ("card at face height", exif, 0.0, flat),
        ):
            heights = Setup.height_mm if given is None else given
            scale = face_scale(sighting, focal_px, heights, tuple(points.mean(axis=0)))
            value, low, high = scale.length_mm(*points)
            ways[name].append((value / true - 1, low <= true <= high))
        if tilt <= 5:
            scale = face_scale(sighting, exif, height, tuple(ends.mean(axis=0)))
            length_px = float(np.linalg.norm(ends[1] - ends[0]))
            held = scale.low * length_px <= true <= scale.high * length_px
            ways["height typed, EXIF, one scale for all directions, tilt to 5°"].append(
                (scale.mm_per_px * length_px / true - 1, held)
            )
    floors = {"height typed, EXIF": "≤ 1.5 %", "height unknown, EXIF": "holds ≥ 0.90"}
    return [
        counted("card found from 200 to 600 mm", photos - missed, photos, seed),
        *(
            error_row(f"length on the face, {name}", errors, seed, floors.get(name, ""))
            for name, errors in ways.items()
        ),
    ]


def no_cards(seed: int) -> list[Row]:
    """Photos without a card."""
    names = sorted(SAMPLES.glob("*.jpg"))
    found = sum(find_card(cv2.imread(str(name))[..., ::-1])[0] is not None for name in names)
    return [Row("cards found where there is none", "sample photos", str(len(names)), str(found))]


def speed(scene: Scene, seed: int) -> list[Row]:
    """Seconds for 12 megapixels on one thread, and in R: decoding the file and turning it to Lab."""
    rng = np.random.default_rng(seed)
    seconds, blank, unit = [], [], []
    for _ in range(7):
        camera = random_camera(rng, LARGE, rng.uniform(0, 25), (0.8, 0.98))
        rgb = photograph(scene, camera, random_light(rng), rng)
        data = cv2.imencode(".jpg", rgb, [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
        empty = cv2.resize(cv2.imread(str(SAMPLES / "11_cracked.jpg")), LARGE)
        for way, times in (
            (lambda rgb=rgb: find_card(rgb), seconds),
            (lambda empty=empty: find_card(empty), blank),
            (lambda data=data: decoded_to_lab(data), unit),
        ):
            start = time.perf_counter()
            way()
            times.append(time.perf_counter() - start)
    unit = np.median(unit)
    return [
        Row(
            f"looking for the card in 12 megapixels, {name}, R",
            f"{MEASURED_ON}, one thread",
            str(len(times)),
            f"{np.median(times) / unit:.2f} (R = {unit:.2f} s)",
            f"most {max(times) / unit:.2f}",
        )
        for name, times in (("card", seconds), ("no card", blank))
    ]


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--photos", type=int, default=240)
    asked.add_argument("--seed", type=int, default=41)
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    given = asked.parse_args()
    cv2.setNumThreads(1)
    scene = Scene.of(with_stone(page(), np.random.default_rng(given.seed)))
    rows = [
        *whole_cards(scene, given.photos, given.seed),
        *faces(scene, given.photos, given.seed + 1),
        *poor_cards(scene, max(1, given.photos // 3), given.seed + 2),
        *no_cards(given.seed),
        *speed(scene, given.seed + 3),
    ]
    print(tables.as_table(rows))
    if given.write:
        tables.write("card", rows)


if __name__ == "__main__":
    main()
