"""Whether a photo of a face can be measured: exposure, focus, glare, size, frame, surface."""

from dataclasses import dataclass

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
#: Linear light above which nothing is left in a channel at working size, where px are averages.
BURNT_LIGHT = 0.95
BURNT_CARE_SHARE, BURNT_RETAKE_SHARE = 0.10, 0.30
#: L* that the lightest tenth of a face reaches, at the least.
DARK_CARE_L, DARK_RETAKE_L = 28.0, 20.0
# Quantiles do not need every px: about so many each way are taken.
_QUANTILE_PX = 256

# Quantile of blur among the edges: the sharpest show the camera's blur, the others are soft on the
# stone.
_BLUR_QUANTILE = 0.25
# Share of the px around the outline that count as its edge, and how far around it they lie.
_OUTLINE_SHARE, _NEAR = 0.15, np.ones((7, 7), np.uint8)
# How far above noise, as energy, edges must stand: to be read at all, and to be read at that scale.
_ABOVE_NOISE, _CLEAR_OF_NOISE = 12.0, 30.0
# A camera's noise may have so many times the energy of white noise that looks as fine.
_CLUMPED = 4.0
# A difference over two px is a gradient seen through a box two px wide, whose variance is 2^2 / 12.
_DIFFERENCE_VARIANCE = 1 / 3
# Energy of a gradient of 0.01 L* a px: nothing.
_LEAST_ENERGY = 1e-4
_BLOCK_PX = 16


@dataclass(frozen=True)
class Verdict:
    """usable, with care or retake, and why: a remark each, with its remedy."""

    value: str
    remarks: tuple[Remark, ...] = ()


def judge_photo(
    linear: NDArray[np.float32],
    lab: NDArray[np.float32],
    mask: NDArray[np.bool_],
    glare: NDArray[np.bool_],
    *,
    glare_share: float,
    cut_by_frame: bool,
    state: State,
    limits: Limits,
    px_per_photo_px: float,
) -> Verdict:
    """Return the verdict on one face as photographed.

    Parameters
    ----------
    linear : ndarray of shape (h, w, 3), linear sRGB.
    lab : ndarray of shape (h, w, 3), CIELAB.
    mask, glare : ndarray of shape (h, w), the stone, and what of it is unreadable for glare.
    glare_share : unreadable share of the whole face, 0 to 1.
    px_per_photo_px : working px for one px of the photo, at most 1.
    """
    readable = mask & ~glare
    findings = [
        *_exposure(linear, readable),
        *_focus(lab[..., 0], mask, glare),
        *_frame(mask, limits, px_per_photo_px, cut_by_frame),
    ]
    if glare_share > limits.glare_share:
        text = f"{100 * glare_share:.0f} % of the face is glare; turn the stone, or shade it"
        findings.append((RETAKE, Remark("glare", text)))
    if shadow := hard_shadow(linear, mask & ~glare):
        findings.append((WITH_CARE, shadow))
    if state.value == "patchy":
        text = "partly wet, partly dry; wet it all or let it dry, and take it again"
        findings.append((RETAKE, Remark("patchy", text)))
    value = max((value for value, _ in findings), key=_ORDER.index, default=USABLE)
    return Verdict(value, tuple(remark for _, remark in findings))


