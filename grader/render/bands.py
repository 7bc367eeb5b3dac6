"""Banded faces: stripes along a bent coordinate, and the truth of their continuity."""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.noise import fbm
from grader.render.truth import BLUE, HOST, WHITE, BandTruth

#: Faults are written down from this throw on, in thicknesses of the band, where the band is seen on
#: both sides of it, this many columns of 120 apart.
LEAST_BREAK, MOST_COLUMNS = 0.25, 6


@dataclass(frozen=True)
class Stripes:
    """A sequence of stripes along a coordinate t (stone radii).

    edges : (n + 1,) rising.   classes : (n,) BLUE, WHITE or HOST.   tones : (n,) shift of L*.
    leans : (n,) how much L* rises
    from one side of the stripe to the other.
    """

    edges: NDArray[np.float64]
    classes: NDArray[np.uint8]
    tones: NDArray[np.float64]
    leans: NDArray[np.float64]

    def paint(self, t: NDArray[np.float32], soft: float) -> tuple[NDArray, NDArray, NDArray]:
        """Return white weight, host weight and tone at each t, borders rising over about ``soft`` radii."""
        low, high, n = float(t.min()), float(t.max()) + 1e-4, 4096
        at = np.linspace(low, high, n)
        stripe = np.clip(
            np.searchsorted(self.edges, at, side="right") - 1, 0, len(self.classes) - 1
        )
        within = (at - self.edges[stripe]) / np.maximum(
            self.edges[stripe + 1] - self.edges[stripe], 1e-6
        ) - 0.5
        tone = self.tones[stripe] + self.leans[stripe] * np.clip(within, -0.5, 0.5)
        table = np.stack([self.classes[stripe] == WHITE, self.classes[stripe] == HOST, tone], 1)
        table = table.astype(np.float32)
        sigma = soft / 2.5 / (high - low) * n
        if sigma > 0.3:
            table = cv2.GaussianBlur(table, (1, 2 * int(3 * sigma) + 3), 0.1, sigmaY=sigma)
        index = ((t - np.float32(low)) * np.float32((n - 1) / (high - low))).astype(np.int32)
        return tuple(table[:, i].take(index) for i in range(3))


def draw_stripes(
    rng: np.random.Generator, thickness: float, reach: float, host_chance: float = 0.0
) -> Stripes:
    """Return stripes of about that thickness (radii) from -reach to reach, blue and white in turn."""
    spread = rng.uniform(0.15, 0.7)
    count = int(2 * reach / thickness * 1.6) + 3
    ratio = rng.uniform(0.5, 2.0)  # blue stripes thicker or thinner than white ones
    widths = thickness * np.exp(rng.normal(0, spread, count))
    widths[::2] *= ratio
    edges = -reach + np.concatenate([[0], np.cumsum(widths)])
    classes = np.where(np.arange(count) % 2 == 0, BLUE, WHITE).astype(np.uint8)
    classes[rng.random(count) < host_chance] = HOST
    return Stripes(
        edges, classes, rng.normal(0, 2.2, count), rng.normal(0, rng.choice([0.5, 4.0]), count)
    )


@dataclass(frozen=True)
class Course:
    """Where bands run: t across them, the block between faults of each px, and the offsets of the faults (radii)."""

    t: NDArray[np.float32]
    block: NDArray[np.uint8]
    offsets: tuple[float, ...]
    angle: float


def draw_course(
    rng: np.random.Generator,
    u: NDArray,
    v: NDArray,
    radius_px: float,
    *,
    bend: float,
    fold: float = 0.0,
    faults: int = 0,
    throw: float = 0.2,
) -> Course:
    """Return a course at a random angle: bent by noise, folded in waves, thrown by faults."""
    angle = float(rng.uniform(0, np.pi))
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    along, t = c * u + s * v, -s * u + c * v
    block = np.zeros(u.shape, np.uint8)
    offsets = []
    for k in range(faults):
        lean = rng.normal(0, 0.45)
        side = along - np.float32(lean) * t - np.float32(rng.uniform(-0.6, 0.6))
        side = side + np.float32(0.02) * fbm(rng, u.shape, radius_px * 0.5, 3)
        jump = float(rng.choice([-1, 1]) * throw * rng.uniform(0.2, 1.8))
        t = t + np.float32(jump) * (side > 0)
        block = block + (side > 0).astype(np.uint8) * np.uint8(2**k)
        offsets.append(jump)
    t = t + np.float32(bend) * fbm(rng, u.shape, radius_px * rng.uniform(0.5, 1.2), 3, 0.35)
    if fold:
        waves = rng.uniform(1.2, 4.5)
        wander = fbm(rng, u.shape, radius_px, 2)
        t = t + np.float32(fold) * np.sin(
            np.float32(waves) * along + np.float32(rng.uniform(0, 7)) + 0.5 * wander
        )
    return Course(t.astype(np.float32), block, tuple(offsets), angle)


def fortified(
    rng: np.random.Generator, u: NDArray, v: NDArray, radius_px: float
) -> NDArray[np.float32]:
    """Return the coordinate of bands that run around a middle with corners, like walls around a town."""
    cu, cv = rng.normal(0, 0.35, 2)
    sides = int(rng.integers(4, 8))
    turns = np.sort(
        rng.uniform(0, 2 * np.pi) + np.arange(sides) * 2 * np.pi / sides + rng.normal(0, 0.2, sides)
    )
    t = np.full(u.shape, -9, np.float32)
    for a in turns:
        wall = (np.float32(np.cos(a)) * (u - cu) + np.float32(np.sin(a)) * (v - cv)) * np.float32(
            rng.uniform(0.8, 1.3)
        )
        t = np.maximum(t, wall)
    return t + np.float32(0.035) * fbm(rng, u.shape, radius_px * 0.25, 4) - np.float32(0.9)


