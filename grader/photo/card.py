"""The photo card: how it is laid out, in mm, and how it is found in a photo.

Two strips of black squares with marks between them (ChArUco) lie along the left and the lower edge.
Their corners give the homography between the card's plane and the photo, and so the scale, at every
place of it. Coordinates of the card: mm from its upper left corner, x to the right, y down.
"""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.measures import Remark
from grader.photo.pose import Camera, camera_over, focal_range_px
from grader.photo.shrink import shrunk

Quad = NDArray[np.float64]


@dataclass(frozen=True)
class Box:
    """A rectangle on the card: left, top, width, height in mm."""

    x_mm: float
    y_mm: float
    w_mm: float
    h_mm: float

    def corners_mm(self, inset_mm: float = 0.0) -> Quad:
        """Return its corners, (4, 2), clockwise from the upper left, so far inside."""
        left, top = self.x_mm + inset_mm, self.y_mm + inset_mm
        right, bottom = self.x_mm + self.w_mm - inset_mm, self.y_mm + self.h_mm - inset_mm
        return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


@dataclass(frozen=True)
class Strip:
    """A strip of squares: upper left corner in mm, squares across and down, ids of its marks."""

    x_mm: float
    y_mm: float
    columns: int
    rows: int
    ids: tuple[int, ...]


@dataclass(frozen=True)
class GreyBox:
    """A printed grey and its nominal luminance factor Y, 0 to 1; a printer's greys are not
    reliable."""

    box: Box
    nominal_y: float


#: The card fits A4 and letter, also where it is drawn a ninth larger for a printer that shrinks.
WIDTH_MM, HEIGHT_MM = 180.0, 240.0
SQUARE_MM, MARK_MM = 12.0, 9.0
DICTIONARY = cv2.aruco.DICT_5X5_50
# Of the 50 marks those whose mirror image is 5 or more bits away from every one that is used, so
# that with the one bit that is corrected none can be read in a mirrored photo.
STRIPS = (
    Strip(0, 0, 2, 20, (*range(17), 18, 19, 20)),
    Strip(36, 216, 12, 2, (21, 22, 23, 24, 26, 27, 28, 29, 32, 33, 34, 35)),
)
MARKS = sum(len(strip.ids) for strip in STRIPS)
#: A bar across and a rule down, so that a printer is checked both ways.
BAR_MM = 100.0
BAR = Box(36, 8, BAR_MM, 2)
RULE = Box(174, 26, 6, 150)
#: Unprinted paper in two places, within a thin line.
WHITES = (Box(36, 192, 30, 16), Box(150, 2, 30, 16))
GREYS = tuple(
    GreyBox(Box(72 + 18 * n, 192, 16, 16), y) for n, y in enumerate((0.6, 0.4, 0.2, 0.1, 0.05))
)
PLACE = Box(36, 32, 130, 144)
#: Colours are read so far inside a box, clear of its line.
INSET_MM = 2.5

