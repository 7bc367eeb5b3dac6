"""The yardstick: the naive script that anybody would write first, without the grader's code.

Grey-world white balance, stones by Otsu's threshold on the distance from the border's colour,
k-means in Lab with six clusters, clusters named by fixed colour rules, dark lines by black-hat, one
structure tensor.
"""

import cv2
import numpy as np
from answer import Answer, PieceAnswer
from numpy.typing import NDArray
from sklearn.cluster import KMeans

BLUE, WHITE, HOST = 1, 2, 3
CLUSTERS = 6
#: Colour rules, CIELAB: blue by hue and chroma, white by lightness and chroma, the rest is host.
BLUE_HUE_DEG, BLUE_CHROMA = (200, 310), 12
WHITE_LIGHTNESS, WHITE_CHROMA = 65, 12
#: Larger photos are shrunk to this long side first.
LONG_SIDE_PX = 1200
#: Smaller blobs, as a share of the photo, are no stones.
LEAST_STONE_SHARE = 0.005
#: Black-hat kernel and threshold (L*) of a dark line; its least length / the long side.
LINE_KERNEL_PX, LINE_DEPTH, LINE_LENGTH_SHARE = 9, 12.0, 0.03


def grade(rgb: NDArray[np.uint8], white_from: str = "grey world", whole: bool = False) -> Answer:
    """Return the naive answer for an upright sRGB photo of shape (H, W, 3).

    ``white_from`` is "grey world" (the photo's mean is grey) or "brightest tenth" (of the stones);
    ``whole``: one face fills the picture.
    """
    height, width = rgb.shape[:2]
    scale = min(1.0, LONG_SIDE_PX / max(height, width))
    small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    stones = np.ones(small.shape[:2], np.uint8) if whole else _stones(lab_of(small))
    lab = lab_of(_balanced(small, stones > 0 if white_from == "brightest tenth" else None))
    regions = _regions(lab, stones > 0)
    cracks = _dark_lines(lab[..., 0], stones > 0)
    direction_deg, coherence = _banding(lab[..., 0], stones > 0)
    by_piece = {
        int(i): PieceAnswer(
            _shares(regions[stones == i]), direction_deg=direction_deg, continuity=coherence
        )
        for i in range(1, int(stones.max()) + 1)
    }
    layers = (_enlarged(layer, (width, height)) for layer in (regions, stones, cracks))
    regions, stones, cracks = layers
    return Answer(regions, stones, cracks > 0, by_piece)


def foreground(lab: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Return what differs from the median colour of the photo's border, by Otsu's threshold."""
    rim = max(2, min(lab.shape[:2]) // 50)
    inner = np.zeros(lab.shape[:2], bool)
    inner[rim:-rim, rim:-rim] = True
    distance = np.linalg.norm(lab - np.median(lab[~inner], axis=0), axis=-1)
    distance = cv2.GaussianBlur(np.clip(2 * distance, 0, 255).astype(np.uint8), (0, 0), 1.5)
    return cv2.threshold(distance, 0, 255, cv2.THRESH_OTSU)[1] > 0


def _stones(lab: NDArray[np.float32]) -> NDArray[np.uint8]:
    mask = foreground(lab).astype(np.uint8)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7))
    mask = cv2.morphologyEx(cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc), cv2.MORPH_CLOSE, disc)
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outlines = [o for o in outlines if cv2.contourArea(o) >= LEAST_STONE_SHARE * mask.size]
    stones = np.zeros(mask.shape, np.uint8)
    for number, outline in enumerate(outlines[:255], start=1):
        cv2.drawContours(stones, [outline], -1, number, cv2.FILLED)
    return stones


def _balanced(rgb: NDArray[np.uint8], stone: NDArray[np.bool_] | None) -> NDArray[np.uint8]:
    """Take the colour out of the photo's mean, or out of the stones' brightest tenth."""
    pixels = rgb.reshape(-1, 3).astype(np.float32)
    if stone is not None and stone.any():
        pixels = pixels[stone.ravel()]
        light = pixels.sum(axis=1)
        pixels = pixels[light >= np.quantile(light, 0.9)]
    means = pixels.mean(axis=0)
    return np.clip(rgb * (means.mean() / np.maximum(means, 1)), 0, 255).astype(np.uint8)


def lab_of(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return CIELAB of an sRGB picture, float32."""
    return cv2.cvtColor(rgb.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)


def _regions(lab: NDArray[np.float32], stone: NDArray[np.bool_]) -> NDArray[np.uint8]:
    regions = np.zeros(stone.shape, np.uint8)
    pixels = lab[stone]
    if len(pixels) < CLUSTERS:
        return regions
    step = max(1, len(pixels) // 20_000)
    clusters = KMeans(CLUSTERS, n_init=3, random_state=0).fit(pixels[::step])
    names = np.array([_name(*centre) for centre in clusters.cluster_centers_], np.uint8)
    regions[stone] = names[clusters.predict(pixels)]
    return regions


def _name(lightness: float, a: float, b: float) -> int:
    chroma, hue_deg = np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360
    if BLUE_HUE_DEG[0] <= hue_deg <= BLUE_HUE_DEG[1] and chroma > BLUE_CHROMA:
        return BLUE
    return WHITE if lightness > WHITE_LIGHTNESS and chroma < WHITE_CHROMA else HOST


def _shares(codes: NDArray[np.uint8]) -> NDArray[np.float64]:
    return np.array([np.mean(codes == c) for c in (BLUE, WHITE, HOST)])


def _dark_lines(lightness: NDArray[np.float32], stone: NDArray[np.bool_]) -> NDArray[np.uint8]:
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (LINE_KERNEL_PX, LINE_KERNEL_PX))
    depth = cv2.morphologyEx(lightness, cv2.MORPH_BLACKHAT, kernel)
    face = cv2.erode(stone.astype(np.uint8), kernel) > 0
    dark = ((depth > LINE_DEPTH) & face).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(dark, connectivity=8)
    long_enough = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1) >= (
        LINE_LENGTH_SHARE * max(lightness.shape)
    )
    long_enough[0] = False
    return long_enough[labels].astype(np.uint8)


def _banding(
    lightness: NDArray[np.float32], stone: NDArray[np.bool_]
) -> tuple[float | None, float | None]:
    """Direction of the bands and coherence in place of continuity: one tensor for all stones."""
    if not stone.any():
        return None, None
    smooth = cv2.GaussianBlur(lightness, (0, 0), 1.5)
    right, down = cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    face = cv2.erode(stone.astype(np.uint8), np.ones((15, 15), np.uint8)) > 0
    right, down = (right[face], down[face]) if face.any() else (right[stone], down[stone])
    xx, yy, xy = (right**2).mean(), (down**2).mean(), (right * down).mean()
    if xx + yy == 0:
        return None, None
    # The gradient's angle, y down; the bands run square to it, and angles are told y up.
    gradient_deg = np.degrees(0.5 * np.arctan2(2 * xy, xx - yy))
    coherence = np.hypot(xx - yy, 2 * xy) / (xx + yy)
    return float(-(gradient_deg + 90) % 180), float(coherence)


def _enlarged(layer: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    return cv2.resize(layer, size, interpolation=cv2.INTER_NEAREST)
