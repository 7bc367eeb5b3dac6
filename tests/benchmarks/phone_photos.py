"""Photos as a phone writes them, for the figures of speed: drawn stones, enlarged, with a camera's soft grain.

Grain makes a file pack as photos do: 12 megapixels take 2 to 4 MB.
"""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.render import HELD_OUT, render_photo

SEED = 20_250
#: Nothing lies beside the stones, and no stone touches another or leaves the picture, so that as many are found.
PLAIN = dict.fromkeys(("ruler", "card", "coin", "finger", "touching", "cut"), False)
#: Grain, codes (sigma) before its smoothing, the smoothing in px and what it takes away; quality of the JPEG.
GRAIN, GRAIN_PX, GRAIN_GAIN, QUALITY = 3.5, 0.7, 1.5, 95
#: Stones on one drawn sheet, at most; more of them lie on two sheets side by side.
SHEET = 20


@cache
def drawn(stones: int, number: int = 0) -> NDArray[np.uint8]:
    """Return a drawn photo of so many stones, 4 to 3, 1.3 megapixels; of one stone it is a slab."""
    if stones > SHEET:
        sheets = [_sheet((stones + k) // 2, (40, k), 667) for k in (0, 1)]
        return np.hstack(sheets)
    return _sheet(stones, (stones, number) if number else (stones,), 1333)


def _sheet(stones: int, seed: tuple[int, ...], width_px: int) -> NDArray[np.uint8]:
    rng = np.random.default_rng([SEED, *seed])
    kind = "slab" if stones == 1 else None
    return render_photo(
        rng, HELD_OUT, width_px=width_px, height_px=1000, stones=stones, kind=kind, state="wet", **PLAIN
    ).rgb  # fmt: skip


def phone_jpeg(rgb: NDArray[np.uint8], megapixels: float) -> bytes:
    """Return a 4 to 3 picture as a phone's JPEG of that size."""
    height = round((megapixels * 1e6 * 3 / 4) ** 0.5 / 2) * 2
    size = (round(height * 4 / 3), height)
    large = cv2.resize(rgb, size, interpolation=cv2.INTER_CUBIC)[..., ::-1]
    rng = np.random.default_rng(SEED)
    picture = np.empty_like(large)
    # Some rows at a time, so that 108 megapixels are never held as floats.
    for top in range(0, height, 500):
        rows = large[top : top + 500]
        grain = rng.standard_normal(rows.shape, np.float32) * np.float32(GRAIN)
        grain = cv2.GaussianBlur(grain, (0, 0), GRAIN_PX) * np.float32(GRAIN_GAIN)
        picture[top : top + 500] = np.clip(rows + grain, 0, 255)
    return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()
