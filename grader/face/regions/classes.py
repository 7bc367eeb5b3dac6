"""Where a seller's own colours lie: the ranges of the colour classes, moved by spots that were marked.

A range moves only on evidence: outwards to take in what was marked as the class, inwards where something else was
marked inside it. What nobody marked stays as the profile has it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from grader.photo.colour import chroma_hue
from grader.profile import ColourClass, Profile

#: A range reaches this far beyond what was marked: L*, C*ab, h_ab in degrees.
MARGINS = (6.0, 4.0, 12.0)
#: Below this C*ab a pixel's hue says nothing; a spot has a hue where at least half of its pixels have one.
HUELESS_C = 5.0
#: This share of a spot's pixels is left out at either end: noise, grains, the border it was drawn over.
TAIL = 0.05
#: Another class is inside a range where more than this share of its marked pixels is.
INSIDE = 0.1
HIGHEST = (100.0, 200.0)


def fit_classes(
    marked: Mapping[str, Sequence[NDArray]], profile: Profile, *, inwards: bool = True
) -> Profile:
    """Return the profile with the ranges of its classes moved to what was marked.

    Parameters
    ----------
    marked : by name of a class of the profile, its spots: each an ndarray of shape (n, 3), CIELAB of its pixels.
        A small spot counts as much as a large one.
    inwards : whether ranges also draw back from what was marked as another class; else they only grow.

    Notes
    -----
    The class that takes what is none of the others keeps its ranges; its marks bound the others.
    """
    colours = list(profile.colours)
    for place, colour in enumerate(colours):
        if place != profile.rest and colour.name in marked:
            others = [spots for name, spots in marked.items() if inwards and name != colour.name]
            colours[place] = _fitted(colour, marked[colour.name], others)
    return replace(profile, colours=tuple(colours))


def _fitted(
    colour: ColourClass, own: Sequence[NDArray], others: Sequence[Sequence[NDArray]]
) -> ColourClass:
    middle = _middle_hue(own)
    spans = [_span(own, axis, middle) for axis in range(3)]
    lightness, chroma = (
        [max(0.0, min(low, first - margin)), min(top, max(high, last + margin))]
        for (low, high), (first, last), margin, top in zip(
            (colour.lightness, colour.chroma), spans[:2], MARGINS[:2], HIGHEST, strict=True
        )
    )
    hue = _hue_with(colour.hue_deg, spans[2], middle)
    fitted = replace(colour, lightness=tuple(lightness), chroma=tuple(chroma), hue_deg=hue)
    for spots in others:
        fitted = _drawn_back(fitted, spans, np.concatenate(spots), spots, middle)
    return replace(
        fitted,
        lightness=_rounded(fitted.lightness),
        chroma=_rounded(fitted.chroma),
        hue_deg=_rounded(fitted.hue_deg),
    )


def _hue_with(
    hue_deg: tuple[float, float], span: tuple[float, float] | None, middle: float | None
) -> tuple[float, float]:
    """The hue range with the marked hues in it, grown the shorter way round."""
    low, high = hue_deg
    if span is None or high - low >= 360:
        return hue_deg
    first, last = middle + span[0] - MARGINS[2], middle + span[1] + MARGINS[2]
    grown = [(min(low, first + turn), max(high, last + turn)) for turn in (-720, -360, 0, 360, 720)]
    low, high = min(grown, key=lambda ends: ends[1] - ends[0])
    return (0.0, 360.0) if high - low >= 360 else (low % 360, low % 360 + high - low)


def _drawn_back(
    colour: ColourClass,
    spans: list,
    pixels: NDArray,
    spots: Sequence[NDArray],
    middle: float | None,
) -> ColourClass:
    """The class with one border drawn back from another class's marks that lie inside it: the border along which
    the two lie furthest apart, counted in margins."""
    if _inside(colour, pixels).mean() <= INSIDE:
        return colour
    ranges = {"lightness": colour.lightness, "chroma": colour.chroma, "hue_deg": colour.hue_deg}
    best_gap, best = 0.0, colour
    for axis, (name, (low, high)) in enumerate(ranges.items()):
        theirs = _span(spots, axis, middle)
        if spans[axis] is None or theirs is None:
            continue
        (first, last), (their_first, their_last) = spans[axis], theirs
        above, below = their_first - last, first - their_last
        if axis == 2:
            if their_last - their_first + last - first >= 360 or high - low >= 360:
                continue
            above, below = above % 360, below % 360
            start = middle + first - (middle + first - low) % 360
            low, high = start, start + high - low
            first, last = middle + first, middle + last
        for gap, ends in (
            (above, (low, min(high, last + above / 2))),
            (below, (max(low, first - below / 2), high)),
        ):
            if gap / MARGINS[axis] > best_gap and ends != (low, high):
                best_gap = gap / MARGINS[axis]
                ends = (ends[0] % 360, ends[0] % 360 + ends[1] - ends[0]) if axis == 2 else ends
                best = replace(colour, **{name: ends})
    return best


def _inside(colour: ColourClass, lab: NDArray) -> NDArray[np.bool_]:
    chroma, hue = chroma_hue(lab)
    low, high = colour.hue_deg
    return (
        (lab[:, 0] >= colour.lightness[0])
        & (lab[:, 0] <= colour.lightness[1])
        & (chroma >= colour.chroma[0])
        & (chroma <= colour.chroma[1])
        & ((chroma < HUELESS_C) | ((hue - low) % 360 <= high - low))
    )


def _span(spots: Sequence[NDArray], axis: int, middle: float | None) -> tuple[float, float] | None:
    """Lowest and highest L*, C*ab, or hue from the middle one, over all spots, the tails of each left out; ``None``
    where no spot has a hue. A span of hues may leave -180 to 180, so that it never wraps."""
    if axis < 2:
        values = [lab[:, 0] if axis == 0 else chroma_hue(lab)[0] for lab in spots]
    else:
        hues = [h for lab in spots if (h := _hues(lab)) is not None]
        if not hues or middle is None:
            return None
        own = _mean_hue(np.concatenate(hues))
        offset = _turn(own - middle)
        values = [_turn(h - own) + offset for h in hues]
    low, high = zip(*(np.quantile(v, (TAIL, 1 - TAIL)) for v in values), strict=True)
    return float(min(low)), float(max(high))


def _middle_hue(spots: Sequence[NDArray]) -> float | None:
    """The mean direction of the hues of the spots that have one."""
    hues = [h for lab in spots if (h := _hues(lab)) is not None]
    return _mean_hue(np.concatenate(hues)) if hues else None


def _hues(lab: NDArray) -> NDArray | None:
    """Hues of a spot's pixels that have one; ``None`` where fewer than half have."""
    chroma, hue = chroma_hue(lab)
    coloured = chroma >= HUELESS_C
    return hue[coloured] if coloured.mean() >= 0.5 else None


def _mean_hue(hue_deg: NDArray) -> float:
    angles = np.radians(hue_deg)
    return float(np.degrees(np.arctan2(np.sin(angles).mean(), np.cos(angles).mean())))


def _turn(degrees):
    """Angles brought to -180 to 180."""
    return (np.asarray(degrees) + 180) % 360 - 180


def _rounded(limits: tuple[float, float]) -> tuple[float, float]:
    return round(float(limits[0]), 1), round(float(limits[1]), 1)