#: Photos are searched at this longer side first, and at full size where that shows too little.
SEARCH_PX = 2000
#: A mark's outline is at least so long, as part of the photo's longer side.
LEAST_OUTLINE = 0.01
#: Fewer marks than this are no card; below this share of all the card counts as half hidden.
LEAST_MARKS, WHOLE_SHARE = 3, 0.7
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
#: For one sighting in twenty the truth may lie outside.
_TWO_SIDED_95 = 1.96
# Errors are alike within a mark and among neighbours: so many corners count as one.
_ALIKE = 6.0
# Homographies are fitted with the card's middle as origin and about 1 as unit.
_UNIT = np.array([[0.01, 0, -WIDTH_MM / 200], [0, 0.01, -HEIGHT_MM / 200], [0, 0, 1]])


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
        return _mapped(self.homography, Box(0, 0, WIDTH_MM, HEIGHT_MM).corners_mm())

    @property
    def place_px(self) -> Quad:
        """Corners (4, 2) in px of the unprinted place for stones."""
        return _mapped(self.homography, PLACE.corners_mm(INSET_MM))

    def card_mm(self, points_px: NDArray) -> NDArray[np.float64]:
        """Return (n, 2) points of the photo as points in the card's plane, in mm."""
        return _mapped(np.linalg.inv(self.homography), points_px)

    def jacobian(self, at_px: tuple[float, float]) -> NDArray[np.float64]:
        """Return mm per px at a point as a (2, 2) matrix: a step in px to one in the card's
        plane."""
        return _jacobian(np.linalg.inv(self.homography), at_px)

    def mm_per_px(self, at_px: tuple[float, float], angle_deg: float | None = None) -> float:
        """Return the scale in the card's plane at a point of the photo.

        Parameters
        ----------
        at_px : x, y.
        angle_deg : direction in the photo, 0 level, clockwise on the screen; without it the mean
            of all directions, the square root of the area of a px.
        """
        jacobian = self.jacobian(at_px)
        if angle_deg is None:
            return float(np.sqrt(abs(np.linalg.det(jacobian))))
        angle = np.deg2rad(angle_deg)
        return float(np.linalg.norm(jacobian @ (np.cos(angle), np.sin(angle))))

    def relative_uncertainty(self, at_px: tuple[float, float]) -> float:
        """Return the 95 % uncertainty of ``mm_per_px`` at a point, as a part of it.

        From the corners' residuals, their number and where they lie, how far the card is from flat,
        and what the bar's reading leaves open of the printer.
        """
        unit = self.homography @ np.linalg.inv(_UNIT)
        unit = unit / unit[2, 2]
        slope = np.empty(8)
        for n, entry in enumerate(unit.ravel()[:8]):
            step = 1e-6 * max(1.0, abs(entry))
            nudge = np.zeros(9)
            nudge[n] = step
            nudge = nudge.reshape(3, 3)
            slope[n] = (
                (_log_scale(unit + nudge, at_px) - _log_scale(unit - nudge, at_px)) / 2 / step
            )
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

    References
    ----------
    Garrido-Jurado et al. 2014, Pattern Recognition 47(6):2280-2292 (marks), from memory.
    """
    grey = _grey(rgb)
    size_px = (grey.shape[1], grey.shape[0])
    (marks, unread), mirrored = _marks(grey), False
    if len(marks[1]) < LEAST_MARKS:
        flipped = np.ascontiguousarray(grey[:, ::-1])
        # A mirrored card shows as squares that cannot be read; without them there is nothing to turn over.
        if unread >= LEAST_UNREAD:
            (marks, _), mirrored = _marks(flipped), True
        if len(marks[1]) < LEAST_MARKS:
            text = "no card seen; lay it printed side up beside the stone, all of it in the picture"
            return None, (Remark("card_not_found", text),)
        grey = flipped
    marks, another = _largest_card(marks)
    fit = _fit(*_corners(grey, marks))
    remarks = []
    if mirrored:
        text = "the photo is mirrored; lengths hold, the scene is turned: use the main camera"
        remarks.append(Remark("card_mirrored", text))
    if another:
        text = "two cards in the picture; the larger is used, take the other away"
        remarks.append(Remark("two_cards", text))
    if fit is None:
        text = "too little of the card is sound; take the hand, stone or glare off it"
        return None, (*remarks, Remark("card_not_found", text))
    seen = set(marks[1].tolist())
    cameras = [camera_over(fit.homography, size_px, f) for f in focal_px or focal_range_px(size_px)]
    uneven = _uneven_share(cameras, seen)
    if len(seen) < WHOLE_SHARE * MARKS:
        remarks.append(_hidden(grey, fit.homography, seen))
    remarks += _misshapen(fit, uneven)
    homography, covariance = fit.homography, fit.covariance
    if mirrored:
        mirror, on_entries = _turned_over(size_px[0])
        homography, covariance = mirror @ homography, on_entries @ covariance @ on_entries.T
    greys = [(_quad_inside(homography, grey.box, size_px), grey.nominal_y) for grey in GREYS]
    whites = [_quad_inside(homography, box, size_px) for box in WHITES]
    sighting = CardSighting(
        homography=homography / homography[2, 2],
        photo_size_px=size_px,
        marks_seen=len(seen),
        corners_seen=len(fit.mm),
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


def black_boxes() -> tuple[Box, ...]:
    """Return every black square of the strips, and every black run within a mark, in mm."""
    boxes = []
    dictionary = _dictionary()
    cells = dictionary.markerSize + 2
    cell_mm, rim_mm = MARK_MM / cells, (SQUARE_MM - MARK_MM) / 2
    for strip in STRIPS:
        ids = iter(strip.ids)
        for row in range(strip.rows):
            for column in range(strip.columns):
                x, y = strip.x_mm + column * SQUARE_MM, strip.y_mm + row * SQUARE_MM
                if (row + column) % 2 == 0:
                    boxes.append(Box(x, y, SQUARE_MM, SQUARE_MM))
                    continue
                bits = cv2.aruco.generateImageMarker(dictionary, next(ids), cells) == 0
                boxes += [
                    Box(
                        x + rim_mm + a * cell_mm,
                        y + rim_mm + r * cell_mm,
                        (b - a) * cell_mm,
                        cell_mm,
                    )
                    for r, line in enumerate(bits)
                    for a, b in _runs(line)
                ]
    return tuple(boxes)


def _runs(line: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(int), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


@cache
def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(DICTIONARY)


@cache
def _finder() -> cv2.aruco.ArucoDetector:
    wanted = cv2.aruco.DetectorParameters()
    wanted.minMarkerPerimeterRate = LEAST_OUTLINE
    return cv2.aruco.ArucoDetector(_dictionary(), wanted)


@cache
def _boards() -> tuple[cv2.aruco.CharucoDetector, ...]:
    return tuple(
        cv2.aruco.CharucoDetector(
            cv2.aruco.CharucoBoard(
                (strip.columns, strip.rows), SQUARE_MM, MARK_MM, _dictionary(), np.array(strip.ids)
            )
        )
        for strip in STRIPS
    )


@cache
def _mark_corners_mm() -> dict[int, Quad]:
    """Corners of each mark on the card, clockwise from its upper left."""
    return {
        number: np.asarray(points, float)[:, :2] + (strip.x_mm, strip.y_mm)
        for strip, board in zip(STRIPS, _boards(), strict=True)
        for number, points in zip(strip.ids, board.getBoard().getObjPoints(), strict=True)
    }


Marks = tuple[NDArray[np.float32], NDArray[np.int32]]


def _grey(rgb: NDArray) -> NDArray[np.uint8]:
    if rgb.dtype == np.uint16:
        rgb = (rgb >> 8).astype(np.uint8)
    return cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2GRAY)


def _marks(grey: NDArray[np.uint8]) -> tuple[Marks, int]:
    """Corners (n, 4, 2) and ids (n,) of the card's marks, in OpenCV's px, whose centres are whole; and how many squares
    could not be read."""
    factor = max(grey.shape) / SEARCH_PX
    if factor <= 1:
        return _marks_at(grey)
    size = tuple(round(side / factor) for side in grey.shape[::-1])
    (corners, ids), unread = _marks_at(shrunk(grey, size))
    sides = np.array(grey.shape[::-1]) / size
    corners = ((corners + 0.5) * sides - 0.5).astype(np.float32)
    if LEAST_MARKS <= len(ids) < WHOLE_SHARE * MARKS:
        full, unread = _marks_at(grey)
        return (full if len(full[1]) > len(ids) else (corners, ids)), unread
    return (corners, ids), unread


def _marks_at(grey: NDArray[np.uint8]) -> tuple[Marks, int]:
    corners, ids, unread = _finder().detectMarkers(grey)
    own = _mark_corners_mm()
    kept = (
        [(c.reshape(4, 2), int(i)) for c, i in zip(corners, np.ravel(ids), strict=True)]
        if len(corners)
        else []
    )
    kept = [(c, i) for c, i in kept if i in own]
    return (
        np.array([c for c, _ in kept], np.float32).reshape(-1, 4, 2),
        np.array([i for _, i in kept], np.int32),
    ), len(unread)


def _largest_card(marks: Marks) -> tuple[Marks, bool]:
    """The marks of the card that shows largest, and whether there is another.

    There is another where an id is seen twice; each card is then what agrees on one plane.
    """
    corners, ids = marks
    if len(set(ids.tolist())) == len(ids):
        return marks, False
    groups, left = [], np.arange(len(ids))
    while len(left) >= LEAST_MARKS:
        mm = np.concatenate([_mark_corners_mm()[i] for i in ids[left].tolist()])
        px = corners[left].reshape(-1, 2)
        side = np.median(np.linalg.norm(np.diff(corners[left], axis=1), axis=2))
        _, agree = cv2.findHomography(mm, px, cv2.RANSAC, 0.3 * side, maxIters=4000)
        if agree is None:
            break
        agree = agree.reshape(-1, 4).all(axis=1)
        if agree.sum() < LEAST_MARKS:
            break
        groups.append(left[agree])
        left = left[~agree]
    if not groups:
        return (corners[:0], ids[:0]), True
    areas = [np.median([cv2.contourArea(corners[n]) for n in group]) for group in groups]
    best = groups[int(np.argmax(areas))]
    # A doubled outline of one mark is no second card.
    return (corners[best], ids[best]), any(len(g) >= LEAST_MARKS for g in groups if g is not best)


def _corners(
    grey: NDArray[np.uint8], marks: Marks
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Points on the card in mm, the same in px (pixel (0, 0) spanning 0 to 1), and which of them
    are corners between squares, found at full size."""
    corners, ids = marks
    if not len(ids):
        return np.empty((0, 2)), np.empty((0, 2)), np.empty(0, bool)
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    # Of a mark's frame, one cell wide, and the rim around it, a little more, half is looked at.
    half = int(np.clip(np.median(sides) / 7 * 0.6, 2, 12))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.01)
    refined = cv2.cornerSubPix(
        grey, corners.reshape(-1, 1, 2).copy(), (half, half), (-1, -1), stop
    ).reshape(-1, 2)
    mm = [np.concatenate([_mark_corners_mm()[i] for i in ids.tolist()])]
    px = [refined]
    for strip, board in zip(STRIPS, _boards(), strict=True):
        own = np.isin(ids, strip.ids)
        if own.sum() < 2:
            continue
        found, numbers, _, _ = board.detectBoard(
            grey,
            markerCorners=[c[None] for c in refined.reshape(-1, 4, 2)[own]],
            markerIds=ids[own].reshape(-1, 1),
        )
        if found is not None and len(found):
            places = np.asarray(board.getBoard().getChessboardCorners(), float)[:, :2]
            mm.append(places[np.ravel(numbers)] + (strip.x_mm, strip.y_mm))
            px.append(found.reshape(-1, 2))
    chess = np.repeat([False, True], [len(mm[0]), sum(map(len, mm[1:]))])
    return np.concatenate(mm), np.concatenate(px).astype(float) + 0.5, chess


