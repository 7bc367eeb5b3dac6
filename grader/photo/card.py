"""The photo card in a photo: what plane its corners lie on, and what the sighting is worth.

The corners of the card's marks give the homography between its plane and the photo, and so the scale,
at every place of it. How the card is laid out: ``card_layout``; how its marks are found: ``card_marks``.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.measures import Remark
from grader.photo.card_layout import (
    GREYS,
    HEIGHT_MM,
    INSET_MM,
    MARK_MM,
    MARKS,
    SQUARE_MM,
    STONE_AREA,
    STRIPS,
    WHITES,
    WIDTH_MM,
    Box,
    Quad,
    mark_corners_mm,
)
from grader.photo.card_marks import (
    LEAST_MARKS,
    WHOLE_SHARE,
    Corners,
    Marks,
    find_marks,
    largest_card,
    refined_corners,
)
from grader.photo.homography import fit_step, jacobian, log_scale, mapped, turned_over
from grader.photo.pose import Camera, camera_over, focal_range_px

#: A mirrored card shows at least so many squares with marks that cannot be read.
LEAST_UNREAD = 8
#: A corner further than this from the plane that most agree on is not sound.
SOUND_MM, SOUND_PX = 0.25, 1.5
#: From this share of unsound corners, or this bend left in the sound ones, a card is bent.
BENT_SHARE, BENT_MM = 0.12, 0.035
#: From this difference in scale between the two strips a card is printed unevenly.
UNEVEN_SHARE = 0.012
#: A bend hides most of itself in the homography: error of the scale (95 %) for one mm that is left.
#: Found on cards bent at random, `tests/benchmarks/card_figures.py`.
BEND_PER_MM = 0.28
#: What reading the bar with a ruler leaves open: 0.25 mm in 100 mm; common practice, no source.
PRINT_SHARE = 0.0025
#: Standard normal deviate of a two-sided 95 % interval.
_TWO_SIDED_95 = 1.96
# Errors are alike within a mark and among neighbours: so many corners count as one.
_ALIKE = 6.0
# Homographies are fitted with the card's middle as origin and about 1 as unit.
_UNIT = np.array([[0.01, 0, -WIDTH_MM / 200], [0, 0.01, -HEIGHT_MM / 200], [0, 0, 1]])
#: Rounds of the fit: in each the corners that are sound and how exactly each kind fits are judged anew.
_FIT_ROUNDS = 4
#: No kind of corner counts as more exact than this, in px.
_LEAST_SPREAD_PX = 0.02


@dataclass(frozen=True)
class GreyPatch:
    """A printed grey as it lies in the photo: corners (4, 2) in px, and its nominal Y."""

    quad_px: Quad
    nominal_y: float


@dataclass(frozen=True)
class CardSighting:
    """A card as it was found in a photo.

    Points are x, y in px of the upright full-size photo, pixel (0, 0) spanning 0 to 1.

    Attributes
    ----------
    homography : ndarray of shape (3, 3), from mm on the card to px.
    photo_size_px : width, height of the photo.
    marks_seen : of ``MARKS``.
    corners_seen, corners_used : corners found, and those that agree on one plane.
    residual_px : root mean square distance of the used corners from the homography's.
    bend_mm : how far neighbouring corners lie off the plane together, root mean square in it: bend
        of the card or of the lens, their noise left out.
    uneven_share : by how much the scales of the two strips differ, whatever the focal length.
    tilt_deg : of the camera, for a phone's focal length; a few degrees uncertain.
    white_px : quads (4, 2) of unprinted paper within the picture, at most as many as ``WHITES``.
    greys : the printed greys within the picture. These and the paper may be covered or in glare.
    covariance : ndarray of shape (8, 8), of the homography's first eight entries, card's middle as
        origin and 100 mm as unit.
    remarks : what a person should know of it.
    """

    homography: NDArray[np.float64]
    photo_size_px: tuple[int, int]
    marks_seen: int
    corners_seen: int
    corners_used: int
    residual_px: float
    bend_mm: float
    uneven_share: float
    tilt_deg: float
    white_px: tuple[Quad, ...]
    greys: tuple[GreyPatch, ...]
    covariance: NDArray[np.float64]
    remarks: tuple[Remark, ...] = ()

    @property
    def outline_px(self) -> Quad:
        """The card's corners (4, 2) in px."""
        return mapped(self.homography, Box(0, 0, WIDTH_MM, HEIGHT_MM).corners_mm())

    @property
    def stone_area_px(self) -> Quad:
        """Corners (4, 2) in px of the unprinted area for stones."""
        return mapped(self.homography, STONE_AREA.corners_mm(INSET_MM))

    def card_mm(self, points_px: NDArray) -> NDArray[np.float64]:
        """Return (n, 2) points of the photo as points in the card's plane, in mm."""
        return mapped(np.linalg.inv(self.homography), points_px)

    def jacobian(self, at_px: tuple[float, float]) -> NDArray[np.float64]:
        """Return mm per px at a point x, y as a (2, 2) matrix: a step in px to one in the card's plane."""
        return jacobian(np.linalg.inv(self.homography), at_px)

    def mm_per_px(self, at_px: tuple[float, float], angle_deg: float | None = None) -> float:
        """Return the scale in the card's plane at a point of the photo.

        Parameters
        ----------
        at_px : x, y.
        angle_deg : direction in the photo, 0 level, counter-clockwise; without it the mean
            of all directions, the square root of the area of a px.
        """
        step_mm = self.jacobian(at_px)
        if angle_deg is None:
            return float(np.sqrt(abs(np.linalg.det(step_mm))))
        angle = np.deg2rad(angle_deg)
        return float(np.linalg.norm(step_mm @ (np.cos(angle), -np.sin(angle))))

    def relative_uncertainty(self, at_px: tuple[float, float]) -> float:
        """Return the 95 % uncertainty of ``mm_per_px`` at a point, as a part of it.

        From the corners' residuals, their number and where they lie, how far the card is from flat,
        and what the bar's reading leaves open of the printer. The fit's part is 1.96 sqrt(g' C g), C
        the covariance of the homography's entries and g the slopes of the logarithm of the scale in
        them, found by small steps; the parts add as root of squares.
        """
        unit = self.homography @ np.linalg.inv(_UNIT)
        unit = unit / unit[2, 2]
        slope = np.empty(8)
        for n, entry in enumerate(unit.ravel()[:8]):
            step = 1e-6 * max(1.0, abs(entry))
            nudge = np.zeros(9)
            nudge[n] = step
            ends = (unit + nudge.reshape(3, 3), unit - nudge.reshape(3, 3))
            above, below = (log_scale(np.linalg.inv(end), at_px) for end in ends)
            slope[n] = (above - below) / 2 / step
        fitted = _TWO_SIDED_95 * np.sqrt(slope @ self.covariance @ slope)
        parts = fitted, BEND_PER_MM * self.bend_mm, self.uneven_share, PRINT_SHARE
        return float(np.linalg.norm(parts))


