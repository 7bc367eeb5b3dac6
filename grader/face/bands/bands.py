"""Bands of the face: stripes of the sky and water classes, followed along their middle lines."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import compress

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.bands.borders import (
    Offset,
    blue_white_field,
    border_width,
    find_offsets,
    on_face,
    trace_borders,
    waviness,
)
from grader.face.bands.gaps import Gap, gaps_of, ground_of
from grader.face.bands.runs import Run, follows, runs_of
from grader.face.bands.stripes import (
    OTHER,
    OUTSIDE,
    SKY,
    WATER,
    half_thickness,
    local_direction,
    smeared,
    stripe_map,
    without_specks,
    without_threads,
)
from grader.face.bands.structure import axial_mean, axial_spread
from grader.face.face import Face
from grader.face.lines.polyline import length_px, smooth
from grader.face.measurements import Banding, Regions
from grader.face.regions.regions import reading_lab
from grader.photo.colour import delta_e_2000
from grader.profile import Profile

#: A run counts from this length on,
LEAST_RUN_MM = 1.0
#: without a scale from this share of the width.
LEAST_RUN_SHARE = 0.02
#: Breaks shorter than this share of the width are cracks, not gaps: they do not end a run.
CRACK_SHARE = 0.03
#: Frothy borders are evened over this share of half a band.
FROTH_SHARE = 0.25
#: From this share of one class on the face has one colour and no bands.
ONE_COLOUR_SHARE = 0.98
#: Patches narrower than this share of half a band are specks in it.
SPECK_SHARE = 0.7
#: Found on drawn stripes, checkers, mottle and noise: below it the pattern has no direction to
#: speak of.
LEAST_COHERENCE = 0.44


@dataclass(frozen=True)
class _Pattern:
    """The map of the face's stripes and what crosses them, px of the map.

    stripes : (h, w), cracks and froth evened.   scale : px of the map for one working px.
    orientation_deg : (h, w), counter-clockwise.   coherence : 0 to 1.   borders : (n, 2) each.
    half_px : half the usual thickness.   crack_px : breaks shorter than this are no gaps.
    """

    stripes: NDArray[np.uint8]
    scale: float
    orientation_deg: NDArray
    coherence: float
    borders: list[NDArray]
    offsets: list[Offset]
    half_px: float
    crack_px: float


@dataclass(frozen=True)
class _Course:
    """The runs that count and how they lie together, px of the map.

    gaps : by run, at its two ends.   bands : that a line square to them crosses.   width_px : of the face along them.
    direction_deg : counter-clockwise.   agreement : resultant length of the runs' directions, 0 to 1.
    """

    runs: list[Run]
    gaps: list[tuple[Gap, Gap]]
    bands: int
    width_px: float
    direction_deg: float
    agreement: float


def measure_bands(face: Face, regions: Regions, profile: Profile) -> Banding:
    """Return direction, count, thickness, contrast and continuity of the bands; ``None`` where there are none.

    Continuity is this tool's own definition: the mean length of the unbroken runs of the band
    middle lines, divided by the face's width in band direction. A run ends at a gap, at the face's
    edge, or at an offset of at least 35 % of the band's thickness; runs under 1 mm (2 % of the
    width without a scale) are left out. A crack without offset ends none.
    """
    pattern = _pattern(regions, face.mask, profile)
    least_px = LEAST_RUN_MM / face.mm_per_px if face.mm_per_px else None
    course = pattern and _course(pattern, least_px and least_px * pattern.scale)
    return _banding(face, regions, profile, pattern, course) if course else Banding()


def _pattern(regions: Regions, mask: NDArray[np.bool_], profile: Profile) -> _Pattern | None:
    """Return the map of a face's stripes; ``None`` where it has one colour or no direction."""
    stripes, scale = stripe_map(regions.codes, mask, profile)
    areas = np.bincount(stripes.ravel(), minlength=4)[1:]
    area = int(areas.sum())
    if areas.max() >= ONE_COLOUR_SHARE * area:
        return None
    half_px = half_thickness(stripes)
    stripes = without_specks(stripes, (SPECK_SHARE * half_px) ** 2)
    crack_px = max(CRACK_SHARE * float(np.sqrt(area)), 1.5)
    orientation_deg, coherence = local_direction(
        without_threads(stripes, min(crack_px, half_px)), half_px
    )
    if coherence < LEAST_COHERENCE:
        return None
    field = blue_white_field(stripes, half_px)
    borders = trace_borders(field, stripes)
    offsets = find_offsets(borders, field, orientation_deg, 2 * half_px)
    stripes = smeared(stripes, orientation_deg, crack_px, FROTH_SHARE * half_px)
    return _Pattern(stripes, scale, orientation_deg, coherence, borders, offsets, half_px, crack_px)


