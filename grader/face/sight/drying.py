"""What a pair of photos, wet and dry, says of lines: an open crack holds water while its surround dries."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from grader.face.lines.line_words import distance_px, same_line
from grader.face.lines.naming import kind_at
from grader.face.lines.polyline import across, at_px, resample, smooth, tangents
from grader.face.measurements import Line
from grader.face.sight.filled import readable
from grader.face.sight.view import FaceView, lay_over
from grader.photo.align import Alignment
from grader.photo.colour import XYZ_FROM_LINEAR_SRGB

#: The line is read so far from its middle, in px: it may be found a px beside.
LINE_PX = 1
#: And its surround from and to so many px.
SURROUND_PX = (5, 9)
#: The surround has dried where it reflects this much more light than wet (natural logarithm). Dry stone
#: of 10 to 30 % reflectance is lighter by 0.30 to 0.40 than wet (Lekner & Dorf 1988, Appl. Opt. 27:1278).
DRIED = 0.12
#: The line has stayed dark there where it has gained less than this share of what its surround has.
STAYED_SHARE = 0.4
#: How much likelier a line that stays dark throughout is in an open crack than elsewhere. Our setting, no source.
STAYS = 5.0
#: And one that dries with its surround, the same; between the two, in step with the share that stays.
DRIES = 0.6
#: With less than this share of the line in a dried surround the pair says nothing.
LEAST_DRIED_SHARE = 0.3
#: What a face gains in the middle where it has dried and no white of both photos tells (the same source).
USUAL_GAIN = 0.35


@dataclass(frozen=True)
class DryingPair:
    """One face wet and dry, in one frame.

    gain : ndarray of shape (h, w), natural logarithm of dry over wet luminance.
    mask : ndarray of shape (h, w), bool, where both photos show the stone and neither is glare.
    """

    gain: NDArray
    mask: NDArray[np.bool_]

    def ratio(self, points: NDArray) -> float:
        """Return the likelihood ratio of a line, (n, 2) x, y in px."""
        return likelihood_ratio(points, self.gain, self.mask)


@dataclass(frozen=True)
class DriedLines:
    """What a pair has shown of lines, kept without it: of each its points, (n, 2) x, y in px, and likelihood ratio."""

    lines: tuple[tuple[NDArray, float], ...]

    def ratio(self, points: NDArray) -> float:
        """Return the ratio of the kept line that these points run along; 1, which says nothing, where there is none."""
        near = [
            (float(distance_px(points, kept).mean()), ratio)
            for kept, ratio in self.lines
            if same_line(points, kept)
        ]
        return min(near)[1] if near else 1.0


def drying_pair(
    first: FaceView, other: FaceView, alignment: Alignment, one_white: bool
) -> DryingPair:
    """Return the pair that two photos make, one wet and one dry, in the first one's frame.

    one_white : the colours of both are referred to a white. Else exposures may differ, and the face as a whole is
    taken to have dried as stone usually does.
    """
    shape = first.face.mask.shape
    mask = first.face.mask & ~first.hidden & readable(other, alignment, shape)
    own = _luminance(first, one_white)
    others = lay_over(_luminance(other, one_white), alignment, shape)
    wet, dry = (own, others) if first.state.value == "wet" else (others, own)
    gain = np.log(np.maximum(dry, 1e-4) / np.maximum(wet, 1e-4))
    if not one_white and mask.any():
        gain += USUAL_GAIN - np.median(gain[mask])
    return DryingPair(gain, mask)


def _luminance(view: FaceView, one_white: bool) -> NDArray[np.float32]:
    """Relative luminance, (h, w); by the corrected lightness where that is referred to a white."""
    if not one_white:
        return view.face.linear @ XYZ_FROM_LINEAR_SRGB[1]
    lightness = view.face.lab[..., 0]
    # CIE 15:2018: L* to Y. In float32 like all of a face; ``xyz_from_lab`` is for single colours in float64.
    return np.where(lightness > 8, ((lightness + 16) / 116) ** 3, lightness / 903.3).astype(
        np.float32
    )


def with_drying(lines: Sequence[Line], pair: DryingPair | DriedLines) -> tuple[Line, ...]:
    """Return the lines with their probability moved by what the pair shows; the seller's word stays."""
    return tuple(
        line if line.source == "seller" else _moved(line, pair.ratio(line.points)) for line in lines
    )


def likelihood_ratio(points: NDArray, gain: NDArray, mask: NDArray[np.bool_]) -> float:
    """Return how much likelier a pair is for an open crack than for any other line, above 0.

    Parameters
    ----------
    points : (n, 2) x, y in px.
    gain : ndarray of shape (h, w), natural logarithm of dry over wet luminance.
    """
    path = resample(points - 0.5)
    along = tangents(smooth(path, 9))
    known = np.where(mask, gain, np.nan)
    line = _least(_beside(known, path, along, np.arange(-LINE_PX, LINE_PX + 1)))
    low, high = SURROUND_PX
    far = np.arange(low, high + 1)
    surround = _median(_beside(known, path, along, np.concatenate([-far[::-1], far])))
    dried = (surround >= DRIED) & np.isfinite(line)
    if dried.mean() < LEAST_DRIED_SHARE:
        return 1.0
    stayed = float((line[dried] < STAYED_SHARE * surround[dried]).mean())
    return float(np.exp(np.log(DRIES) + stayed * (np.log(STAYS) - np.log(DRIES))))


def updated(probability: float, ratio: float) -> float:
    """Return a probability, 0 to 1, after evidence of that likelihood ratio (Bayes' rule on the odds)."""
    return ratio * probability / (ratio * probability + 1 - probability)


def _moved(line: Line, ratio: float) -> Line:
    """The line with its probability and class after the evidence."""
    probability = updated(line.probability, ratio)
    # What is no crack is shared out as before.
    kept = (1 - probability) / max(1 - line.probability, 1e-9)
    pattern = min(line.pattern_chance * kept, 1 - probability)
    return replace(
        line,
        probability=probability,
        pattern_chance=pattern,
        # A line once told stays told.
        kind=kind_at(probability, pattern) or "uncertain",
        drying_ratio=ratio,
    )


def _beside(values: NDArray, path: NDArray, along: NDArray, out: NDArray) -> NDArray[np.float64]:
    """Values, (n, m), square to the path (n, 2) at those distances (m,); nan off the picture.

    along : (n, 2), unit vectors along the path.
    """
    x, y = across(path, along, out)
    h, w = values.shape
    inside = (np.rint(x) >= 0) & (np.rint(y) >= 0) & (np.rint(x) < w) & (np.rint(y) < h)
    return np.where(inside, at_px(values, x, y), np.nan)


def _least(beside: NDArray) -> NDArray[np.float64]:
    """The least of each row; nan where nothing is seen."""
    least = np.where(np.isnan(beside), np.inf, beside).min(axis=1)
    return np.where(np.isinf(least), np.nan, least)


def _median(beside: NDArray) -> NDArray[np.float64]:
    """The median of each row; minus infinity where nothing is seen."""
    known = ~np.isnan(beside).all(axis=1)
    middle = np.full(len(beside), -np.inf)
    middle[known] = np.nanmedian(beside[known], axis=1)
    return middle
