"""Bands of the face: stripes of the sky and water classes, followed along their middle lines."""

from dataclasses import dataclass, replace
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
from grader.face.bands.stripes import (
    OTHER,
    OUTSIDE,
    SKY,
    WATER,
    depth_px,
    half_thickness,
    local_direction,
    smeared,
    stripe_map,
    without_specks,
    without_threads,
)
from grader.face.bands.structure import axial_mean, axial_spread
from grader.face.face import Face
from grader.face.lines.skeleton import length_px, paths, resample, smooth, thin
from grader.face.measurements import Banding, Regions
from grader.photo.colour import delta_e_2000
from grader.profile import Profile

#: A run ends at an offset of this share of the band's thickness, and counts from this length.
OFFSET_SHARE, NECK_SHARE, LEAST_RUN_MM, LEAST_RUN_SHARE = 0.35, 0.75, 1.0, 0.02
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
class _Run:
    """One unbroken run: points x, y one px apart, whether its two ends lie at a gap (not at an
    edge or an offset), and the thickness at each point.
    """

    stripe: int
    points: NDArray
    thickness_px: float
    at_gap: tuple[bool, bool]
    along_px: NDArray


@dataclass(frozen=True)
class _Gap:
    """Missing length ahead of a run's end, and whether the same band goes on straight behind it."""

    length_px: float = 0.0
    cuts: bool = False


def measure_bands(face: Face, regions: Regions, profile: Profile) -> Banding:
    """Return direction, count, thickness, contrast and continuity of the bands; all ``None`` where
    there are none.

    Continuity is this tool's own definition: the mean length of the unbroken runs of the band
    middle lines, divided by the face's width in band direction. A run ends at a gap, at the face's
    edge, or at an offset of at least 35 % of the band's thickness; runs under 1 mm (2 % of the
    width without a scale) are left out. A crack without offset ends none.
    """
    stripes, scale = stripe_map(regions.codes, face.mask, profile)
    areas = np.bincount(stripes.ravel(), minlength=4)[1:]
    area = int(areas.sum())
    if areas.max() >= ONE_COLOUR_SHARE * area:
        return Banding()
    half_px = half_thickness(stripes)
    stripes = without_specks(stripes, (SPECK_SHARE * half_px) ** 2)
    crack_px = max(CRACK_SHARE * float(np.sqrt(area)), 1.5)
    orientation_deg, coherence = local_direction(
        without_threads(stripes, min(crack_px, half_px)), half_px
    )
    if coherence < LEAST_COHERENCE:
        return Banding()
    scale_field = blue_white_field(stripes, half_px)
    borders = trace_borders(scale_field, stripes)
    offsets = find_offsets(borders, scale_field, orientation_deg, 2 * half_px)
    stripes = smeared(stripes, orientation_deg, crack_px, FROTH_SHARE * half_px)
    parted = _parted(stripes, offsets)
    runs = [run for stripe in (WATER, SKY) for run in _runs(parted, stripe)]
    runs = [run for run in runs if _follows(run, orientation_deg)]
    if not runs:
        return Banding()
    gaps = _gaps(runs, stripes, 2 * crack_px)
    ground = _ground(stripes, runs, gaps)
    kept = [run.stripe != ground for run in runs]
    runs, gaps = list(compress(runs, kept)), list(compress(gaps, kept))
    banding = _banding(
        runs, gaps, stripes, scale, face.mm_per_px, coherence, _contrast(regions, profile)
    )
    if banding.continuity is None:
        return banding
    ends = [reading_lab(regions, profile, reading) for reading in ("water", "sky")]
    corner = np.array(cv2.boundingRect(face.mask.astype(np.uint8))[:2])
    return replace(
        banding,
        waviness=waviness(borders, 2 * half_px),
        border_width_px=border_width(face, borders, scale, corner, ends, 2 * half_px / scale),
        offsets=len(offsets),
        throw_px=float(np.median([o.throw_px for o in offsets])) / scale if offsets else None,
        faults=tuple(on_face(o.across, scale, corner) for o in offsets),
        borders=tuple(on_face(border, scale, corner) for border in borders),
        offset_places=tuple(
            (*on_face(o.place, scale, corner).tolist(), o.throw_px / scale, o.thickness_px / scale)
            for o in offsets
        ),
    )


