"""What of known colour and length a photo shows: card, chart, a declared neutral place, or nothing.

Of two sources the surer one counts: for colours the chart before what the seller declares before the card's paper
before an estimate of the light from the photo itself; for lengths the seller's own number before the card. Without any,
lengths stay unknown.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.errors import GraderError, PhotoError
from grader.measures import Remark
from grader.photo.card import CardSighting, find_card
from grader.photo.card_layout import HEIGHT_MM as CARD_HEIGHT_MM
from grader.photo.card_layout import WIDTH_MM as CARD_WIDTH_MM
from grader.photo.chart import ChartReading, ChartSighting, Correction, find_chart, read_chart
from grader.photo.colour import linear_srgb
from grader.photo.illuminant import Illuminant, angle_deg, estimate_illuminant
from grader.photo.light import (
    MEASURED_SD,
    UNCALIBRATED,
    LightField,
    Surface,
    White,
    estimated_white,
    field_from,
    guessed_white,
    white_from,
)
from grader.photo.photo import Photo, Scale
from grader.photo.pose import focal_range_px
from grader.photo.scale import FaceScale, Range, face_scale
from grader.photo.shrink import shrunk
from grader.photo.terms import Neutral
from grader.profile import Setup

#: Surfaces are read in a copy of the photo whose longer side has at most so many px.
READ_PX = 1200
#: Paper that something covers or shades is darker: a place counts from this share of the lightest one's light.
LIT_SHARE = 0.7
#: Scales by hand and by card that differ by more than this share, beyond what the card leaves open, are remarked on.
SCALES_DIFFER = 0.03
#: A declared white that lies further from the estimate than both of these is remarked on.
WHITES_DIFFER_DEG, WHITES_DIFFER_SD = 8.0, 3.0
UNKNOWN_SCALE = Scale()
NO_CHART = ChartReading(None, None)
USUAL = Setup()
#: From this tilt on lengths in different directions differ by more than 3 %, and it is remarked on.
TILT_DEG = 14.0


@dataclass(frozen=True)
class Reference:
    """What a photo's colours and lengths are referred to.

    Attributes
    ----------
    white : of the photo where no chart is used.
    field : how the light varies over the photo; ``None`` where no surface of one colour shows it.
    correction : the chart's; it counts before the white.
    card, chart : as found.
    scale : by hand, or in the card's plane in the middle of the card; without either not known. From a card without
        that card it is the scale at one face, as kept.
    height_mm, focal_px : least and greatest height of a face above the card, and focal length.
    remarks : what a person should know of all this.
    """

    white: White
    field: LightField | None = None
    correction: Correction | None = None
    card: CardSighting | None = None
    chart: ChartSighting | None = None
    scale: Scale = UNKNOWN_SCALE
    height_mm: Range = Setup.height_mm
    focal_px: Range | None = None
    remarks: tuple[Remark, ...] = ()

    @property
    def colour_source(self) -> str:
        """ "chart", "paper", "tray", "card", "estimated", or "uncalibrated" where the camera's colours stay."""
        return "chart" if self.correction else self.white.source

    @property
    def white_known(self) -> bool:
        """Whether colours are referred to something of known colour in the photo."""
        return self.correction is not None or self.white.known

    @property
    def light_sd(self) -> float:
        """Standard deviation of a* and b* together that chart or white leave open, at least that of even daylight."""
        left = self.correction.remaining_mean if self.correction else np.hypot(*self.white.sd[1:])
        return float(max(1.0, left))

    def corrected(self, linear: NDArray[np.float32], x_px: NDArray, y_px: NDArray) -> NDArray:
        """Return linear sRGB as in even daylight.

        Parameters
        ----------
        linear : ndarray of shape (h, w, 3), linear sRGB as photographed.
        x_px, y_px : ndarrays of shape (w,) and (h,), where in the photo that was.
        """
        if self.field is not None:
            linear = linear / self.field.at(x_px[None, :], y_px[:, None])
        return self.correction.apply(linear) if self.correction else self.white.apply(linear)

    def scale_at(self, x_px: float, y_px: float) -> Scale:
        """Return the scale of a face whose middle lies there, its height above the card taken into account.

        Raises
        ------
        GraderError
            A face so high that it would reach the camera.
        """
        if self.scale.source != "card" or self.card is None:
            return self.scale
        return _in_all_directions(
            face_scale(self.card, self.focal_px, self.height_mm, (x_px, y_px))
        )


