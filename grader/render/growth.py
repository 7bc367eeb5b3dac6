"""Lines that grew with the stone: rims between lobes, lines along the bands, veins, knotted webs."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.bands import Course
from grader.render.fracture import border_paths, ragged, web_paths
from grader.render.lines import FILLINGS, inside_run, tint, walk
from grader.render.stroke import Stroke, across

#: Colours of matrix, linear rgb: black, brown, ochre, green-grey.
_MATRIX = np.array(
    [(0.012, 0.012, 0.014), (0.07, 0.035, 0.015), (0.22, 0.13, 0.04), (0.10, 0.13, 0.09)]
)
#: Pale fillings: white, blue-grey, rose, tan.
_PALE = np.array([(0.78, 0.78, 0.77), (0.42, 0.47, 0.60), (0.66, 0.45, 0.40), (0.60, 0.50, 0.36)])


def draw_growths(
    rng: np.random.Generator,
    kinds: tuple[str, ...],
    outline: NDArray,
    inside: NDArray[np.bool_],
    radius: float,
    classes: NDArray[np.uint8],
    course: Course | None,
) -> list[Stroke]:
    """Return the strokes of such lines.

    Parameters
    ----------
    kinds : among "rim", "band lines", "veins", "knotted web", "suture", "ladder" and "rings".
    outline : (n, 2) px.   inside : where the stone lies.   classes : its regions.   course : of its bands, if any.
    """
    strokes = []
    for kind in kinds:
        grow = np.sqrt(max(radius, 60) / 300)
        if kind == "rim" or (kind == "band lines" and course is None):
            strokes += _rim(rng, outline.mean(0), radius, grow, classes)
        elif kind == "band lines":
            strokes += _band_lines(rng, course, grow)
        else:
            strokes += _MAKERS[kind](rng, outline.mean(0), radius, grow)
    return [part for stroke in strokes if (part := _within(stroke, inside)) is not None]


def _within(stroke: Stroke, inside: NDArray[np.bool_]) -> Stroke | None:
    """The longest part of a stroke on the stone, its widths cut alike; ``None`` where it is too short."""
    marked = np.column_stack([stroke.points, stroke.widths])
    kept = inside_run(marked[:, :2], inside)
    if len(kept) < 4:
        return None
    start = int(np.flatnonzero((marked[:, :2] == kept[0]).all(1))[0])
    widths = stroke.widths[start : start + len(kept)]
    return Stroke(**{**stroke.__dict__, "points": kept, "widths": widths})


def _rim(rng, centre: NDArray, radius: float, grow: float, classes: NDArray) -> list[Stroke]:
    """A thin rim where lobes met, its light falling off on one side; at times with fainter lines that follow it."""
    paths = border_paths(rng, classes, radius) if rng.random() < 0.5 else []
    path = paths[0] if paths else _lobed(rng, centre, radius)
    path = ragged(rng, path, rng.uniform(0.0, 0.25))
    width = max(0.9, rng.uniform(0.9, 4.5) * grow)
    spread = rng.uniform(0.3, 0.9)
    veil = (radius * rng.uniform(0.02, 0.25), float(rng.uniform(-0.5, 0.45)))
    pale = rng.random() < 0.2
    colour = tint(rng, _PALE if pale else FILLINGS)
    strokes = [
        Stroke(
            path, _knotty(rng, len(path), width, spread, 0.0), "seam", "pale" if pale else "dark",
            rng.uniform(0.35, 0.95), colour=colour, veil=veil if rng.random() < 0.75 else None,
        )
    ]  # fmt: skip
    if rng.random() < 0.4:
        aside = across(path) * rng.choice([-1, 1])
        for gap in np.cumsum(rng.uniform(3, 12, int(rng.integers(1, 4)))) * grow:
            look = str(rng.choice(["pale", "dark"]))
            widths = np.full(len(path), max(0.9, rng.uniform(0.9, 4) * grow))
            strokes.append(Stroke(path + aside * gap, widths, "seam", look, rng.uniform(0.1, 0.45)))
    return strokes


def _lobed(rng, centre: NDArray, radius: float) -> NDArray[np.float64]:
    """A path across the face in lobes, round on one side and with cusps on the other, or in corners."""
    angle = rng.uniform(0, 2 * np.pi)
    start = centre - radius * 1.2 * np.array([np.cos(angle), np.sin(angle)])
    start = start + radius * rng.uniform(-0.5, 0.5, 2)
    base = walk(rng, start, angle, radius * rng.uniform(1.4, 2.8), 2.0, rng.uniform(0.1, 0.9), 0.0)
    if rng.random() < 0.3:  # a corner, as walls of a fortification have
        at = int(rng.integers(len(base) // 4, 3 * len(base) // 4))
        turn = rng.choice([-1, 1]) * rng.uniform(0.5, 1.4)
        c, s = np.cos(turn), np.sin(turn)
        base[at:] = base[at] + (base[at:] - base[at]) @ np.array([[c, s], [-s, c]])
    longest = radius * rng.uniform(0.04, 0.25)
    bulge = rng.uniform(0.05, 0.45)
    aside, at = np.zeros(len(base)), 0
    while at < len(base):
        n = max(4, int(longest * rng.uniform(0.25, 1) / 2))
        arc = np.sin(np.linspace(0, np.pi, n)) ** rng.uniform(0.5, 1.0)
        part = arc[: len(base) - at] * n * 2 * bulge * rng.uniform(0.5, 1.2)
        aside[at : at + n] = part
        at += n
    return base + across(base) * (rng.choice([-1, 1]) * aside)[:, None]


def _band_lines(rng, course: Course, grow: float) -> list[Stroke]:
    """Thin lines exactly along the bands, some of them close together."""
    low, high = np.percentile(course.t[::8, ::8], [5, 95])
    strokes = []
    levels = list(rng.uniform(low, high, int(rng.integers(1, 4))))
    if rng.random() < 0.5:
        levels += list(levels[0] + np.cumsum(rng.uniform(0.01, 0.05, int(rng.integers(1, 5)))))
    colour = tint(rng, FILLINGS) if rng.random() < 0.7 else tint(rng, _PALE)
    for level in levels:
        side = (course.t > np.float32(level)).astype(np.uint8)
        contours, _ = cv2.findContours(side, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        h, w = side.shape
        within = np.zeros((h, w), bool)
        within[2:-2, 2:-2] = True
        for contour in sorted(contours, key=len)[-2:]:
            path = inside_run(contour[:, 0].astype(np.float64), within)
            if len(path) < 30:
                continue
            path = np.stack([np.convolve(path[:, i], np.ones(7) / 7, "valid") for i in (0, 1)], 1)
            path = path[::2]
            start = int(rng.integers(0, max(1, len(path) // 3)))
            path = path[start : start + int(len(path) * rng.uniform(0.3, 1))]
            if len(path) < 8:
                continue
            width = max(0.8, rng.uniform(0.8, 3.2) * grow)
            widths = _knotty(rng, len(path), width, rng.uniform(0.1, 0.5), 0.0)
            strokes.append(
                Stroke(path, widths, "seam", "dark", rng.uniform(0.25, 0.95), colour=colour)
            )
    return strokes


def _veins(rng, centre: NDArray, radius: float, grow: float) -> list[Stroke]:
    """Filled cracks that run one way or two: pale mostly, of all widths, with branches, here strong and there gone."""
    angles = rng.uniform(0, np.pi) + np.array([0, rng.uniform(0.5, 1.6)])
    pale = rng.random() < 0.75
    strokes = []
    for _ in range(int(rng.integers(1, 7))):
        angle = angles[int(rng.random() < 0.3)] + rng.normal(0, 0.15)
        along = np.array([np.cos(angle), np.sin(angle)])
        start = centre + radius * rng.uniform(-0.8, 0.8, 2) - along * radius * rng.uniform(0.2, 1)
        path = walk(rng, start, angle, radius * rng.uniform(0.5, 2.2), 4.0, 0.25, 0.1)
        path = ragged(rng, path, rng.uniform(0.05, 0.6))
        width = max(0.8, np.exp(rng.uniform(np.log(0.8), np.log(7))) * grow)
        colour, depth = tint(rng, _PALE if pale else FILLINGS), rng.uniform(0.3, 0.95)
        parts = [(path, width)]
        if len(path) > 30 and rng.random() < 0.5:
            at = int(rng.integers(8, len(path) - 8))
            turn = angle + rng.choice([-1, 1]) * rng.uniform(0.3, 1.0)
            arm = walk(rng, path[at], turn, radius * rng.uniform(0.1, 0.5), 3.0, 0.3, 0.2)
            parts.append((ragged(rng, arm, 0.4), width * 0.5))
        for part, wide in parts:
            widths = _knotty(rng, len(part), max(0.8, wide), rng.uniform(0.2, 0.7), 0.0)
            knots = rng.uniform(0.1, 1.5, max(3, len(part) // 15 + 2))
            fade = np.interp(
                np.linspace(0, len(knots) - 1, len(part)), np.arange(len(knots)), knots
            )
            strokes.append(
                Stroke(
                    part, widths * np.clip(fade, 0.4, 1), "healed", "pale" if pale else "dark", depth, colour=colour
                )
            )  # fmt: skip
    return strokes


def _knotted_web(rng, centre: NDArray, radius: float, grow: float) -> list[Stroke]:
    """Matrix around cells: hair-thin here, blotted there, thick where strands meet, with spurs; at times one strand."""
    paths = web_paths(rng, centre, radius)
    if rng.random() < 0.5:
        paths = [paths[i] for i in rng.permutation(len(paths))[: int(rng.integers(1, 8))]]
    colour, depth = tint(rng, _MATRIX), rng.uniform(0.5, 0.97)
    width, spread = rng.uniform(0.9, 4.5) * grow, rng.uniform(0.4, 1.0)
    knot, rough = rng.uniform(0, 2.5), rng.uniform(0.1, 0.8)
    strokes = []
    for path in paths:
        path = ragged(rng, path, rough)
        if len(path) < 5:
            continue
        wide = max(0.8, width * np.exp(rng.normal(0, 0.5)))
        widths = _knotty(rng, len(path), wide, spread, knot)
        strokes.append(Stroke(path, widths, "web", "dark", depth, colour=colour))
        if rng.random() < 0.3:
            at = int(rng.integers(len(path)))
            spur = walk(rng, path[at], rng.uniform(0, 2 * np.pi), rng.uniform(6, 26), 2.0, 0.5, 0.4)
            taper = np.linspace(1, 0.3, len(spur)) * min(widths[at], 3)
            strokes.append(
                Stroke(spur, np.maximum(0.7, taper), "web", "dark", depth, colour=colour)
            )
    return strokes


def _suture(rng, centre: NDArray, radius: float, grow: float) -> list[Stroke]:
    """A seam in small teeth of uneven height, as where two layers were pressed into each other."""
    angle = rng.uniform(0, 2 * np.pi)
    start = centre - radius * np.array([np.cos(angle), np.sin(angle)]) * rng.uniform(0.3, 1.1)
    base = walk(rng, start, angle, radius * rng.uniform(0.8, 2.0), 2.0, 0.3, 0.0)
    teeth, at = np.zeros(len(base)), 0
    while at < len(base):
        n = int(rng.integers(2, 9))
        teeth[at : at + n] = rng.uniform(-1, 1) * radius * rng.uniform(0.005, 0.05)
        at += n
    teeth = np.convolve(teeth, np.ones(3) / 3, "same")
    path = base + across(base) * teeth[:, None]
    width = max(0.8, rng.uniform(0.8, 3.0) * grow)
    widths = _knotty(rng, len(path), width, rng.uniform(0.2, 0.6), 0.0)
    colour = tint(rng, FILLINGS if rng.random() < 0.75 else _PALE)
    return [Stroke(path, widths, "seam", "dark", rng.uniform(0.4, 0.95), colour=colour)]


def _ladder(rng, centre: NDArray, radius: float, grow: float) -> list[Stroke]:
    """Short filled cracks side by side, each widest in its middle, like the rungs of a leaning ladder."""
    angle, lean = rng.uniform(0, 2 * np.pi), rng.choice([-1, 1]) * rng.uniform(0.5, 1.3)
    ahead = np.array([np.cos(angle), np.sin(angle)]) * radius * rng.uniform(0.05, 0.16)
    start = centre + radius * rng.uniform(-0.6, 0.2, 2)
    pale = rng.random() < 0.7
    colour, depth = tint(rng, _PALE if pale else FILLINGS), rng.uniform(0.4, 0.95)
    widest, length = max(1.0, rng.uniform(1.0, 5.0) * grow), radius * rng.uniform(0.1, 0.35)
    strokes = []
    for k in range(int(rng.integers(4, 12))):
        rung = walk(
            rng, start + k * ahead, angle + lean, length * rng.uniform(0.6, 1.3), 2.0, 0.3, 0.0
        )
        swell = np.sin(np.linspace(0.1, np.pi - 0.1, len(rung)))
        widths = np.maximum(0.7, widest * swell)
        look = "pale" if pale else "dark"
        strokes.append(Stroke(rung, widths, "healed", look, depth, colour=colour))
    return strokes


def _rings(rng, centre: NDArray, radius: float, grow: float) -> list[Stroke]:
    """Lines round one middle in corners that grow rounder outwards, as crystals and eyes grow."""
    middle = centre + radius * rng.uniform(-0.5, 0.5, 2)
    sides, turn = int(rng.integers(4, 8)), rng.uniform(0, 2 * np.pi)
    t = np.linspace(0, 2 * np.pi * rng.uniform(0.4, 1.0), 140)
    corner = (t * sides / (2 * np.pi)) % 1 - 0.5
    polygon = np.cos(np.pi / sides) / np.cos(2 * np.pi / sides * corner)
    reach, strokes = radius * rng.uniform(0.08, 0.2), []
    colour = tint(rng, FILLINGS if rng.random() < 0.6 else _PALE)
    for k in range(int(rng.integers(2, 7))):
        reach += radius * rng.uniform(0.02, 0.12)
        ring = reach * (1 + (polygon - 1) / (1 + 0.3 * k))
        path = middle + np.stack([np.cos(t + turn), np.sin(t + turn)], 1) * ring[:, None]
        path = ragged(rng, path, rng.uniform(0.0, 0.12))
        widths = _knotty(rng, len(path), max(0.8, rng.uniform(0.8, 2.6) * grow), 0.3, 0.0)
        strokes.append(Stroke(path, widths, "seam", "dark", rng.uniform(0.2, 0.8), colour=colour))
    return strokes


_MAKERS = {
    "veins": _veins, "knotted web": _knotted_web, "suture": _suture, "ladder": _ladder, "rings": _rings,
}  # fmt: skip


def _knotty(rng, n: int, width: float, spread: float, knot: float) -> NDArray[np.float64]:
    """Widths (n,) px: uneven by ``spread`` (of the logarithm), and by ``knot`` times thicker at both ends."""
    at = np.arange(n)
    wander = np.zeros(n)
    for reach, share in ((14, 0.8), (4, 0.45)):
        knots = rng.normal(0, spread * share, n // reach + 3)
        wander += np.interp(at / reach, np.arange(len(knots)), knots)
    ends = 1 + knot * np.exp(-np.minimum(at, at[::-1]) / 4)
    return np.clip(width * np.exp(wander) * ends, 0.7, 16)
