"""Lines on the face as polylines, each with how likely it is a crack.

A small network says of every pixel how likely it lies on an open crack, on a pattern line (healed crack, growth seam,
contact) and on the border of a band; the chances of lines are traced and joined over small gaps. What a line is called
follows from its whole length (``evidence``, ``naming``).
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.errors import ModelError
from grader.face.face import Face
from grader.face.lines.evidence import FaceSurround, evidence, face_surround
from grader.face.lines.naming import kind_at, line_model, seen
from grader.face.lines.polyline import (
    across,
    at_px,
    length_px,
    resample,
    smooth,
    tangents,
    width_at_half,
)
from grader.face.lines.skeleton import paths, thin
from grader.face.measurements import Line, Regions
from grader.photo.colour import scaled_lab
from grader.photo.net import run_probabilities

#: The network's outputs, in their order.
NAMES = ("no line", "crack", "pattern line", "band border", "stray line")
#: The network knows lines of up to 5 px; a second look at half the size sees those of up to 10, where the first sees
#: nothing within this many px. Set on lines drawn 2 to 10 px wide, as the next.
FAR_PX = 7
#: From this chance of a crack on the second look speaks.
SURE = 0.8
#: Where the second look says more than this, the first sees nothing.
NOTHING = 0.65
#: A line begins where its chance passes this: low, since its name settles what is told (notes/024),
STRONG = 0.35
#: and goes on down to this.
WEAK = 0.15
#: Lines are joined over gaps of at most this share of the width.
GAP_SHARE = 0.04
#: And where their ends pass each other by so many px at most.
PASSING_PX = 6
#: Lines that are linked, at most.
MOST_LINES = 250
#: Least length of a line, share of the face's width,
LEAST_LENGTH_SHARE = 0.02
#: and in working px.
LEAST_LENGTH_PX = 8
#: A line that lies with this share of its length
SAME_SHARE = 0.7
#: within so many px of a longer one is that one.
SAME_PX = 4
#: How far to both sides of a line its profile is taken, in working px.
PROFILE_PX = 10


def find_cracks(face: Face, regions: Regions) -> tuple[Line, ...]:
    """Return the lines of the face, longest first, each with the probability that it is a crack.

    Raises
    ------
    ModelError
        The network's weights are missing or damaged.
    """
    lines, surround = traced_lines(face, regions)
    if not lines:
        return ()
    table = evidence(lines, surround)
    named = [
        (points, kind, chances)
        for points, chances, shows in zip(
            lines, line_model().chances(table), seen(table), strict=True
        )
        if shows and (kind := kind_at(*chances)) is not None
    ]
    named = sorted(named, key=lambda one: -length_px(one[0]))
    told = _apart([points for points, _, _ in named], face.mask.shape)
    found = [_line(*named[k], face.lab[..., 0]) for k in told]
    return tuple(sorted(found, key=lambda line: -line.length_px))


def traced_lines(face: Face, regions: Regions) -> tuple[list[NDArray], FaceSurround | None]:
    """Return whatever may be a line of the face, points (n, 2) one px apart, and what lines are held against.

    Raises
    ------
    ModelError
        The network's weights are missing or damaged.
    """
    width = 2 * float(np.sqrt(face.mask.sum() / np.pi))
    inside = _inside(face.mask, width)
    if np.count_nonzero(inside) < 100:
        return [], None
    near, far = _look(face, 1.0), _look(face, 0.5)
    lines = _traced(np.where(inside, _line_chance(near, far), 0), width)
    return lines, face_surround(face.lab, face.mask, regions.codes, near, far)


def cracks_input(lab: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return what the network reads, shape (h, w, 4): CIELAB near -1 to 1 and the mask; zero off the stone."""
    planes = np.zeros((4, *mask.shape), np.float32)
    np.copyto(planes[:3], scaled_lab(lab).transpose(2, 0, 1), where=mask)
    planes[3] = mask
    return planes.transpose(1, 2, 0)


def _line_chance(near: NDArray[np.float32], far: NDArray[np.float32]) -> NDArray[np.float32]:
    """Chance of a crack or a pattern line, (h, w), of the looks at full and at half the size, (h, w, 5) each.

    The look at half the size speaks only where the one at full size sees nothing near, for it is blunter.
    """
    line = near[..., 1] + near[..., 2]
    sure = far[..., 1] > SURE
    if not sure.any():
        return line
    nearby = cv2.dilate(line, np.ones((2 * FAR_PX + 1, 2 * FAR_PX + 1)))
    wide = (nearby < NOTHING) & sure
    return np.where(wide, np.maximum(line, far[..., 1]), line)


