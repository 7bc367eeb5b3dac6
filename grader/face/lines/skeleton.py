"""Middle lines of masks: thinning to one px, and the lines as ordered paths."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

# The eight neighbours in turn, from above, clockwise: (row, col).
_AROUND = ((-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1))
_BITS = (np.arange(256)[:, None] >> np.arange(8)) & 1
_COUNT = _BITS.sum(axis=1)
_SIDES, _DIAGONALS = _BITS[:, 0::2].astype(bool), _BITS[:, 1::2].astype(bool)
# How many 8-joined parts lie around the px (Yokoi): with one, nothing falls apart without it.
_PARTS = (~_SIDES & (_DIAGONALS | np.roll(_SIDES, -1, axis=1))).sum(axis=1)


def _deletable(step: int) -> NDArray[np.bool_]:
    """By neighbour code, (256,): whether step 0 or 1 deletes the px.

    Guo & Hall 1989, Comm. ACM 32(3):359-373, from memory.
    """
    pairs = [(np.roll(_DIAGONALS, k, axis=1) | _SIDES).sum(axis=1) for k in (0, 1)]
    ends = np.minimum(*pairs)
    n, ne, e, se, s, sw, w, nw = (_BITS[:, i].astype(bool) for i in range(8))
    kept = (s | sw | ~nw) & w if step == 0 else (n | ne | ~se) & e
    return (_PARTS == 1) & (ends >= 2) & (ends <= 3) & ~kept


_STEPS = (_deletable(0), _deletable(1))
# A px that only rounds a corner of a stair: its neighbours stay joined without it.
_CORNER = (_PARTS == 1) & (_COUNT >= 2) & (_SIDES & np.roll(_SIDES, -1, axis=1)).any(axis=1)
_SQUARE = np.ones((3, 3), np.uint8)


def thin(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the middle lines of a mask, (h, w), one px wide, joined as the mask is.

    The px are scikit-image's ``thin``, but for the order of the two steps and stairs (tests/face/test_scikit_image.py).
    """
    padded = np.pad(mask, 1).view(np.uint8)
    flat, stride = padded.ravel(), padded.shape[1]
    deleted = True
    while deleted:
        deleted = False
        for table in _STEPS:
            # Only px at the border can go; the frame of zeros keeps neighbours inside the array.
            border = np.flatnonzero((padded & ~cv2.erode(padded, _SQUARE)).view(bool))
            gone = border[table[_codes(flat, border, stride)]]
            flat[gone] = 0
            deleted |= len(gone) > 0
    places = np.flatnonzero(flat.view(bool))
    # Stairs keep two px per step; px of one parity are no neighbours, so each lot may go at once.
    parity = places // stride % 2 * 2 + places % stride % 2
    for lot in range(4):
        here = places[parity == lot]
        flat[here[_CORNER[_codes(flat, here, stride)]]] = 0
    return padded[1:-1, 1:-1].astype(bool)


def _codes(flat: NDArray, places: NDArray, stride: int) -> NDArray[np.uint8]:
    """Neighbour codes of the px at these places, (n,), of a mask laid out flat with rows of ``stride`` px."""
    codes = np.zeros(len(places), np.uint8)
    for bit, (row, col) in enumerate(_AROUND):
        codes |= flat[places + (row * stride + col)] << np.uint8(bit)
    return codes


@dataclass(frozen=True)
class Path:
    """Ordered points (n, 2) of x, y, and whether nothing joins on at its first and last end (``free``)."""

    points: NDArray
    free: tuple[bool, bool]


@dataclass
class _Branch:
    """Points x, y in order; the junction at its first and last point, 0 for a free end."""

    points: NDArray
    nodes: list[int]


def paths(
    skeleton: NDArray[np.bool_], spur_px: NDArray | float, reach_px: float, bend_deg: float = 45.0
) -> list[Path]:
    """Return the lines of a skeleton, each going straight on through junctions.

    Parameters
    ----------
    skeleton : ndarray of shape (h, w), bool, one px wide.
    spur_px : a branch with a free end and a junction, shorter than this at its junction, is
    dropped.
    reach_px : how far back from its end the direction of a branch is taken.
    bend_deg : two branches are one line where they meet at this bend or less.
    """
    found, junctions = _branches(skeleton)
    spur = np.broadcast_to(spur_px, skeleton.shape)
    kept = []
    for branch in found:
        if (branch.nodes[0] == 0) != (branch.nodes[1] == 0):
            x, y = branch.points[-1 if branch.nodes[1] else 0]
            if len(branch.points) < spur[int(y), int(x)]:
                continue
        kept.append(branch)
    # A junction that lost its other branches is no longer one: what is left ends there.
    uses = np.bincount(
        [node for branch in kept for node in branch.nodes], minlength=len(junctions) + 1
    )
    for branch in kept:
        branch.nodes = [node if uses[node] > 1 else 0 for node in branch.nodes]
    return _joined(kept, junctions, reach_px, bend_deg)


