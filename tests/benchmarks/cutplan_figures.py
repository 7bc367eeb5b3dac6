"""Prints how good cut plans are and how fast comparisons teach a taste, with n and seed.

``python tests/benchmarks/cutplan_figures.py [--seed N] [--stones N] [--sellers N] [--write]``. Rounds in a square
and in a circle are held against the greatest radii known for n circles (Schaer, Meir, Graham and others; Kravitz
1967; tables of best known packings, from memory). Ovals on small faces are held against every choice of places on
a grid of their own, solved exactly as an integer programme by scipy (HiGHS); on larger ones against a search 15
times as long. Sellers are simulated: any monotone taste, slips after Bradley and Terry.
"""

import argparse
import time

import cv2
import numpy as np
import tables
from comparisons import draw_faces, draw_seller
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array
from speed import decoded_to_lab
from tables import Row

from grader.face.cutplan import search
from grader.face.cutplan.cutplan import plan_cuts
from grader.face.cutplan.room import Oval, room_of
from grader.face.measurements import Line
from grader.grading.models.model_files import load_model
from grader.grading.models.scene_head import compared_right, refit_scene

IN_SQUARE = (
    0.5,
    0.292893,
    0.254333,
    0.25,
    0.207107,
    0.187681,
    0.174458,
    0.170541,
    0.166667,
    0.148204,
)
IN_CIRCLE = (1.0, 2.0, 2.154701, 2.414214, 2.701302, 3.0, 3.0, 3.304765, 3.613126, 3.813026)
#: Rounds this much smaller than the greatest known must all be placed, this much larger must not.
SMALLER, LARGER = (0.01, 0.02, 0.03), 0.012
SIDE_PX, PX_PER_MM = 900, 6
#: Faces' longer side and ovals in mm.
CASES = (
    (60, (30, 22)),
    (80, (30, 22)),
    (110, (30, 22)),
    (150, (30, 22)),
    (90, (18, 13)),
    (150, (18, 13)),
    (100, (20, 20)),
)
SMALL = ((50, (30, 22)), (60, (30, 22)), (70, (30, 22)), (45, (18, 13)), (55, (20, 20)))
MARGIN_MM = 1.5
#: Of the grid on which every choice is tried, as a share of the short side and in degrees; seconds for one face.
EXACT_STEP, EXACT_TURN_DEG, EXACT_SECONDS = 0.15, 20, 60
COUNTS = (0, 10, 30, 100, 200)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--seed", type=int, default=11)
    asked.add_argument("--stones", type=int, default=3, help="faces of each size")
    asked.add_argument("--sellers", type=int, default=40)
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = asked.parse_args()
    cv2.setNumThreads(1)
    print(f"seed {args.seed}")
    rows = [
        *print_rounds(),
        *print_exact(args.seed, args.stones),
        *print_longer(args.seed, args.stones),
    ]
    learned = print_sellers(args.seed, args.sellers)
    if args.write:
        tables.write("cut_plan", rows)
        tables.write("grading", learned)


def print_rounds() -> list[Row]:
    """Rounds of known greatest radius, n 1 to 10: counts reached below it, passed above it; and their rows."""
    y, x = np.indices((SIDE_PX + 12, SIDE_PX + 12)) - (SIDE_PX + 11) / 2
    faces = {
        "square": (np.maximum(abs(x), abs(y)) <= SIDE_PX / 2, [r * SIDE_PX for r in IN_SQUARE]),
        "circle": (np.hypot(x, y) <= SIDE_PX / 2, [SIDE_PX / 2 / r for r in IN_CIRCLE]),
    }
    rows = []
    for name, (mask, radii) in faces.items():
        lack = {
            share: [
                _count(mask, Oval(2 * r * (1 - share), 2 * r * (1 - share)), 0.0) - n
                for n, r in enumerate(radii, 1)
            ]
            for share in SMALLER
        }
        passed = [
            _count(mask, Oval(2 * r * (1 + LARGER), 2 * r * (1 + LARGER)), 0.0) - n
            for n, r in enumerate(radii, 1)
        ]
        print(f"\nrounds in a {name}, n 1 to 10: count less n where they are so much smaller")
        for share, off in lack.items():
            print(f"  {share:.0%}: {off}")
        print(f"  {LARGER:.1%} larger: {passed}, passed {sum(v >= 0 for v in passed)} times")
        reached = {share: sum(v >= 0 for v in off) for share, off in lack.items()}
        reached_text = " / ".join(str(reached[share]) for share in SMALLER)
        rows.append(
            Row(
                "cut plan: known counts of rounds reached, 1 / 2 / 3 % below the greatest radius",
                f"a {name}, n 1 to 10; best known packings, from memory",
                "10",
                reached_text,
                floor="aim 10",
            )
        )
        rows.append(
            Row(
                f"cut plan: known counts passed, {LARGER:.1%} above it",
                f"a {name}, n 1 to 10",
                "10",
                str(sum(v >= 0 for v in passed)),
                floor="0",
            )
        )
    return rows