def find_reference(
    photo: Photo,
    *,
    setup: Setup = USUAL,
    height_mm: float | None = None,
    neutral: Neutral | None = None,
    whole: bool = False,
    camera_white: bool = False,
) -> Reference:
    """Return what is known of a photo's light and scale.

    Parameters
    ----------
    setup : how the seller photographs: his paper, and how high faces lie.
    height_mm : of the faces above the card, where the seller says it; 0 for a card at the height of the face.
    neutral : a place that the seller declares to be neutral.
    whole : one face fills the picture.
    camera_white : where nothing of known colour is seen, the camera's colours stay instead of an estimate.

    Raises
    ------
    PhotoError
        ``outside`` : the neutral place lies outside the photo.   ``height`` : a face so high would reach the camera.
    """
    focal_px = focal_range_px((photo.width, photo.height), photo.focal_35mm)
    card, card_remarks = find_card(photo.rgb, focal_px)
    if card is None:  # a photo without a card is as usual as one with it
        card_remarks = tuple(r for r in card_remarks if r.code != "card_not_found")
    surfaces, factor = _small_linear(photo)
    paper, kind = _neutral_surface(photo, surfaces, factor, neutral, card)
    field = _field(photo, surfaces, paper, card if kind == "card" else None, factor)
    chart, reading = _chart_beside(photo, card, field)
    white = _white(surfaces, paper, kind, field, photo, factor, setup)
    if reading.correction:  # it counts before paper and tray
        field, white = reading.field, guessed_white()
    elif not camera_white:
        white = _with_estimate(white, estimate_illuminant(surfaces, whole))
    heights_mm = setup.height_mm if height_mm is None else (height_mm, height_mm)
    scale, scale_remarks = _scale(photo, card, focal_px, heights_mm)
    return Reference(
        white=white,
        field=field,
        correction=reading.correction,
        card=card,
        chart=chart if reading.correction else None,
        scale=scale,
        height_mm=heights_mm,
        focal_px=focal_px,
        remarks=(*card_remarks, *reading.remarks, *white.remarks, *scale_remarks),
    )


def estimated_reference(photo: Photo, whole: bool = False) -> Reference:
    """Return the reference of a photo in which no card or chart is looked for: its own scale, light estimated."""
    surfaces, _ = _small_linear(photo)
    return Reference(estimated_white(estimate_illuminant(surfaces, whole)), scale=photo.scale)


def no_reference(photo: Photo) -> Reference:
    """Return the reference of a photo in which nothing is looked for: its own scale, colours as they are."""
    return Reference(guessed_white(), scale=photo.scale)


def _with_estimate(white: White, light: Illuminant) -> White:
    """The white, or the estimated one where none is known; that the two disagree is said."""
    if not white.known:
        return estimated_white(light, white.remarks)
    off = angle_deg(white.light, light.colour)
    if off <= max(WHITES_DIFFER_DEG, WHITES_DIFFER_SD * light.sd_deg):
        return white
    text = (
        f"the {white.source} says that the light is {off:.0f}° away from what the rest of the photo says; "
        "look whether it is neutral and lies in the stones' light"
    )
    return replace(white, remarks=(*white.remarks, Remark("whites_differ", text)))


def _in_all_directions(face: FaceScale) -> Scale:
    """The scale of a face with what the tilt leaves open: along it a length reads shorter than across."""
    # One over the other is the cosine; the mean of all directions lies between.
    part = float(np.sqrt(np.cos(np.deg2rad(min(face.tilt_deg, 60.0)))))
    return Scale(face.mm_per_px, "card", face.low * part, face.high / part)


def _tilted(face: FaceScale) -> tuple[Remark, ...]:
    if face.tilt_deg <= TILT_DEG:
        return ()
    text = f"the camera is tilted by {face.tilt_deg:.0f}°, so lengths are uncertain; hold it straight above"
    return (Remark("camera_tilted", text),)


def _neutral_surface(
    photo: Photo,
    surfaces: NDArray[np.float32],
    factor: float,
    neutral: Neutral | None,
    card: CardSighting | None,
) -> tuple[NDArray[np.bool_], str]:
    """The px of a neutral surface in the small photo and what it is: what the seller declares, else the card's paper.

    Without either no px, "card".
    """
    shape = surfaces.shape[:2]
    if neutral is not None:
        return _declared(photo, neutral, shape, factor), neutral.kind
    if card is not None:
        return _lit(surfaces, [_filled(q * factor, shape) for q in card.white_px]), "card"
    return np.zeros(shape, bool), "card"


