"""A chart of 24 colour patches in a photo: found, checked, and used to correct the photo's colours.

The correction is a root-polynomial of degree 2 in linear light: r, g, b and the roots of rg, gb,
rb. It follows a change of exposure exactly, as a matrix does. On spectra that are not on the chart
it comes nearer than a 3x3 matrix (median CIEDE2000 1.1 against 1.5, 95 % under 3.0 against 4.4, over
seven cameras and six lights; tests/benchmarks/light_figures.py), so the matrix is not kept.

References
----------
Finlayson, Mackiewicz & Hurlbert 2015, IEEE Trans. Image Process. 24(5):1460-1470,
doi 10.1109/TIP.2015.2405336.
"""

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.measures import Remark
from grader.photo.colour import (
    WHITE_XYZ,
    XYZ_FROM_LINEAR_SRGB,
    delta_e_2000,
    lab_from_linear,
    linear_srgb,
)
from grader.photo.icc import D50_XYZ, adaptation
from grader.photo.light import (
    FIELD_PRIOR_SD,
    LightField,
    even_light,
    field_terms,
    xyz_from_lab,
)
from grader.photo.photo import ColourEncoding
from grader.photo.shrink import shrunk

ROWS, COLUMNS = 4, 6
PATCHES = ROWS * COLUMNS
#: Editions of the chart's colours, by when it was made.
EDITIONS = ("before November 2014", "from November 2014")

# Settings, found on simulated photos (tests/benchmarks/light_figures.py).
#: Mean CIEDE2000 over the patches above which a chart is not used: of 504 true charts under all lights and
#: cameras none came above 3.4, and charts of a wrong order of patches never below 8.
FITS_BADLY = 5.0
#: Editions whose means lie nearer to each other than this cannot be told apart.
EDITION_MARGIN = 0.15
#: Patches that must be sound: twice the six terms.
LEAST_SOUND = 12

#: The chart is searched at about so many px: it is found at 10 px a patch.
_SEARCH_PX = 1_500_000
#: In a picture that is longer than so many times its other side no chart is searched: the detector's memory grows by
#: 33 MB with each time.
_LONGEST = 8
#: Windows of the detector's thresholds grow by so many px: twice its own step finds as many charts in half the time.
_THRESHOLD_STEP_PX = 32
#: Areas of the patches differ by less than this factor.
_SIZE_FACTOR = 4.0
#: Share of a patch's sides that is read: its rim is blurred into the frame.
_READ_SHARE = 0.6
#: A patch is unsound if more than this share of its px is burnt out in any channel (code from 250 of 255) ...
_BURNT_CODE, _BURNT_SHARE = 250 / 255, 0.02
#: ... or if glare or a finger lies on it: its quarters' light differs by more than this factor.
_QUARTER_FACTOR = 1.25
#: CIEDE2000 of a patch beyond the correction: how far the light field follows the patches.
_PATCH_SD = 1.5
_FIELD_ROUNDS = 3


@dataclass(frozen=True)
class ChartSighting:
    """A chart as found in a photo.

    Attributes
    ----------
    patches : ndarray of shape (24, 3), mean linear sRGB as photographed, in the chart's order: row by
        row from the dark skin to the black.
    sound : ndarray of shape (24,), bool; a patch is not if it is burnt out or its light uneven.
    corners_px : ndarray of shape (24, 4, 2), x, y of the patches' corners in photo px.
    width_px, height_px : of the photo.
    """

    patches: NDArray[np.float64]
    sound: NDArray[np.bool_]
    corners_px: NDArray[np.float64]
    width_px: int
    height_px: int

    @property
    def centres_px(self) -> NDArray[np.float64]:
        """Middles of the patches, shape (24, 2), x, y in photo px."""
        return self.corners_px.mean(axis=1)

    @property
    def mirrored(self) -> bool:
        """Whether the photo shows the chart as in a mirror."""
        rows = self.centres_px.reshape(ROWS, COLUMNS, 2)
        (ax, ay), (dx, dy) = rows[0, -1] - rows[0, 0], rows[-1, 0] - rows[0, 0]
        return bool(ax * dy - ay * dx < 0)

    @property
    def turn_deg(self) -> float:
        """How far the chart lies turned in the photo, counter-clockwise, 0 to 360."""
        along = self.centres_px[COLUMNS - 1 :: COLUMNS] - self.centres_px[::COLUMNS]
        x, y = along.mean(axis=0)
        return float(np.degrees(np.arctan2(-y, x)) % 360)