def _count(mask: NDArray, oval: Oval, margin: float, lines=(), seed: int = 0) -> int:
    room = room_of(mask, lines, None, oval, margin)
    plan = plan_cuts(room, oval, margin, np.random.default_rng(seed))
    return len(plan.most_pieces.templates)


def draw_face(rng: np.random.Generator, width_mm: float, cracks: int) -> tuple[NDArray, list[Line]]:
    """Return a bumpy face of that width, and cracks from its rim towards its middle."""
    angle = np.arange(24) * 2 * np.pi / 24
    radius = 1 + sum(
        rng.normal(0, 0.12 / k) * np.cos(k * angle + rng.uniform(0, 2 * np.pi)) for k in range(1, 5)
    )
    rim = np.stack([radius * np.cos(angle), 0.72 * radius * np.sin(angle)], axis=1)
    rim = (rim - rim.min(axis=0)) * width_mm * PX_PER_MM / np.ptp(rim[:, 0]) + 6
    mask = np.zeros(np.ceil(rim.max(axis=0)[::-1]).astype(int) + 7, np.uint8)
    cv2.fillPoly(mask, [np.rint(rim).astype(np.int32)], 1)
    lines = []
    for _ in range(cracks):
        ends = np.stack(
            [rim[rng.integers(24)], rim.mean(axis=0) + rng.normal(0, 0.15 * np.ptp(rim[:, 0]), 2)]
        )
        lines.append(Line(ends, float(np.hypot(*(ends[1] - ends[0]))), 2.0, "crack", 0.9))
    return mask > 0, lines


def print_exact(seed: int, stones: int) -> list[Row]:
    """Small faces against every choice on a grid; and the row."""
    ours, best, open_ = [], [], 0
    print("\nsmall faces: ours / best of every choice on a grid")
    for case, (width, oval_mm) in enumerate(SMALL):
        pairs = []
        for number in range(stones):
            rng = np.random.default_rng([seed, 1, case, number])
            mask, lines = draw_face(rng, width, number % 2)
            oval, margin = Oval(*(side * PX_PER_MM for side in oval_mm)), MARGIN_MM * PX_PER_MM
            found, proved = _exact(mask, lines, oval, margin)
            count = _count(mask, oval, margin, lines)
            pairs.append(f"{count}/{found if proved else '?'}")
            if not proved:
                open_ += 1
                continue
            ours.append(count)
            best.append(found)
        print(f"  {width} mm, {oval_mm[0]}x{oval_mm[1]}: {'  '.join(pairs)}")
    share = sum(ours) / sum(best)
    below = sum(a < b for a, b in zip(ours, best, strict=True))
    print(
        f"  in all {sum(ours)} of {sum(best)} ({share:.2f}), fewer on {below}, not proved {open_}, n {len(ours)}"
    )
    return [
        Row(
            "cut plan: templates / best of every choice on a grid",
            f"small faces of ours, seed {seed}, integer programme; fewer on {below}",
            f"{len(ours)} faces",
            f"{share:.2f}",
            floor="≥ 0.90",
        )
    ]


