"""Cracks as rough stone breaks, and webs of lines that are the stone's own pattern."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.lines import crack_paths, inside_run, walk
from grader.render.stroke import Stroke, across

#: Widths of cracks by look, px on a stone of 300 px radius.
WIDTHS_PX = {
    "hairline": (0.8, 1.6), "tight": (1.0, 2.2), "open": (2.0, 7.0), "lipped": (1.6, 5.0), "wet": (1.2, 3.5),
    "rust": (1.2, 4.0), "black": (1.2, 4.0), "bloom": (1.0, 3.0), "green": (1.2, 4.0),
    "veiled": (0.9, 3.0), "gaping": (5.0, 11.0), "powdered": (1.6, 5.0), "oily": (1.2, 3.5),
}  # fmt: skip
#: A path has a point every so many px.
STEP_PX = 2.0


def draw_fractures(
    rng: np.random.Generator,
    wanted: tuple[tuple[str, str], ...],
    outline: NDArray,
    inside: NDArray[np.bool_],
    radius: float,
    band_angle: float | None,
    classes: NDArray[np.uint8],
) -> list[Stroke]:
    """Return the strokes of one crack for each family and look: ragged, of uneven width, at times in two strands.

    outline : (n, 2) px.   inside : where the stone lies.   classes : its regions, for cracks on their borders.
    """
    strokes = []
    for family, look in wanted:
        grow = np.sqrt(max(radius, 60) / 300)
        width = max(0.8, rng.uniform(*WIDTHS_PX[look]) * grow)
        depth = rng.uniform(0.45, 0.8) if look in ("hairline", "tight") else rng.uniform(0.7, 0.97)
        rough = rng.uniform(0.15, 1.0)
        # Below a slanting crack the stone lies darker or lighter on one side.
        veil = None
        if look == "veiled":
            veil = (radius * rng.uniform(0.03, 0.25), float(rng.uniform(-0.5, 0.5)))
        for path, share in _courses(rng, family, outline, radius, band_angle, classes):
            smooth = family in ("arc", "on band border", "straight", "wavy", "cleaved")
            path = inside_run(ragged(rng, path, rough * (0.15 if smooth else 1)), inside)
            for strand, part in _strands(rng, path, width * share):
                strand = inside_run(strand, inside)
                if len(strand) >= 6:
                    strokes.append(
                        Stroke(
                            strand, uneven_widths(rng, len(strand), part), "crack", look, depth, family,
                            _fading(rng, len(strand)) if look == "hairline" else None,
                            veil=veil,
                        )
                    )  # fmt: skip
    return strokes


def draw_webs(
    rng: np.random.Generator,
    kinds: tuple[str, ...],
    outline: NDArray,
    inside: NDArray[np.bool_],
    radius: float,
    band_angle: float | None,
) -> list[Stroke]:
    """Return lines of the stone's own pattern: a "web" of matrix around cells, "growth seams" along the bands."""
    strokes = []
    for kind in kinds:
        paths = (
            web_paths(rng, outline.mean(0), radius)
            if kind == "web"
            else _growth_seams(rng, outline.mean(0), radius, band_angle)
        )
        brown = rng.uniform(0, 1)
        dark = np.array([0.03, 0.03, 0.03]) * (1 - brown) + np.array([0.12, 0.06, 0.025]) * brown
        colour = tuple(float(v) for v in dark * rng.uniform(0.5, 2.0))
        width = rng.uniform(0.9, 3.2) * np.sqrt(max(radius, 60) / 300)
        depth, look = rng.uniform(0.4, 0.9), "pale" if rng.random() < 0.5 else "dark"
        for path in paths:
            path = inside_run(
                ragged(rng, path, rng.uniform(0.1, 0.5) if kind == "web" else 0.03), inside
            )
            if len(path) < 5:
                continue
            strokes.append(
                Stroke(
                    path,
                    uneven_widths(rng, len(path), max(0.8, width * rng.uniform(0.6, 1.4))),
                    "web" if kind == "web" else "seam",
                    look,
                    depth if kind == "web" else depth * 0.8,
                    colour=colour if kind == "web" else None,
                )
            )
    return strokes