def band_truth(
    course: Course,
    stripes: Stripes,
    u: NDArray,
    v: NDArray,
    classes: NDArray[np.uint8],
    least_run: float,
    radius_px: float,
) -> BandTruth:
    """Return continuity, fill share, count and offsets of bands from where they were drawn; places in px of the arrays.

    Parameters
    ----------
    classes : codes as seen (0 outside the face), so that what lies over the bands makes gaps.
    least_run : runs shorter than this share of the face's width are left out.
    """
    step = max(1, int(radius_px / 110))
    pick = (slice(None, None, step), slice(None, None, step))
    classes, t, block = classes[pick], course.t[pick], course.block[pick]
    along = np.cos(course.angle) * u[pick] + np.sin(course.angle) * v[pick]
    across = -np.sin(course.angle) * u[pick] + np.cos(course.angle) * v[pick]
    face = classes > 0
    if face.sum() < 50:
        return BandTruth()
    start, end = float(along[face].min()), float(along[face].max())
    columns = 120
    column = np.clip(((along - start) / (end - start + 1e-6) * columns).astype(int), 0, columns - 1)
    stripe = np.clip(
        np.searchsorted(stripes.edges, t, side="right") - 1, 0, len(stripes.classes) - 1
    )
    middle_t = (stripes.edges[:-1] + stripes.edges[1:]) / 2
    width_t = np.diff(stripes.edges)
    runs, breaks, present_total, chord_total, thick, crossed = [], [], 0, 0, [], 0
    for k in np.unique(stripe[face]):
        core = (
            face
            & (stripe == k)
            & (np.abs(t - middle_t[k]) <= max(0.2 * width_t[k], 1.2 * step / radius_px))
        )
        if stripes.classes[k] == HOST or core.sum() < 3:
            continue
        path = _path(column, across, block, core, core & (classes == stripes.classes[k]), columns)
        present_total += int(path.present.sum())
        chord_total += int(path.inside.sum())
        crossed += int(path.present[columns // 2 - 2 : columns // 2 + 3].any())
        if path.present.any():
            thick.append(width_t[k])
        runs += _runs(path, course.offsets, width_t[k], (end - start) / columns)
        breaks += [
            (x * step, y * step, thrown * radius_px, thrown / width_t[k])
            for x, y, thrown in _breaks(path, course.offsets, LEAST_BREAK * width_t[k])
        ]
    wide = end - start
    runs = [r / wide for r in runs if r / wide >= least_run]
    return BandTruth(
        continuity=float(min(1.0, np.mean(runs))) if runs else 0.0,
        fill_share=present_total / chord_total if chord_total else 0.0,
        bands=crossed,
        thickness_px=float(np.median(thick) * radius_px) if thick else None,
        offsets=tuple(abs(o) / float(np.median(width_t)) for o in course.offsets),
        breaks=tuple(breaks),
    )


@dataclass(frozen=True)
class _Path:
    present: NDArray[np.bool_]
    inside: NDArray[np.bool_]
    across: NDArray[np.float64]
    block: NDArray[np.int64]
    places: NDArray[np.float64]


def _path(column, across, block, core, readable, columns: int) -> _Path:
    """Follow one band's middle line column by column."""
    inside = np.bincount(column[core], minlength=columns)
    present = np.bincount(column[readable], minlength=columns)
    total = np.bincount(column[core], across[core], minlength=columns)
    # Where a fault passes through a column, most of the band there says on which side of it it is.
    sides = np.bincount(column[core] * 256 + block[core], minlength=columns * 256)
    count = np.maximum(inside, 1)
    rows, cols = np.nonzero(core)
    places = [np.bincount(column[core], at + 0.5, minlength=columns) for at in (cols, rows)]
    return _Path(
        present * 2 > inside,
        inside > 0,
        total / count,
        sides.reshape(columns, 256).argmax(axis=1),
        np.stack(places, axis=1) / count[:, None],
    )


def _breaks(path: _Path, offsets: tuple[float, ...], least: float) -> list[tuple[float, ...]]:
    """Return x, y (px of the map) and throw (radii) where a fault throws a band that is seen on both its sides."""
    found = []
    columns = np.flatnonzero(path.present)
    for last, i in pairwise(columns):
        changed = int(path.block[i]) ^ int(path.block[last])
        thrown = _thrown(offsets, changed)
        if i - last <= MOST_COLUMNS and thrown >= least:
            found.append((*((path.places[i] + path.places[last]) / 2), thrown))
    return found


def _thrown(offsets: tuple[float, ...], changed: int) -> float:
    """Return the largest throw (radii) of the faults that lie between two blocks."""
    return max((abs(o) for k, o in enumerate(offsets) if changed >> k & 1), default=0.0)


def _runs(path: _Path, offsets: tuple[float, ...], width_t: float, step: float) -> list[float]:
    """Return the lengths (radii) of the unbroken runs; a fault thrown by 35 % of the thickness or more ends one."""
    lengths, current, last = [], 0.0, None
    for i in range(len(path.present)):
        if not path.present[i]:
            lengths.append(current)
            current, last = 0.0, None
            continue
        if last is not None:
            changed = int(path.block[i]) ^ int(path.block[last])
            thrown = _thrown(offsets, changed)
            if thrown >= 0.35 * width_t:
                lengths.append(current)
                current = 0.0
            else:
                current += float(
                    np.hypot(step, min(abs(path.across[i] - path.across[last]), 2 * step))
                )
        else:
            current = step
        last = i
    return [length for length in [*lengths, current] if length > 0]