def blur_px(
    lightness: NDArray[np.float32], where: NDArray[np.bool_], edge_share: float = 0.03
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
    if not where[_few(where)].any():
        return None
    doubtful, noise = None, _noise(lightness, where)
    for scale_px in (1.0, 2.0, 4.0):
        blur, above_noise = _blur_at(lightness, where, scale_px, edge_share, noise)
        if above_noise > _CLEAR_OF_NOISE:
            return blur
        if above_noise > _ABOVE_NOISE and doubtful is None:
            doubtful = blur
    return doubtful


def _blur_at(
    lightness: NDArray, where: NDArray, fine_px: float, edge_share: float, noise: float
) -> tuple[float, float]:
    """Blur in px, read with two Gaussians, and how far above noise the edges' energy stands."""
    coarse_px = fine_px * np.sqrt(5.0)  # blurred by twice as much again
    fine, coarse = _gradient_energy(lightness, fine_px), _gradient_energy(lightness, coarse_px)
    noise_fine = min(_flattest(fine, where), _gradient_energy_of_noise(noise, fine_px))
    noise_coarse = min(_flattest(coarse, where), _gradient_energy_of_noise(noise, coarse_px))
    few = _few(where)
    threshold = float(np.quantile(fine[few][where[few]], 1 - edge_share))
    strong = float(np.quantile(coarse[few][where[few]], 1 - edge_share))
    edges = where & (coarse >= max(strong, _LEAST_ENERGY))
    if not edges.any():
        return 0.0, 0.0
    # Of a step: energy ratio = (blur^2 + coarse^2) / (blur^2 + fine^2).
    ratio = (fine[edges] - noise_fine) / np.maximum(coarse[edges] - noise_coarse, _LEAST_ENERGY)
    ratio = np.maximum(ratio, 1.001)
    variance = (coarse_px**2 - ratio * fine_px**2) / (ratio - 1) - _DIFFERENCE_VARIANCE
    blur = np.sqrt(max(0.0, np.quantile(variance, _BLUR_QUANTILE)))
    return float(blur), threshold / max(noise_fine, _LEAST_ENERGY)


def _gradient_energy(lightness: NDArray, sigma_px: float) -> NDArray[np.float32]:
    smooth = cv2.GaussianBlur(lightness, (0, 0), sigma_px)
    across = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
    return across * across + down * down


def _few(where: NDArray) -> tuple[slice, slice]:
    step = max(1, int(np.sqrt(where.sum()) / _QUANTILE_PX))
    return slice(None, None, step), slice(None, None, step)


def _noise(lightness: NDArray, where: NDArray) -> float:
    """Standard deviation of white noise in L*; Immerkaer 1996, CVIU 64(2):300-302 (from memory)."""
    ripple = cv2.filter2D(lightness, cv2.CV_32F, np.outer((1, -2, 1), (1, -2, 1)))
    # The filter multiplies the deviation by 6; the median of a normal's size is 0.6745 of it.
    few = _few(where)
    return float(np.median(np.abs(ripple[few][where[few]]))) / (6 * 0.6745)


def _gradient_energy_of_noise(noise: float, sigma_px: float) -> float:
    """At the most: of white noise it is noise^2 / (4 pi sigma^4); that of cameras is in clumps."""
    return _CLUMPED * noise**2 / (4 * np.pi * sigma_px**4)


def _flattest(energy: NDArray, where: NDArray) -> float:
    """Energy of the flattest tenth of the blocks in ``where``: noise gives that at most."""
    h, w = (side // _BLOCK_PX * _BLOCK_PX for side in energy.shape)
    if not h or not w:
        return np.inf
    blocks = cv2.resize(
        energy[:h, :w], (w // _BLOCK_PX, h // _BLOCK_PX), interpolation=cv2.INTER_AREA
    )
    inside = cv2.resize(
        where[:h, :w].astype(np.float32), blocks.shape[::-1], interpolation=cv2.INTER_AREA
    )
    blocks = blocks[inside > 0.99]
    return float(np.quantile(blocks, 0.1)) if blocks.size else np.inf


def _focus(lightness: NDArray, mask: NDArray, glare: NDArray) -> list[tuple[str, Remark]]:
    lightness = np.ascontiguousarray(lightness)
    grown, shrunk = (f(mask.view(np.uint8), _NEAR).astype(bool) for f in (cv2.dilate, cv2.erode))
    # Glare has edges of its own, cut off by the code limit.
    readable = ~cv2.dilate(glare.view(np.uint8), _NEAR).astype(bool)
    side_px = max(mask.shape)
    care = max(BLUR_CARE_PX, BLUR_CARE_PART * side_px)
    blur = blur_px(lightness, grown & readable)
    if blur is not None and blur > care:
        # A pattern may be soft by nature; then the outline tells.
        outline = blur_px(lightness, grown & ~shrunk & readable, _OUTLINE_SHARE)
        blur = blur if outline is None else min(blur, outline)
    if blur is None or blur <= care:
        return []
    if blur <= max(BLUR_RETAKE_PX, BLUR_RETAKE_PART * side_px):
        text = "a little out of focus, fine lines may be missed; tap the stone to focus"
        return [(WITH_CARE, Remark("blurred", text))]
    text = "out of focus or shaken; hold the phone still, tap the stone to focus, take it again"
    return [(RETAKE, Remark("blurred", text))]


def _exposure(linear: NDArray, readable: NDArray) -> list[tuple[str, Remark]]:
    few = _few(readable)
    light = linear[few][readable[few]]
    if not light.size:
        return []
    findings = []
    burnt = float((light.min(axis=1) > BURNT_LIGHT).mean())
    if burnt > BURNT_CARE_SHARE:
        text = f"{100 * burnt:.0f} % of the face is burnt out; tap the stone to expose for it"
        value = RETAKE if burnt > BURNT_RETAKE_SHARE else WITH_CARE
        findings.append((value, Remark("burnt_out", text)))
    # As photographed: a dark photo stays noisy when its colours are put right.
    lightest = float(np.quantile(lab_from_linear(light)[:, 0], 0.9))
    if lightest < DARK_CARE_L:
        text = "too dark; more light, or tap the stone to expose for it"
        value = RETAKE if lightest < DARK_RETAKE_L else WITH_CARE
        findings.append((value, Remark("dark", text)))
    return findings


def _frame(
    mask: NDArray, limits: Limits, px_per_photo_px: float, cut_by_frame: bool
) -> list[tuple[str, Remark]]:
    findings = []
    width = _width_px(mask) / px_per_photo_px
    if width < limits.face_px:
        text = f"the face is {width:.0f} px wide, {limits.face_px:.0f} are needed; go nearer"
        findings.append((RETAKE, Remark("small", text)))
    if cut_by_frame:
        text = "the stone runs out of the picture; shares are of the part that shows, step back"
        findings.append((WITH_CARE, Remark("cut_by_frame", text)))
    return findings


def _width_px(mask: NDArray) -> float:
    """Shorter side of the smallest rectangle, at any turn, around the face."""
    outlines, _ = cv2.findContours(mask.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    if not outlines:
        return 0.0
    return min(cv2.minAreaRect(np.concatenate(outlines))[1]) + 1