def find_card(
    rgb: NDArray, focal_px: tuple[float, float] | None = None
) -> tuple[CardSighting | None, tuple[Remark, ...]]:
    """Return the card in a photo, the larger if there are two, and what a person should know of it.

    Parameters
    ----------
    rgb : ndarray of shape (h, w, 3), uint8 or uint16, upright, full size.
    focal_px : least and greatest focal length in px; that of phones if left out.

    Returns
    -------
    sighting : ``None`` where no card is seen.
    remarks : the sighting's, or why there is none; codes ``card_not_found``, ``card_mirrored``,
        ``two_cards``, ``card_half_hidden``, ``card_bent``, ``card_uneven``.
    """
    grey, marks, mirrored = _upright_marks(_grey(rgb))
    if len(marks) < LEAST_MARKS:
        text = "no card seen; lay it printed side up beside the stone, all of it in the picture"
        return None, (Remark("card_not_found", text),)
    marks, another = largest_card(marks)
    remarks = _of_the_photo(mirrored, another)
    fit = _fit(refined_corners(grey, marks))
    if fit is None:
        text = "too little of the card is sound; take the hand, stone or glare off it"
        return None, (*remarks, Remark("card_not_found", text))
    size_px = (grey.shape[1], grey.shape[0])
    cameras = [camera_over(fit.homography, size_px, f) for f in focal_px or focal_range_px(size_px)]
    seen_ids = set(marks.ids.tolist())
    uneven = _uneven_share(cameras, seen_ids)
    if len(seen_ids) < WHOLE_SHARE * MARKS:
        remarks.append(_hidden(grey, fit.homography, seen_ids))
    remarks += _misshapen(fit, uneven)
    homography, covariance = fit.homography, fit.covariance
    if mirrored:
        mirror, on_entries = turned_over(size_px[0])
        homography, covariance = mirror @ homography, on_entries @ covariance @ on_entries.T
    greys = [(_quad_inside(homography, g.box, size_px), g.nominal_y) for g in GREYS]
    whites = [_quad_inside(homography, box, size_px) for box in WHITES]
    sighting = CardSighting(
        homography=homography / homography[2, 2],
        photo_size_px=size_px,
        marks_seen=len(seen_ids),
        corners_seen=len(fit.corners.mm),
        corners_used=int(fit.sound.sum()),
        residual_px=fit.residual_px,
        bend_mm=fit.bend_mm,
        uneven_share=uneven,
        tilt_deg=float(np.mean([camera.tilt_deg for camera in cameras])),
        white_px=tuple(quad for quad in whites if quad is not None),
        greys=tuple(GreyPatch(quad, y) for quad, y in greys if quad is not None),
        covariance=covariance,
        remarks=tuple(remarks),
    )
    return sighting, sighting.remarks


