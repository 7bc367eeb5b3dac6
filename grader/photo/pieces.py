"""Where the stones lie in a photo.

The network looks twice: once at the whole photo to find the stones, once closer at each of them to draw its outline.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.measures import Remark
from grader.photo.colour import lab_from_linear, linear_srgb, scaled_lab
from grader.photo.net import run_net, sigmoid
from grader.photo.photo import Photo
from grader.photo.shrink import shrunk

#: Long side of what the network reads, in px.
INPUT_PX = 512
#: The closer look takes in this much ground around a stone, as a share of its longer side.
MARGIN_SHARE = 0.15
# Settings found on tuning renders (seed 9100). Insides part where both rise this much above the level of the dent.
CORE_LEVELS, CORE_RISE = np.arange(0.1, 0.85, 0.06), 0.15
# Two parts meet along a seam of at most this share of the smaller one's diameter, else they are one stone.
SEAM_SHARE = 0.8
# The least stone as a share of the photo, and the least mean chance of being stone, from afar and close.
LEAST_AREA_SHARE, LEAST_CERTAINTY, LEAST_CERTAINTY_CLOSE = 0.0006, 0.65, 0.94
# A stone looks the same from afar and close: least overlap (intersection / union) of the two outlines.
LEAST_AGREEMENT = 0.35
# Two outlines are one stone where this share of the smaller lies in the larger, on a grid of so many px.
DOUBLE_SHARE, DOUBLES_PX = 0.5, 512
# An outline that takes this share of the photo is no stone cut out of it.
FILLING_SHARE = 0.95
# An outline of which this share is known to be no stone is none.
NO_STONE_SHARE = 0.5
# An outline is traced on a grid this many times finer, and thinned to this tolerance in px of the look.
FINER = 4
OUTLINE_TOLERANCE_PX = 0.2


@dataclass(frozen=True)
class Piece:
    """One stone in the photo.

    Attributes
    ----------
    id : 1, 2, 3 ... row by row from the top, left to right.
    box : x, y, w, h in whole px of the upright full-size photo.
    outline : ndarray of shape (n, 2), float32, x, y in px of that photo.
    cut_by_frame : the stone runs out of the photo.
    covered : outlines like that of what lies upon the stone, which is none of it: tags.
    """

    id: int
    box: tuple[int, int, int, int]
    outline: NDArray
    cut_by_frame: bool = False
    covered: tuple[NDArray, ...] = ()


def find_pieces(
    photo: Photo, no_stones: Sequence[NDArray] = ()
) -> tuple[tuple[Piece, ...], tuple[Remark, ...]]:
    """Return the stones of a photo, row by row from the top and left to right in a row, and what is to be said of them.

    no_stones : outlines, (n, 2) photo px each, of what is known to be none: of tags.

    A row ends where the next centre lies more than half a median height lower. A ruler, card, coin, hand or shadow
    is not a stone. No stone found is a remark, ``no_stone``, not an error.

    Raises
    ------
    ModelError
        The network's weights are missing or damaged.
    """
    outlines = [_closer_outline(photo, rough) for rough in _rough_outlines(photo)]
    outlines = [o for o in outlines if o is not None and not _fills(o, photo)]
    outlines = [o for o in outlines if sum(share_within(o, n) for n in no_stones) < NO_STONE_SHARE]
    outlines = _in_rows(_without_doubles(outlines))
    if not outlines:
        text = "no stone found; use a plain ground, or --whole if one face fills the picture"
        return (), (Remark("no_stone", text),)
    pieces = tuple(
        _piece(photo, number, outline) for number, outline in enumerate(outlines, start=1)
    )
    return pieces, ()


def share_within(outline: NDArray, other: NDArray) -> float:
    """Return which share of an outline's inside lies within another, (n, 2) x, y in px each, on a grid of its own."""
    corner = outline.min(axis=0)
    scale = DOUBLES_PX / max(1.0, float(np.ptp(outline, axis=0).max()))
    size = np.ceil(np.ptp(outline, axis=0) * scale).astype(int) + 1
    masks = np.zeros((2, *size[::-1]), np.uint8)
    for mask, points in zip(masks, (outline, other), strict=True):
        cv2.fillPoly(mask, [np.rint((points - corner) * scale).astype(np.int32)], 1)
    return float((masks[0] & masks[1]).sum() / max(1, masks[0].sum()))


def whole_photo(photo: Photo) -> tuple[tuple[Piece, ...], tuple[Remark, ...]]:
    """Return the whole picture as one piece: it is filled by one face, so nothing is cut out."""
    w, h = photo.width, photo.height
    outline = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    return (Piece(1, (0, 0, w, h), outline),), ()


