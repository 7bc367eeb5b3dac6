"""Lines on a face: cracks by family, and lines that are not cracks."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.stroke import Stroke

#: What fills a healed crack that is darker than most stone, linear rgb: brown, ochre, grey, rust, green-grey. Black is
#: left to open cracks: without depth or colour of its own no photo tells a dark line from one.
FILLINGS = np.array([
    (0.10, 0.055, 0.025), (0.20, 0.12, 0.045), (0.16, 0.16, 0.17), (0.18, 0.06, 0.025), (0.11, 0.13, 0.10),
])  # fmt: skip


def walk(
    rng: np.random.Generator,
    start: NDArray,
    angle: float,
    length: float,
    step: float,
    turn: float,
    jag: float,
) -> NDArray[np.float64]:
    """Return a path (n, 2): its direction wanders by ``turn`` and jumps by ``jag`` (radians) per piece."""
    n = max(3, int(length / step))
    drift = np.cumsum(rng.normal(0, turn, n)) * np.sqrt(step / max(length, step))
    heading = angle + drift + np.repeat(rng.normal(0, jag, n // 3 + 1), 3)[:n]
    steps = step * np.stack([np.cos(heading), np.sin(heading)], 1)
    return np.vstack([start, start + np.cumsum(steps, 0)])


def crack_paths(
    rng: np.random.Generator, family: str, outline: NDArray, radius: float, band_angle: float | None
) -> list[NDArray[np.float64]]:
    """Return the paths of one crack of that family inside an outline (n, 2), all in px."""
    inner = outline.mean(0) + radius * rng.uniform(-0.45, 0.45, 2)
    angle = rng.uniform(0, 2 * np.pi)
    length = radius * rng.uniform(0.4, 1.7)
    step = max(2.0, radius * 0.03)
    along = band_angle if band_angle is not None else angle
    if family == "along bands":
        return [walk(rng, inner, along, length, step, 0.15, 0.12)]
    if family == "across bands":
        return [walk(rng, inner, along + np.pi / 2 + rng.normal(0, 0.2), length, step, 0.2, 0.25)]
    if family == "straight":
        return [walk(rng, inner, angle, length, step, 0.06, 0.05)]
    if family == "curved":
        return [walk(rng, inner, angle, length, step, 1.0, 0.06)]
    if family == "jagged":
        return [walk(rng, inner, angle, length, step, 0.3, 0.5)]
    if family in ("from edge", "crossing"):
        start = outline[rng.integers(len(outline))]
        towards = outline.mean(0) + radius * rng.uniform(-0.4, 0.4, 2) - start
        length = np.hypot(*towards) * rng.uniform(0.4, 1.1) if family == "from edge" else 3 * radius
        return [walk(rng, start, np.arctan2(towards[1], towards[0]), length, step, 0.3, 0.25)]
    if family == "stepped":
        across = np.array([-np.sin(angle), np.cos(angle)]) * radius * 0.05
        ahead = np.array([np.cos(angle), np.sin(angle)]) * radius * 0.22
        starts = [inner + k * (ahead + across) for k in range(int(rng.integers(3, 6)))]
        return [walk(rng, s, angle - 0.15, radius * 0.28, step, 0.1, 0.1) for s in starts]
    main = walk(rng, inner, angle, length * 1.2, step, 0.4, 0.35)
    arms = []
    for _ in range(int(rng.integers(1, 4))):
        at = int(rng.integers(len(main) // 5, len(main) - 1))
        heading = np.arctan2(*(main[at] - main[at - 1])[::-1]) + rng.choice([-1, 1]) * rng.uniform(
            0.4, 1.1
        )
        arms.append(walk(rng, main[at], heading, length * rng.uniform(0.2, 0.7), step, 0.3, 0.35))
    return [main, *arms]


def inside_run(path: NDArray, inside: NDArray[np.bool_]) -> NDArray:
    """Return the longest part of a path (n, 2) whose px lie in the mask; empty where none does."""
    xy = np.round(path).astype(int)
    h, w = inside.shape
    fine = (xy[:, 0] >= 0) & (xy[:, 1] >= 0) & (xy[:, 0] < w) & (xy[:, 1] < h)
    ok = np.zeros(len(path) + 2, bool)
    ok[1:-1][fine] = inside[xy[fine, 1], xy[fine, 0]]
    edges = np.flatnonzero(np.diff(ok.astype(int)))
    if not len(edges):
        return path[:0]
    starts, ends = edges[::2], edges[1::2]
    best = np.argmax(ends - starts)
    return path[starts[best] : ends[best]]


def draw_cracks(
    rng: np.random.Generator,
    families: list[str],
    outline: NDArray,
    inside: NDArray,
    radius: float,
    band_angle: float | None,
) -> list[Stroke]:
    """Return the strokes of one crack per family: tight, open with a lip, or stained."""
    strokes = []
    for family in families:
        look = str(rng.choice(["tight", "open", "stained"], p=[0.45, 0.35, 0.2]))
        grow = np.sqrt(max(radius, 60) / 300)
        width = {"tight": (1.0, 2.0), "open": (2.2, 5.5), "stained": (1.3, 4.0)}[look]
        width = max(1.0, rng.uniform(*width) * grow)
        depth = rng.uniform(0.5, 0.8) if look == "tight" else rng.uniform(0.7, 0.95)
        for k, path in enumerate(crack_paths(rng, family, outline, radius, band_angle)):
            path = inside_run(_finer(rng, path), inside)
            if len(path) < 6 or np.linalg.norm(np.diff(path, axis=0), axis=1).sum() < 12:
                continue
            strokes.append(
                Stroke(
                    path,
                    _widths(rng, len(path), width * (0.7 if k else 1)),
                    "crack",
                    look,
                    depth,
                    family,
                )
            )
    return strokes


def draw_healed(
    rng: np.random.Generator, count: int, outline: NDArray, inside: NDArray, radius: float
) -> list[Stroke]:
    """Return healed cracks and growth seams: thin, pale or of a dark filling, without depth."""
    strokes = []
    dyes = rng.spawn(1)[0]
    for _ in range(count):
        family = str(rng.choice(["jagged", "curved", "straight", "crossing", "branching"]))
        look = "pale" if rng.random() < 0.62 else "dark"
        kind = "healed" if rng.random() < 0.6 else "seam"
        width = rng.uniform(1.0, 3.5) * np.sqrt(max(radius, 60) / 300)
        colour = tint(dyes, FILLINGS) if look == "dark" else None
        for path in crack_paths(rng, family, outline, radius, None):
            path = inside_run(_finer(rng, path), inside)
            if len(path) >= 6:
                strokes.append(
                    Stroke(
                        path,
                        _widths(rng, len(path), max(1.0, width)),
                        kind,
                        look,
                        rng.uniform(0.3, 0.75),
                        colour=colour,
                    )
                )
    return strokes


def tint(rng: np.random.Generator, colours: NDArray) -> tuple[float, float, float]:
    """Return one of the colours, (n, 3) linear rgb, a little lighter or darker."""
    colour = colours[rng.integers(len(colours))] * rng.uniform(0.6, 1.5)
    return tuple(float(v) for v in np.clip(colour, 0.005, 0.9))


def draw_contacts(
    rng: np.random.Generator, host: NDArray[np.bool_], inside: NDArray[np.bool_], radius: float
) -> list[Stroke]:
    """Return one parting line along a part of the border between pattern and host, if there is a border."""
    contours, _ = cv2.findContours(host.astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    deep = cv2.erode(inside.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    best = max(contours, key=len, default=None)
    if best is None or len(best) < 40:
        return []
    path = best[:, 0].astype(np.float64)
    kernel = np.ones(5) / 5
    path = np.stack([np.convolve(path[:, i], kernel, "valid") for i in (0, 1)], 1)
    start = int(rng.integers(len(path)))
    path = np.roll(path, -start, 0)[: int(len(path) * rng.uniform(0.3, 0.7))]
    path = inside_run(path, deep)[::2]
    if len(path) < 12:
        return []
    look = "dark" if rng.random() < 0.8 else "pale"
    return [
        Stroke(
            path,
            _widths(rng, len(path), max(1.0, rng.uniform(1, 2.5))),
            "contact",
            look,
            rng.uniform(0.35, 0.8),
        )
    ]


def draw_strays(
    rng: np.random.Generator, kinds: list[str], outline: NDArray, radius: float
) -> list[Stroke]:
    """Return lines that are no part of the stone's fabric; they run over anything.

    kinds : among "scratch", "saw mark", "hair", "pencil", "print" (ruled lines, as joints and
    printed frames look) and "ticks" (a row of short marks, as on a ruler).
    """
    return [stroke for kind in kinds for stroke in _STRAYS[kind](rng, outline.mean(0), radius)]


def _heading(angle: float) -> tuple[NDArray, NDArray]:
    """Return the unit vectors along and across an angle."""
    return np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])


def _scratches(rng, centre, radius):
    start, angle = centre + radius * rng.uniform(-0.9, 0.6, 2), rng.uniform(0, 2 * np.pi)
    strokes = []
    for k in range(int(rng.integers(1, 6))):
        begin, length = start + k * rng.normal(0, 4, 2), radius * rng.uniform(0.2, 1.2)
        path = walk(rng, begin, angle + rng.normal(0, 0.05), length, 4.0, 0.03, 0.0)
        widths = _widths(rng, len(path), rng.uniform(0.7, 1.6))
        strokes.append(Stroke(path, widths, "scratch", "pale", rng.uniform(0.2, 0.6)))
    return strokes


def _saw_marks(rng, centre, radius):
    gap, bow = radius * rng.uniform(0.03, 0.15), radius * rng.uniform(1.5, 8)
    along, across = _heading(rng.uniform(0, 2 * np.pi))
    t = np.linspace(-1.6, 1.6, 60)[:, None] * radius
    arc = along * t + across * (t**2 / (2 * bow))
    strokes = []
    for k in np.flatnonzero(rng.random(25) < 0.8) - 12:
        path = centre + arc + across * gap * (k + rng.normal(0, 0.15))
        look = str(rng.choice(["pale", "dark"]))
        widths = _widths(rng, 60, rng.uniform(0.8, 2.4))
        strokes.append(Stroke(path, widths, "saw mark", look, rng.uniform(0.06, 0.28)))
    return strokes


def _hair(rng, centre, radius):
    start, angle = centre + radius * rng.uniform(-0.9, 0.6, 2), rng.uniform(0, 2 * np.pi)
    path = walk(rng, start, angle, radius * rng.uniform(0.5, 1.5), 3.0, 2.2, 0.02)
    look = str(rng.choice(["dark", "pale"], p=[0.75, 0.25]))
    widths = np.full(len(path), rng.uniform(1.0, 1.9))
    return [Stroke(path, widths, "hair", look, rng.uniform(0.55, 0.9))]


def _pencil(rng, centre, radius):
    start, angle = centre + radius * rng.uniform(-0.9, 0.6, 2), rng.uniform(0, 2 * np.pi)
    path = walk(rng, start, angle, radius * rng.uniform(0.4, 1.6), 4.0, 0.1, 0.02)
    widths = _widths(rng, len(path), rng.uniform(1.5, 3.5))
    return [Stroke(path, widths, "pencil", "dark", rng.uniform(0.35, 0.7))]


def _ruled(rng, centre, radius):
    angle, width = rng.uniform(0, 2 * np.pi), rng.uniform(1.0, 6.0)
    look, depth = str(rng.choice(["dark", "pale"], p=[0.65, 0.35])), rng.uniform(0.3, 0.85)
    strokes = []
    for k in range(int(rng.integers(1, 5))):
        along, across = _heading(angle + (np.pi / 2 if k % 2 else 0))
        middle = centre + across * radius * rng.uniform(-0.8, 0.8)
        path = middle + along * np.linspace(-1.8, 1.8, 40)[:, None] * radius
        strokes.append(Stroke(path, np.full(40, width), "print", look, depth))
    return strokes


def _ticks(rng, centre, radius):
    along, across = _heading(rng.uniform(0, 2 * np.pi))
    gap, tall = radius * rng.uniform(0.03, 0.1), radius * rng.uniform(0.05, 0.18)
    width, depth = rng.uniform(0.9, 2.2), rng.uniform(0.4, 0.85)
    row = centre + across * radius * rng.uniform(-0.6, 0.6)
    strokes = []
    for k in range(-15, 16):
        begin = row + along * gap * k
        end = begin + across * tall * (1.6 if k % 5 == 0 else 1.0)
        path = np.linspace(begin, end, 6)
        strokes.append(Stroke(path, np.full(6, width), "ticks", "dark", depth))
    return strokes


_STRAYS = {
    "scratch": _scratches,
    "saw mark": _saw_marks,
    "hair": _hair,
    "pencil": _pencil,
    "print": _ruled,
    "ticks": _ticks,
}


def _finer(rng: np.random.Generator, path: NDArray) -> NDArray:
    """Return the path with a point every 2 px and a fine tremble: stone breaks grain by grain."""
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    at = np.arange(0, along[-1], 2.0)
    path = np.stack([np.interp(at, along, path[:, i]) for i in (0, 1)], 1)
    tremble = np.convolve(rng.normal(0, 0.7, len(path) + 4), np.ones(5) / 5, "valid")
    return path + np.stack([tremble, -tremble], 1)[: len(path)]


def _widths(rng: np.random.Generator, n: int, width: float) -> NDArray[np.float64]:
    knots = rng.uniform(0.6, 1.4, max(3, n // 15 + 2))
    wander = np.interp(np.linspace(0, len(knots) - 1, n), np.arange(len(knots)), knots)
    taper = np.minimum(1, 0.35 + np.minimum(np.arange(n), np.arange(n)[::-1]) / max(3, n * 0.12))
    return np.maximum(0.6, width * wander * taper)