def _parted(stripes: NDArray[np.uint8], offsets: list[Offset]) -> NDArray[np.uint8]:
    """Return the map with the bands parted where faults offset them."""
    parted = stripes.copy()
    for offset in offsets:
        cv2.polylines(parted, [np.rint(offset.across).astype(np.int32)], False, OTHER, 2)
    return np.where(stripes == OUTSIDE, OUTSIDE, parted).astype(np.uint8)


def _follows(run: _Run, orientation_deg: NDArray) -> bool:
    """Whether the run is longer than thick and goes with the pattern: legs across a ragged band do
    neither.
    """
    steps = np.diff(run.points, axis=0)
    line_deg = np.degrees(np.arctan2(-steps[:, 1], steps[:, 0]))
    agreement = np.cos(2 * np.radians(line_deg - _sample(orientation_deg, run.points[1:])))
    return length_px(run.points) > run.thickness_px and float(agreement.mean()) > 0


def _runs(stripes: NDArray, stripe: int) -> list[_Run]:
    """Return the unbroken runs of the middle lines of one class."""
    mask = stripes == stripe
    if not mask.any():
        return []
    depth = depth_px(mask)
    face_depth = depth_px(stripes != OUTSIDE)
    usual = 2 * 2 * float(depth[mask].mean())
    runs = []
    for path in paths(thin(mask), 1.6 * depth + 2, max(usual, 4.0)):
        if len(path.points) < 3:
            continue
        points = resample(path.points)
        half = float(np.median(_sample(depth, points)))
        points = smooth(points, max(int(half), 3))
        points = _lengthened(points, path.free, mask, 2 * half)
        pieces = np.split(points, _offsets(points, depth, 2 * half))
        for i, piece in enumerate(pieces):
            if len(piece) < 2:
                continue
            ends = (path.free[0] and i == 0, path.free[1] and i == len(pieces) - 1)
            at_gap = tuple(
                free and float(_sample(face_depth, end[None])[0]) > 3
                for free, end in zip(ends, piece[[0, -1]], strict=True)
            )
            runs.append(_Run(stripe, piece, 2 * half, at_gap, 2 * _sample(depth, piece)))
    return runs


def _sample(values: NDArray, points: NDArray) -> NDArray:
    """Values at the px nearest to points x, y; the array's edge counts beyond it."""
    x = np.clip(np.rint(points[:, 0]).astype(int), 0, values.shape[1] - 1)
    y = np.clip(np.rint(points[:, 1]).astype(int), 0, values.shape[0] - 1)
    return values[y, x]


