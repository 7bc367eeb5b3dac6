"""How well cracks are found, beside two classical detectors and the yardstick, in the same run.

    python tests/benchmarks/crack_figures.py [--cracks FOLDER]... [--photos N] [--pairs N] [--jobs N] [--write]
    python tests/benchmarks/crack_figures.py --speed [--write]

Held-out renders are cut by their true outlines, so that the detectors alone are compared; photographs of cracked
surfaces are filled by one face. Lines called off the stones are those of the whole grader on the same renders.
"""

import argparse
import dataclasses
from dataclasses import dataclass
from pathlib import Path

import crack_methods
import cv2
import metrics
import numpy as np
import ours
import tables
import yardstick
from crack_faces import KnownFace, faces_of, lightness_of_face, photographed_face
from joblib import Parallel, delayed
from labelled import crack_names, photo_size_px
from numpy.typing import NDArray
from renders import drawn_photo
from skimage.morphology import skeletonize
from speed import PHOTO_SIZE, ROUNDS, decoded_to_lab, seconds_of, twelve_megapixels
from tables import Row
from threadpoolctl import threadpool_limits

from grader.face.lines.cracks import find_cracks
from grader.face.lines.lines import line_facts
from grader.face.lines.naming import CRACK
from grader.face.lines.sound import sound_stone
from grader.face.regions.regions import find_regions
from grader.face.sight.cut import cut_face
from grader.face.sight.drying import drying_pair, with_drying
from grader.face.sight.glare import find_glare
from grader.face.sight.view import see_face
from grader.photo.align import Alignment
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo
from grader.photo.pieces import Piece
from grader.photo.reference import no_reference
from grader.profile import load_profile
from grader.render import HELD_OUT, render_photo

SEED, PHOTOS, PAIRS = 20_250, 120, 60
RENDERS = "held-out renders, true outlines"
CRACKS = "photographs of cracked surfaces, {} x {} px, marked by hand, not in the repository"
TOLERANCES_PX = (2, 5)
#: What lies so near a true crack is not judged as another line, px.
APART_PX = 5
#: A sound stone is left alone where the lines called sum to less than this times the root of its area.
LEFT_ALONE = 0.1
#: Wrong px within so much of the outline are the outline's: beyond the rim in which no line is looked for.
OUTLINE_PX = 8
#: The drawn lines that are exactly straight and no line of the stone.
STRAIGHT = ("joint", "print", "ticks", "saw mark")
#: A drawn crack holds water with the first chance while its surround dries, any other line with the second; our
#: setting, no source. Chances from which on a line may count as a crack.
HOLDS, HOLDS_BY_CHANCE, CUTS = 0.8, 0.1, np.linspace(0.1, 0.9, 33)
#: Our lines of class crack and uncertain together.
WITH_UNCERTAIN = "crack with uncertain"
HEALED = "healed cracks, seams and webs"
#: What is counted of them that are found and not called crack.
AS_PATTERN = "told as pattern"
OTHER_WAYS = ("ridge filter", "oriented filters", "yardstick")


@dataclass(frozen=True)
class FaceScore:
    """One face; counts are of px as ``metrics`` makes them, ``None`` where the face cannot tell.

    lines : by way of finding, then tolerance, (4,) counts.   others : by name, (2,) counts of px called and in all.
    wrong : by name, (2,) counts of wrong px on it and of all called.   chances : (n, 2) of our lines, probability and
    whether it is a crack.   left_alone : of a sound stone.   length : (said, true) px, of a face with cracks.
    largest : (said, true) share of the largest part.
    """

    lines: dict[str, dict[int, NDArray]]
    others: dict[str, NDArray]
    wrong: dict[str, NDArray]
    chances: NDArray
    left_alone: bool | None
    length: tuple[float, float] | None
    largest: tuple[float, float] | None


