"""Whether a photo of a face can be measured: exposure, focus, shake, glare, size, frame, surface."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.measures import Remark
from grader.photo.colour import lab_from_linear
from grader.photo.light import hard_shadow
from grader.photo.surface import State
from grader.profile import Limits

USABLE, WITH_CARE, RETAKE = "usable", "with care", "retake"
_ORDER = (USABLE, WITH_CARE, RETAKE)

# Settings, found on photographs of polished stones (blur 0.5 to 1.4 px there) and on drawn ones
# blurred by known amounts; no threshold of sharpness is published.
#: Blur (sigma of a Gaussian) that harms lines, and that harms bands: in px, or as part of the face.
BLUR_CARE_PX, BLUR_CARE_PART = 1.8, 0.002
BLUR_RETAKE_PX, BLUR_RETAKE_PART = 2.6, 0.004
#: Spread of a shake as it is read on stones, which is under what it was: the sharper edges are read.
SHAKE_PX, SHAKE_PART = 1.68, 0.0026
#: Linear light above which nothing is left in a channel at working size, where px are averages.
BURNT_LIGHT = 0.95
BURNT_CARE_SHARE, BURNT_RETAKE_SHARE = 0.10, 0.30
#: Linear light from which one channel is full, codes 254 and 255: pale bands stay under it.
FULL_LIGHT = 0.99
FULL_CARE_SHARE, FULL_RETAKE_SHARE = 0.15, 0.35
#: What the lightest tenth of a face reaches, at the least: the fullest channel as the L* of a grey.
#: L* itself is low on a deep blue stone in any light, where the blue channel has light enough.
DARK_CARE_L, DARK_RETAKE_L = 38.0, 32.0
#: Linear light, in every channel, under which a few codes stand for all there is.
BLACK_LIGHT = 0.003
BLACK_CARE_SHARE, BLACK_RETAKE_SHARE = 0.15, 0.35
#: Lines are claimed from this width on, px at working size.
LINE_PX = 1.5
# Quantiles do not need every px: about so many each way are taken.
_QUANTILE_PX = 256

# Quantile of blur among the edges: the sharpest show the camera's blur, the others are soft on the
# stone.
_BLUR_QUANTILE = 0.25
# Share of the px that count as edges: of the face, and around the outline; how far around it they lie.
_EDGE_SHARE = 0.03
_OUTLINE_SHARE, _NEAR = 0.15, np.ones((7, 7), np.uint8)
# A slope is seen through two Gaussians, the second so many times wider: blurred by twice as much again.
_COARSER = np.sqrt(5.0)
# How far above noise, as energy, edges must stand: to be read at all, and to be read at that scale.
_ABOVE_NOISE, _CLEAR_OF_NOISE = 12.0, 30.0
# A camera's noise may have so many times the energy of white noise that looks as fine.
_CLUMPED = 4.0
# A difference over two px is a gradient seen through a box two px wide, whose variance is 2^2 / 12.
_DIFFERENCE_VARIANCE = 1 / 3
# Energy of a gradient of 0.01 L* a px: nothing.
_LEAST_ENERGY = 1e-4
_BLOCK_PX = 16
# Directions along which a shake is looked for, in turns of the picture's x towards its y.
_DIRECTIONS_DEG = np.arange(0.0, 180.0, 22.5)
# Share of the px, around the outline and on the whole face, whose slope in a direction is read.
_SLOPE_SHARE = 0.15
# Quantile of blur among them.
_SLOPE_QUANTILE = 0.35
# Px, spread over them, that are enough for it.
_SLOPE_PX = 16_000


@dataclass(frozen=True)
class Sight:
    """What a verdict rests on, in numbers; ``None`` where it cannot be told.

    Attributes
    ----------
    blur_px : sigma of the blur, px at working size.
    shake_px : spread (sigma) that one direction has beyond the sharpest, px at working size.
    shake_deg : that direction, 0 to 180, 0 level, counter-clockwise.
    burnt_share : of the readable face, burnt out in all channels.   full_share : in one at least.
    black_share : of the readable face, black without detail.
    lightest : what the lightest tenth of it reaches, as photographed: the fullest channel as the
        L* of a grey.
    line_mm : width of the finest line that shows.
    """

    blur_px: float | None
    shake_px: float | None
    shake_deg: float | None
    burnt_share: float | None
    full_share: float | None
    black_share: float | None
    lightest: float | None
    line_mm: float | None

    def is_shaken(self, side_px: int) -> bool:
        """Whether a face of that longer side, px at working size, is smeared along one direction."""
        return self.shake_px is not None and self.shake_px > max(SHAKE_PX, SHAKE_PART * side_px)


@dataclass(frozen=True)
class Verdict:
    """usable, with care or retake, and why: a remark each, with its remedy; and the numbers behind."""

    value: str
    remarks: tuple[Remark, ...] = ()
    sight: Sight | None = None

    def no_better_than(self, value: str, remark: Remark) -> "Verdict":
        """Return the verdict, lowered to ``value`` where it is above it, with the remark that says why."""
        return replace(
            self, value=max(self.value, value, key=_ORDER.index), remarks=(*self.remarks, remark)
        )


@dataclass(frozen=True)
class Framing:
    """How a face lies in its photo.

    cut_by_frame : the stone runs out of the photo.   px_per_photo_px : working px for one px of the photo, at most 1.
    mm_per_px : of the working px, where the scale is known.
    """

    cut_by_frame: bool
    px_per_photo_px: float
    mm_per_px: float | None = None


def judge_photo(
    linear: NDArray[np.float32],
    lab: NDArray[np.float32],
    mask: NDArray[np.bool_],
    glare: NDArray[np.bool_],
    *,
    glare_share: float,
    framing: Framing,
    state: State,
    limits: Limits,
) -> Verdict:
    """Return the verdict on one face as photographed.

    Parameters
    ----------
    linear : ndarray of shape (h, w, 3), linear sRGB.
    lab : ndarray of shape (h, w, 3), CIELAB.
    mask, glare : ndarray of shape (h, w), the stone, and what of it is unreadable for glare.
    glare_share : unreadable share of the whole face, 0 to 1.
    """
    sight = _sight(linear, lab[..., 0], mask, glare, framing.mm_per_px)
    findings = [
        *_exposure(sight),
        *_focus(sight, max(mask.shape)),
        *_frame(mask, limits, framing),
    ]
    if sight.line_mm is not None and sight.line_mm > limits.line_mm:
        text = f"lines finer than {sight.line_mm:.2g} mm do not show at this scale; go nearer"
        findings.append((WITH_CARE, Remark("coarse", text)))
    if glare_share > limits.glare_share:
        text = f"{100 * glare_share:.0f} % of the face is glare; turn the stone, or shade it"
        findings.append((RETAKE, Remark("glare", text)))
    if shadow := hard_shadow(linear, mask & ~glare):
        findings.append((WITH_CARE, shadow))
    if state.value == "patchy":
        text = "partly wet, partly dry; wet it all or let it dry, and take it again"
        findings.append((RETAKE, Remark("patchy", text)))
    value = max((value for value, _ in findings), key=_ORDER.index, default=USABLE)
    return Verdict(value, tuple(remark for _, remark in findings), sight)


def blur_px(
    lightness: NDArray[np.float32], where: NDArray[np.bool_], edge_share: float = _EDGE_SHARE
) -> float | None:
    """Return the blur of a picture as the sigma of a Gaussian, in px; ``None`` if no edge shows.

    The gradient of an edge of blur s is 1 / s high; blurred a little more, it falls the more the
    sharper it was. Read at the strongest edges, pattern or outline, so a plain stone is judged by
    its outline. The energy of noise, as flat blocks and fine ripple show it, is taken off; where
    noise is as strong as the edges the picture is read two and four times coarser.

    Parameters
    ----------
    lightness : ndarray of shape (h, w), float32, L*.
    where : ndarray of shape (h, w), bool, the px to look at.
    edge_share : the part of them that counts as edges, 0 to 1.

    References
    ----------
    Zhuo & Sim 2011, Pattern Recognition 44(9):1852-1858, blur from the gradient ratio after
    blurring again (from memory).
    """
    slopes = _Slopes(lightness)
    return _blur_px(slopes, slopes.part(where), edge_share)


@dataclass(frozen=True)
class _Part:
    """The px of a picture that are looked at, the noise there in L*, and which blocks they fill."""

    where: NDArray[np.bool_]
    noise: float
    blocks: NDArray[np.bool_]


class _Slopes:
    """The slopes of a picture at the scales that were asked for, each worked out once."""

    def __init__(self, lightness: NDArray[np.float32]) -> None:
        self.lightness = np.ascontiguousarray(lightness)
        # Answers to white noise alone: Immerkaer 1996, CVIU 64(2):300-302 (from memory).
        self.ripple = cv2.filter2D(
            self.lightness, cv2.CV_32F, np.outer((1.0, -2.0, 1.0), (1.0, -2.0, 1.0))
        )
        self._at: dict[float, tuple[NDArray, NDArray, NDArray, NDArray]] = {}

    def part(self, where: NDArray[np.bool_]) -> _Part | None:
        """Return those px with their noise; ``None`` if there are none."""
        few = _few(where)
        ripple = self.ripple[few][where[few]]
        if not ripple.size:
            return None
        # The filter multiplies the deviation by 6; the median of a normal's size is 0.6745 of it.
        noise = float(np.median(np.abs(ripple))) / (6 * 0.6745)
        return _Part(where, noise, _block_means(where.astype(np.float32)) > 0.99)

    def at(self, sigma_px: float) -> tuple[NDArray, NDArray, NDArray, NDArray]:
        """Slope across, slope down, their energy and its block means, seen through a Gaussian."""
        if sigma_px not in self._at:
            smooth = cv2.GaussianBlur(self.lightness, (0, 0), sigma_px)
            across = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8)
            down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
            energy = across * across
            energy += down * down
            self._at[sigma_px] = across, down, energy, _block_means(energy)
        return self._at[sigma_px]

    def noise_energy(self, part: _Part, sigma_px: float) -> float:
        """Energy that noise gives to the slopes there: at most that of the flattest tenth of the blocks."""
        blocks = self.at(sigma_px)[3][part.blocks]
        flattest = float(np.quantile(blocks, 0.1)) if blocks.size else np.inf
        return min(flattest, _gradient_energy_of_noise(part.noise, sigma_px))


def _block_means(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Means of whole blocks of ``_BLOCK_PX``; of shape (0, 0) where none fits."""
    h, w = (side // _BLOCK_PX for side in picture.shape)
    if not h or not w:
        return np.empty((0, 0), np.float32)
    whole = picture[: h * _BLOCK_PX, : w * _BLOCK_PX]
    return cv2.resize(whole, (w, h), interpolation=cv2.INTER_AREA)


def _blur_px(slopes: _Slopes, part: _Part | None, edge_share: float) -> float | None:
    if part is None:
        return None
    doubtful = None
    for scale_px in (1.0, 2.0, 4.0):
        blur, above_noise = _blur_at(slopes, part, scale_px, edge_share)
        if above_noise > _CLEAR_OF_NOISE:
            return blur
        if above_noise > _ABOVE_NOISE and doubtful is None:
            doubtful = blur
    return doubtful


def _blur_at(
    slopes: _Slopes, part: _Part, fine_px: float, edge_share: float
) -> tuple[float, float]:
    """Blur in px, read with two Gaussians, and how far above noise the edges' energy stands."""
    coarse_px = fine_px * _COARSER
    fine, coarse = slopes.at(fine_px)[2], slopes.at(coarse_px)[2]
    noise_fine = slopes.noise_energy(part, fine_px)
    noise_coarse = slopes.noise_energy(part, coarse_px)
    where, few = part.where, _few(part.where)
    threshold = float(np.quantile(fine[few][where[few]], 1 - edge_share))
    strong = float(np.quantile(coarse[few][where[few]], 1 - edge_share))
    edges = where & (coarse >= max(strong, _LEAST_ENERGY))
    if not edges.any():
        return 0.0, 0.0
    variance = _variance(fine[edges] - noise_fine, coarse[edges] - noise_coarse, fine_px)
    blur = np.sqrt(max(0.0, np.quantile(variance, _BLUR_QUANTILE)))
    return float(blur), threshold / max(noise_fine, _LEAST_ENERGY)


def _variance(fine: NDArray, coarse: NDArray, fine_px: float) -> NDArray:
    """Variance of the blur of each edge, px^2, of its energy seen through two Gaussians."""
    # Of a step: energy ratio = (blur^2 + coarse^2) / (blur^2 + fine^2).
    ratio = np.maximum(fine / np.maximum(coarse, _LEAST_ENERGY), 1.001)
    return fine_px**2 * (_COARSER**2 - ratio) / (ratio - 1) - _DIFFERENCE_VARIANCE


def _shake(
    slopes: _Slopes, face: _Part | None, outline: _Part | None
) -> tuple[float | None, float | None]:
    """Spread in px that one direction has beyond the sharpest, and the direction, 0 to 180.

    Along the way of a shake every profile is smeared, whichever way its edge runs; a slope is
    therefore read in one direction at a time, not edge by edge. A pattern may be soft one way by
    nature and a rim by its light, so the sharper of face and outline counts.
    """
    variance = np.fmin(*(_variance_by_direction(slopes, part) for part in (face, outline)))
    if np.count_nonzero(~np.isnan(variance)) < 2:
        return None, None
    softest = int(np.nanargmax(variance))
    spread = float(np.sqrt(variance[softest] - np.nanmin(variance)))
    return spread, float(-_DIRECTIONS_DEG[softest] % 180)


def _variance_by_direction(slopes: _Slopes, part: _Part | None) -> NDArray[np.float64]:
    """Variance of the blur in each of ``_DIRECTIONS_DEG``, px^2; nan where noise hides it."""
    found = np.full(len(_DIRECTIONS_DEG), np.nan)
    if part is None:
        return found
    picked = np.flatnonzero(part.where)
    picked = picked[:: max(1, len(picked) // _SLOPE_PX)]
    turn = np.deg2rad(_DIRECTIONS_DEG)
    towards = np.column_stack([np.cos(turn), np.sin(turn)]).astype(np.float32)
    for fine_px in (1.0, 2.0):
        energies, noises = [], []
        for sigma_px in (fine_px, fine_px * _COARSER):
            across, down, *_ = slopes.at(sigma_px)
            slope = towards @ np.stack([across.ravel()[picked], down.ravel()[picked]])
            energies.append(slope * slope)
            # A direction has half of what noise gives to both.
            noises.append(slopes.noise_energy(part, sigma_px) / 2)
        for k in np.flatnonzero(np.isnan(found)):
            fine, coarse = energies[0][k], energies[1][k]
            clear = fine > _CLEAR_OF_NOISE * max(noises[0], _LEAST_ENERGY)
            if np.count_nonzero(clear) <= _SLOPE_SHARE * len(fine):
                continue
            edges = coarse >= max(np.quantile(coarse, 1 - _SLOPE_SHARE), _LEAST_ENERGY)
            if edges.any():
                variance = _variance(fine[edges] - noises[0], coarse[edges] - noises[1], fine_px)
                found[k] = max(0.0, np.quantile(variance, _SLOPE_QUANTILE))
        if not np.isnan(found).any():
            break
    return found


def _few(where: NDArray) -> tuple[slice, slice]:
    step = max(1, int(np.sqrt(where.sum()) / _QUANTILE_PX))
    return slice(None, None, step), slice(None, None, step)


def _gradient_energy_of_noise(noise: float, sigma_px: float) -> float:
    """At the most: of white noise it is noise^2 / (4 pi sigma^4); that of cameras is in clumps."""
    return _CLUMPED * noise**2 / (4 * np.pi * sigma_px**4)


def _sight(
    linear: NDArray, lightness: NDArray, mask: NDArray, glare: NDArray, mm_per_px: float | None
) -> Sight:
    blur, shake, shake_deg = _sharpness(lightness, mask, glare)
    few = _few(mask & ~glare)
    light = linear[few][(mask & ~glare)[few]]
    burnt = full = black = lightest = None
    if light.size:
        least, most = light.min(axis=1), light.max(axis=1)
        burnt, full = float((least > BURNT_LIGHT).mean()), float((most >= FULL_LIGHT).mean())
        black = float((most < BLACK_LIGHT).mean())
        # As photographed: a dark photo stays noisy when its colours are put right.
        fullest = np.full((1, 3), np.quantile(most, 0.9), np.float32)
        lightest = float(lab_from_linear(fullest)[0, 0])
    line_mm = None if mm_per_px is None else LINE_PX * mm_per_px
    return Sight(blur, shake, shake_deg, burnt, full, black, lightest, line_mm)


def _sharpness(
    lightness: NDArray, mask: NDArray, glare: NDArray
) -> tuple[float | None, float | None, float | None]:
    """Blur, spread of the shake and its direction, of a face with the ground just around it."""
    grown, shrunk = (f(mask.view(np.uint8), _NEAR).astype(bool) for f in (cv2.dilate, cv2.erode))
    # Glare has edges of its own, cut off by the code limit.
    readable = ~cv2.dilate(glare.view(np.uint8), _NEAR).astype(bool)
    face, outline = grown & readable, grown & ~shrunk & readable
    slopes = _Slopes(lightness)
    face, outline = slopes.part(face), slopes.part(outline)
    blur = _blur_px(slopes, face, _EDGE_SHARE)
    if blur is not None and blur > max(BLUR_CARE_PX, BLUR_CARE_PART * max(mask.shape)):
        # A pattern may be soft by nature; then the outline tells.
        around = _blur_px(slopes, outline, _OUTLINE_SHARE)
        blur = blur if around is None else min(blur, around)
    return blur, *_shake(slopes, face, outline)


def _focus(sight: Sight, side_px: int) -> list[tuple[str, Remark]]:
    blur = sight.blur_px or 0.0
    if blur > max(BLUR_RETAKE_PX, BLUR_RETAKE_PART * side_px):
        text = "out of focus or shaken; hold the phone still, tap the stone to focus, take it again"
        return [(RETAKE, Remark("blurred", text))]
    if sight.is_shaken(side_px):
        text = "shaken along one direction; rest the hands or lean the phone on something"
        return [(RETAKE, Remark("shaken", text))]
    if blur > max(BLUR_CARE_PX, BLUR_CARE_PART * side_px):
        text = "a little out of focus, fine lines may be missed; tap the stone to focus"
        return [(WITH_CARE, Remark("blurred", text))]
    return []


def _exposure(sight: Sight) -> list[tuple[str, Remark]]:
    if sight.lightest is None:
        return []
    findings = []
    burnt = _graded(sight.burnt_share, BURNT_CARE_SHARE, BURNT_RETAKE_SHARE)
    full = _graded(sight.full_share, FULL_CARE_SHARE, FULL_RETAKE_SHARE)
    # The one that weighs more is told; px burnt out are full too.
    if burnt and _ORDER.index(burnt) >= _ORDER.index(full or USABLE):
        text = (
            f"{100 * sight.burnt_share:.0f} % of the face is burnt out; "
            "tap the stone to expose for it"
        )
        findings.append((burnt, Remark("burnt_out", text)))
    elif full:
        text = f"{100 * sight.full_share:.0f} % of the face is too bright to hold its colour; expose darker"
        findings.append((full, Remark("clipped", text)))
    dark = _graded(-sight.lightest, -DARK_CARE_L, -DARK_RETAKE_L)
    black = _graded(sight.black_share, BLACK_CARE_SHARE, BLACK_RETAKE_SHARE)
    if dark and _ORDER.index(dark) >= _ORDER.index(black or USABLE):
        text = "too dark; more light, or tap the stone to expose for it"
        findings.append((dark, Remark("dark", text)))
    elif black:
        text = f"{100 * sight.black_share:.0f} % of the face is black without detail; more light"
        findings.append((black, Remark("black", text)))
    return findings


def _graded(value: float, care: float, retake: float) -> str | None:
    """What a value that should be small amounts to; ``None`` where it is."""
    if value <= care:
        return None
    return RETAKE if value > retake else WITH_CARE


def _frame(mask: NDArray, limits: Limits, framing: Framing) -> list[tuple[str, Remark]]:
    findings = []
    width = _width_px(mask) / framing.px_per_photo_px
    if width < limits.face_px:
        text = f"the face is {width:.0f} px wide, {limits.face_px:.0f} are needed; go nearer"
        findings.append((RETAKE, Remark("small", text)))
    if framing.cut_by_frame:
        text = "the stone runs out of the picture; shares are of the part that shows, step back"
        findings.append((WITH_CARE, Remark("cut_by_frame", text)))
    return findings


def _width_px(mask: NDArray) -> float:
    """Shorter side of the smallest rectangle, at any turn, around the face."""
    outlines, _ = cv2.findContours(mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    if not outlines:
        return 0.0
    return min(cv2.minAreaRect(np.concatenate(outlines))[1]) + 1
