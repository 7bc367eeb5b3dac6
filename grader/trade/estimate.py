"""What a stone may weigh before it is weighed, from the size of its largest face: a range, never one number.

An estimate is no weight: it stands on no label and in no price. All numbers here are starting values from memory, and
settings: the share of a chunk's bounding box that stone fills, and densities from rhyolite to dolomite rock.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi, sqrt

#: From low to high; of weights in g.
Range = tuple[float, float]

#: Density of the stone, g/cm3.
DENSITY: Range = (2.4, 2.9)
#: Share of its bounding box that a chunk fills; and the shares outside of which something is wrong.
CHUNK: Range = (0.40, 0.65)
CHUNK_LIMITS: Range = (0.20, 0.80)
#: Depth of a chunk behind its face, as a part of the face's shorter side; and the longest face for its width.
_DEPTH: Range = (0.4, 1.0)
_LONGEST = 2.0
#: A face may belong to a thin slab, mm, or to a stone twice as deep as its face is wide: beyond it a weight is odd.
_THINNEST_MM, _DEEPEST = 5.0, 2.0
#: From so many own weighed pieces on they tell better than these shares; then nine in ten of them lie in the range.
OWN_PIECES, _OWN_RANGE = 20, (0.05, 0.95)


def chunk_g(area_cm2: float, density: Range = DENSITY, chunk: Range = CHUNK) -> Range:
    """Return what a chunk with such a face may weigh, g.

    The face is taken for an oval up to twice as long as wide, the box for as deep as 0.4 to 1 of its width.
    """
    low, high = _width_cm(area_cm2, _LONGEST), _width_cm(area_cm2, 1.0)
    return (
        chunk[0] * _box_cm2(area_cm2) * _DEPTH[0] * low * density[0],
        chunk[1] * _box_cm2(area_cm2) * _DEPTH[1] * high * density[1],
    )


def slab_g(area_cm2: float, thick_mm: Range, density: Range = DENSITY) -> Range:
    """Return what a stone of even thickness weighs, g."""
    low, high = (area_cm2 * mm / 10 for mm in thick_mm)
    return low * density[0], high * density[1]


def own_heft(weighed: Sequence[tuple[float, float]]) -> Range | None:
    """Return between which values nine in ten of one's own weighed pieces lie, in g by the face in cm2 to the power
    3/2, with which the weights of like shapes grow; ``None`` of too few.

    weighed : (face in cm2, weight in g) of each.
    """
    if len(weighed) < OWN_PIECES:
        return None
    hefts = sorted(grams / area_cm2**1.5 for area_cm2, grams in weighed)
    low, high = (_quantile(hefts, share) for share in _OWN_RANGE)
    return low, high


def own_g(area_cm2: float, heft: Range) -> Range:
    """Return what nine in ten of one's own pieces would weigh with such a face, g. heft : as of :func:`own_heft`."""
    return heft[0] * area_cm2**1.5, heft[1] * area_cm2**1.5


def _quantile(ordered: Sequence[float], share: float) -> float:
    """Between the two values where that share lies (R-7 of Hyndman and Fan, The American Statistician 50, 1996)."""
    at = share * (len(ordered) - 1)
    below = int(at)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (at - below) * (ordered[above] - ordered[below])


def plausible_g(area_cm2: float, density: Range = DENSITY) -> Range:
    """Return between which weights nothing is odd with such a face, g: from a thin slab to a stone that goes deep."""
    box = _box_cm2(area_cm2)
    return (
        CHUNK_LIMITS[0] * box * _THINNEST_MM / 10 * density[0],
        CHUNK_LIMITS[1] * box * _DEEPEST * _width_cm(area_cm2, 1.0) * density[1],
    )


@dataclass(frozen=True)
class OddWeight:
    """A weight that does not fit the size of the largest face, and between which it would, g."""

    code: str
    grams: float
    area_cm2: float
    fits_g: Range


def _box_cm2(area_cm2: float) -> float:
    """The rectangle around an oval."""
    return area_cm2 * 4 / pi


def _width_cm(area_cm2: float, length: float) -> float:
    """The shorter side of an oval that is so many times as long."""
    return sqrt(area_cm2 * 4 / pi / length)