def _exact(mask: NDArray, lines: list[Line], oval: Oval, margin: float) -> tuple[int, bool]:
    """Return the most ovals on a grid, from pixels and support functions of its own, and whether it is proved."""
    free = mask.astype(np.uint8)
    depth = (
        cv2.distanceTransform(np.pad(free, 1), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)[1:-1, 1:-1]
        - 0.5
        - margin
    )
    for line in lines:
        drawn = np.ones_like(free)
        cv2.line(drawn, *(tuple(np.rint(p).astype(int).tolist()) for p in line.points), 0, 1)
        distance_px = cv2.distanceTransform(drawn, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
        depth = np.minimum(depth, distance_px - line.width_px / 2 - margin)
    step = EXACT_STEP * oval.short_px
    y, x = (
        v.ravel()
        for v in np.meshgrid(*(np.arange(step / 2, n, step) for n in mask.shape), indexing="ij")
    )
    turns = (
        np.radians(np.arange(0, 180, EXACT_TURN_DEG))
        if oval.long_px > oval.short_px
        else np.zeros(1)
    )
    angle = np.arange(48) * 2 * np.pi / 48
    poses = []
    for turn in turns:
        a, b = oval.long_px / 2 * np.cos(angle), oval.short_px / 2 * np.sin(angle)
        rim_x = x[:, None] + a * np.cos(turn) - b * np.sin(turn)
        rim_y = y[:, None] + a * np.sin(turn) + b * np.cos(turn)
        inside = (rim_x >= 0) & (rim_y >= 0) & (rim_x < mask.shape[1]) & (rim_y < mask.shape[0])
        at = (
            rim_y.clip(0, mask.shape[0] - 1).astype(int),
            rim_x.clip(0, mask.shape[1] - 1).astype(int),
        )
        middle = depth[y.astype(int), x.astype(int)] >= oval.short_px / 2
        fits = (inside & (depth[at] >= 0)).all(axis=1) & middle
        poses += [(x[k], y[k], turn) for k in np.flatnonzero(fits)]
    poses = np.array(poses).reshape(-1, 3)
    if len(poses) == 0:
        return 0, True
    along = np.arange(90) * np.pi / 90
    units = np.stack([np.cos(along), np.sin(along)])
    off = along - poses[:, 2:]
    half = np.hypot(oval.long_px / 2 * np.cos(off), oval.short_px / 2 * np.sin(off))
    rows, columns, count = [], [], 0
    for k in range(len(poses)):
        apart = (
            np.abs((poses[k + 1 :, :2] - poses[k, :2]) @ units) - half[k] - half[k + 1 :] - margin
        )
        for other in k + 1 + np.flatnonzero((apart < 0).all(axis=1)):
            rows += [count, count]
            columns += [k, other]
            count += 1
    # Whatever lies over one point clashes: far tighter than pairs alone.
    grown = Oval(oval.long_px + margin, oval.short_px + margin)
    cos, sin = np.cos(poses[:, 2]), np.sin(poses[:, 2])
    for px, py in zip(x, y, strict=True):
        dx, dy = px - poses[:, 0], py - poses[:, 1]
        reach = (2 * (dx * cos + dy * sin) / grown.long_px) ** 2 + (
            2 * (dy * cos - dx * sin) / grown.short_px
        ) ** 2
        over = np.flatnonzero(reach < 1)
        if len(over) > 1:
            rows += [count] * len(over)
            columns += over.tolist()
            count += 1
    table = coo_array((np.ones(len(rows)), (rows, columns)), shape=(count, len(poses))).tocsr()
    found = milp(
        -np.ones(len(poses)),
        integrality=np.ones(len(poses)),
        bounds=Bounds(0, 1),
        constraints=[LinearConstraint(table, -np.inf, 1)] if count else [],
        options={"time_limit": EXACT_SECONDS},
    )
    return round(-found.fun) if found.x is not None else 0, found.status == 0


def print_longer(seed: int, stones: int) -> list[Row]:
    """Faces of all sizes against a search 15 times as long; seconds beside R; and the rows."""
    ours, longer, seconds, both = 0, 0, [], []
    print("\nfaces of all sizes: ours / best of a search 15 times as long too")
    for case, (width, oval_mm) in enumerate(CASES):
        pairs = []
        for number in range(stones):
            mask, lines = draw_face(
                np.random.default_rng([seed, 2, case, number]), width, number % 3
            )
            oval, margin = Oval(*(side * PX_PER_MM for side in oval_mm)), MARGIN_MM * PX_PER_MM
            start = time.process_time()
            found = _count(mask, oval, margin, lines)
            seconds.append(time.process_time() - start)
            start = time.process_time()
            room = room_of(mask, lines, None, oval, margin)
            plan_cuts(
                room, oval, margin, np.random.default_rng(0), lambda poses: 100 - poses[:, 1] / 20
            )
            both.append(time.process_time() - start)
            best = max(found, _long_count(mask, oval, margin, lines))
            ours, longer = ours + found, longer + best
            pairs.append(f"{found}/{best}")
        print(f"  {width} mm, {oval_mm[0]}x{oval_mm[1]}: {'  '.join(pairs)}")
    whole = min(_decoding() for _ in range(3))
    mean, most = np.mean(seconds) / whole, max(seconds) / whole
    print(
        f"  in all {ours} of {longer}; {mean:.2f} R in the mean, {most:.2f} R at most (R {whole:.2f} s)"
    )
    two = f"{np.mean(both) / whole:.2f} / {max(both) / whole:.2f}"
    print(f"  both plans, a score that costs nothing: {two} R")
    measured_on = f"faces of ours, 60 to 150 mm, seed {seed}"
    n = f"{len(seconds)} faces"
    return [
        Row("cut plan: templates / best of a search 15 times as long", measured_on, n, f"{ours / longer:.2f}"),
        Row("cut plan: most pieces, R, mean / most", measured_on, n, f"{mean:.2f} / {most:.2f}", floor="≤ 1.6"),
        Row("cut plan: both plans without scoring, R, mean / most", measured_on, n, two, floor="≤ 1.6"),
    ]  # fmt: skip


def _long_count(mask, oval, margin, lines) -> int:
    usual = {name: getattr(search, name) for name in ("SWAPS", "PUSHES", "SQUEEZES")}
    try:
        for name, value in usual.items():
            setattr(search, name, 15 * value)
        return _count(mask, oval, margin, lines, seed=1)
    finally:
        for name, value in usual.items():
            setattr(search, name, value)


def _decoding() -> float:
    """R: decoding a JPEG of 12 megapixels and turning it to Lab, seconds of processor time."""
    noise = np.random.default_rng(0).integers(40, 220, (300, 400, 3), np.uint8)
    photo = cv2.resize(noise, (4000, 3000), interpolation=cv2.INTER_CUBIC)
    data = cv2.imencode(".jpg", photo, [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    start = time.process_time()
    decoded_to_lab(data)
    return time.process_time() - start


def print_sellers(seed: int, sellers: int) -> list[Row]:
    """How often the scene score agrees with a seller on fresh pairs, by how many comparisons; and the rows."""
    head = load_model().scene
    right, slipped, ceiling = ({count: [] for count in COUNTS} for _ in range(3))
    for number in range(sellers):
        rng = np.random.default_rng([seed, 3, number])
        seller = draw_seller(rng)
        learned, fresh = (draw_faces(n, head.scaling, rng) for n in (150, 400))
        training_pairs, test_pairs = (
            seller.comparisons(learned, max(COUNTS), rng),
            seller.comparisons(fresh, 200, rng),
        )
        scores = [seller.scores(list(pair)) for pair in test_pairs]
        sure = np.array([float(better > other) for better, other in scores])
        for count in COUNTS:
            agrees = compared_right(
                refit_scene(head, [], [], [], training_pairs[:count]), test_pairs
            )
            slipped[count].append(agrees.mean())
            right[count].append(np.where(sure == 1, agrees, 1 - agrees).mean())
            ceiling[count].append(sure.mean())
    print(
        f"\nsellers: agreement with the taste / with fresh choices and their slips, n {sellers} sellers, 200 pairs each"
    )
    for count in COUNTS:
        print(
            f"  {count:3d} comparisons: {np.mean(right[count]):.3f} / {np.mean(slipped[count]):.3f}"
        )
    top = float(np.mean(ceiling[0]))
    print(f"  ceiling with slips: the seller against the own taste {top:.3f}")
    floors = {30: "≥ 0.80", 100: "≥ 0.88"}
    return [
        Row(
            f"scene from comparisons: right on fresh pairs after {count}",
            f"simulated sellers, seed {seed}; with slips {np.mean(slipped[count]):.2f}, ceiling there {top:.2f}",
            f"{sellers} sellers",
            f"{np.mean(right[count]):.2f}",
            f"sellers {np.percentile(right[count], 2.5):.2f} to {np.percentile(right[count], 97.5):.2f}",
            floors.get(count, ""),
        )
        for count in COUNTS
    ]


if __name__ == "__main__":
    main()