@dataclass(frozen=True)
class Correction:
    """From linear sRGB as photographed to linear sRGB in even daylight (D65).

    Attributes
    ----------
    matrix : ndarray of shape (3, 6), for r, g, b and the roots of rg, gb, rb.
    edition : one of ``EDITIONS``, whose colours it was fitted to.
    remaining_mean, remaining_max : CIEDE2000 over the patches it was fitted on, after correction.
    patches_used : how many those were.
    """

    matrix: NDArray[np.float64]
    edition: str
    remaining_mean: float
    remaining_max: float
    patches_used: int

    def apply(self, linear: NDArray) -> NDArray:
        """Return corrected linear sRGB of shape (..., 3), in the given float type."""
        if not linear.size:
            return linear.copy()
        terms = root_terms(linear)
        flat = terms.reshape(1, -1, terms.shape[-1])
        return cv2.transform(flat, self.matrix.astype(terms.dtype)).reshape(linear.shape)


@dataclass(frozen=True)
class ChartReading:
    """What a chart gives: a correction and the light field across it, or why it is not used.

    Attributes
    ----------
    correction : ``None`` if the chart fits badly.
    field : how the light varies over the photo, as far as the chart shows it; to be divided out
        before the correction is applied. ``None`` where there is no chart.
    remarks : what a person should know of it.
    """

    correction: Correction | None
    field: LightField | None
    remarks: tuple[Remark, ...] = ()


def find_chart(rgb: NDArray, encoding: ColourEncoding) -> ChartSighting | None:
    """Return the chart seen in a photo; ``None`` if there is none.

    Parameters
    ----------
    rgb : ndarray of shape (H, W, 3), uint8 or uint16, in ``encoding``.
    """
    height, width = rgb.shape[:2]
    if max(height, width) > _LONGEST * min(height, width):
        return None
    factor = min(1.0, (_SEARCH_PX / (height * width)) ** 0.5)
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    small = shrunk(rgb, size)
    if small.dtype != np.uint8:
        small = (small >> 8).astype(np.uint8)
    detector = cv2.mcc.CCheckerDetector.create()
    # Unless told, the detector looks for a chart of no certain type.
    detector.setColorChartType(cv2.mcc.MCC24)
    settings = detector.getDetectionParams()
    settings.adaptiveThreshWinSizeStep = _THRESHOLD_STEP_PX
    detector.setDetectionParams(settings)
    try:
        # It takes BGR, and its best chart must not be asked for when it found none.
        found = detector.process(np.ascontiguousarray(small[..., ::-1]), 1)
    except cv2.error:
        # Quadrangles of no chart at all can trip it.
        found = False
    if not found:
        return None
    quads = np.asarray(detector.getBestColorChecker().getColorCharts(), np.float64)
    if quads.size != PATCHES * 8:
        return None
    # The detector counts pixel centres as whole numbers.
    corners = (quads.reshape(PATCHES, 4, 2) + 0.5) * (width / size[0], height / size[1])
    if not _alike(corners):
        return None
    read = [_read_patch(rgb, encoding, quad) for quad in corners]
    if any(patch is None for patch in read):
        return None
    patches, sound = zip(*read, strict=True)
    return ChartSighting(np.array(patches), np.array(sound), corners, width, height)


def _alike(corners: NDArray[np.float64]) -> bool:
    """Whether patches lie one way round and are of about one size: marks of a ruler, taken for patches, do not."""
    (x, y), (x1, y1) = np.moveaxis(corners, -1, 0), np.moveaxis(np.roll(corners, -1, axis=1), -1, 0)
    areas = (x * y1 - x1 * y).sum(axis=1) / 2
    small, large = np.sort(np.abs(areas))[[0, -1]]
    return bool(abs(np.sign(areas).sum()) == PATCHES and large < _SIZE_FACTOR * small)