def pieces_input(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return what the network reads: CIELAB of shape (h, w, 3), each channel brought near -1 to 1."""
    return scaled_lab(lab)


def _fills(outline: NDArray, photo: Photo) -> bool:
    """Whether an outline is all of the photo.

    Bare ground then looks like a face that fills it, so ``--whole`` is to say which it is.
    """
    return cv2.contourArea(outline) > FILLING_SHARE * photo.width * photo.height


def _rough_outlines(photo: Photo) -> list[NDArray]:
    """Outlines of all stones, from one look at the whole photo; (n, 2) photo px each."""
    scores, px_per_photo_px = _scores(photo, (0, 0, photo.width, photo.height))
    stone, depth = scores[..., 0] > 0, sigmoid(scores[..., 1])
    labels = _split_touching(stone, depth)
    least_px = max(30.0, LEAST_AREA_SHARE * stone.size)
    outlines = []
    for label in range(1, int(labels.max()) + 1):
        mask = labels == label
        if mask.sum() >= least_px and sigmoid(scores[..., 0][mask]).mean() >= LEAST_CERTAINTY:
            outlines.append(_contour(mask.astype(np.float32) - 0.5) / px_per_photo_px)
    return outlines


def _closer_outline(photo: Photo, rough: NDArray) -> NDArray | None:
    """The outline of one stone, from a closer look around its rough outline; ``None`` if it is none after all."""
    x0, y0 = rough.min(axis=0)
    x1, y1 = rough.max(axis=0)
    margin = MARGIN_SHARE * max(x1 - x0, y1 - y0) + 4
    left, top = max(0, int(x0 - margin)), max(0, int(y0 - margin))
    right, bottom = (
        min(photo.width, int(np.ceil(x1 + margin))),
        min(photo.height, int(np.ceil(y1 + margin))),
    )
    scores, px_per_photo_px = _scores(photo, (left, top, right - left, bottom - top))
    h, w = scores.shape[:2]
    near = np.zeros((h, w), np.uint8)
    cv2.fillPoly(near, [np.rint((rough - (left, top)) * px_per_photo_px).astype(np.int32)], 1)
    labels = _split_touching(scores[..., 0] > 0, sigmoid(scores[..., 1]))
    shares = np.bincount(labels[near > 0], minlength=2)
    shares[0] = 0
    if not shares.any():
        return None
    mine = labels == shares.argmax()
    if (mine & (near > 0)).sum() < LEAST_AGREEMENT * (mine | (near > 0)).sum():
        return None
    if sigmoid(scores[..., 0][mine]).mean() < LEAST_CERTAINTY_CLOSE:
        return None
    # Zero level of the score, held below zero where a neighbour or the ground begins.
    level = np.where(cv2.dilate(mine.astype(np.uint8), np.ones((3, 3))) > 0, scores[..., 0], -1)
    level[(labels > 0) & ~mine] = -1
    return _contour(level) / px_per_photo_px + np.float32((left, top))


def _without_doubles(outlines: list[NDArray]) -> list[NDArray]:
    """The outlines, largest first, without those that lie half or more in a larger one.

    Two rough outlines of one stone may end in the same closer one.
    """
    kept: list[NDArray] = []
    taken = np.zeros((DOUBLES_PX, DOUBLES_PX), np.uint8)
    span = max((float(outline.max()) for outline in outlines), default=1.0) or 1.0
    for outline in sorted(outlines, key=lambda o: -cv2.contourArea(o)):
        mask = np.zeros_like(taken)
        cv2.fillPoly(mask, [np.rint(outline / span * (DOUBLES_PX - 1)).astype(np.int32)], 1)
        if (mask & taken).sum() < DOUBLE_SHARE * mask.sum():
            kept.append(outline)
            taken |= mask
    return kept


def _scores(photo: Photo, box: tuple[int, int, int, int]) -> tuple[NDArray, float]:
    """The network's scores for a box of the photo, shape (h, w, 2), and their px per photo px."""
    x, y, w, h = box
    cut = photo.rgb[y : y + h, x : x + w]
    factor = min(1.0, INPUT_PX / max(w, h)) if max(w, h) > INPUT_PX else INPUT_PX / max(w, h)
    size = (max(8, round(w * factor)), max(8, round(h * factor)))
    small = (
        shrunk(cut, size) if factor < 1 else cv2.resize(cut, size, interpolation=cv2.INTER_LINEAR)
    )
    return run_net(
        "pieces", pieces_input(lab_from_linear(linear_srgb(small, photo.encoding)))
    ), factor


def _split_touching(stone: NDArray, depth: NDArray) -> NDArray:
    """Label stones 1, 2, 3 ... where their insides are apart; every stone pixel goes to the nearest inside."""
    cores = _cores(stone, depth)
    if cores.max() <= 1:
        return np.where(stone, int(cores.max()), 0)
    _, nearest = cv2.distanceTransformWithLabels(
        (cores == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    core_of_label = np.zeros(int(nearest.max()) + 1, np.int32)
    core_of_label[nearest[cores > 0]] = cores[cores > 0]
    return _rejoined(np.where(stone, core_of_label[nearest], 0))


def _rejoined(labels: NDArray[np.int32]) -> NDArray[np.int32]:
    """Labels 1, 2, 3 ..., of which two are one again where they meet along too wide a seam.

    Stones touch at a narrow place, the parts of one stone along a broad one.
    """
    count = int(labels.max()) + 1
    across, along = (
        _meetings(labels[:, :-1], labels[:, 1:], count),
        _meetings(labels[:-1], labels[1:], count),
    )
    # A straight seam of length l steps l |cos| times one way and l |sin| times the other.
    seam_px = np.hypot(across, along)
    home = np.arange(count)
    diameter_px = 2 * np.sqrt(np.bincount(labels.ravel(), minlength=count) / np.pi)
    for a, b in np.argwhere(seam_px > 0):
        if seam_px[a, b] > SEAM_SHARE * min(diameter_px[a], diameter_px[b]):
            home[home == home[b]] = home[a]
    return _renumbered(home[labels])


def _meetings(ones: NDArray, others: NDArray, count: int) -> NDArray[np.int64]:
    """How often label a (row) lies beside label b (column, a < b), shape (count, count); ground is left out."""
    low, high = np.minimum(ones, others), np.maximum(ones, others)
    meet = (low != high) & (low > 0)
    return np.bincount(low[meet] * count + high[meet], minlength=count * count).reshape(
        count, count
    )


def _cores(stone: NDArray, depth: NDArray) -> NDArray[np.int32]:
    """Label the insides of stones 1, 2, 3 ...

    An island of stone is parted, as the level rises, wherever two parts both rise well above the level at which they
    part.
    """
    count, cores = cv2.connectedComponents(stone.astype(np.uint8))
    for level in CORE_LEVELS:
        high = (depth > level) & stone
        found, parts = cv2.connectedComponents(high.astype(np.uint8))
        home = np.zeros(found, np.int32)
        home[parts[high]] = cores[high]
        peaks = parts[high & (depth >= level + CORE_RISE)]
        rising = np.flatnonzero(np.bincount(peaks, minlength=found))
        for core in np.unique(home[rising]):
            within = rising[home[rising] == core]
            if core and len(within) > 1:
                cores[cores == core] = 0
                for part in within:
                    cores[parts == part] = count
                    count += 1
    return _renumbered(cores)


def _renumbered(labels: NDArray[np.int32]) -> NDArray[np.int32]:
    """The labels that occur as 1, 2, 3 ...; 0 stays, also where no pixel has it."""
    number = np.zeros(int(labels.max()) + 1, np.int32)
    present = np.unique(labels[labels > 0])
    number[present] = np.arange(1, len(present) + 1)
    return number[labels]


def _contour(level: NDArray) -> NDArray:
    """The longest zero contour of a field that is above 0 inside; (n, 2) x, y, where pixel (0, 0) spans 0 to 1."""
    x, y, w, h = cv2.boundingRect((level > 0).view(np.uint8))
    # What is above 0 with the px around it: no more is needed of a picture in which many stones lie.
    left, top = max(0, x - 2), max(0, y - 2)
    level = np.ascontiguousarray(level[top : y + h + 2, left : x + w + 2], np.float32)
    fine = cv2.resize(level, None, fx=FINER, fy=FINER, interpolation=cv2.INTER_LINEAR)
    contours, _ = cv2.findContours(
        (fine > 0).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    longest = cv2.approxPolyDP(
        max(contours, key=cv2.contourArea), FINER * OUTLINE_TOLERANCE_PX, closed=True
    )
    corner = np.float32((left * FINER, top * FINER))
    return (longest[:, 0].astype(np.float32) + corner + 0.5) / FINER


def _in_rows(outlines: list[NDArray]) -> list[NDArray]:
    """Outlines row by row from the top, left to right.

    A row ends where a centre lies more than half a median height below the row's first centre.
    """
    spans = [(o.min(axis=0), o.max(axis=0)) for o in outlines]
    half_height = np.median([high[1] - low[1] for low, high in spans]) / 2 if outlines else 0
    centres = [(low + high) / 2 for low, high in spans]
    rows: list[list[int]] = []
    for place in sorted(range(len(outlines)), key=lambda i: centres[i][1]):
        if not rows or centres[place][1] - centres[rows[-1][0]][1] > half_height:
            rows.append([])
        rows[-1].append(place)
    return [outlines[i] for row in rows for i in sorted(row, key=lambda i: centres[i][0])]


def _piece(photo: Photo, number: int, outline: NDArray) -> Piece:
    outline = np.clip(outline, 0, (photo.width, photo.height)).astype(np.float32)
    x0, y0 = np.floor(outline.min(axis=0)).astype(int)
    x1, y1 = np.ceil(outline.max(axis=0)).astype(int)
    edge = 0.004 * max(photo.width, photo.height)
    cut = min(x0, y0, photo.width - x1, photo.height - y1) <= edge
    return Piece(number, (int(x0), int(y0), int(x1 - x0), int(y1 - y0)), outline, bool(cut))
