"""Templates that a cutter slides over a face: ovals, rounds, a free frame, the seller's own."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.size import takes_oval
from grader.profile import Profile

#: Sides of what is tried without a scale, and of the free frame, as shares of the largest that fits.
SHARES = (1.0, 0.8, 0.64)
#: Long side over short side of an oval without a scale,
OVAL_RATIO = 4 / 3
#: and of the free frame for a display.
FRAME_RATIO = 3 / 2
#: Worth of the smallest of the templates; the largest is worth 1.
SMALLEST_WORTH = 0.7
#: A template's rim may leave the outline by this share of its length: outlines are no finer.
SLACK = 0.01


@dataclass(frozen=True)
class Template:
    """What is laid on the face.

    name : as people say it.   shape : "oval" (a round too) or "rectangle".
    size_px : (width, height) in px of the face; the width is level in the picture.
    size_mm : the same in mm, ``None`` without scale.   worth : 0 to 1, how its size counts.
    """

    name: str
    shape: str
    size_px: tuple[float, float]
    size_mm: tuple[float, float] | None
    worth: float

    @property
    def ratio(self) -> float:
        """Width over height."""
        return self.size_px[0] / self.size_px[1]


def templates_for(
    mask: NDArray[np.bool_], mm_per_px: float | None, profile: Profile
) -> tuple[Template, ...]:
    """Return the templates that the face may take, largest first; without a scale, shares of it.

    With a scale these are the profile's ovals, rounds and own templates and the free frame. Where
    the face takes none of the ovals, it is tried with the largest oval that fits, worth nothing:
    what can not be cut is no scene to sell.

    Parameters
    ----------
    mask : ndarray of shape (h, w), bool, the face.
    mm_per_px : millimetres of one px of the mask, if known.
    """
    free = _shares(mask, mm_per_px, "rectangle", FRAME_RATIO, "free frame")[::2]
    if mm_per_px is None:
        ovals = _shares(mask, None, "oval", OVAL_RATIO, "oval")
        rounds = _shares(mask, None, "oval", 1.0, "round")[::2]
        return (*ovals, *rounds, *free)
    if not takes_oval(mask, mm_per_px, profile.ovals_mm[0]):
        long_mm, short_mm = profile.ovals_mm[0]
        name = f"under {long_mm:g}x{short_mm:g}"
        ovals = _shares(mask, mm_per_px, "oval", long_mm / short_mm, name)[:1]
        return tuple(Template(t.name, t.shape, t.size_px, t.size_mm, 0.0) for t in ovals)
    named = [("oval", f"{a:g}x{b:g} oval", (a, b)) for a, b in profile.ovals_mm]
    named += [("oval", f"{side:g} round", (side, side)) for side in profile.rounds_mm]
    named += [(own.shape, own.name, own.size_mm) for own in profile.templates]
    roots = [np.sqrt(a * b) for a, b in profile.ovals_mm]
    low, high = min(roots), max(roots)
    fixed = []
    for shape, name, (a, b) in named:
        size_px = a / mm_per_px, b / mm_per_px
        if np.pi / 4 * size_px[0] * size_px[1] <= 1.02 * np.count_nonzero(mask):
            worth = _worth(float(np.sqrt(a * b)), low, high)
            fixed.append(Template(name, shape, size_px, (float(a), float(b)), worth))
    frames = [
        Template(t.name, t.shape, t.size_px, t.size_mm, _worth(_root_mm(t), low, high))
        for t in free
        if _root_mm(t) >= low
    ]
    return tuple(sorted((*fixed, *frames), key=lambda t: -t.size_px[0] * t.size_px[1]))


def room(
    inside: NDArray[np.bool_], ratio: float, shape: str, turn_deg: float
) -> tuple[NDArray[np.float32], NDArray]:
    """Return how large a template fits around each place of the face turned upright.

    Parameters
    ----------
    inside : ndarray of shape (h, w), bool, with a rim of False.
    turn_deg : direction of the template's width, counter-clockwise as seen.

    Returns
    -------
    half_width : ndarray of shape (h', w'), half of the width that fits, in px of ``inside``.
    back : ndarray of shape (2, 3), from x, y of the turned map to x, y of ``inside``.
    """
    h, w = inside.shape
    # A circle stands for the oval, a square for the rectangle, on a map stretched by the ratio.
    angle = np.radians(turn_deg)
    right, down = (
        np.array([np.cos(angle), -np.sin(angle)]),
        np.array([np.sin(angle), np.cos(angle)]),
    )
    corners = np.array([[0, 0], [w, 0], [0, h], [w, h]], float)
    along, across = corners @ right, corners @ down * ratio
    size = int(np.ceil(np.ptp(along))) + 3, int(np.ceil(np.ptp(across))) + 3
    origin = right * (along.min() - 1) + down * (across.min() - 1) / ratio
    back = np.column_stack([right, down / ratio, origin])
    turned = cv2.warpAffine(
        inside.astype(np.uint8), back, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    metric = cv2.DIST_L2 if shape == "oval" else cv2.DIST_C
    depth = cv2.distanceTransform(turned, metric, 5 if shape == "oval" else 3)
    # The distance goes to the middle of the nearest px outside, the face ends half a px before.
    return np.maximum(depth - 0.5, 0), back


def _shares(mask, mm_per_px, shape: str, ratio: float, name: str) -> list[Template]:
    """Templates of these shares of the largest of that ratio that fits the mask, (h, w); none where nothing does."""
    long_px = 2 * _largest_half(mask, ratio, shape)
    found = []
    for share in SHARES:
        size_px = share * long_px, share * long_px / ratio
        size_mm = None if mm_per_px is None else (size_px[0] * mm_per_px, size_px[1] * mm_per_px)
        worth = _worth(share, SHARES[-1], SHARES[0])
        part = "the largest" if share == 1 else f"{share:g} of the largest"
        title = name if name.startswith("under") else f"{name}, {part} that fits"
        found.append(Template(title, shape, size_px, size_mm, worth))
    return found if long_px > 0 else []


def _largest_half(mask: NDArray[np.bool_], ratio: float, shape: str) -> float:
    """Half the width of the largest oval or rectangle of that ratio, in px of the mask."""
    scale = min(1.0, 120 / max(mask.shape))
    size = max(1, round(mask.shape[1] * scale)), max(1, round(mask.shape[0] * scale))
    small = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA) >= 0.5
    inside = np.pad(small, 1)
    turns = np.arange(0, 180, 7.5) if ratio != 1 or shape != "oval" else [0.0]
    return max(float(room(inside, ratio, shape, turn)[0].max()) for turn in turns) / scale


def _worth(size: float, low: float, high: float) -> float:
    """Worth, 0 to 1, of a template whose size lies between the smallest and the largest."""
    if high <= low:
        return 1.0
    return float(np.interp(size, (low, high), (SMALLEST_WORTH, 1.0)))


def _root_mm(template: Template) -> float:
    """Side of a square of the template's box, mm."""
    return float(np.sqrt(template.size_mm[0] * template.size_mm[1]))