def _read_patch(
    rgb: NDArray, encoding: ColourEncoding, quad: NDArray
) -> tuple[NDArray[np.float64], bool] | None:
    """Return the mean linear sRGB within a patch, and whether it is sound; ``None`` off the photo."""
    middle = quad.mean(axis=0)
    inner = middle + (quad - middle) * _READ_SHARE
    (x0, y0), (x1, y1) = np.floor(inner.min(axis=0)), np.ceil(inner.max(axis=0))
    if min(x0, y0) < 0 or x1 > rgb.shape[1] or y1 > rgb.shape[0]:
        return None
    box = rgb[int(y0) : int(y1), int(x0) : int(x1)]
    inside = np.zeros(box.shape[:2], np.uint8)
    cv2.fillConvexPoly(inside, np.rint((inner - (x0, y0) - 0.5) * 16).astype(np.int32), 1, shift=4)
    if not inside.any():
        return None
    codes = box[inside > 0]
    light = linear_srgb(codes, encoding).astype(np.float64)
    top = np.iinfo(rgb.dtype).max
    burnt = (codes >= _BURNT_CODE * top).any(axis=1).mean() > _BURNT_SHARE
    rows, columns = np.nonzero(inside)
    right, low = columns >= np.median(columns), rows >= np.median(rows)
    grey = light.sum(axis=1) + 0.03
    quarters = [grey[(right == r) & (low == b)] for r in (0, 1) for b in (0, 1)]
    means = [quarter.mean() for quarter in quarters if len(quarter)]
    return light.mean(axis=0), bool(not burnt and max(means) < _QUARTER_FACTOR * min(means))


@cache
def reference_linear(edition: str) -> NDArray[np.float64]:
    """Return linear sRGB (D65) of the chart's 24 patches, shape (24, 3).

    References
    ----------
    The maker's CIELAB values under D50 for both editions, as stored in the package colour-science
    0.4.7; taken to D65 by the Bradford transform (Lam 1985).
    """
    table = json.loads(
        resources.files("grader.photo").joinpath("chart_reference.json").read_text("utf-8")
    )
    xyz_d50 = xyz_from_lab(np.array(table["lab_d50"][edition]), D50_XYZ)
    xyz = xyz_d50 @ adaptation(D50_XYZ, WHITE_XYZ.astype(np.float64)).T
    reference = xyz @ np.linalg.inv(XYZ_FROM_LINEAR_SRGB.astype(np.float64)).T
    reference.flags.writeable = False
    return reference


def root_terms(linear: NDArray) -> NDArray:
    """Return r, g, b and the roots of rg, gb, rb of linear light; (..., 6).

    Light below 0, of colours outside sRGB, has no root and counts as 0 there.
    """
    kind = np.result_type(linear, np.float32)
    r, g, b = np.moveaxis(np.maximum(linear, 0, dtype=kind), -1, 0)
    terms = np.empty((*linear.shape[:-1], 6), kind)
    terms[..., :3] = linear
    for place, (one, other) in enumerate(((r, g), (g, b), (r, b)), 3):
        np.sqrt(one * other, out=terms[..., place])
    return terms


def fit_correction(
    patches: NDArray, edition: str, sound: NDArray[np.bool_] | None = None
) -> Correction:
    """Return the correction that brings the patches nearest to an edition's colours.

    One least squares solution for CIEDE2000, taken as linear near each reference colour.

    Parameters
    ----------
    patches : ndarray of shape (24, 3), linear sRGB as photographed, its light made even.
    edition : one of ``EDITIONS``.
    sound : ndarray of shape (24,), the patches to use; all by default.

    Raises
    ------
    ValueError
        Fewer than ``LEAST_SOUND`` patches are sound.
    """
    used = np.ones(PATCHES, bool) if sound is None else np.asarray(sound, bool)
    if used.sum() < LEAST_SOUND:
        raise ValueError(f"{used.sum()} sound patches; a correction needs {LEAST_SOUND}")
    photographed, goal = np.asarray(patches, np.float64)[used], reference_linear(edition)[used]
    # So that the solution's digits do not depend on the exposure.
    scale = photographed.mean()
    rows, aims = _equations(photographed / scale, goal)
    matrix = np.linalg.lstsq(rows, aims, rcond=None)[0].reshape(3, -1)
    left = delta_e_2000(_lab(root_terms(photographed / scale) @ matrix.T), _lab(goal))
    return Correction(
        matrix / scale, edition, float(left.mean()), float(left.max()), int(used.sum())
    )