def _grey(rgb: NDArray) -> NDArray[np.uint8]:
    if rgb.dtype == np.uint16:
        rgb = (rgb >> 8).astype(np.uint8)
    return cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2GRAY)


def _upright_marks(grey: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], Marks, bool]:
    """The photo the right way round, its marks, and whether it had to be turned over for them.

    A mirrored card shows as squares that cannot be read; without them there is nothing to turn over.
    """
    marks = find_marks(grey)
    if len(marks) >= LEAST_MARKS or marks.unread < LEAST_UNREAD:
        return grey, marks, False
    flipped = np.ascontiguousarray(grey[:, ::-1])
    return flipped, find_marks(flipped), True


def _of_the_photo(mirrored: bool, another: bool) -> list[Remark]:
    """What is to be said of the photo as a whole."""
    remarks = []
    if mirrored:
        text = "the photo is mirrored; lengths hold, the scene is turned: use the main camera"
        remarks.append(Remark("card_mirrored", text))
    if another:
        text = "two cards in the picture; the larger is used, take the other away"
        remarks.append(Remark("two_cards", text))
    return remarks


@dataclass(frozen=True)
class _Fit:
    """The plane of the card.

    corners : their px freed of what blur does.   sound : (n,), those that lie on the plane.
    homography : (3, 3), from mm to px, through the sound ones.   covariance : (8, 8), as the sighting's.
    """

    corners: Corners
    sound: NDArray[np.bool_]
    homography: NDArray[np.float64]
    covariance: NDArray[np.float64]

    @property
    def residual_px(self) -> float:
        miss = (self.corners.px - mapped(self.homography, self.corners.mm))[self.sound]
        return float(np.sqrt((miss**2).sum(axis=1).mean()))

    @property
    def bend_mm(self) -> float:
        mm, chess = self.corners.mm, self.corners.chess
        miss = mapped(np.linalg.inv(self.homography), self.corners.px) - mm
        return _bend_mm(mm[chess], miss[chess])


def _fit(corners: Corners) -> _Fit | None:
    """Fit a homography to the corners; ``None`` where too few agree on one plane.

    Least squares by Gauss-Newton steps (``homography.fit_step``), each kind of corner with the spread
    that it leaves, corners off the plane left out. C is inv(N) times ``_ALIKE``, since neighbours err alike.
    """
    mm, px, chess = corners.mm, corners.px, corners.chess
    if len(mm) < 4 * LEAST_MARKS:
        return None
    side_px = float(np.median(np.linalg.norm(np.diff(px[~chess], axis=0)[::2], axis=1)))
    limit = max(SOUND_PX, SOUND_MM / MARK_MM * side_px)
    px = _unshrunk(corners, 2 * limit)
    if px is None:
        return None
    _, agree = cv2.findHomography(mm, px, cv2.RANSAC, limit, maxIters=4000)
    if agree is None or agree.sum() < 4 * LEAST_MARKS:
        return None
    sound = agree.ravel().astype(bool)
    unit_points = mapped(_UNIT, mm)
    homography = cv2.findHomography(unit_points[sound], px[sound], 0)[0]
    if homography is None:
        return None
    for _ in range(_FIT_ROUNDS):
        miss = np.linalg.norm(px - mapped(homography, unit_points), axis=1)
        sound = miss <= limit
        weight = np.where(sound, 1 / _spread_px(miss, sound, chess), 0.0)
        homography, normal = fit_step(homography, unit_points, px, weight)
    whole = homography @ _UNIT
    covariance = np.linalg.inv(normal) * _ALIKE
    return _Fit(Corners(mm, px, chess), sound, whole / whole[2, 2], covariance)


