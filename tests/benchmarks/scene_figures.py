"""Prints how well the scene in a face is found and told from what only looks like one, with n and seed.

``python tests/benchmarks/scene_figures.py [--seed N] [--faces N] [--write]``: faces with TRUE regions, of renders in
the style kept back from learning (no network takes part, so what is measured is the search alone), and a smaller set
measured from the rendered photo as ``grader check`` does. ``--training`` takes the other style, to tune on.
"""

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
import tables
from joblib import Parallel, delayed
from numpy.typing import NDArray
from speed import decoded_to_lab
from tables import Row

from grader.drawn import true_measurements
from grader.face.face import Face
from grader.face.measurements import Line, Placement, RegionColour, Regions, Scene, Share
from grader.face.scene.maps import board_of, maps_of
from grader.face.scene.poses import Poses, fits
from grader.face.scene.scene import measure_scene
from grader.face.scene.score import FINE_CELLS, score_poses
from grader.face.scene.templates import templates_for
from grader.grade import measure_photo
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo, Scale
from grader.photo.reference import no_reference
from grader.photo.terms import PhotoTerms
from grader.profile import Profile, load_profile
from grader.render import HELD_OUT, TRAINING, Style, render_photo

BLUE, WHITE, HOST = 1, 2, 3
#: The oval that a near miss is cut to, width and height in mm, and how much larger its face is.
OVAL_MM, ROOM = (18.0, 13.0), 1.05
#: Faces measured at a time.
JOBS = 1
#: Faces in which a landscape is hidden.
GROUNDS = ("mottled", "matrix", "veined", "all host", "clouded", "grey only", "dark blue")