@dataclass(frozen=True)
class _Fit:
    """Corners in mm and px (freed of what blur does), which lie between squares and which are
    sound, and the homography through the sound ones with its covariance."""

    mm: NDArray[np.float64]
    px: NDArray[np.float64]
    chess: NDArray[np.bool_]
    sound: NDArray[np.bool_]
    homography: NDArray[np.float64]
    covariance: NDArray[np.float64]

    @property
    def residual_px(self) -> float:
        miss = (self.px - _mapped(self.homography, self.mm))[self.sound]
        return float(np.sqrt((miss**2).sum(axis=1).mean()))

    @property
    def bend_mm(self) -> float:
        miss = _mapped(np.linalg.inv(self.homography), self.px) - self.mm
        return _bend_mm(self.mm[self.chess], miss[self.chess])


def _fit(mm: NDArray, px: NDArray, chess: NDArray[np.bool_]) -> _Fit | None:
    """Fit a homography to the corners; ``None`` where too few agree on one plane."""
    if len(mm) < 4 * LEAST_MARKS:
        return None
    side_px = float(np.median(np.linalg.norm(np.diff(px[~chess], axis=0)[::2], axis=1)))
    limit = max(SOUND_PX, SOUND_MM / MARK_MM * side_px)
    px = _unshrunk(mm, px, chess, 2 * limit)
    if px is None:
        return None
    _, agree = cv2.findHomography(mm, px, cv2.RANSAC, limit, maxIters=4000)
    if agree is None or agree.sum() < 4 * LEAST_MARKS:
        return None
    sound = agree.ravel().astype(bool)
    unit_points = _mapped(_UNIT, mm)
    homography = cv2.findHomography(unit_points[sound], px[sound], 0)[0]
    if homography is None:
        return None
    for _ in range(4):
        miss = np.linalg.norm(px - _mapped(homography, unit_points), axis=1)
        sound = miss <= limit
        # Each of the two kinds of corner counts as exactly as it fits.
        spread = np.empty(len(mm))
        for kind in (chess, ~chess):
            some = miss[kind & sound]
            spread[kind] = max(0.02, np.sqrt((some**2).mean() / 2)) if some.size else np.inf
        weight = np.where(sound, 1 / spread, 0.0)
        slope = _slopes(homography, unit_points) * weight[:, None, None]
        gap = (px - _mapped(homography, unit_points)) * weight[:, None]
        normal = np.einsum("nik,nil->kl", slope, slope)
        step = np.linalg.solve(normal, np.einsum("nik,ni->k", slope, gap))
        homography = (homography.ravel() + np.append(step, 0)).reshape(3, 3)
    whole = homography @ _UNIT
    return _Fit(mm, px, chess, sound, whole / whole[2, 2], np.linalg.inv(normal) * _ALIKE)