def _spread_px(miss: NDArray, sound: NDArray[np.bool_], chess: NDArray[np.bool_]) -> NDArray:
    """Standard deviation of each corner along one axis, (n,): that of its kind, from what the sound miss by."""
    spread = np.empty(len(miss))
    for kind in (chess, ~chess):
        misses = miss[kind & sound]
        root_mean = np.sqrt((misses**2).mean() / 2) if misses.size else np.inf
        spread[kind] = max(_LEAST_SPREAD_PX, root_mean)
    return spread


def _unshrunk(corners: Corners, limit_px: float) -> NDArray[np.float64] | None:
    """Points with the marks' corners moved out by as much as blur has drawn all of them in.

    A blurred corner of black on white is found inside of where it is, one between four squares is
    not.
    """
    mm, px, chess = corners.mm, corners.px.copy(), corners.chess
    marks = px[~chess].reshape(-1, 4, 2)
    outward = marks - marks.mean(axis=1, keepdims=True)
    outward = (outward / np.linalg.norm(outward, axis=2, keepdims=True)).reshape(-1, 2)
    for _ in range(3):
        homography, _ = cv2.findHomography(mm, px, cv2.RANSAC, limit_px, maxIters=2000)
        if homography is None:
            return None
        gap = mapped(homography, mm[~chess]) - px[~chess]
        px[~chess] += float(np.median((gap * outward).sum(axis=1))) * outward
    return px


def _hidden(grey: NDArray, homography: NDArray, seen_ids: set[int]) -> Remark:
    """What keeps the marks from sight that are not seen."""
    outside = glared = 0
    for number, corners in mark_corners_mm().items():
        if number in seen_ids:
            continue
        quad = mapped(homography, corners)
        low, high = np.floor(quad.min(axis=0)).astype(int), np.ceil(quad.max(axis=0)).astype(int)
        if (low < 0).any() or high[0] > grey.shape[1] or high[1] > grey.shape[0]:
            outside += 1
        elif np.median(grey[low[1] : high[1], low[0] : high[0]]) > 240:
            glared += 1
    covered = MARKS - len(seen_ids) - outside - glared
    counts = (
        (outside, "outside the picture"),
        (glared, "in glare"),
        (covered, "covered or blurred"),
    )
    why = ", ".join(f"{count} {where}" for count, where in counts if count)
    text = f"{len(seen_ids)} of the card's {MARKS} marks are seen ({why}); show all of it"
    return Remark("card_half_hidden", text)


def _misshapen(fit: _Fit, uneven_share: float) -> list[Remark]:
    """What is wrong with the card's shape."""
    remarks = []
    if 1 - fit.sound.mean() > BENT_SHARE or fit.bend_mm > BENT_MM:
        text = "the card, or what the lens makes of it, is bent; fix the card to a flat board"
        remarks.append(Remark("card_bent", text))
    if uneven_share > UNEVEN_SHARE:
        text = (
            f"the card's two edges differ by {100 * uneven_share:.1f} % in scale: badly printed, "
            "or the photo is cut out of a larger one; measure bar and rule, give the whole photo"
        )
        remarks.append(Remark("card_uneven", text))
    return remarks


def _quad_inside(homography: NDArray, box: Box, size_px: tuple[int, int]) -> Quad | None:
    quad = mapped(homography, box.corners_mm(INSET_MM))
    return quad if (quad >= 0).all() and (quad <= size_px).all() else None


def _bend_mm(corners_mm: NDArray, miss_mm: NDArray) -> float:
    """What neighbours miss alike; noise differs from one to the next, and goes out in the mean."""
    apart = np.linalg.norm(corners_mm[:, None] - corners_mm[None], axis=2)
    one, other = np.nonzero(np.triu(np.abs(apart - SQUARE_MM) < 0.1))
    if not len(one):
        return 0.0
    # What lies far off was left out of the fit, and says no more than that.
    far = np.linalg.norm(miss_mm, axis=1, keepdims=True) / (2 * SOUND_MM)
    miss_mm = miss_mm / np.maximum(1.0, far)
    alike = (miss_mm[one] * miss_mm[other]).sum(axis=1).mean() / 2
    return float(np.sqrt(max(0.0, alike)))


def _uneven_share(cameras: list[Camera], seen_ids: set[int]) -> float:
    """Difference in scale of the two strips that no focal length within its range explains."""
    if any(len(seen_ids & set(strip.ids)) < LEAST_MARKS for strip in STRIPS):
        return 0.0
    stretch = np.log([camera.stretch for camera in cameras])
    return 0.0 if stretch.min() < 0 < stretch.max() else float(np.abs(stretch).min())
