"""Lines laid over a face by tools, pens, threads and drops: none of them is the stone's own."""

import numpy as np
from numpy.typing import NDArray

from grader.render.fracture import uneven_widths
from grader.render.lines import walk
from grader.render.stroke import Stroke

#: Strokes of made-up signs on a grid of 3 by 5.
_SIGNS = (
    ((0, 0), (0, 4), (2, 4)), ((0, 4), (1, 0), (2, 4)), ((0, 0), (2, 0), (0, 4), (2, 4)), ((0, 0), (0, 4)),
    ((0, 2), (2, 2), (2, 0), (0, 0), (0, 4), (2, 4)), ((2, 0), (0, 0), (0, 4), (2, 4), (2, 2)),
)  # fmt: skip


def draw_overlaid(
    rng: np.random.Generator, kinds: tuple[str, ...], centre: NDArray, radius: float
) -> list[Stroke]:
    """Return the strokes of lines that run over anything.

    kinds : among "bundle" (grinding scratches), "blade arcs", "marker", "joint" (straight, single or
    double), "chisel", "fibres", "drops" (rims of water drops) and "text".   centre, radius : of the face, px.
    """
    return [stroke for kind in kinds for stroke in _MAKERS[kind](rng, centre, radius)]


def _ways(angle: float) -> tuple[NDArray, NDArray]:
    return np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])


def _bundle(rng, centre, radius):
    along, across = _ways(rng.uniform(0, 2 * np.pi))
    middle = centre + radius * rng.uniform(-0.6, 0.6, 2)
    look, depth = str(rng.choice(["pale", "dark"], p=[0.65, 0.35])), rng.uniform(0.1, 0.45)
    strokes = []
    for _ in range(int(rng.integers(6, 22))):
        begin = (
            middle + across * radius * rng.normal(0, 0.14) + along * radius * rng.normal(0, 0.15)
        )
        length = radius * rng.uniform(0.1, 0.55)
        path = begin + along * np.linspace(0, length, max(6, int(length / 4)))[:, None]
        widths = uneven_widths(rng, len(path), rng.uniform(0.6, 1.5))
        strokes.append(Stroke(path, widths, "scratch", look, depth * rng.uniform(0.5, 1.2)))
    return strokes


def _blade_arcs(rng, centre, radius):
    bow = radius * rng.uniform(0.7, 2.2)
    hub = centre + _ways(rng.uniform(0, 2 * np.pi))[0] * bow * rng.uniform(0.7, 1.3)
    towards = np.arctan2(*(centre - hub)[::-1])
    strokes = []
    for k in range(int(rng.integers(3, 14))):
        t = towards + np.linspace(-1, 1, 50) * min(1.2, 1.2 * radius / bow)
        reach = bow + radius * (rng.uniform(-0.6, 0.6) if k % 2 else 0.05 * k)
        path = hub + np.stack([np.cos(t), np.sin(t)], 1) * reach
        look = str(rng.choice(["pale", "dark"]))
        widths = uneven_widths(rng, 50, rng.uniform(0.8, 2.8))
        strokes.append(Stroke(path, widths, "saw mark", look, rng.uniform(0.08, 0.4)))
    return strokes


def _marker(rng, centre, radius):
    start, angle = centre + radius * rng.uniform(-0.9, 0.6, 2), rng.uniform(0, 2 * np.pi)
    turn = rng.choice([0.05, 0.4, 1.5])
    path = walk(rng, start, angle, radius * rng.uniform(0.3, 1.4), 4.0, turn, 0.01)
    ink = rng.uniform(0.005, 0.05, 3)
    if rng.random() < 0.6:
        ink[rng.integers(3)] = rng.uniform(0.1, 0.6)
    widths = np.full(len(path), rng.uniform(2.0, 8.0)) * rng.uniform(0.9, 1.1, len(path))
    return [Stroke(path, widths, "marker", "dark", rng.uniform(0.5, 0.95), colour=tuple(ink))]