def _branches(skeleton: NDArray[np.bool_]) -> tuple[list[_Branch], NDArray]:
    """Return the pieces between junctions and ends, and the junctions' places, x, y; the first is unused."""
    padded = np.pad(skeleton, 1).view(np.uint8)
    flat, stride = padded.ravel(), padded.shape[1]
    places = np.flatnonzero(flat.view(bool))
    neighbours = _COUNT[_codes(flat, places, stride)]
    nodes = np.zeros(padded.shape, np.uint8)
    nodes.ravel()[places[neighbours >= 3]] = 1
    _, node_of, _, centres = cv2.connectedComponentsWithStats(nodes, connectivity=8)
    node_of = cv2.dilate(node_of.astype(np.float32), np.ones((3, 3), np.uint8)).astype(np.int32)
    lines = padded & (1 - nodes)
    contours, _ = cv2.findContours(lines, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    branches = []
    for contour in contours:
        points = _once(contour[:, 0, :])
        ends = [int(node_of[y, x]) for x, y in (points[0], points[-1])]
        if len(points) == 1 and ends[0] == 0:
            continue
        branches.append(_Branch(points - 1, ends))
    return branches, centres - 1


def _once(contour: NDArray) -> NDArray:
    """Return a contour's points once, (m, 2): round a line one px wide it passes each of them going and coming."""
    n = len(contour)
    if n <= 2:
        return contour
    # At an end of the line the contour turns round: the points before and after are the same.
    ring = np.vstack([contour[-1:], contour, contour[:1]])
    turns = np.flatnonzero((ring[:-2] == ring[2:]).all(axis=1))
    if len(turns) < 2:
        return np.vstack([contour, contour[:1]])
    return contour[turns[0] : turns[1] + 1]


def _joined(
    branches: list[_Branch], junctions: NDArray, reach_px: float, bend_deg: float
) -> list[Path]:
    """Join the branches that go straight on through a junction."""
    partner = _partners(branches, junctions, reach_px, bend_deg)
    used: set[int] = set()
    lines = []
    # Chains start at an end without a partner; what is left over then are closed rings.
    starts = [(i, s) for i in range(len(branches)) for s in (0, 1) if (i, s) not in partner]
    starts += [(i, 0) for i in range(len(branches))]
    for start in starts:
        if start[0] not in used:
            lines.append(_chain(branches, junctions, partner, start, used))
    return lines


def _partners(
    branches: list[_Branch], junctions: NDArray, reach_px: float, bend_deg: float
) -> dict[tuple[int, int], tuple[int, int]]:
    """Return which ends go on in each other at a junction: the straightest first.

    An end is the number of its branch, and 0 for its first point or 1 for its last.
    """
    ends: dict[int, list[tuple[int, int]]] = {}
    for i, branch in enumerate(branches):
        for side in (0, 1):
            if branch.nodes[side]:
                ends.setdefault(branch.nodes[side], []).append((i, side))
    partner: dict[tuple[int, int], tuple[int, int]] = {}
    for node, here in ends.items():
        inward = {
            end: _inward(branches[end[0]].points, end[1], junctions[node], reach_px) for end in here
        }
        limit = np.cos(np.radians(180 - (90 if len(here) == 2 else bend_deg)))
        pairs = sorted(
            (float(inward[a] @ inward[b]), a, b) for k, a in enumerate(here) for b in here[k + 1 :]
        )
        for cosine, a, b in pairs:
            if cosine <= limit and a not in partner and b not in partner:
                partner[a], partner[b] = b, a
    return partner


def _inward(points: NDArray, side: int, junction: NDArray, reach_px: float) -> NDArray:
    """Unit direction from the junction into the branch."""
    branch = points if side == 0 else points[::-1]
    step = branch[min(len(branch) - 1, int(reach_px))] - junction
    return step / max(float(np.hypot(*step)), 1e-9)


def _chain(branches, junctions, partner, start: tuple[int, int], used: set[int]) -> Path:
    parts = []
    free = [branches[start[0]].nodes[start[1]] == 0, False]
    end = start
    while end is not None and end[0] not in used:
        index, side = end
        used.add(index)
        branch = branches[index]
        parts.append(branch.points if side == 0 else branch.points[::-1])
        free[1] = branch.nodes[1 - side] == 0
        end = partner.get((index, 1 - side))
        if end is not None:
            parts.append(junctions[branch.nodes[1 - side]][None])
    return Path(np.vstack(parts).astype(np.float64), (free[0], free[1]))