def _unshrunk(
    mm: NDArray, px: NDArray, chess: NDArray[np.bool_], limit_px: float
) -> NDArray[np.float64] | None:
    """Points with the marks' corners moved out by as much as blur has drawn all of them in.

    A blurred corner of black on white is found inside of where it is, one between four squares is
    not.
    """
    marks = px[~chess].reshape(-1, 4, 2)
    outward = marks - marks.mean(axis=1, keepdims=True)
    outward = (outward / np.linalg.norm(outward, axis=2, keepdims=True)).reshape(-1, 2)
    px = px.copy()
    for _ in range(3):
        homography, _ = cv2.findHomography(mm, px, cv2.RANSAC, limit_px, maxIters=2000)
        if homography is None:
            return None
        gap = _mapped(homography, mm[~chess]) - px[~chess]
        px[~chess] += float(np.median((gap * outward).sum(axis=1))) * outward
    return px


def _slopes(homography: NDArray, points: NDArray) -> NDArray[np.float64]:
    """How px move with the first eight entries of the homography: (n, 2, 8)."""
    ones = np.column_stack([points, np.ones(len(points))])
    mapped = ones @ homography.T
    share = ones / mapped[:, 2:]
    x, y = (mapped[:, :2] / mapped[:, 2:]).T
    slopes = np.zeros((len(points), 2, 9))
    slopes[:, 0, 0:3] = slopes[:, 1, 3:6] = share
    slopes[:, 0, 6:9], slopes[:, 1, 6:9] = -x[:, None] * share, -y[:, None] * share
    return slopes[:, :, :8]