def _banding(
    face: Face, regions: Regions, profile: Profile, pattern: _Pattern, course: _Course
) -> Banding:
    """The bands in working px, of the map's in px of that."""
    scale, offsets, usual_px = pattern.scale, pattern.offsets, 2 * pattern.half_px
    corner = np.array(cv2.boundingRect(face.mask.astype(np.uint8))[:2])
    water, sky = (reading_lab(regions, profile, reading) for reading in ("water", "sky"))
    lengths = _lengths(course.runs)
    missing_px = sum(gap.length_px for pair in course.gaps for gap in pair)
    thickness_px, spread_px = _thickness(course.runs, lengths)
    return Banding(
        continuity=float(np.minimum(lengths / course.width_px, 1).mean()),
        fill_share=float(lengths.sum() / (lengths.sum() + missing_px)),
        bands=course.bands,
        direction_deg=course.direction_deg % 180,
        thickness_px=thickness_px / scale,
        contrast_de00=None if water is None or sky is None else float(delta_e_2000(water, sky)),
        confidence=pattern.coherence,
        thickness_spread_px=spread_px / scale,
        direction_spread_deg=axial_spread(course.agreement),
        border_width_px=border_width(
            face, pattern.borders, scale, corner, [water, sky], usual_px / scale
        ),
        waviness=waviness(pattern.borders, usual_px),
        offsets=len(offsets),
        throw_px=float(np.median([o.throw_px for o in offsets])) / scale if offsets else None,
        borders=tuple(on_face(border, scale, corner) for border in pattern.borders),
        offset_places=tuple(
            (*on_face(o.place, scale, corner).tolist(), o.throw_px / scale, o.thickness_px / scale)
            for o in offsets
        ),
        faults=tuple(on_face(o.across, scale, corner) for o in offsets),
    )


def _parted(stripes: NDArray[np.uint8], offsets: list[Offset]) -> NDArray[np.uint8]:
    """Return the map with the bands parted where faults offset them."""
    parted = stripes.copy()
    for offset in offsets:
        cv2.polylines(parted, [np.rint(offset.across).astype(np.int32)], False, OTHER, 2)
    return np.where(stripes == OUTSIDE, OUTSIDE, parted).astype(np.uint8)


def _course(pattern: _Pattern, least_px: float | None) -> _Course | None:
    """Return the runs of bands, without those of a ground and short ones; ``None`` for less than two bands.

    least_px : length of a run; ``None`` without scale, then a share of the width.
    """
    stripes = pattern.stripes
    parted = _parted(stripes, pattern.offsets)
    runs = [run for stripe in (WATER, SKY) for run in runs_of(parted, stripe)]
    runs = [run for run in runs if follows(run, pattern.orientation_deg)]
    if not runs:
        return None
    gaps = gaps_of(runs, stripes, 2 * pattern.crack_px)
    ground = ground_of(stripes, runs, gaps)
    kept = [run.stripe != ground for run in runs]
    runs, gaps = list(compress(runs, kept)), list(compress(gaps, kept))
    direction_deg, agreement = _direction(runs)
    along = np.array([np.cos(np.radians(direction_deg)), -np.sin(np.radians(direction_deg))])
    y, x = np.nonzero(stripes)
    face_along = x * along[0] + y * along[1]
    width_px = float(face_along.max() - face_along.min()) + 1
    kept = _lengths(runs) >= (LEAST_RUN_SHARE * width_px if least_px is None else least_px)
    runs, gaps = list(compress(runs, kept)), list(compress(gaps, kept))
    bands = _count(runs, along)
    return _Course(runs, gaps, bands, width_px, direction_deg, agreement) if bands >= 2 else None


def _direction(runs: Sequence[Run]) -> tuple[float, float]:
    """Return the mean axis of the runs, degrees counter-clockwise, and its resultant length, 0 to 1."""
    steps = np.vstack(
        [np.diff(smooth(run.points, max(int(run.thickness_px), 5)), axis=0) for run in runs]
    )
    return axial_mean(np.degrees(np.arctan2(-steps[:, 1], steps[:, 0])), np.hypot(*steps.T) + 1e-9)


def _lengths(runs: Sequence[Run]) -> NDArray[np.float64]:
    """Lengths of the runs, px, both ends counted, (runs,)."""
    return np.array([length_px(run.points) + 1 for run in runs])


def _thickness(runs: Sequence[Run], lengths: NDArray) -> tuple[float, float]:
    """Return the mean thickness along the runs and its standard deviation, px."""
    # Near its ends a run is rounded off.
    trimmed = [
        run.along_px[int(run.thickness_px / 2) : -int(run.thickness_px / 2) - 1] for run in runs
    ]
    usual = [run.thickness_px for run in runs]
    return (
        float(np.average(usual, weights=lengths)),
        float(np.concatenate([*trimmed, usual]).std()),
    )


def _count(runs: list[Run], along: NDArray) -> int:
    """Return how many bands a line square to them crosses, on a line that crosses many of them."""
    if not runs:
        return 0
    spans = np.array([((run.points @ along).min(), (run.points @ along).max()) for run in runs])
    at = np.linspace(spans.min(), spans.max(), 101)
    crossed = ((spans[:, :1] <= at) & (at <= spans[:, 1:])).sum(axis=0)
    return int(np.percentile(crossed, 90, method="nearest"))