def _chart_beside(
    photo: Photo, card: CardSighting | None, field: LightField | None
) -> tuple[ChartSighting | None, ChartReading]:
    """The chart in a photo and its reading; an empty reading where there is none, or only what looks like one."""
    chart = find_chart(photo.rgb, photo.encoding)
    if chart is None:
        return None, NO_CHART
    reading = read_chart(chart, field)
    if reading.correction is None and card and _on_card(chart, card):
        # The card's own squares and greys, taken for patches.
        return None, NO_CHART
    return chart, reading


def _on_card(chart: ChartSighting, card: CardSighting) -> bool:
    """Whether many patches lie on the card."""
    at_mm = card.card_mm(chart.centres_px)
    inside = ((at_mm >= 0) & (at_mm <= (CARD_WIDTH_MM, CARD_HEIGHT_MM))).all(axis=1)
    return bool(inside.mean() > 0.2)


def _small_linear(photo: Photo) -> tuple[NDArray[np.float32], float]:
    factor = min(1.0, READ_PX / max(photo.width, photo.height))
    size = (max(1, round(photo.width * factor)), max(1, round(photo.height * factor)))
    return linear_srgb(shrunk(photo.rgb, size), photo.encoding), factor


def _declared(photo: Photo, neutral: Neutral, shape, factor: float) -> NDArray[np.bool_]:
    x, y, w, h = neutral.box
    if w < 1 or h < 1 or x < 0 or y < 0 or x + w > photo.width or y + h > photo.height:
        raise PhotoError(
            f"{photo.name}: the {neutral.kind} at {x},{y},{w},{h} is not within {photo.width} x {photo.height} px; "
            "give x,y,w,h of a place in the upright photo",
            "outside",
        )
    corners = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
    return _filled(corners * factor, shape)


def _filled(quad: NDArray, shape) -> NDArray[np.bool_]:
    mask = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(mask, np.rint((quad - 0.5) * 16).astype(np.int32), 1, shift=4)
    return mask > 0


def _lit(linear: NDArray, places: list[NDArray]) -> NDArray[np.bool_]:
    """The places that nothing covers or shades, as one mask."""
    light = [float(np.median(linear[m].min(axis=1))) if m.any() else 0.0 for m in places]
    lit = np.zeros(linear.shape[:2], bool)
    for mask, amount in zip(places, light, strict=True):
        if amount >= LIT_SHARE * max(light):
            lit |= mask
    return lit


def _field(
    photo: Photo,
    linear: NDArray[np.float32],
    paper: NDArray[np.bool_],
    card: CardSighting | None,
    factor: float,
) -> LightField | None:
    """The light field that the paper shows; on a card also the paper of the place where stones lie, beside them."""
    if not paper.any():
        return None
    if card is None:
        return field_from(linear, paper, photo.width, photo.height)
    around = paper | _filled(card.stone_area_px * factor, paper.shape)
    return field_from(linear, around, photo.width, photo.height, like=paper)


def _white(
    linear: NDArray,
    paper: NDArray,
    kind: str,
    field: LightField | None,
    photo: Photo,
    factor: float,
    setup: Setup,
) -> White:
    if not paper.any():
        return guessed_white()
    light = None
    if field is not None:
        h, w = paper.shape
        light = field.at(
            ((np.arange(w) + 0.5) / factor)[None], ((np.arange(h) + 0.5) / factor)[:, None]
        )
    surface = "paper" if kind == "card" else kind
    measured = None
    if surface == "paper" and setup.paper_lab is not None:
        measured = Surface(setup.paper_lab, MEASURED_SD)
    white = white_from(linear, paper, surface, measured, light)
    return white if white.source == UNCALIBRATED else replace(white, source=kind)


def _scale(
    photo: Photo, card: CardSighting | None, focal_px: Range, heights_mm: Range
) -> tuple[Scale, tuple[Remark, ...]]:
    if card is None:
        return photo.scale, ()
    try:
        face = face_scale(card, focal_px, heights_mm)
    except GraderError as err:
        raise PhotoError(f"{photo.name}: {err}", "height") from err
    by_hand = photo.scale.mm_per_px
    if by_hand is None:
        return _in_all_directions(face), _tilted(face)
    spread = SCALES_DIFFER * face.mm_per_px
    if face.low - spread <= by_hand <= face.high + spread:
        return photo.scale, ()
    text = (
        f"the scale by hand is {by_hand:.4g} mm per px, by the card {face.mm_per_px:.4g}; yours is used: "
        "check the number, and the card's 100 mm bar with a ruler"
    )
    return photo.scale, (Remark("scales_differ", text),)