def _look(face: Face, factor: float) -> NDArray[np.float32]:
    """Chances of ``NAMES``, shape (h, w, 5), seen at that share of the working size."""
    h, w = face.mask.shape
    size = (max(8, round(w * factor)), max(8, round(h * factor)))
    lab, mask = face.lab, face.mask
    if factor < 1:
        lab = cv2.resize(lab, size, interpolation=cv2.INTER_AREA)
        mask = cv2.resize(mask.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    chances = run_probabilities("cracks", cracks_input(lab, mask))
    if chances.shape[-1] != len(NAMES):
        raise ModelError(
            "cracks.onnx: the weights are of another version of the tool; install it again, or rebuild them with "
            "python -m grader.train learn cracks"
        )
    return chances if factor == 1 else cv2.resize(chances, (w, h), interpolation=cv2.INTER_LINEAR)


def rim_px(width: float) -> float:
    """Width of the rim, in working px, in which no line is looked for on a face that wide."""
    return max(0.012 * width, 4)


def _inside(mask: NDArray, width: float) -> NDArray[np.bool_]:
    """The face without its rim, where every surface turns dark or light."""
    framed = np.pad(mask.astype(np.uint8), 1)
    return cv2.distanceTransform(framed, cv2.DIST_L2, 3)[1:-1, 1:-1] > rim_px(width)


def _traced(chance: NDArray[np.float32], width: float) -> list[NDArray]:
    """Return the lines as paths: strong somewhere, joined over small gaps, and long enough."""
    skeleton = thin(chance > WEAK)
    count, labels = cv2.connectedComponents(skeleton.astype(np.uint8), connectivity=8)
    strong = np.bincount(labels[skeleton & (chance > STRONG)], minlength=count) >= 3
    strong[0] = False
    lines = [path.points for path in paths(strong[labels], 5, 8, 50) if len(path.points) >= 6]
    # In a rough host there may be thousands: the clearest are enough to link.
    lines = sorted(lines, key=lambda points: -float(at_px(chance, *points.T).sum()))[:MOST_LINES]
    least = max(LEAST_LENGTH_SHARE * width, LEAST_LENGTH_PX)
    linked = _linked(lines, GAP_SHARE * width)
    return [resample(smooth(p, 5)) for p in linked if length_px(smooth(p, 9)) >= least]


def _apart(lines: list[NDArray], shape: tuple[int, int]) -> list[int]:
    """Return which lines, longest first, are told: what lies on a longer one for most of its length is that one."""
    taken, told = np.zeros(shape, np.uint8), []
    for k, points in enumerate(lines):
        if at_px(taken, *points.T).mean() < SAME_SHARE:
            cv2.polylines(taken, [np.rint(points).astype(np.int32)], False, 1, 2 * SAME_PX + 1)
            told.append(k)
    return told


def _line(points: NDArray, kind: str, chances: NDArray, lightness: NDArray) -> Line:
    bent = cv2.approxPolyDP(points.astype(np.float32)[:, None], 1.0, False)[:, 0]
    # Up to here a point is the number of its px; from here on a px spans from there to the next.
    bent = bent + np.float32(0.5)
    crack, pattern = (float(chance) for chance in chances)
    return Line(
        bent,
        length_px(smooth(points, 9)),
        _width_px(points, lightness),
        kind,
        crack,
        pattern_chance=pattern,
    )


def _width_px(points: NDArray, lightness: NDArray) -> float:
    """Width at half depth, px, of the median profile of L*, (h, w), square to the line (n, 2); at least 1."""
    # OpenCV takes maps of fewer than 32768 rows: a long line is read at every nth point.
    every = slice(None, None, 1 + len(points) // 30_000)
    out = np.arange(-PROFILE_PX, PROFILE_PX + 1)
    x, y = across(points[every], tangents(smooth(points, 9))[every], out)
    profiles = cv2.remap(
        np.ascontiguousarray(lightness),
        x.astype(np.float32),
        y.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return max(1.0, width_at_half(np.median(profiles, axis=0)))


def _linked(lines: list[NDArray], reach_px: float) -> list[NDArray]:
    """Join lines that go on straight after a gap of at most ``reach_px``, nearest first."""
    if len(lines) < 2:
        return lines
    place = np.array([points[end] for points in lines for end in (0, -1)])
    back = np.array(
        [points[i] for points in lines for i in (min(8, len(points) - 1), max(-9, -len(points)))]
    )
    out = place - back
    out /= np.maximum(np.hypot(*out.T), 1e-9)[:, None]
    to = place[None] - place[:, None]
    distance = np.hypot(to[..., 0], to[..., 1])
    ahead = np.einsum("ijk,ik->ij", to, out)
    # Ends that pass each other a little are one line that thinning has split.
    in_line = (ahead >= 0.8 * distance - 1) & (0.8 * distance - 1 <= ahead.T)
    straight = (in_line | (distance <= PASSING_PX)) & (out @ out.T < -0.6)
    number = np.arange(len(place)) // 2
    first, second = np.nonzero(straight & (distance <= reach_px) & (number[:, None] < number))
    partner: dict[int, int] = {}
    for k in np.argsort(distance[first, second]):
        a, b = int(first[k]), int(second[k])
        if a not in partner and b not in partner:
            partner[a], partner[b] = b, a
    return _followed(lines, partner)


def _followed(lines: list[NDArray], partner: dict[int, int]) -> list[NDArray]:
    """Chain lines end to end; ends are numbered 2 i and 2 i + 1."""
    used: set[int] = set()
    chains = []
    starts = [end for end in range(2 * len(lines)) if end not in partner]
    for start in [*starts, *range(0, 2 * len(lines), 2)]:
        parts, end = [], start
        while end is not None and end // 2 not in used:
            used.add(end // 2)
            parts.append(lines[end // 2] if end % 2 == 0 else lines[end // 2][::-1])
            end = partner.get(end ^ 1)
        if parts:
            chains.append(np.vstack(parts))
    return chains