def main() -> None:
    """Measure what was asked for, print the table, and write it where that was asked for."""
    asked = _arguments()
    rng = np.random.default_rng(asked.seed)
    if asked.speed:
        rows = [speed_row(rng)]
    else:
        numbers = range(asked.photos)
        scored = Parallel(asked.jobs)(delayed(render_scores)(asked.seed, n) for n in numbers)
        rows = render_rows(scored, rng)
        for folder in asked.cracks:
            names = crack_names(folder)
            scored = Parallel(asked.jobs)(delayed(photograph_scores)(folder, n) for n in names)
            measured_on = CRACKS.format(*photo_size_px(folder, names[0]))
            rows += line_rows(scored, measured_on, rng, concrete=folder.name.startswith("concrete"))
        numbers = range(asked.pairs)
        pairs = Parallel(asked.jobs)(delayed(pair_counts)(asked.seed, n) for n in numbers)
        rows += pair_rows([pair for pair in pairs if pair is not None], rng)
    print(tables.as_table(rows))
    if asked.write:
        tables.write("lines", rows)


# --- scores ------------------------------------------------------------------------------------


def render_scores(seed: int, number: int) -> tuple[list[FaceScore], NDArray]:
    """Return the scores of a render's faces, and the (2,) counts of px that the whole grader calls crack: off the true
    stones, and in all."""
    _one_thread()
    drawn = drawn_photo(seed, number, HELD_OUT)
    by_grader = skeletonize(ours.grade(drawn.rgb, drawn.mm_per_px).cracks)
    off = np.array([(by_grader & (drawn.pieces == 0)).sum(), by_grader.sum()])
    naive = yardstick.grade(drawn.rgb).cracks
    scores = []
    for stone, face in faces_of(drawn):
        x, y, w, h = stone.box
        scores.append(score(face, naive[y : y + h, x : x + w] & face.mask))
    return scores, off


def photograph_scores(folder: Path, name: str) -> tuple[list[FaceScore], NDArray]:
    """Return the score of one photograph in the same form."""
    _one_thread()
    face = photographed_face(folder, name)
    return [score(face, yardstick.grade(face.rgb, whole=True).cracks)], np.zeros(2, int)


def score(face: KnownFace, naive: NDArray[np.bool_]) -> FaceScore:
    """Return how every way fares on one face; ``naive``: what the yardstick calls there."""
    profile, shape = load_profile(), face.mask.shape
    photo = Photo("face", face.rgb, srgb_encoding(), "")
    cut = cut_face(photo, _piece(face.mask), no_reference(photo))
    regions = find_regions(cut, find_glare(cut), profile)
    lines = line_facts(find_cracks(cut, regions), cut, regions, profile)
    called = [line for line in lines if line.kind == "crack"]
    doubted = [line for line in lines if line.kind in ("crack", "uncertain")]
    paths = {id(line): cut.to_photo_px(line.points) - 0.5 for line in lines}

    def drawn(chosen):
        layer = np.zeros(shape, np.uint8)
        for line in chosen:
            width = max(1, round(line.width_px / cut.px_per_photo_px))
            cv2.polylines(layer, [np.rint(paths[id(line)]).astype(np.int32)], False, 1, width)
        return layer > 0

    called_mask, in_doubt = drawn(called), drawn(doubted)
    other_mask = drawn([line for line in lines if line.kind != "crack"])
    lightness = lightness_of_face(face)
    ways = {
        "ours": called_mask,
        WITH_UNCERTAIN: in_doubt,
        "ridge filter": crack_methods.ridge_lines(lightness, face.mask),
        "oriented filters": crack_methods.oriented_lines(lightness, face.mask),
        "yardstick": naive,
    }
    counts = {
        way: {t: metrics.line_counts(answer, face.cracks, t, face.faint) for t in TOLERANCES_PX}
        for way, answer in ways.items()
    }
    length_px = sum(line.length_px for line in called) / cut.px_per_photo_px
    doubted_px = sum(line.length_px for line in doubted) / cut.px_per_photo_px
    sound = sound_stone(cut.mask, lines, None, profile.ovals_mm)
    return FaceScore(
        lines=counts,
        others=_others(face, called_mask, other_mask),
        wrong=_wrong(face, called_mask),
        chances=_chances(face, [(line.probability, paths[id(line)]) for line in lines]),
        left_alone=doubted_px < LEFT_ALONE * np.sqrt(face.mask.sum()) if face.sound else None,
        length=_length(face, length_px),
        largest=(sound.largest.value, _largest(face)) if face.known else None,
    )


