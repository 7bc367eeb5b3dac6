"""Where a seller's own colours lie: the ranges of the colour classes, moved by pixels that were marked.

A range moves only on evidence: outwards to take in what was marked as the class, inwards where something else was
marked inside it. What nobody marked stays as the profile has it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from grader.photo.colour import chroma_hue
from grader.profile import ColourClass, Profile

#: A range reaches this far beyond what was marked: L*, C*ab, h_ab in degrees.
MARGINS = (6.0, 4.0, 12.0)
#: Below this C*ab a pixel's hue says nothing, and a class whose hue range is wider than this has none.
HUELESS_C, WHOLE_CIRCLE_DEG = 5.0, 300.0
#: The darkest, palest and most odd pixels of a mark are left out, as shares.
OWN_TAIL, OTHER_TAIL = 0.02, 0.1


@dataclass(frozen=True)
class _Axis:
    """Values of own and other marked pixels along L*, C*ab or h_ab; hues as seen from the class's middle hue."""

    own: NDArray
    margin: float
    lowest: float
    highest: float


def fit_classes(marked: Mapping[str, NDArray], profile: Profile) -> Profile:
    """Return the profile with the ranges of its classes moved to what was marked.

    Parameters
    ----------
    marked : by name of a class of the profile, ndarray of shape (n, 3), CIELAB of marked pixels, n of 1 or more.

    Notes
    -----
    The last class is what is none of the others: its ranges stay, and its marks bound the others.
    """
    colours = []
    for colour in profile.colours[:-1]:
        own = marked.get(colour.name)
        others = [lab for name, lab in marked.items() if name != colour.name]
        colours.append(colour if own is None else _fitted(colour, own, others))
    return replace(profile, colours=(*colours, profile.colours[-1]))


def _fitted(colour: ColourClass, own: NDArray, others: list[NDArray]) -> ColourClass:
    middle = _middle_hue(own, colour)
    axes = [
        _Axis(_along(own, 0, middle), MARGINS[0], 0, 100),
        _Axis(_along(own, 1, middle), MARGINS[1], 0, 200),
        _Axis(_along(own, 2, middle), MARGINS[2], -180, 180),
    ]
    low, high = colour.hue_deg
    whole = high - low >= 360
    ranges = [
        list(colour.lightness),
        list(colour.chroma),
        [-180.0, 180.0] if whole else [_turn(low - middle), _turn(low - middle) + high - low],
    ]
    for axis, limits in zip(axes, ranges, strict=True):
        if len(axis.own):
            first, last = np.quantile(axis.own, (OWN_TAIL, 1 - OWN_TAIL))
            limits[0] = max(axis.lowest, min(limits[0], first - axis.margin))
            limits[1] = min(axis.highest, max(limits[1], last + axis.margin))
    for other in others:
        _draw_back(ranges, axes, other, middle)
    (light, chroma, hue) = ranges
    hue_deg = (0.0, 360.0)
    if hue[1] - hue[0] < WHOLE_CIRCLE_DEG:
        start = (hue[0] + middle) % 360
        hue_deg = (start, start + hue[1] - hue[0])
    return replace(
        colour, lightness=_rounded(light), chroma=_rounded(chroma), hue_deg=_rounded(hue_deg)
    )


def _draw_back(ranges: list[list[float]], axes: list[_Axis], other: NDArray, middle: float) -> None:
    """Draw one range back from another class's marks: the one along which the two lie furthest apart."""
    best = (0.0, None, 0.0, 0)
    for number, axis in enumerate(axes):
        theirs = _along(other, number, middle)
        if not len(axis.own) or not len(theirs):
            continue
        first, last = np.quantile(axis.own, (OWN_TAIL, 1 - OWN_TAIL))
        their_first, their_last = np.quantile(theirs, (OTHER_TAIL, 1 - OTHER_TAIL))
        for gap, border, end in (
            (their_first - last, (their_first + last) / 2, 1),
            (first - their_last, (first + their_last) / 2, 0),
        ):
            best = max(best, (gap / axis.margin, number, border, end), key=lambda b: b[0])
    _, number, border, end = best
    if number is not None:
        keep = min if end else max
        ranges[number][end] = float(keep(ranges[number][end], border))


def _along(lab: NDArray, axis: int, middle_deg: float) -> NDArray:
    """L*, C*ab, or the hue from the middle one (-180 to 180) of the pixels that have a hue."""
    chroma, hue = chroma_hue(lab)
    if axis == 2:
        return _turn(hue[chroma >= HUELESS_C] - middle_deg)
    return lab[:, 0] if axis == 0 else chroma


def _middle_hue(lab: NDArray, colour: ColourClass) -> float:
    """The mean direction of the marked hues; the middle of the class's range where none of them has one."""
    chroma, hue = chroma_hue(lab)
    angles = np.radians(hue[chroma >= HUELESS_C])
    if not len(angles):
        return sum(colour.hue_deg) / 2
    return float(np.degrees(np.arctan2(np.sin(angles).mean(), np.cos(angles).mean())))


def _turn(degrees):
    """Angles brought to -180 to 180."""
    return (np.asarray(degrees) + 180) % 360 - 180


def _rounded(limits) -> tuple[float, float]:
    return round(float(limits[0]), 1), round(float(limits[1]), 1)
