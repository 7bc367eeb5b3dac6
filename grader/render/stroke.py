"""A stroke: a line as it is drawn on a face, and as it stands in the truth."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render.noise import fbm
from grader.render.truth import CRACK, FAINT, LINE_CODES, PATTERN_LINE

#: Looks of cracks beside the plain ones, with how far what surrounds them reaches, px: none; a bright lip on one side;
#: the dark of seeping water; what came out of the crack and dried; oil that crept into the stone.
LOOKS = {
    "hairline": 0, "lipped": 4, "wet": 14, "rust": 8, "black": 8, "bloom": 10, "green": 8,
    "veiled": 0, "gaping": 0, "powdered": 0, "oily": 9,
}  # fmt: skip
_DRIED = {
    "rust": (0.20, 0.075, 0.02), "black": (0.02, 0.02, 0.02), "bloom": (0.68, 0.68, 0.66), "green": (0.06, 0.15, 0.08),
    "oily": (0.14, 0.09, 0.03),
}  # fmt: skip


@dataclass(frozen=True)
class Stroke:
    """A line to draw: points (n, 2) x, y and widths (n,) in px of the patch.

    kind : as in ``truth.DrawnLine``.   look : "tight", "open", "stained" or one of ``LOOKS`` for
    cracks; "pale" or "dark" else.
    depth : 0 to 1, how much of the light it swallows or how much of its own colour covers.
    fade : (n,) 0 to 1, how much of that shows along it, or ``None`` for all of it.
    colour : linear rgb of its own, if it has one.
    veil : how far (px) and by how much (-1 to 1 of the light) the stone is darker or lighter on its left.
    """

    points: NDArray[np.float64]
    widths: NDArray[np.float64]
    kind: str
    look: str
    depth: float
    family: str = ""
    fade: NDArray[np.float64] | None = None
    colour: tuple[float, float, float] | None = None
    veil: tuple[float, float] | None = None


def across(path: NDArray) -> NDArray[np.float64]:
    """Return unit vectors (n, 2) square to a path (n, 2) at each of its points: its heading turned from x to y."""
    heading = np.gradient(path, axis=0)
    heading /= np.maximum(np.hypot(*heading.T), 1e-9)[:, None]
    return np.stack([-heading[:, 1], heading[:, 0]], 1)


def cover(stroke: Stroke, shape: tuple[int, int], faded: bool = False) -> NDArray[np.uint8]:
    """Return how much of each px (0 to 255) the stroke covers; where it fades, as much as shows, if asked."""
    out = np.zeros(shape, np.uint8)
    # Smooth polygon edges of the library add 1.75 px; a line finer than they allow is drawn paler
    # instead.
    p, w = stroke.points, np.maximum(stroke.widths - 1.75, 0.3) / 2
    full = np.minimum(1, stroke.widths / 2.05)
    if faded and stroke.fade is not None:
        full = full * stroke.fade
    d = np.diff(p, axis=0)
    d /= np.maximum(np.linalg.norm(d, axis=1, keepdims=True), 1e-6)
    side = np.stack([-d[:, 1], d[:, 0]], 1)
    a, b = p[:-1] - d * 0.35, p[1:] + d * 0.35
    quads = np.stack(
        [
            a + side * w[:-1, None],
            b + side * w[1:, None],
            b - side * w[1:, None],
            a - side * w[:-1, None],
        ],
        1,
    )
    for quad, value in zip(
        np.round(quads * 64).astype(np.int32), np.round(255 * full).astype(int), strict=False
    ):
        cv2.fillConvexPoly(out, quad, int(value), cv2.LINE_AA, 6)
    return out


def mark_truth(
    layer: NDArray[np.uint8], stroke: Stroke, covered: NDArray[np.uint8], code: int
) -> None:
    """Write the stroke into a label layer: px covered by half or more, and its middle line."""
    x, y, w, h = cv2.boundingRect(np.round(stroke.points).astype(np.int32))
    reach = int(np.ceil(stroke.widths.max())) + 2
    left, top = max(0, x - reach), max(0, y - reach)
    box = np.s_[top : max(0, y + h + reach), left : max(0, x + w + reach)]
    middle = np.zeros(layer[box].shape, np.uint8)
    if not middle.size:
        return
    path = np.round(stroke.points).astype(np.int32) - (left, top)
    cv2.polylines(middle, [path], False, 255, 1, cv2.LINE_8)
    part = layer[box]
    part[((covered[box] >= 128) | (middle > 0)) & (part < code)] = code


def seen_truth(
    layer: NDArray[np.uint8], strokes: tuple[Stroke, ...], visible: list[NDArray[np.bool_] | None]
) -> NDArray[np.uint8]:
    """Return a label layer with ``FAINT`` where its lines are drawn but cannot be seen.

    visible : for each stroke which of its points show, (n,); ``None`` for what is no line of the stone.
    """
    marks = np.zeros(layer.shape, np.uint8)
    # What shows is drawn over what does not, and cracks over other lines.
    order = [(False, PATTERN_LINE, FAINT), (True, PATTERN_LINE, PATTERN_LINE), (True, CRACK, CRACK)]
    for wanted, least, code in order:
        for stroke, shows in zip(strokes, visible, strict=True):
            if shows is None or (wanted and LINE_CODES[stroke.kind] != least):
                continue
            ends = np.round(stroke.points).astype(int)
            pieces = np.flatnonzero((shows[:-1] | shows[1:]) == wanted)
            for k in pieces:
                thick = int(np.ceil(stroke.widths[k])) + 2
                cv2.line(marks, ends[k].tolist(), ends[k + 1].tolist(), code, thick)
    marks[marks == 0] = 255
    return np.minimum(layer, marks)


def paint(
    rng: np.random.Generator,
    reflect: NDArray[np.float32],
    height: NDArray[np.float32],
    stroke: Stroke,
    covered: NDArray[np.uint8],
    stain: NDArray,
) -> None:
    """Lay the stroke on reflectance (h, w, 3) and cut it into the height field, in place, within its own box."""
    x, y, w, h = cv2.boundingRect(covered)
    if w == 0:
        return
    if stroke.veil is not None:
        _veil(reflect, stroke)
    around = LOOKS.get(stroke.look, 0)
    box = (slice(max(0, y - around), y + h + around), slice(max(0, x - around), x + w + around))
    cov = covered[box].astype(np.float32) / 255
    uneven = np.clip(1 + 0.35 * fbm(rng, cov.shape, 12, 2), 0.3, 1.2)
    hold = np.clip(cov * np.float32(stroke.depth) * uneven, 0, 1)[..., None]
    part = reflect[box]
    if stroke.look == "stained":
        halo = cv2.GaussianBlur(cov, (0, 0), 2.5)[..., None] * np.float32(0.6)
        part[:] = part * (1 - halo) + stain * halo
    if around:
        _surround(rng, part, stroke, cov)
    if stroke.kind == "crack":
        part *= 1 - hold
        if stroke.look == "powdered":
            _powder(rng, part, hold)
        if stroke.look not in ("tight", "hairline"):
            height[box] -= cv2.GaussianBlur(cov, (0, 0), 0.8) * np.float32(
                np.median(stroke.widths) * 0.6
            )
        return
    tint = {"pale": np.float32([0.72, 0.73, 0.74]), "dark": np.float32([0.05, 0.045, 0.04])}[
        stroke.look
    ]
    if stroke.colour is not None:
        part[:] = part * (1 - hold) + np.float32(stroke.colour) * hold
        return
    if stroke.kind in ("scratch", "healed", "seam", "contact", "saw mark"):
        base = part.reshape(-1, 3).mean(0)
        tint = np.float32(0.5) * tint + np.float32(0.5) * (
            np.sqrt(base) if stroke.look == "pale" else base * 0.25
        )
    part[:] = part * (1 - hold) + tint * hold


def _powder(rng: np.random.Generator, part: NDArray[np.float32], hold: NDArray[np.float32]) -> None:
    """Fill stretches of a crack with pale polishing powder, in place; between them it stays dark."""
    filled = np.clip(fbm(rng, hold.shape[:2], 26, 2) * 1.5 + 0.2, 0, 1)[..., None] * hold
    part[:] = part * (1 - filled) + np.float32(rng.uniform(0.45, 0.8)) * filled


def _veil(reflect: NDArray[np.float32], stroke: Stroke) -> None:
    """Darken or lighten the stone on the left of a stroke, most beside it, in place."""
    reach, change = stroke.veil
    margin = int(reach) + 2
    low = np.maximum(np.floor(stroke.points.min(0)).astype(int) - margin, 0)
    high = np.minimum(np.ceil(stroke.points.max(0)).astype(int) + margin, reflect.shape[1::-1])
    if (high - low).min() < 2:
        return
    part = reflect[low[1] : high[1], low[0] : high[0]]
    points = stroke.points[:: max(1, len(stroke.points) // 150)] - low
    # It runs out at the ends, as the line does.
    far = (
        reach
        * np.minimum(1, np.linspace(0, 4, len(points)))
        * np.linspace(4, 0, len(points)).clip(0, 1)
    )
    edge = points + across(points) * far[:, None]
    beside, line = (np.zeros(part.shape[:2], np.uint8) for _ in range(2))
    quads = np.stack([points[:-1], points[1:], edge[1:], edge[:-1]], 1)
    for quad in np.round(quads).astype(np.int32):
        cv2.fillConvexPoly(beside, quad, 1)
    cv2.polylines(line, [np.round(points).astype(np.int32)], False, 1, 1)
    distance = cv2.distanceTransform(1 - line, cv2.DIST_L2, 3)
    fade = np.clip(1 - distance / np.float32(reach), 0, 1) ** 2 * beside
    fade = cv2.GaussianBlur(fade, (0, 0), 1.2) * np.float32(change)
    part *= (1 + fade)[..., None]


def _surround(
    rng: np.random.Generator, part: NDArray[np.float32], stroke: Stroke, cov: NDArray[np.float32]
) -> None:
    """Lay what surrounds a crack beside it, in place: a lip, water or what has dried."""
    if stroke.look == "lipped":
        turn, far = rng.uniform(0, 2 * np.pi), float(np.median(stroke.widths)) * 0.5 + 0.8
        shift = np.float32([[1, 0, far * np.cos(turn)], [0, 1, far * np.sin(turn)]])
        lip = cv2.warpAffine(cov, shift, cov.shape[::-1]) * (1 - cov)
        lip = (lip * np.float32(rng.uniform(0.4, 0.9)))[..., None]
        part += (np.minimum(part * 1.9 + 0.06, 0.85) - part) * lip
        return
    patchy = np.clip(0.75 + 0.5 * fbm(rng, cov.shape, 24, 3), 0.05, 1.3)
    reach = LOOKS[stroke.look] / rng.uniform(2.2, 5)
    halo = cv2.GaussianBlur(cov, (0, 0), reach) * np.float32(1.6 * reach / np.median(stroke.widths))
    halo = np.clip(halo * patchy, 0, 1)[..., None] * np.float32(rng.uniform(0.35, 0.8))
    if stroke.look == "wet":
        part *= 1 - np.float32(0.6) * halo
    else:
        tint = np.float32(_DRIED[stroke.look]) * np.float32(rng.uniform(0.7, 1.3))
        part[:] = part * (1 - halo) + tint * halo