def pair_counts(seed: int, number: int) -> NDArray | None:
    """Return the counts of a stone's lines by the wet photo alone and by the pair, (2, cuts, 4); ``None`` where the
    stone is too small.

    The dried photo is the same stone in the same light at another exposure, but wet along the lines that hold water.
    """
    _one_thread()
    wet, dry = (
        render_photo(
            np.random.default_rng([seed, number, 7]), HELD_OUT, width_px=700, height_px=525, stones=1, kind="slab",
            state=state, cracks=2, healed=2, fill=0.45, glare=False, finger=False,
        )
        for state in ("wet", "dry")
    )  # fmt: skip
    rng = np.random.default_rng([seed, number, 8])
    holding = np.zeros(wet.cracks.shape, np.uint8)
    for line in wet.lines:
        if rng.random() < (HOLDS if line.kind == "crack" else HOLDS_BY_CHANCE):
            width = round(line.width_px) + 2
            cv2.polylines(holding, [np.rint(line.points).astype(np.int32)], False, 1, width)
    half_dried = np.where(holding[..., None] > 0, wet.rgb, dry.rgb) * rng.uniform(0.85, 1.1)
    faces = faces_of(wet)
    if not faces:
        return None
    (stone, face), profile = faces[0], load_profile()
    x, y, w, h = stone.box
    dried = np.rint(half_dried[y : y + h, x : x + w]).clip(0, 255).astype(np.uint8)
    piece = _piece(face.mask)
    first, other = (
        see_face(cut_face(photo, piece, no_reference(photo)), profile, photo.name)
        for photo in (
            Photo("wet", face.rgb, srgb_encoding(), ""),
            Photo("dry", dried, srgb_encoding(), ""),
        )
    )
    pair = drying_pair(first, other, Alignment(np.eye(3), 0.0), one_white=False)
    lines = find_cracks(first.face, first.regions)
    return np.array(
        [
            [_counts_from(cut, ways, first.face, face) for cut in CUTS]
            for ways in (lines, with_drying(lines, pair))
        ]
    )


def _counts_from(cut: float, lines, working_face, face: KnownFace) -> NDArray:
    drawn = np.zeros(face.mask.shape, np.uint8)
    for line in lines:
        if line.probability >= cut:
            path = working_face.to_photo_px(line.points) - 0.5
            cv2.polylines(drawn, [np.rint(path).astype(np.int32)], False, 1)
    return metrics.line_counts(drawn, face.cracks, 2, face.faint)


def _others(
    face: KnownFace, called_mask: NDArray[np.bool_], calm: NDArray[np.bool_]
) -> dict[str, NDArray]:
    """Counts of px called crack; of healed ones also those told as pattern, contact or uncertain, last."""
    if not face.known:
        return {}
    lines = {
        HEALED: skeletonize(face.pattern),
        "band borders": skeletonize(face.borders),
        "straight joints, print, ruler ticks and saw marks": face.drawn(*STRAIGHT),
        "hairs, pencil, scratches and all else that lies on a stone": face.drawn(),
    }
    counts = {
        name: metrics.called_counts(called_mask, layer, face.cracks, 2, APART_PX)
        for name, layer in lines.items()
    }
    as_pattern = metrics.called_counts(calm & ~called_mask, lines[HEALED], face.cracks, 2, APART_PX)
    return counts | {AS_PATTERN: as_pattern}