def _joint(rng, centre, radius):
    along, across = _ways(rng.uniform(0, 2 * np.pi))
    middle = centre + across * radius * rng.uniform(-0.7, 0.7)
    width, depth = rng.uniform(1.0, 5.0), rng.uniform(0.4, 0.9)
    gaps = [0.0] if rng.random() < 0.5 else [0.0, rng.uniform(3, 14)]
    path = middle + along * np.linspace(-1.8, 1.8, 60)[:, None] * radius
    strokes = []
    for gap in gaps:
        own = path + across * gap
        widths = np.full(60, width) * rng.uniform(0.92, 1.08, 60)
        strokes.append(Stroke(own, widths, "joint", "dark", depth))
    if rng.random() < 0.4:  # an edge that catches the light
        strokes.append(
            Stroke(path - across * (width + 0.5), np.full(60, 1.2), "joint", "pale", 0.4)
        )
    return strokes


def _chisel(rng, centre, radius):
    angle = rng.uniform(0, 2 * np.pi)
    middle = centre + radius * rng.uniform(-0.5, 0.5, 2)
    strokes = []
    for _ in range(int(rng.integers(2, 14))):
        begin = middle + radius * rng.normal(0, 0.25, 2)
        path = walk(
            rng, begin, angle + rng.normal(0, 0.25), radius * rng.uniform(0.04, 0.16), 2.0, 0.1, 0.1
        )
        widths = uneven_widths(rng, len(path), rng.uniform(1.5, 5.0))
        strokes.append(Stroke(path, widths, "chisel", "pale", rng.uniform(0.3, 0.8)))
    return strokes


def _fibres(rng, centre, radius):
    strokes = []
    for _ in range(int(rng.integers(3, 22))):
        start = centre + radius * rng.uniform(-1, 1, 2)
        path = walk(rng, start, rng.uniform(0, 2 * np.pi), rng.uniform(8, 70), 2.0, 2.5, 0.05)
        look = str(rng.choice(["pale", "dark"]))
        colour = tuple(np.clip(rng.uniform(0.02, 0.8) * rng.uniform(0.6, 1.4, 3), 0, 0.9))
        widths = np.full(len(path), rng.uniform(0.7, 1.6))
        strokes.append(Stroke(path, widths, "fibre", look, rng.uniform(0.4, 0.9), colour=colour))
    return strokes


def _drops(rng, centre, radius):
    strokes = []
    for _ in range(int(rng.integers(2, 16))):
        middle = centre + radius * rng.uniform(-0.9, 0.9, 2)
        t = np.linspace(0, 2 * np.pi, 48)
        size = radius * np.exp(rng.uniform(np.log(0.01), np.log(0.12)))
        reach = size * (1 + 0.12 * np.sin(2 * t + rng.uniform(0, 6)) + 0.06 * np.sin(3 * t))
        ring = np.stack([np.cos(t), np.sin(t)], 1)
        widths = np.maximum(0.7, size * 0.12 * (1.2 + np.cos(t - rng.uniform(0, 6))))
        dark, pale = rng.uniform(0.2, 0.7, 2)
        strokes.append(Stroke(middle + ring * reach[:, None], widths, "drop rim", "dark", dark))
        inner = middle + ring * (reach * 0.82)[:, None]
        lit = slice(int(rng.integers(0, 24)), int(rng.integers(30, 48)))
        strokes.append(Stroke(inner[lit], widths[lit] * 0.8, "drop rim", "pale", pale))
    return strokes


def _text(rng, centre, radius):
    along, down = _ways(rng.uniform(0, 2 * np.pi))
    size = radius * rng.uniform(0.012, 0.05)
    start = centre + radius * rng.uniform(-0.7, 0.2, 2)
    width, depth = max(0.8, size * rng.uniform(0.4, 0.9)), rng.uniform(0.5, 0.95)
    look = str(rng.choice(["dark", "pale"], p=[0.75, 0.25]))
    strokes = []
    for k in range(int(rng.integers(3, 12))):
        sign = np.array(_SIGNS[rng.integers(len(_SIGNS))], float)
        corners = start + (sign[:, :1] * along + sign[:, 1:] * down + 3.2 * k * along) * size
        at = np.linspace(0, len(corners) - 1, 6 * len(corners))
        path = np.stack([np.interp(at, np.arange(len(corners)), corners[:, i]) for i in (0, 1)], 1)
        strokes.append(Stroke(path, np.full(len(path), width), "print", look, depth))
    return strokes


_MAKERS = {
    "bundle": _bundle,
    "blade arcs": _blade_arcs,
    "marker": _marker,
    "joint": _joint,
    "chisel": _chisel,
    "fibres": _fibres,
    "drops": _drops,
    "text": _text,
}