def _equations(
    photographed: NDArray, goal: NDArray
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return rows (3n, 18) and aims (3n,) whose remainders are the patches' differences in CIEDE2000."""
    slopes = _difference_slopes(goal)
    rows = np.einsum("nij,nk->nijk", slopes, root_terms(photographed)).reshape(
        3 * len(photographed), -1
    )
    return rows, np.einsum("nij,nj->ni", slopes, goal).ravel()


def _lab(linear: NDArray) -> NDArray[np.float64]:
    return lab_from_linear(linear.astype(np.float32)).astype(np.float64)


def _difference_slopes(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return per colour (n, 3) the matrix, (n, 3, 3), that makes small changes of it differences in CIEDE2000.

    Its product with a small change of linear sRGB has CIEDE2000 as its length: differences in L*, C*ab and hue over
    their tolerances (Sharma, Wu & Dalal 2005, equations 15 to 20, without the rotation for saturated blue).
    """
    lab, step = _lab(linear), 1e-3
    # lab_from_linear rounds to float32: a step of 0.1 % of white is well above that.
    ups = [(_lab(linear + step * unit) - _lab(linear - step * unit)) for unit in np.eye(3)]
    slopes = np.stack(ups, axis=-1) / (2 * step)
    lightness, a, b = lab.T
    chroma, hue = np.hypot(a, b), np.arctan2(b, a)
    s_l = 1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma
    tolerance = np.zeros_like(slopes)
    tolerance[:, 0, 0] = 1 / s_l
    tolerance[:, 1, 1], tolerance[:, 1, 2] = np.cos(hue) / s_c, np.sin(hue) / s_c
    tolerance[:, 2, 1], tolerance[:, 2, 2] = -np.sin(hue) / s_h, np.cos(hue) / s_h
    return tolerance @ slopes


def read_chart(sighting: ChartSighting, field: LightField | None = None) -> ChartReading:
    """Return the correction that a chart gives, of the edition that fits better, or why it gives none.

    Parameters
    ----------
    sighting : the chart as found.
    field : how the light varies over the photo, where a uniform surface shows it; else the chart
        itself shows what it can.
    """
    even = field or even_light(sighting.width_px, sighting.height_px)
    sound = int(sighting.sound.sum())
    if sound < LEAST_SOUND:
        text = f"only {sound} of the chart's 24 patches are sound, so it is not used; keep glare off it"
        return ChartReading(None, even, (Remark("chart_unsound", text),))
    fits = []
    for edition in EDITIONS:
        found = field or chart_field(sighting, edition)
        patches = sighting.patches / found.at(*sighting.centres_px.T)
        fits.append((fit_correction(patches, edition, sighting.sound), found))
    (correction, found), (other, _) = sorted(fits, key=lambda fit: fit[0].remaining_mean)
    if correction.remaining_mean > FITS_BADLY:
        text = (
            f"the colour chart fits badly (CIEDE2000 {correction.remaining_mean:.1f} in the mean), so it "
            "is not used; is it of another kind, faded, or lit by two lamps?"
        )
        return ChartReading(None, even, (Remark("chart_fits_badly", text),))
    remarks = []
    if sighting.mirrored:
        text = "the photo is mirrored, as its chart shows; save it unmirrored"
        remarks.append(Remark("photo_mirrored", text))
    if other.remaining_mean - correction.remaining_mean < EDITION_MARGIN:
        text = f"the chart may be of either edition; taken as made {correction.edition}"
        remarks.append(Remark("chart_edition", text))
    return ChartReading(correction, found, tuple(remarks))


def chart_field(sighting: ChartSighting, edition: str) -> LightField:
    """Return how the light varies over the photo, as far as the chart shows it.

    Solved together with the correction, on the sound patches; with a prior, as in
    ``grader.photo.light.field_from``. Away from the chart it is an extrapolation.
    """
    size = (sighting.width_px, sighting.height_px)
    photographed, goal = sighting.patches[sighting.sound], reference_linear(edition)[sighting.sound]
    places = field_terms(*sighting.centres_px[sighting.sound].T, *size)
    along = places - places.mean(axis=0)
    pulls = np.einsum("nij,nj,nk->nik", _difference_slopes(goal), goal, along).reshape(-1, 5)
    prior = np.diag(_PATCH_SD / FIELD_PRIOR_SD)
    terms = np.zeros(5)
    # The field is exact in the logarithm and the equations are linear: a few rounds bring both together.
    for _ in range(_FIELD_ROUNDS):
        even = photographed / np.exp(places @ terms)[:, None]
        rows, aims = _equations(even / even.mean(), goal)
        rows = np.block([[rows, -pulls], [np.zeros((5, rows.shape[1])), prior]])
        solved = np.linalg.lstsq(rows, np.concatenate([aims, -prior @ terms]), rcond=None)[0]
        terms = terms + solved[-5:]
    spread = np.linalg.pinv(rows.T @ rows)[-5:, -5:] * _PATCH_SD**2
    return LightField(np.tile(terms, (3, 1)), spread, *size)