def _wrong(face: KnownFace, called_mask: NDArray[np.bool_]) -> dict[str, NDArray]:
    if not face.known:
        return {}
    depth = cv2.distanceTransform(np.pad(face.mask.view(np.uint8), 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    layers = {
        "the outline": depth <= OUTLINE_PX,
        "straight joints, print, ruler ticks and saw marks": face.drawn(*STRAIGHT),
    }
    return {
        name: metrics.wrong_px_on(called_mask, layer, face.cracks, APART_PX, face.faint)
        for name, layer in layers.items()
    }


def _chances(face: KnownFace, lines: list[tuple[float, NDArray]]) -> NDArray:
    """Probability of each line and whether most of it lies within 5 px of a true crack; without those that lie on what
    is too faint to see."""
    near, faint = (_near(layer, APART_PX) for layer in (face.cracks, face.faint))
    chances = []
    for probability, path in lines:
        at = _every_px(path)
        if _share_on(faint & ~near, at) < 0.5:
            chances.append((probability, _share_on(near, at) > 0.5))
    return np.array(chances, float).reshape(-1, 2)


def _length(face: KnownFace, called_px: float) -> tuple[float, float] | None:
    """Length called and length of the drawn cracks as far as they can be seen; ``None`` without either."""
    near_crack = _near(face.cracks, 1.5)
    true = sum(
        metrics.polyline_px(at := _every_px(line.points), _value_at(near_crack, at))
        for line in face.lines
        if line.kind == "crack"
    )
    return (called_px, true) if called_px > 0 and true > 0 else None


def _largest(face: KnownFace) -> float:
    """Share of the largest part into which the drawn cracks divide the face, seen or not."""
    layer = np.zeros(face.mask.shape, np.uint8)
    for line in face.lines:
        if line.kind == "crack":
            cv2.polylines(layer, [np.rint(line.points).astype(np.int32)], False, 1)
    return metrics.largest_part(face.mask, layer > 0)


def _near(layer: NDArray[np.bool_], px: float) -> NDArray[np.bool_]:
    if not layer.any():
        return layer
    return cv2.distanceTransform((~layer).astype(np.uint8), cv2.DIST_L2, 5) <= px


def _every_px(path: NDArray) -> NDArray[np.float64]:
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    stops = np.linspace(0, along[-1], int(np.ceil(along[-1])) + 2)
    return np.stack([np.interp(stops, along, path[:, axis]) for axis in (0, 1)], axis=1)


def _value_at(layer: NDArray, points: NDArray) -> NDArray:
    x, y = np.rint(points).astype(int).T
    h, w = layer.shape
    return layer[y.clip(0, h - 1), x.clip(0, w - 1)] & (x >= 0) & (y >= 0) & (x < w) & (y < h)


def _share_on(layer: NDArray[np.bool_], points: NDArray) -> float:
    return float(_value_at(layer, points).mean())


def _piece(mask: NDArray[np.bool_]) -> Piece:
    padded = np.pad(mask.view(np.uint8), 1)
    contours, _ = cv2.findContours(padded, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=cv2.contourArea)[:, 0].astype(np.float32) - 0.5
    h, w = mask.shape
    if mask.all():
        outline = np.array([(0, 0), (w, 0), (w, h), (0, h)], np.float32)
    return Piece(1, (0, 0, w, h), outline)


def _one_thread() -> None:
    cv2.setNumThreads(1)
    threadpool_limits(1)


# --- rows --------------------------------------------------------------------------------------


def render_rows(scored: list, rng: np.random.Generator) -> list[Row]:
    """Return every row that drawn truth gives."""
    rows = line_rows(scored, RENDERS, rng)

    def add_row(name, unit, of_face, value, decimals=3, floor=""):
        groups = [
            np.array([got for face in faces if (got := of_face(face)) is not None])
            for faces, _ in scored
        ]
        row = _row(name, RENDERS, unit, groups, value, rng, decimals, floor)
        rows.extend([row] if row else [])

    add_row(
        f"{HEALED} that an eye sees told as pattern line, contact or uncertain, share of their px",
        "faces",
        lambda f: f.others[AS_PATTERN],
        _pooled,
        3,
        "≥ 0.80",
    )
    for name in scored[0][0][0].others if scored[0][0] else ():
        if name == AS_PATTERN:
            continue
        floor = {HEALED: "≤ 0.05", "band borders": "≤ 0.01"}.get(name, "")
        add_row(
            f"{name} called crack, share of their px",
            "faces",
            lambda f, n=name: f.others[n],
            _pooled,
            4,
            floor,
        )
    for name in scored[0][0][0].wrong if scored[0][0] else ():
        add_row(
            f"px called crack that are wrong and lie on {name}, share",
            "faces",
            lambda f, n=name: f.wrong[n],
            _pooled,
            4,
            "0",
        )
    add_row(
        "sound stones left alone, share",
        "sound stones",
        lambda f: f.left_alone,
        np.mean,
        3,
        "≥ 0.95",
    )
    add_row(
        "length of cracks, median error of a face, %",
        "faces",
        lambda f: f.length,
        _length_error,
        1,
        "≤ 8",
    )
    add_row("largest part, mean error, points", "faces", lambda f: f.largest, _points_off, 1, "≤ 4")
    add_row(
        "largest part of faces that cracks divide, mean error, points",
        "faces",
        lambda f: f.largest if f.largest[1] < 0.98 else None,
        _points_off,
        1,
        "≤ 4",
    )
    chances = [np.concatenate([f.chances for f in faces]) for faces, _ in scored if faces]
    rows.append(
        _row(
            "chances of lines, expected calibration error over ten bins", RENDERS, "lines", chances,
            lambda r: metrics.calibration_error(r[:, 0], r[:, 1]), rng, 3, "≤ 0.06",
        )
    )  # fmt: skip
    off = [counts[None] for _, counts in scored]
    rows.append(
        _row(
            "px called crack off the stones (ruler, card, shadow, ground), share", "held-out renders",
            "photos", off, _pooled, rng, 4, "0",
        )
    )  # fmt: skip
    return [row for row in rows if row]


def line_rows(
    scored: list, measured_on: str, rng: np.random.Generator, concrete: bool = False
) -> list[Row]:
    """Return precision, recall and F1 on centre-lines at both tolerances, the other ways beside ours."""
    rows = []
    for tolerance in TOLERANCES_PX:
        for part, name in enumerate(("precision", "recall", "F1")):

            def counts(way, tolerance=tolerance):
                return [np.array([f.lines[way][tolerance] for f in faces]) for faces, _ in scored]

            def value(r, part=part):
                return metrics.precision_recall_f1(r)[part]

            others = {way: f"{value(_joined(counts(way))):.2f}" for way in OTHER_WAYS}
            yardstick_text = (
                f"{others.pop('yardstick')} ({', '.join(f'{w} {v}' for w, v in others.items())})"
            )
            floor = ""
            if part == 2 and tolerance == 2 and (concrete or measured_on == RENDERS):
                floor = "≥ 0.75" if concrete else "≥ 0.88"
            row = _row(
                f"cracks alone, {name} at {tolerance} px", measured_on, "faces", counts("ours"),
                value, rng, 3, floor,
            )  # fmt: skip
            rows.append(row and dataclasses.replace(row, yardstick=yardstick_text))
            rows.append(
                _row(
                    f"{WITH_UNCERTAIN}, {name} at {tolerance} px", measured_on, "faces",
                    counts(WITH_UNCERTAIN), value, rng, 3, "",
                )
            )  # fmt: skip
    return [row for row in rows if row]


def pair_rows(pairs: list[NDArray], rng: np.random.Generator) -> list[Row]:
    """Return the recall of wet and dried photos at the precision that the wet ones alone have."""
    if not pairs:
        return []
    groups = [pair[None] for pair in pairs]
    precision, recall = _alone(np.concatenate(groups))
    row = _row(
        f"cracks with a dried photo too, recall at 2 px at a precision of {precision:.2f}",
        "wet held-out slabs, each dried but for lines that hold water", "pairs", groups,
        _recall_of_pairs, rng, 3, "above the wet photo alone",
    )  # fmt: skip
    return [dataclasses.replace(row, yardstick=f"{recall:.3f} (the wet photo alone)")]


def _alone(counts: NDArray) -> tuple[float, float]:
    at = int(np.argmin(np.abs(CUTS - CRACK)))
    return metrics.precision_recall_f1(counts[:, 0, at])[:2]


def _recall_of_pairs(counts: NDArray) -> float:
    """The best recall of (n, 2, cuts, 4) counts whose precision is no less than that of the first way."""
    least, _ = _alone(counts)
    by_cut = [metrics.precision_recall_f1(counts[:, 1, k])[:2] for k in range(counts.shape[2])]
    return max((recall for precision, recall in by_cut if precision >= least), default=0.0)


def _row(name, measured_on, unit, groups, value, rng, decimals, floor) -> Row | None:
    """One row: the value over all groups, one a photo, and its range over photos drawn anew."""
    groups = [group for group in groups if len(group)]
    if not groups:
        return None
    low, high = metrics.resampled_range(groups, value, rng)
    rows = _joined(groups)
    return Row(
        name,
        measured_on,
        f"{len(rows)} {unit}",
        f"{value(rows):.{decimals}f}",
        f"{low:.{decimals}f} to {high:.{decimals}f}",
        floor,
    )


def _joined(groups: list[NDArray]) -> NDArray:
    return np.concatenate([group for group in groups if len(group)])


def _pooled(counts: NDArray) -> float:
    hits, total = np.sum(counts, axis=0)
    return float(hits / total) if total else float("nan")


def _length_error(pairs: NDArray) -> float:
    measured, true = pairs.T
    return float(100 * np.median(np.abs(measured - true) / true))


def _points_off(pairs: NDArray) -> float:
    return float(100 * np.mean(np.abs(pairs[:, 0] - pairs[:, 1])))


# --- speed -------------------------------------------------------------------------------------


def speed_row(rng: np.random.Generator) -> Row:
    """Return how long the detector alone takes on 12 megapixels, one stone filling half the frame, in R."""
    _one_thread()
    drawn = render_photo(
        np.random.default_rng([SEED, PHOTOS]), HELD_OUT, width_px=1000, height_px=750, stones=1, fill=0.75,
    )  # fmt: skip
    data = np.frombuffer(twelve_megapixels(drawn.rgb, rng), np.uint8)
    rgb = np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])
    mask = (
        cv2.resize((drawn.pieces == 1).view(np.uint8), PHOTO_SIZE, interpolation=cv2.INTER_NEAREST)
        > 0
    )
    photo = Photo("face", rgb, srgb_encoding(), "")
    face = cut_face(photo, _cut_piece(mask), no_reference(photo))
    regions = find_regions(face, find_glare(face), load_profile())
    ways = (
        lambda: decoded_to_lab(data),
        lambda: find_cracks(face, regions),
    )
    for way in ways:
        way()
    seconds = np.array([[seconds_of(way) for way in ways] for _ in range(ROUNDS)])
    unit, ours_s = np.median(seconds, axis=0)
    by_round = seconds[:, 1] / seconds[:, 0]
    return Row(
        "cracks alone, 12 megapixels, R",
        f"one enlarged render, the stone on {mask.mean():.0%} of it, one thread",
        f"{ROUNDS} rounds",
        f"{ours_s / unit:.1f} (R = {unit:.2f} s)",
        f"{by_round.min():.1f} to {by_round.max():.1f} (all rounds)",
        "≤ 4 R",
    )


def _cut_piece(mask: NDArray[np.bool_]) -> Piece:
    x, y, w, h = cv2.boundingRect(mask.view(np.uint8))
    piece = _piece(mask[y : y + h, x : x + w])
    return Piece(1, (x, y, w, h), piece.outline + np.float32((x, y)))


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--cracks", type=Path, action="append", default=[], help="marked cracks")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--photos", type=int, default=PHOTOS, help="rendered photos")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--pairs", type=int, default=PAIRS, help="wet and dried photos")
    parser.add_argument("--speed", action="store_true", help="measure the time alone")
    parser.add_argument("--write", action="store_true", help="write figures/")
    args = parser.parse_args()
    if args.write and (args.seed, args.photos, args.pairs) != (SEED, PHOTOS, PAIRS):
        parser.error("--write is for the standing seed and number of photos alone")
    return args


if __name__ == "__main__":
    main()