def _hidden(grey: NDArray, homography: NDArray, seen: set[int]) -> Remark:
    """What keeps the marks from sight that are not seen."""
    outside = glared = 0
    for number, corners in _mark_corners_mm().items():
        if number in seen:
            continue
        quad = _mapped(homography, corners)
        low, high = np.floor(quad.min(axis=0)).astype(int), np.ceil(quad.max(axis=0)).astype(int)
        if (low < 0).any() or high[0] > grey.shape[1] or high[1] > grey.shape[0]:
            outside += 1
        elif np.median(grey[low[1] : high[1], low[0] : high[0]]) > 240:
            glared += 1
    covered = MARKS - len(seen) - outside - glared
    counts = (
        (outside, "outside the picture"),
        (glared, "in glare"),
        (covered, "covered or blurred"),
    )
    why = ", ".join(f"{count} {where}" for count, where in counts if count)
    text = f"{len(seen)} of the card's {MARKS} marks are seen ({why}); show all of it"
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
    quad = _mapped(homography, box.corners_mm(INSET_MM))
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


def _uneven_share(cameras: list[Camera], seen: set[int]) -> float:
    """Difference in scale of the two strips that no focal length within its range explains."""
    if any(len(seen & set(strip.ids)) < LEAST_MARKS for strip in STRIPS):
        return 0.0
    stretch = np.log([camera.stretch for camera in cameras])
    return 0.0 if stretch.min() < 0 < stretch.max() else float(np.abs(stretch).min())


def _mapped(homography: NDArray, points: NDArray) -> NDArray[np.float64]:
    points = np.asarray(points, float)
    mapped = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return mapped[:, :2] / mapped[:, 2:]


def _jacobian(homography: NDArray, at: NDArray) -> NDArray[np.float64]:
    x, y, w = homography @ (at[0], at[1], 1.0)
    return (homography[:2, :2] - np.outer((x / w, y / w), homography[2, :2])) / w


def _log_scale(homography: NDArray, at_px: tuple[float, float]) -> float:
    return 0.5 * np.log(abs(np.linalg.det(_jacobian(np.linalg.inv(homography), at_px))))


def _turned_over(width_px: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Matrix that mirrors points of a photo so wide, and what it does to a homography's first eight
    entries."""
    mirror = np.array([[-1.0, 0, width_px], [0, 1, 0], [0, 0, 1]])
    return mirror, np.kron(mirror, np.eye(3))[:8, :8]