def _lengthened(
    points: NDArray, free: tuple[bool, bool], mask: NDArray, thickness_px: float
) -> NDArray:
    """Return the path with its free ends led on to where the band ends: thinning stops half a
    thickness before.
    """
    for side in (0, 1):
        if free[side]:
            away = points if side else points[::-1]
            # The last bit before the end leans to a corner: the direction is taken from before
            # that.
            cut = min(int(0.5 * thickness_px), (len(away) - 1) // 3)
            away = away[: len(away) - cut]
            step = away[-1] - away[-1 - min(len(away) - 1, max(int(thickness_px), 6))]
            step = step / max(float(np.hypot(*step)), 1e-9)
            ahead = away[-1] + np.arange(1, int(1.6 * thickness_px) + cut + 3)[:, None] * step
            outside = np.flatnonzero(~_sample(mask, ahead))
            ahead = ahead[: outside[0] if len(outside) else 0]
            points = np.vstack([away, ahead])
            points = points if side else points[::-1]
    return points


def _offsets(points: NDArray, depth: NDArray, thickness_px: float) -> list[int]:
    """Return where along the path the band is offset by at least 35 % of its thickness.

    Both sides are led on straight to the place and their distance is taken; a bend leaves both on
    the same side and cancels. At a true offset the band is also narrowed to what the two sides
    share.
    """
    near, far = max(int(thickness_px), 3), max(int(2.2 * thickness_px), 8)
    n = len(points)
    if n < 2 * far + 1:
        return []
    i = np.arange(far, n - far)
    left, right = points[i - near], points[i + near]
    slope_left = (left - points[i - far]) / (far - near)
    slope_right = (points[i + far] - right) / (far - near)
    gap = (right - slope_right * near) - (left + slope_left * near)
    along = slope_left + slope_right
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    offset = np.abs(gap[:, 0] * along[:, 1] - gap[:, 1] * along[:, 0])
    half = _sample(depth, points)
    neck = np.lib.stride_tricks.sliding_window_view(half, 2 * near + 1).min(axis=1)[
        far - near : n - far - near
    ]
    hit = (offset >= OFFSET_SHARE * thickness_px) & (
        neck <= NECK_SHARE * np.minimum(half[i - near], half[i + near])
    )
    cuts = []
    while hit.any():
        k = int(np.argmax(np.where(hit, offset, -1)))
        cuts.append(int(i[k]))
        hit[max(k - far, 0) : k + far + 1] = False
    return sorted(cuts)


def _banding(runs, gaps, stripes, scale, mm_per_px, coherence, contrast) -> Banding:
    steps = np.vstack(
        [np.diff(smooth(run.points, max(int(run.thickness_px), 5)), axis=0) for run in runs]
    )
    direction_deg, agreement = axial_mean(
        np.degrees(np.arctan2(-steps[:, 1], steps[:, 0])), np.hypot(*steps.T) + 1e-9
    )
    along = np.array([np.cos(np.radians(direction_deg)), -np.sin(np.radians(direction_deg))])
    y, x = np.nonzero(stripes)
    face_along = x * along[0] + y * along[1]
    width = float(face_along.max() - face_along.min()) + 1
    least = LEAST_RUN_MM / mm_per_px * scale if mm_per_px else LEAST_RUN_SHARE * width
    kept = [length_px(run.points) + 1 >= least for run in runs]
    runs, gaps = list(compress(runs, kept)), list(compress(gaps, kept))
    bands = _count(runs, along)
    if bands < 2:
        return Banding()
    lengths = np.array([length_px(run.points) + 1 for run in runs])
    # Near its ends a run is rounded off.
    trimmed = [
        run.along_px[int(run.thickness_px / 2) : -int(run.thickness_px / 2) - 1] for run in runs
    ]
    all_along = np.concatenate([*trimmed, [run.thickness_px for run in runs]])
    thickness = float(np.average([run.thickness_px for run in runs], weights=lengths)) / scale
    return Banding(
        continuity=float(np.minimum(lengths / width, 1).mean()),
        fill_share=float(
            lengths.sum() / (lengths.sum() + sum(gap.length_px for pair in gaps for gap in pair))
        ),
        bands=bands,
        direction_deg=direction_deg % 180,
        thickness_px=thickness,
        contrast_de00=contrast,
        confidence=coherence,
        thickness_spread_px=float(all_along.std()) / scale,
        direction_spread_deg=axial_spread(agreement),
    )


def _count(runs: list[_Run], along: NDArray) -> int:
    """Return how many bands a line square to them crosses, on a line that crosses many of them."""
    if not runs:
        return 0
    spans = np.array([((run.points @ along).min(), (run.points @ along).max()) for run in runs])
    at = np.linspace(spans.min(), spans.max(), 101)
    crossed = ((spans[:, :1] <= at) & (at <= spans[:, 1:])).sum(axis=0)
    return int(np.percentile(crossed, 90, method="nearest"))


def _gaps(runs: list[_Run], stripes: NDArray, crack_px: float) -> list[tuple[_Gap, _Gap]]:
    """Return by run what is missing ahead of its two ends.

    That is half the way to the next run that faces it, or all the way to the face's edge.
    """
    number = np.repeat(np.arange(len(runs)), 2)
    stripe = np.repeat([run.stripe for run in runs], 2)
    place = np.array([run.points[side] for run in runs for side in (0, -1)])
    ahead = np.array([_ahead(run, side) for run in runs for side in (0, -1)])
    gaps = []
    for end in range(2 * len(runs)):
        run = runs[number[end]]
        if not run.at_gap[end % 2]:
            gaps.append(_Gap())
            continue
        front, to = ahead[end], place - place[end]
        distance, aside = to @ front, np.abs(to[:, 0] * front[1] - to[:, 1] * front[0])
        meets = (number != number[end]) & (stripe == run.stripe) & (distance > 0)
        meets &= aside <= np.maximum(0.75 * run.thickness_px, 0.3 * distance)
        meets &= ahead @ front < -0.5
        half_way = float(distance[meets].min()) / 2 if meets.any() else np.inf
        cuts = meets & (distance > crack_px) & (aside < OFFSET_SHARE * run.thickness_px)
        gaps.append(_Gap(min(half_way, _to_edge(place[end], front, stripes)), bool(cuts.any())))
    return list(zip(gaps[::2], gaps[1::2], strict=True))


def _to_edge(place: NDArray, front: NDArray, stripes: NDArray) -> float:
    """Distance from a place (x, y) to the face's edge in the direction ``front``, in px."""
    ray = place + np.arange(1, sum(stripes.shape))[:, None] * front
    inside = ((ray >= 0) & (ray < (stripes.shape[1], stripes.shape[0]))).all(axis=1)
    return float(np.argmin(inside & (_sample(stripes, ray) != OUTSIDE)))


def _ahead(run: _Run, side: int) -> NDArray:
    """Unit direction in which the run leaves its first (0) or last (-1) end."""
    back = min(len(run.points) - 1, max(int(run.thickness_px), 6))
    step = run.points[side] - run.points[back if side == 0 else -1 - back]
    return step / max(float(np.hypot(*step)), 1e-9)


def _ground(stripes: NDArray, runs: list[_Run], gaps: list[tuple[_Gap, _Gap]]) -> int | None:
    """Return which of WATER and SKY is no band but the ground of the other's: it fills their gaps
    and joins up there.
    """
    for ground, bands in ((WATER, SKY), (SKY, WATER)):
        cuts = sum(
            any(gap.cuts for gap in pair)
            for run, pair in zip(runs, gaps, strict=True)
            if run.stripe == bands
        )
        if (
            cuts >= 2
            and _largest_share(stripes == ground) > 0.9
            and _largest_share(stripes == bands) < 0.5
        ):
            return ground
    return None


def _largest_share(mask: NDArray) -> float:
    """Return the share of the mask's area that its largest joined part has."""
    _, _, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    areas = stats[1:, cv2.CC_STAT_AREA]
    return float(areas.max() / areas.sum()) if len(areas) else 0.0


def _contrast(regions: Regions, profile: Profile) -> float | None:
    """CIEDE2000 between the median colours of water and sky."""
    water, sky = (reading_lab(regions, profile, reading) for reading in ("water", "sky"))
    return None if water is None or sky is None else float(delta_e_2000(water, sky))


def reading_lab(regions: Regions, profile: Profile, reading: str) -> NDArray[np.float64] | None:
    """Return the usual CIELAB colour of the class that stands for sky, water or shore, of several
    the one with most of the face; ``None`` where the face has none.
    """
    colours = {
        code: regions.colour.get(profile.colours[code - 1].name) for code in profile.codes(reading)
    }
    seen = [code for code, colour in colours.items() if colour is not None]
    if not seen:
        return None
    most = (
        max(seen, key=lambda code: np.count_nonzero(regions.codes == code)) if seen[1:] else seen[0]
    )
    return colours[most].lab