def ragged(rng: np.random.Generator, path: NDArray, rough: float) -> NDArray[np.float64]:
    """Return the path with a point every 2 px, thrown aside at every scale: long reaches far, short ones little."""
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    at = np.arange(0, max(along[-1], STEP_PX), STEP_PX)
    path = np.stack([np.interp(at, along, path[:, i]) for i in (0, 1)], 1)
    if len(path) < 3:
        return path
    aside = np.zeros(len(path))
    for reach_px in (72, 36, 18, 9, 4.5):
        knots = rng.normal(0, 1, int(at[-1] / reach_px) + 3)
        aside += 0.32 * reach_px**0.72 * np.interp(at / reach_px, np.arange(len(knots)), knots)
    # Ends stay: what meets there goes on meeting.
    pinned = np.minimum(1, np.minimum(at, at[::-1]) / 20)
    return path + across(path) * (rough * pinned * aside)[:, None]


def uneven_widths(rng: np.random.Generator, n: int, width: float) -> NDArray[np.float64]:
    """Return widths (n,) px about ``width``: pinched here, a pocket there, running out at the ends."""
    at = np.arange(n)
    wander = np.zeros(n)
    for reach, spread in ((30, 0.45), (6, 0.3)):
        knots = rng.normal(0, spread, n // reach + 3)
        wander += np.interp(at / reach, np.arange(len(knots)), knots)
    taper = np.minimum(1, 0.3 + np.minimum(at, at[::-1]) / max(3, n * 0.15))
    return np.clip(width * np.exp(wander) * taper, 0.6, 3 * width)


def _fading(rng: np.random.Generator, n: int) -> NDArray[np.float64]:
    """How much of a hairline shows along it: it comes and goes."""
    knots = rng.uniform(-0.2, 1.4, max(3, n // 18 + 2))
    return np.clip(np.interp(np.linspace(0, len(knots) - 1, n), np.arange(len(knots)), knots), 0, 1)


def _strands(
    rng: np.random.Generator, path: NDArray, width: float
) -> list[tuple[NDArray[np.float64], float]]:
    """The path, and at times a second strand that leaves it and comes back, or a short shoot to one side."""
    strands = [(path, width)]
    n = len(path)
    if n > 40 and rng.random() < 0.35:
        a, b = np.sort(rng.integers(0, n, 2))
        if b - a > 12:
            bow = np.sin(np.linspace(0, np.pi, b - a)) * rng.uniform(2.5, 9) * rng.choice([-1, 1])
            aside = path[a:b] + across(path)[a:b] * bow[:, None]
            strands.append((aside, width * 0.5))
    if n > 20 and rng.random() < 0.5:
        at = int(rng.integers(5, n - 5))
        heading = np.arctan2(*(path[at] - path[at - 4])[::-1]) + rng.choice([-1, 1]) * rng.uniform(
            0.4, 1.3
        )
        shoot = walk(rng, path[at], heading, rng.uniform(8, 40), STEP_PX, 0.3, 0.4)
        strands.append((shoot, max(0.7, width * 0.4)))
    return strands


def _courses(
    rng: np.random.Generator,
    family: str,
    outline: NDArray,
    radius: float,
    band_angle: float | None,
    classes: NDArray[np.uint8],
) -> list[tuple[NDArray[np.float64], float]]:
    """Paths (n, 2) of one crack before they are made ragged, each with its share of the width."""
    inner = outline.mean(0) + radius * rng.uniform(-0.5, 0.5, 2)
    angle = rng.uniform(0, 2 * np.pi)
    if family == "on band border":
        return [(path, 1.0) for path in border_paths(rng, classes, radius)]
    if family == "en echelon":
        turn, length = rng.choice([-1, 1]) * rng.uniform(0.5, 0.9), radius * rng.uniform(0.12, 0.3)
        ahead = np.array([np.cos(angle), np.sin(angle)]) * length * rng.uniform(0.5, 0.8)
        return [
            (walk(rng, inner + k * ahead, angle + turn, length * rng.uniform(0.7, 1.2), 3.0, 0.2, 0.05), 1.0)
            for k in range(int(rng.integers(3, 8)))
        ]  # fmt: skip
    if family == "arc":
        hub = outline[rng.integers(len(outline))]
        towards = np.arctan2(*(outline.mean(0) - hub)[::-1]) + rng.normal(0, 0.2)
        first, gap = radius * rng.uniform(0.2, 0.7), radius * rng.uniform(0.05, 0.2)
        arcs = []
        for k in range(int(rng.integers(1, 5))):
            t = towards + np.linspace(-1, 1, 60) * rng.uniform(0.35, 1.1)
            reach = (first + k * gap) * (1 + 0.08 * np.sin(2 * t + angle))
            arcs.append((hub + np.stack([np.cos(t), np.sin(t)], 1) * reach[:, None], 1.0 / (1 + k)))
        return arcs
    if family == "map":
        return _map(rng, inner, angle, radius)
    if family in _MAKERS:
        return _MAKERS[family](rng, inner, angle, radius)
    paths = crack_paths(rng, family, outline, radius, band_angle)
    return [(path, 0.6 if k else 1.0) for k, path in enumerate(paths)]


def _map(
    rng: np.random.Generator, start: NDArray, angle: float, radius: float
) -> list[tuple[NDArray[np.float64], float]]:
    """Three to six cracks and their arms that meet as cracks do, three at a place."""
    most = int(rng.integers(3, 7))
    length = radius * rng.uniform(0.3, 0.7)
    tips = [(start, angle + k * 2 * np.pi / 3 + rng.normal(0, 0.25), 1.0) for k in range(3)]
    arms = []
    while tips and len(arms) < most:
        place, heading, share = tips.pop(0)
        path = walk(rng, place, heading, length * rng.uniform(0.5, 1.3), 4.0, 0.25, 0.15)
        arms.append((path, share * rng.uniform(0.6, 1.1)))
        if rng.random() < 0.75:
            tips += [
                (path[-1], heading + side * rng.uniform(0.4, 1.1), share * 0.75) for side in (-1, 1)
            ]
    return arms


def _feathered(
    rng: np.random.Generator, start: NDArray, angle: float, radius: float
) -> list[tuple[NDArray[np.float64], float]]:
    """A long crack with fine barbs that leave it to one side, all at about one angle."""
    main = walk(rng, start, angle, radius * rng.uniform(0.7, 1.6), 3.0, 0.4, 0.1)
    side, lean = rng.choice([-1, 1]), rng.uniform(0.35, 0.9)
    barbs = []
    for at in range(int(rng.integers(4, 9)), len(main) - 3, int(rng.integers(5, 14))):
        ahead = np.arctan2(*(main[at] - main[at - 2])[::-1]) + side * lean
        length = radius * rng.uniform(0.04, 0.16)
        barbs.append((walk(rng, main[at], ahead, length, 2.0, 0.15, 0.05), 0.45))
    return [(main, 1.0), *barbs]


def _wavy(
    rng: np.random.Generator, start: NDArray, angle: float, radius: float
) -> list[tuple[NDArray[np.float64], float]]:
    """A crack that swings from side to side, as where a break runs through glassy stone."""
    along = np.linspace(0, radius * rng.uniform(0.7, 1.8), 160)
    wave = radius * rng.uniform(0.15, 0.5)
    swing = radius * rng.uniform(0.01, 0.06) * np.sin(2 * np.pi * along / wave + angle)
    bow = rng.uniform(-0.25, 0.25) * along**2 / radius
    c, s = np.cos(angle), np.sin(angle)
    return [
        (start + np.stack([along * c - (swing + bow) * s, along * s + (swing + bow) * c], 1), 1.0)
    ]


def _cleaved(
    rng: np.random.Generator, start: NDArray, angle: float, radius: float
) -> list[tuple[NDArray[np.float64], float]]:
    """A crack in straight pieces that keep to two directions, as cleavage has them."""
    turn = rng.choice([-1, 1]) * rng.uniform(0.9, 1.9)
    knots, place = [start], start
    for k in range(int(rng.integers(4, 11))):
        heading = angle + turn * (k % 2)
        length = radius * rng.uniform(0.05, 0.3)
        place = place + length * np.array([np.cos(heading), np.sin(heading)])
        knots.append(place)
    return [(np.array(knots), 1.0)]


_MAKERS = {"feathered": _feathered, "wavy": _wavy, "cleaved": _cleaved}


def border_paths(
    rng: np.random.Generator, classes: NDArray[np.uint8], radius: float
) -> list[NDArray[np.float64]]:
    """Return one stretch exactly on the border of a class, (n, 2) px; none where one class fills the face."""
    names = [code for code in np.unique(classes) if code]
    if len(names) < 2:
        return []
    own = (classes == names[rng.integers(len(names))]).astype(np.uint8)
    contours, _ = cv2.findContours(own, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    # Not the outline of the stone: only where another class lies beside.
    other = cv2.dilate(((classes > 0) & (own == 0)).astype(np.uint8), np.ones((5, 5))) > 0
    long = [inside_run(c[:, 0].astype(np.float64), other) for c in contours]
    long = [path for path in long if len(path) > 50]
    if not long:
        return []
    sizes = np.array([len(c) for c in long], float)
    path = long[rng.choice(len(long), p=sizes / sizes.sum())]
    # A contour runs through the outermost px of its class: half a px further lies the border.
    path = np.stack([np.convolve(path[:, i], np.ones(5) / 5, "valid") for i in (0, 1)], 1)
    length = max(20, int(min(len(path), radius * rng.uniform(0.4, 1.6))))
    start = int(rng.integers(max(1, len(path) - length + 1)))
    return [path[start : start + length]]


def web_paths(
    rng: np.random.Generator, centre: NDArray, radius: float
) -> list[NDArray[np.float64]]:
    """Return edges of the cells around scattered points, in a part of the face, (12, 2) px each."""
    reach = radius * rng.uniform(0.35, 0.9)
    middle = centre + radius * rng.uniform(-0.5, 0.5, 2)
    count = int(rng.integers(8, 26))
    plane = cv2.Subdiv2D((0, 0, 4000, 4000))
    plane.insert([tuple(map(float, p)) for p in 2000 + reach * rng.uniform(-1, 1, (count, 2))])
    facets, _ = plane.getVoronoiFacetList([])
    edges = {}
    for facet in facets:
        for a, b in zip(facet, np.roll(facet, -1, 0), strict=True):
            key = tuple(sorted((tuple(np.round(a).tolist()), tuple(np.round(b).tolist()))))
            edges[key] = (a - 2000 + middle, b - 2000 + middle)
    near = [e for e in edges.values() if np.abs(np.array(e) - middle).max() < 1.3 * reach]
    return [np.linspace(a, b, 12) for a, b in near if rng.random() < 0.88]


def _growth_seams(
    rng: np.random.Generator, centre: NDArray, radius: float, band_angle: float | None
) -> list[NDArray[np.float64]]:
    """Lines side by side, along the bands if there are any."""
    angle = band_angle if band_angle is not None else rng.uniform(0, np.pi)
    start = centre + radius * rng.uniform(-0.7, 0.3, 2)
    path = walk(rng, start, angle, radius * rng.uniform(0.6, 1.8), 4.0, 0.25, 0.02)
    across = np.array([-np.sin(angle), np.cos(angle)])
    gaps = np.cumsum(rng.uniform(3, 18, int(rng.integers(2, 6))))
    return [path + across * gap for gap in gaps]
