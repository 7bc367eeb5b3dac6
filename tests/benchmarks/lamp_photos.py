"""Photos of rendered stones under a strongly warm lamp, with the photo card or white paper beside them.

Stones and their truth are the renderer's, the card is photographed by card_camera.py; the lamp colours both alike.
"""

from dataclasses import dataclass
from pathlib import Path

import card_camera as sim
import cv2
import numpy as np
from numpy.typing import NDArray

from grader.photo.colour import srgb_curve
from grader.render import HELD_OUT, Rendered, render_photo

#: What is left of red, green and blue: about a candle's light on a camera that is set to daylight (from memory).
LAMP = (1.0, 0.6, 0.3)
#: Of the photo, and of the part that shows the card.
WIDTH_PX, CARD_PX = 600, 450
#: Reflectance of the paper in a photo without a card, and its box in the strip above the stones.
PAPER, PAPER_BOX = 0.8, (40, 20, 200, 60)
STRIP_PX = 100


@dataclass(frozen=True)
class Shot:
    """A photo, and of each stone in it (from the left) the true shares of blue, white and host in what is readable.

    rgb : ndarray of shape (h, w, 3), uint8.   boxes : x, y, w, h of the stones in px of the photo.
    regions : ndarray of shape (h, w), 1 blue, 2 white, 3 host, 0 off the stones.
    """

    rgb: NDArray[np.uint8]
    regions: NDArray[np.uint8]
    boxes: tuple[tuple[int, int, int, int], ...]
    shares: tuple[dict[str, float], ...]

    def written(self, path: Path) -> Path:
        """Write it losslessly, and return where."""
        cv2.imwrite(str(path), self.rgb[..., ::-1])
        return path

    def shares_at(self, box) -> dict[str, float]:
        """Return the true shares of the stone whose box overlaps most with this one.

        Raises
        ------
        ValueError
            None overlaps by half.
        """
        part, number = max((_overlap(box, own), n) for n, own in enumerate(self.boxes))
        if part < 0.5:
            raise ValueError(f"no stone was drawn at {box}")
        return self.shares[number]


def stones(seed, count: int = 1, height_px: int = 200, **chosen) -> Rendered:
    """Return dry banded slabs with a crack each, beside nothing else."""
    return render_photo(
        np.random.default_rng(seed),
        HELD_OUT,
        width_px=WIDTH_PX,
        height_px=height_px,
        stones=count,
        **{"kind": "slab", "state": "dry", "pattern": "banded", "cracks": 1, "glare": False} | chosen,
        strays=False, ruler=False, card=False, coin=False, finger=False, touching=False, cut=False,
    )  # fmt: skip


def beside_card(drawn: Rendered, lamp=LAMP) -> Shot:
    """Return the stones below the photo card, under one lamp."""
    camera = sim.Pinhole(size_px=(WIDTH_PX, CARD_PX), focal_px=450, distance_mm=290, turn_deg=90)
    rng = np.random.default_rng(5)
    card = sim.photograph(sim.Scene.of(sim.page()), camera, sim.Light(noise=1.0), rng)
    return _under(lamp, card, drawn)


def beside_paper(drawn: Rendered, lamp=LAMP) -> Shot:
    """Return the stones below a strip of table with white paper on it, at ``PAPER_BOX``."""
    strip = np.full((STRIP_PX, WIDTH_PX, 3), _codes(np.array(0.25)), np.uint8)
    x, y, w, h = PAPER_BOX
    strip[y : y + h, x : x + w] = _codes(np.array(PAPER))
    return _under(lamp, strip, drawn)


def _under(lamp, above: NDArray[np.uint8], drawn: Rendered) -> Shot:
    rgb = _codes(srgb_curve()[np.concatenate([above, drawn.rgb])] * lamp)
    found = []
    for number in np.unique(drawn.pieces[drawn.pieces > 0]):
        mask = drawn.pieces == number
        x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
        counts = np.bincount(drawn.regions[mask], minlength=4)[1:4]
        shares = dict(zip(("blue", "white", "host"), counts / counts.sum(), strict=True))
        found.append(((x, y + len(above), w, h), shares))
    found.sort(key=lambda one: one[0])
    nothing = np.zeros(above.shape[:2], np.uint8)
    regions = np.concatenate([nothing, np.where(drawn.pieces > 0, drawn.regions, 0)])
    return Shot(rgb, regions, *zip(*found, strict=True))


def _codes(linear: NDArray) -> NDArray[np.uint8]:
    """8-bit sRGB codes of linear light, the nearest ones."""
    curve = srgb_curve()
    return np.searchsorted((curve[1:] + curve[:-1]) / 2, linear.clip(0, 1)).astype(np.uint8)


def _overlap(one, other) -> float:
    """Intersection over union of two boxes."""
    (ax, ay, aw, ah), (bx, by, bw, bh) = one, other
    w = min(ax + aw, bx + bw) - max(ax, bx)
    h = min(ay + ah, by + bh) - max(ay, by)
    both = max(0, w) * max(0, h)
    return both / (aw * ah + bw * bh - both)


def whole_face(seed: int, path: Path) -> Path:
    """Write a small photo that one face fills, which is measured in a moment with ``--whole``; return where."""
    drawn = render_photo(
        np.random.default_rng([903, seed]), HELD_OUT, width_px=120, height_px=90, stones=1, kind="slab",
        state="dry", pattern="banded", fill=1.4, glare=False, ruler=False, card=False, coin=False, finger=False,
    )  # fmt: skip
    path.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(path), drawn.rgb[..., ::-1])
    return path