@dataclass(frozen=True)
class Drawn:
    """A face with true regions: codes (h, w) as in the profile, colours, mm of one px, cracks."""

    codes: NDArray[np.uint8]
    colour: dict[str, RegionColour | None]
    mm_per_px: float | None
    lines: tuple[Line, ...] = ()

    def scene(self, profile: Profile) -> Scene:
        """Return what is measured on it."""
        face = Face(None, None, self.codes > 0, 1.0, (0.0, 0.0), self.mm_per_px)
        shares = {c.name: Share(0, 0, 0) for c in profile.colours}
        regions = Regions(self.codes, shares, {}, self.colour, 0.0)
        return measure_scene(face, regions, self.lines, profile)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--seed", type=int, default=9)
    asked.add_argument("--faces", type=int, default=120)
    asked.add_argument(
        "--exhaustive", type=int, default=50, help="faces searched 1 mm by 3 degrees"
    )
    asked.add_argument("--photos", type=int, default=24, help="photos measured as check does")
    asked.add_argument("--jobs", type=int, default=1, help="faces measured at a time")
    asked.add_argument("--training", action="store_true", help="the style to tune on")
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = asked.parse_args()
    cv2.setNumThreads(1)
    global JOBS
    JOBS = args.jobs
    style, profile = (TRAINING if args.training else HELD_OUT), load_profile()
    print(f"seed {args.seed}, style {style.name}")
    drawn = at_once(drawn_face, [(style, args.seed, k, "landscape") for k in range(args.faces)])
    kept = [face for face in drawn if face is not None]
    rows = [
        *scrambled_rows(kept, profile, args.seed),
        *near_miss_rows(kept, profile, args.seed),
        *plain_rows(style, profile, args.seed, args.faces // 4),
        planted_row(kept, style, profile, args.seed),
        turned_row(kept[:30], profile, args.seed),
    ]
    if args.exhaustive:
        rows.append(exhaustive_row(kept[: args.exhaustive], profile, args.seed))
    rows.append(time_row(kept[:20], profile))
    if args.photos:
        rows += measured_rows(style, profile, args.seed, args.photos)
    if args.write:
        on = f"TRUE regions of {style.name} renders, seed {args.seed}"
        tables.write("scene", [replace(r, measured_on=r.measured_on or on) for r in rows])


def at_once(function: Callable, given: list[tuple]) -> list:
    """Return the function's answers in order, ``JOBS`` at a time; the answers do not hang on their number."""
    return Parallel(n_jobs=JOBS)(delayed(function)(*one) for one in given)


def scores(faces: list[Drawn], profile: Profile) -> NDArray[np.float64]:
    """Return the score of each face's best place."""
    return np.array(at_once(score, [(face, profile) for face in faces]))


def printed(row: Row) -> Row:
    """Print a row, and return it."""
    print(f"  {row.figure}: {row.ours} ({row.range95}; {row.floor}; n {row.n})", flush=True)
    return row


def drawn_face(style: Style, seed: int, number: int, pattern: str | None) -> Drawn | None:
    """Return the one stone of a render, or none where it is lost in glare."""
    rng = np.random.default_rng([seed, number])
    rendered = render_photo(
        rng, style, width_px=560, height_px=460, stones=1, pattern=pattern, cracks=0,
        touching=False, cut=False, fill=0.4,
    )  # fmt: skip
    if not rendered.stones or rendered.stones[0].glare_share > 0.15:
        return None
    stone = rendered.stones[0]
    x, y, w, h = stone.box
    part = slice(y, y + h), slice(x, x + w)
    codes = np.where(rendered.pieces[part] == stone.id, rendered.regions[part], 0).astype(np.uint8)
    names = ("blue", "white", "host")
    colour = {n: stone.colour.get(n) and RegionColour(*stone.colour[n], 0.0) for n in names}
    return Drawn(np.pad(codes, 2), colour, rendered.mm_per_px)


def auc(good: NDArray, bad: NDArray) -> float:
    """Return the chance that a good score beats a bad one, ties half."""
    diff = np.asarray(good)[:, None] - np.asarray(bad)[None]
    return float((diff > 0).mean() + 0.5 * (diff == 0).mean())


def auc_row(name: str, good: NDArray, bad: NDArray, floor: str, n: str, on: str = "") -> Row:
    """Return the row of one comparison, its range by drawing both sides anew."""
    rng = np.random.default_rng(0)
    drawn = [auc(rng.choice(good, len(good)), rng.choice(bad, len(bad))) for _ in range(400)]
    low, high = np.quantile(drawn, [0.025, 0.975])
    medians = f"medians {np.median(good):.0f} and {np.median(bad):.0f}"
    return printed(
        Row(name, on, f"{n}; {medians}", f"{auc(good, bad):.3f}", f"{low:.3f} to {high:.3f}", floor)
    )


def score(drawn: Drawn, profile: Profile) -> float:
    """Return the score of the best place, 0 where there is none."""
    best = drawn.scene(profile).best
    return best.score if best else 0.0


def scrambled_rows(faces: list[Drawn], profile: Profile, seed: int) -> list[Row]:
    """Scenes against the same pieces cut to tiles, shuffled and turned; with and without scale.

    A whole landscape has sky on top, water and host below by its truth; of every one drawn, a third
    has no shore to speak of, or swell throughout.
    """
    rows = []
    whole = np.array([cut_out(face, profile) is not None for face in faces])
    for name, scaled in (("without scale", False), ("with scale", True)):
        rng = np.random.default_rng([seed, 1])
        given = [sized(f, rng) if scaled else replace(f, mm_per_px=None) for f in faces]
        good = scores(given, profile)
        bad = scores([scrambled(f, rng) for f in given], profile)
        for which, kept in (("whole landscapes", whole), ("every landscape", whole | True)):
            figure = f"{which} against the same pieces scrambled, {name}: AUC"
            n = f"{kept.sum()} pairs"
            rows.append(auc_row(figure, good[kept], bad[kept], "≥ 0.98", n))
    return rows


def sized(face: Drawn, rng: np.random.Generator) -> Drawn:
    """Return the face as of 30 to 70 mm."""
    return replace(face, mm_per_px=float(rng.uniform(30, 70)) / max(face.codes.shape))


def scrambled(face: Drawn, rng: np.random.Generator) -> Drawn:
    """Return the face with its tiles, an eighth of the short side each, in another order and turned."""
    side = max(min(face.codes.shape) // 8, 3)
    rows, cols = (n // side + 1 for n in face.codes.shape)
    whole = np.zeros((rows * side, cols * side), np.uint8)
    whole[: face.codes.shape[0], : face.codes.shape[1]] = face.codes
    mask = whole > 0
    spread = nearest_inside(whole)
    tiles = [(y, x) for y in range(0, len(whole), side) for x in range(0, whole.shape[1], side)
             if mask[y : y + side, x : x + side].any()]  # fmt: skip
    codes = np.zeros_like(whole)
    for (y, x), k in zip(tiles, rng.permutation(len(tiles)), strict=True):
        y0, x0 = tiles[k]
        tile = spread[y0 : y0 + side, x0 : x0 + side]
        codes[y : y + side, x : x + side] = np.rot90(tile, rng.integers(4))
    kept = np.where(mask, codes, 0)[: face.codes.shape[0], : face.codes.shape[1]]
    return replace(face, codes=kept)


def nearest_inside(codes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the codes with each px outside the face taking the nearest inside."""
    mask = (codes > 0).astype(np.uint8)
    _, labels = cv2.distanceTransformWithLabels(
        1 - mask, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    code_of = np.zeros(labels.max() + 1, np.uint8)
    code_of[labels[mask > 0]] = codes[mask > 0]
    return code_of[labels]


def near_miss_rows(faces: list[Drawn], profile: Profile, seed: int) -> list[Row]:
    """Scenes against near misses of one fault each, on faces that the smallest oval just fits."""
    rng = np.random.default_rng([seed, 2])
    whole = [cut_out(face, profile) for face in faces]
    whole = [face for face in whole if face is not None]
    good = scores(whole, profile)
    rows, everything = [], []
    for name, spoil in FAULTS.items():
        bad = scores([spoil(face, rng) for face in whole], profile)
        everything.append(bad)
        rows.append(auc_row(f"scenes against near misses, {name}: AUC", good, bad, "≥ 0.85",
                            f"{len(good)} pairs"))  # fmt: skip
    pooled = np.concatenate(everything)
    rows.append(
        auc_row("scenes against near misses, all: AUC", good, pooled, "≥ 0.85",
                f"{len(good)} and {len(pooled)}")
    )  # fmt: skip
    return rows


def cut_out(face: Drawn, profile: Profile, shape: tuple[int, int] = (260, 360)) -> Drawn | None:
    """Return an oval face around the landscape, upright, just large enough for the smallest oval:
    whatever lies in it can be turned by a few degrees only.

    Which part of the stone is cut out is asked of the renders' own upright, not of the search: the
    oval is the largest level one that fits. Kept are those with sky on top, blue, and host below.
    """
    inside = np.pad(face.codes > 0, 1)
    ratio = OVAL_MM[0] / OVAL_MM[1]
    stretched = cv2.resize(
        inside.astype(np.uint8), None, fx=1, fy=ratio, interpolation=cv2.INTER_NEAREST
    )
    depth = cv2.distanceTransform(stretched, cv2.DIST_L2, 5)
    y, x = np.unravel_index(depth.argmax(), depth.shape)
    half = float(depth.max())
    rows, cols = np.indices(shape) + 0.5
    u = (cols - shape[1] / 2) / (shape[1] / 2 - 4)
    v = (rows - shape[0] / 2) / (shape[0] / 2 - 4)
    codes = cv2.remap(
        face.codes, (x - 1 + u * half).astype(np.float32),
        (y / ratio - 1 + v * half / ratio).astype(np.float32), cv2.INTER_NEAREST,
    )  # fmt: skip
    codes = np.where(u**2 + v**2 <= 1, codes, 0).astype(np.uint8)
    if not _whole(codes, v):
        return None
    mm_per_px = OVAL_MM[0] * ROOM / (shape[1] - 8)
    return Drawn(codes, face.colour, mm_per_px)


def _whole(codes: NDArray[np.uint8], v: NDArray) -> bool:
    """Whether sky rules the top, host the bottom, and blue some of what is between."""
    shares = [
        (codes[band & (codes > 0)] == code).mean()
        for code, band in ((WHITE, v < -0.7), (BLUE, np.abs(v) < 0.6), (HOST, v > 0.7))
    ]
    return shares[0] >= 0.6 and shares[1] >= 0.25 and shares[2] >= 0.6


def _uv(codes: NDArray) -> tuple[NDArray, NDArray]:
    h, w = codes.shape
    rows, cols = np.indices((h, w)) + 0.5
    return (cols - w / 2) / (w / 2), (rows - h / 2) / (h / 2)


def tilted(face: Drawn, rng: np.random.Generator) -> Drawn:
    """The picture turned by 25 to 40 degrees in its outline; what comes in is mirrored from within."""
    h, w = face.codes.shape
    turn = float(rng.choice([-1, 1]) * rng.uniform(25, 40))
    mask = (face.codes > 0).astype(np.uint8)
    matrix = cv2.getRotationMatrix2D((w / 2, h / 2), turn, 1.0)
    turned = cv2.warpAffine(
        nearest_inside(face.codes),
        matrix,
        (w, h),
        flags=cv2.INTER_NEAREST,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return replace(face, codes=np.where(mask, turned, 0).astype(np.uint8))


def waterless(face: Drawn, rng: np.random.Generator) -> Drawn:
    """The water turned to host, or to sky."""
    codes = np.where(face.codes == BLUE, rng.choice([HOST, WHITE]), face.codes)
    return replace(face, codes=codes.astype(np.uint8))


def cracked(face: Drawn, rng: np.random.Generator) -> Drawn:
    """A crack from rim to rim through the middle."""
    h, w = face.codes.shape
    angle, off = rng.uniform(0, np.pi), rng.uniform(-0.1, 0.1) * h
    along = np.linspace(-0.5, 0.5, 40)[:, None] * np.hypot(h, w)
    points = np.array([w / 2, h / 2 + off]) + along * [np.cos(angle), np.sin(angle)]
    points += rng.normal(0, 0.004 * w, points.shape)
    within = ((points >= 0) & (points < [w, h])).all(axis=1)
    points = points[within]
    length = float(np.hypot(*np.diff(points, axis=0).T).sum())
    return replace(face, lines=(Line(points, length, 2.0, "crack", 1.0),))


def land_on_both_sides(face: Drawn, rng: np.random.Generator) -> Drawn:
    """As much host as there was below stands left and right instead; below is water."""
    u, _ = _uv(face.codes)
    inside, host = face.codes > 0, face.codes == HOST
    wander = cv2.GaussianBlur(rng.normal(0, 1, face.codes.shape), (0, 0), 15)
    out = np.abs(u) + 0.04 * wander / wander.std()
    border = np.quantile(out[inside], 1 - host.sum() / inside.sum())
    codes = np.where(host, BLUE, face.codes)
    return replace(face, codes=np.where(inside & (out > border), HOST, codes).astype(np.uint8))


def bands_across(face: Drawn, rng: np.random.Generator) -> Drawn:
    """Every second upright stripe stands on its head: the same shares, the bands cross the picture."""
    codes = face.codes.copy()
    wide = round(codes.shape[1] * rng.uniform(0.10, 0.16))
    for left in range(0, codes.shape[1], 2 * wide):
        codes[:, left : left + wide] = codes[::-1, left : left + wide]
    return replace(face, codes=codes)


def too_small(face: Drawn, rng: np.random.Generator) -> Drawn:
    """The same face at 55 to 85 % of its size: no template fits any more."""
    return replace(face, mm_per_px=face.mm_per_px * float(rng.uniform(0.55, 0.85)))


FAULTS: dict[str, Callable[[Drawn, np.random.Generator], Drawn]] = {
    "horizon tilted": tilted,
    "no water": waterless,
    "a crack through the middle": cracked,
    "land on both sides": land_on_both_sides,
    "bands across": bands_across,
    "too small for a template": too_small,
}


def plain_rows(style: Style, profile: Profile, seed: int, n: int) -> list[Row]:
    """What is no scene: the most that it scores."""
    rows = []
    for name, pattern in (("one colour", "dark blue"), ("host alone", "all host"),
                          ("stripes without land", None)):  # fmt: skip
        faces = [
            striped(np.random.default_rng([seed, 5, k]))
            if pattern is None
            else drawn_face(style, seed + 1, 100 + k, pattern)
            for k in range(n)
        ]
        scores = np.array([score(replace(f, mm_per_px=None), profile) for f in faces if f])
        rows.append(
            printed(Row(f"{name}: median score", "", f"{len(scores)} faces", f"{np.median(scores):.0f}",
                        f"to {scores.max():.0f} (most)", "≤ 65"))
        )  # fmt: skip
    return rows


def striped(rng: np.random.Generator) -> Drawn:
    """Even bands of blue and white at any turn, 6 to 30 of them across a round face."""
    rows, cols = np.indices((300, 300)) - 150.0
    a, period = rng.uniform(0, np.pi), 300 / rng.uniform(6, 30) * 2
    t = (cols * np.cos(a) + rows * np.sin(a)) / period + 0.1 * np.sin(cols / 40)
    codes = np.where(t % 1 < rng.uniform(0.35, 0.65), BLUE, WHITE)
    colour = {
        "blue": RegionColour(45, 30, 270, 0),
        "white": RegionColour(88, 2, 90, 0),
        "host": None,
    }
    return Drawn(np.where(np.hypot(rows, cols) < 146, codes, 0).astype(np.uint8), colour, None)


def planted_row(faces: list[Drawn], style: Style, profile: Profile, seed: int) -> Row:
    """Landscapes of 40 x 30 or 30 x 22 mm hidden in larger faces that hold none."""
    rng, ious = np.random.default_rng([seed, 3]), []
    for k, face in enumerate(faces):
        patch = cut_out(face, profile)
        pattern = GROUNDS[k % len(GROUNDS)]
        ground = drawn_face(style, seed + 2, 200 + k, pattern)
        if patch is None or ground is None:
            continue
        hidden, truth = planted(patch, ground, rng)
        best = hidden.scene(profile).best
        ious.append(0.0 if best is None else overlap(filled(best, truth.shape), truth))
    ious = np.array(ious)
    return printed(
        Row("hidden scene found, share with IoU ≥ 0.5", "", f"{len(ious)} faces",
            f"{(ious >= 0.5).mean():.2f}", f"median IoU {np.median(ious):.2f}", "≥ 0.85")
    )  # fmt: skip


def planted(patch: Drawn, ground: Drawn, rng: np.random.Generator) -> tuple[Drawn, NDArray]:
    """Return the ground with the oval patch in it, at a random place and turn, and where it lies.

    The face is 50 to 75 mm long; the patch is 40 x 30 mm where that fits, else 30 x 22 mm.
    """
    mm_per_px = float(rng.uniform(55, 75)) / max(ground.codes.shape)
    mask = ground.codes > 0
    depth = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    for wide, high in ((40.0, 30.0), (30.0, 22.0), (25.0, 18.0)):
        for _ in range(60):
            places = np.argwhere(depth >= 0.5 * high / mm_per_px)
            if not len(places):
                break
            y, x = places[rng.integers(len(places))]
            turn = float(rng.uniform(0, 360))
            truth = _oval(ground.codes.shape, (x, y), turn, (wide / mm_per_px, high / mm_per_px))
            if (truth & ~mask).sum() == 0:
                codes = _pasted(patch, ground.codes, truth, (x, y), turn, wide / mm_per_px)
                return Drawn(codes, patch.colour, mm_per_px), truth
    raise ValueError("no place for a scene")


def _axes(turn_deg: float) -> NDArray:
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return np.array([[c, -s], [s, c]])


def _oval(shape, centre, turn_deg: float, size) -> NDArray[np.bool_]:
    rows, cols = np.indices(shape)
    offset_px = np.stack([cols - centre[0], rows - centre[1]], axis=-1) @ _axes(turn_deg).T
    return (offset_px[..., 0] / (size[0] / 2)) ** 2 + (offset_px[..., 1] / (size[1] / 2)) ** 2 <= 1


def _pasted(patch: Drawn, codes: NDArray, truth: NDArray, centre, turn_deg: float, width_px: float):
    h, w = patch.codes.shape
    rows, cols = np.indices(codes.shape)
    offset_px = np.stack([cols - centre[0], rows - centre[1]], axis=-1) @ _axes(turn_deg).T
    offset_px *= (w - 10) / width_px
    pasted = cv2.remap(
        patch.codes, (offset_px[..., 0] + w / 2).astype(np.float32),
        (offset_px[..., 1] + h / 2).astype(np.float32), cv2.INTER_NEAREST,
    )  # fmt: skip
    return np.where(truth & (pasted > 0), pasted, codes).astype(np.uint8)


def filled(placement: Placement, shape) -> NDArray[np.bool_]:
    """Return where a placement lies."""
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.rint(placement.outline_px() - 0.5).astype(np.int32)], 1)
    return mask.astype(bool)


def overlap(a: NDArray, b: NDArray) -> float:
    """Return intersection over union."""
    return float((a & b).sum() / max((a | b).sum(), 1))


def turned_row(faces: list[Drawn], profile: Profile, seed: int) -> Row:
    """Faces turned by any angle: how far the score moves, and whether the place follows."""
    rng, moved, follows = np.random.default_rng([seed, 4]), [], []
    for face in faces:
        face = sized(face, rng)
        angle = float(rng.uniform(0, 360))
        h, w = face.codes.shape
        side = int(np.hypot(h, w)) + 4
        matrix = cv2.getRotationMatrix2D((w / 2, h / 2), angle, 1.0)
        matrix[:, 2] += (side - w) / 2, (side - h) / 2
        codes = cv2.warpAffine(face.codes, matrix, (side, side), flags=cv2.INTER_NEAREST)
        first, second = face.scene(profile).best, replace(face, codes=codes).scene(profile).best
        moved.append(abs(first.score - second.score))
        mask = filled(first, (h, w)).astype(np.uint8)
        turned_mask = cv2.warpAffine(mask, matrix, (side, side), flags=cv2.INTER_NEAREST) > 0
        follows.append(overlap(turned_mask, filled(second, (side, side))))
    moved, follows = np.array(moved), np.array(follows)
    return printed(
        Row("score after any turn of the photo, points off; the place follows, share with IoU ≥ 0.5",
            "", f"{len(moved)} faces", f"most {moved.max():.1f}; {(follows >= 0.5).mean():.2f}",
            f"median {np.median(moved):.1f}, 95 % under {np.quantile(moved, 0.95):.1f}", "≤ 3")
    )  # fmt: skip


def exhaustive_row(faces: list[Drawn], profile: Profile, seed: int) -> Row:
    """The search against every place 1 mm and 3 degrees apart, same templates and parts."""
    rng = np.random.default_rng([seed, 6])
    faces = [
        replace(face, mm_per_px=float(rng.uniform(26, 42)) / max(face.codes.shape))
        for face in faces
    ]
    most = np.array(at_once(exhaustive, [(face, profile) for face in faces]))
    behind = most - scores(faces, profile)
    return printed(
        Row("points behind a search of every place 1 mm and 3 degrees apart", "",
            f"{len(behind)} faces", f"most {behind.max():.1f}",
            f"median {np.median(behind):.1f}, share within 2: {(behind <= 2).mean():.2f}", "≤ 2")
    )  # fmt: skip


def exhaustive(face: Drawn, profile: Profile) -> float:
    """Return the best score over the whole grid of places, turns and templates."""
    mask = face.codes > 0
    regions = Regions(face.codes, {}, {}, face.colour, 0.0)
    maps = maps_of(face.codes, mask, profile)
    board = board_of(maps, regions, face.lines, profile)
    mm = face.mm_per_px / maps[-1].scale
    h, w = maps[-1].readings.shape
    y, x = np.mgrid[0 : h : 1 / mm, 0 : w : 1 / mm]
    places = np.stack([x.ravel(), y.ravel()], axis=1)
    best = 0.0
    for template in templates_for(maps[-1].readings > 0, mm, profile):
        for turn in np.arange(0, 360, 3.0):
            poses = Poses(template, places, np.full(len(places), turn))
            poses = poses[fits(board, poses)]
            for at in range(0, len(poses), 256):
                found = score_poses(board, poses[at : at + 256], FINE_CELLS, slipped=True)
                best = max(best, *(float(scored.scores.max()) for scored in found.values()))
    return best


def unit_seconds(times: int = 7) -> float:
    """Return R: seconds that decoding 12 megapixels and turning them to Lab takes, the median."""
    rough = cv2.resize(
        np.random.default_rng(0).integers(0, 255, (300, 400, 3)).astype(np.uint8), (4000, 3000)
    )
    data = cv2.imencode(".jpg", rough, [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    took = []
    for _ in range(times):
        start = time.perf_counter()
        decoded_to_lab(data)
        took.append(time.perf_counter() - start)
    return float(np.median(took))


def time_row(faces: list[Drawn], profile: Profile) -> Row:
    """How long one stone takes, in units of decoding 12 megapixels and turning them to Lab."""
    rng, took, units = np.random.default_rng(0), [], []
    for k, face in enumerate(faces):
        face = sized(face, rng) if k % 2 else replace(face, mm_per_px=None)
        start = time.perf_counter()
        face.scene(profile)
        took.append(time.perf_counter() - start)
        units.append(unit_seconds(1))
    unit = float(np.median(units))
    ratio = np.array(took) / unit
    return printed(
        Row("scene of one stone, R", "", f"{len(took)} faces",
            f"{np.median(ratio):.1f} (R = {unit:.2f} s)", f"most {ratio.max():.1f}", "≤ 3")
    )  # fmt: skip


def measured_rows(style: Style, profile: Profile, seed: int, n: int) -> list[Row]:
    """From the photo on: landscapes against other stones, and the score beside that of the truth."""
    on = f"{style.name} renders, measured as check does, seed {seed}"
    scenes, others, off, ious = [], [], [], []
    patterns = ("mottled", "matrix", "veined", "all host", "dark blue", "all white")
    for k in range(n):
        rng = np.random.default_rng([seed, 7, k])
        pattern = "landscape" if k % 2 == 0 else patterns[k // 2 % len(patterns)]
        rendered = render_photo(
            rng, style, width_px=900, height_px=700, stones=1, pattern=pattern, cracks=0,
            touching=False, cut=False, fill=0.4, blur_px=0.0,
        )  # fmt: skip
        photo = Photo("drawn", rendered.rgb, srgb_encoding(), "", Scale(None, None))
        for found in measure_photo(photo, PhotoTerms(), profile, no_reference(photo)).pieces[:1]:
            best = found.measurements.scene.best
            value = best.score if best else 0.0
            (scenes if pattern == "landscape" else others).append(value)
            if pattern == "landscape":
                truth = true_measurements(
                    photo, found.piece, rendered, rendered.stones[0], profile
                ).scene.best
                if best and truth:
                    shape = found.face.mask.shape
                    ious.append(overlap(filled(best, shape), filled(truth, shape)))
                    off.append(abs(best.score - truth.score))
    return [
        auc_row("landscapes against other stones, measured from the photo: AUC",
                np.array(scenes), np.array(others), "", f"{len(scenes)} and {len(others)}", on),
        printed(Row("score measured from the photo, points from that of the true regions", on,
                    f"{len(off)} stones", f"median {np.median(off):.1f}",
                    f"95 % under {np.quantile(off, 0.95):.1f}; same place, median IoU "
                    f"{np.median(ious):.2f}")),
    ]  # fmt: skip


if __name__ == "__main__":
    main()
