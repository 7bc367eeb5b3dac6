"""Drawn stones that are broken in earnest: what each would bring whole, and what its parts bring.

How a stone breaks here is told by strengths and blows, by strips along the cracks and by a sloping thickness, on px; it
shares neither code nor numbers with ``grader.trade.keep``, which asks for shares and chances. All of it is invented.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from scipy import ndimage
from scipy.special import expit, logit, ndtr

from grader.face.measurements import Line

SIDE = 96
#: Looks of the middle of all stones.
USUAL = 1.7
#: Kinds of stone: how much a blow wanders into other lines, how many cracks nobody saw, mm of strip lost along a break.
MAKES = {
    "brittle": {"shock": 0.30, "unseen": 0.30, "strip_mm": 1.3},
    "middling": {"shock": 0.20, "unseen": 0.15, "strip_mm": 0.9},
    "tough": {"shock": 0.12, "unseen": 0.08, "strip_mm": 0.6},
}


@dataclass
class DrawnStone:
    """A stone as it lies there, and what is shown of it.

    mask : (h, w) bool, the face.   lines : as a photo might show them.   shown : its looks, (h, w), about 0 to 3.
    money_per_g : by grade, of a large piece by weight; ``small`` is what a small one costs of that.   single : how many
    times as much one piece costs, by grade.
    """

    mask: np.ndarray
    lines: list[Line]
    mm_per_px: float
    grams: float
    looks: np.ndarray
    money_per_g: np.ndarray
    small: float
    single: np.ndarray
    chips_per_g: float
    make: str
    rng: np.random.Generator

    def chances(self, mask: np.ndarray) -> np.ndarray:
        """Chance of each grade of a part, as a model tells it that sees not all and knows how stones usually are."""
        seen = self.look_of(mask) + 0.25 * self.rng.standard_normal()
        steps = ndtr((np.arange(0.5, 3) - (USUAL + 0.85 * (seen - USUAL))) / 0.68)
        return np.diff(np.concatenate([[0.0], steps, [1.0]]))

    def look_of(self, mask: np.ndarray) -> float:
        """What a part is judged by: its better third, less for lines that run through it."""
        values = self.looks[mask]
        depth = _depth(mask)
        through = 0.0
        for line in self.lines:
            rows, columns = np.clip(line.points[:, ::-1].astype(int), 0, SIDE - 1).T
            share = (depth[rows, columns] > 3).mean()
            through += line.probability * share * line.length_px / np.sqrt(mask.sum())
        return float(values[values >= np.quantile(values, 2 / 3)].mean() - min(0.3 * through, 1.0))

    def per_g(self, mask: np.ndarray) -> np.ndarray:
        """Money a gram by grade."""
        area_mm2 = mask.sum() * self.mm_per_px**2
        size = self.small if area_mm2 < 1000 else np.sqrt(self.small) if area_mm2 < 2500 else 1.0
        return self.money_per_g * size * self.single


def _depth(mask: np.ndarray) -> np.ndarray:
    return cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]


def draw(make: str, rng: np.random.Generator) -> DrawnStone:
    """Return a stone that some line may part."""
    while True:
        radius_mm = rng.uniform(22, 60)
        mm_per_px = 2.6 * radius_mm / SIDE
        mask = _outline(rng)
        lines = [_line(mask, rng) for _ in range(rng.integers(1, 5))]
        if _groups(mask, [line.points for line in lines])[1] > 1:
            break
    area_mm2 = mask.sum() * mm_per_px**2
    step = rng.uniform(1.5, 3.5, 2)
    grades = np.array([0.0, 1.0, step[0], step[0] * step[1]]) * rng.uniform(0.006, 0.02)
    return DrawnStone(
        mask=mask,
        lines=lines,
        mm_per_px=mm_per_px,
        grams=float(area_mm2 * rng.uniform(18, 45) * 0.0026),
        looks=_looks(rng),
        money_per_g=grades,
        small=rng.uniform(0.4, 1.0),
        single=np.array([1.0, 1.0, 1.0, rng.uniform(1.0, 2.5)]),
        chips_per_g=grades[1] * rng.uniform(0.3, 0.8),
        make=make,
        rng=rng,
    )


def _outline(rng) -> np.ndarray:
    y, x = np.indices((SIDE, SIDE)) - SIDE / 2
    turn = np.arctan2(y, x)
    waves = (
        rng.normal(0, 0.25 / k**1.5) * np.cos(k * turn + rng.uniform(0, 7)) for k in range(2, 6)
    )
    radius = SIDE / 2.8 * (1 + sum(waves))
    mask = np.hypot(x, y) < np.clip(radius, 14, SIDE / 2 - 2)
    return ndimage.binary_opening(mask, iterations=2)


def _looks(rng) -> np.ndarray:
    """A smooth field of looks: bands are good here, host is poor there."""
    y, x = np.indices((SIDE, SIDE)) / SIDE
    waves = [
        rng.normal() * np.cos(2 * np.pi * (rng.normal() * x + rng.normal() * y) + rng.uniform(0, 7))
        for _ in range(5)
    ]
    return np.clip(rng.uniform(0.8, 2.2) + 0.5 * sum(waves), -0.5, 3.5)


def _line(mask, rng) -> Line:
    """A wavering line across the stone, or into it."""
    y, x = np.nonzero(mask)
    turn, reach = rng.uniform(0, np.pi), np.linspace(-SIDE, SIDE, 400)
    at = np.array([x.mean(), y.mean()]) + rng.normal(0, 7, 2)
    way = np.array([np.cos(turn), np.sin(turn)])
    waver = 2 * np.sin(reach / rng.uniform(6, 15) + rng.uniform(0, 7))
    points = at + reach[:, None] * way + waver[:, None] * way[::-1] * [-1, 1]
    columns, rows = np.clip(np.rint(points).astype(int), 0, SIDE - 1).T
    inside = points[mask[rows, columns]]
    if rng.random() < 0.25:
        inside = inside[: int(len(inside) * rng.uniform(0.4, 0.9))]
    points = (inside if len(inside) > 3 else points[195:205]) + 0.5
    chance = float(np.clip(rng.beta(2.0, 1.2), 0.02, 0.99))
    length = float(np.hypot(*np.diff(points, axis=0).T).sum())
    return Line(points, length, 2.0, "crack" if chance > 0.5 else "uncertain", chance)


def _groups(mask, strokes) -> tuple[np.ndarray, int]:
    """Parts of a mask between strokes, px of the strokes given to the nearest part; crumbs count for nothing."""
    cut = mask.copy()
    for points in strokes:
        steps = np.linspace(0, 1, 6)[:, None, None]
        fine = ((1 - steps) * points[:-1] + steps * points[1:]).reshape(-1, 2) - 0.5
        rows, columns = np.clip(np.rint(fine[:, ::-1]).astype(int), 0, SIDE - 1).T
        for down, along in ((0, 0), (1, 0), (0, 1)):
            cut[np.minimum(rows + down, SIDE - 1), np.minimum(columns + along, SIDE - 1)] = False
    labels, count = ndimage.label(cut)
    sizes = ndimage.sum_labels(cut, labels, range(1, count + 1))
    kept = [n + 1 for n in range(count) if sizes[n] > 0.02 * mask.sum()]
    clean = np.where(np.isin(labels, kept), labels, 0)
    if not kept:
        return mask.astype(int), 1
    while (bare := mask & (clean == 0)).any():
        clean = np.where(bare, ndimage.grey_dilation(clean, 3), clean)
    return np.where(mask, clean, 0), len(kept)


def broken_in_earnest(stone: DrawnStone, struck: set[int]) -> tuple[float, float]:
    """Return what a stone brings whole, and broken along the lines that are struck; its grades are then the seller's
    own."""
    rng, nature = stone.rng, MAKES[stone.make]
    mood = 0.5 * rng.standard_normal()

    def rung(mask) -> int:
        felt = stone.look_of(mask) + mood + 0.4 * rng.standard_normal()
        return int(np.clip(np.floor(felt + 0.5), 0, 3))

    whole = stone.grams * stone.per_g(stone.mask)[rung(stone.mask)]
    blow = rng.lognormal(0, 0.4)
    opened = [
        line.points
        for k, line in enumerate(stone.lines)
        if _opens(line, k in struck, blow, nature, rng)
    ]
    unseen = [_line(stone.mask, rng).points for _ in range(rng.poisson(nature["unseen"] * blow))]
    # A crack that nobody saw rarely goes through all of the stone.
    unseen = [p[: max(4, int(len(p) * rng.uniform(0.5, 1)))] if rng.random() < 0.5 else p for p in unseen]  # fmt: skip
    labels, count = _groups(stone.mask, [*opened, *unseen])
    if count == 1:
        return whole, whole * (1 - rng.uniform(0, 0.015))
    thick = _thickness(stone.mask, rng)
    weight = stone.grams * thick / thick[stone.mask].sum()
    near = np.zeros_like(stone.mask)
    for label in np.unique(labels[labels > 0]):
        near |= ndimage.binary_dilation(labels == label) & (labels != label) & stone.mask
    rim_mm = nature["strip_mm"] * rng.gamma(4, 0.25)
    lost = np.where(near, weight, 0).sum() * rim_mm / (2 * stone.mm_per_px)
    share = min(lost / stone.grams, 0.4)
    money = lost * rng.beta(3, 3) * stone.chips_per_g
    for label in np.unique(labels[labels > 0]):
        part = labels == label
        money += weight[part].sum() * (1 - share) * stone.per_g(part)[rung(part)]
    return whole, money


def _opens(line: Line, is_struck: bool, blow: float, nature: dict, rng) -> bool:
    """Whether a line gives way: it is a crack at all, and the blow that reaches it is more than holds it together."""
    truly = rng.random() < expit(logit(line.probability) + 0.4 * rng.standard_normal())
    holds = 0.45 * rng.weibull(1.4)
    return bool(truly and blow * (1.0 if is_struck else nature["shock"]) > holds)


def _thickness(mask, rng) -> np.ndarray:
    """Slopes one way and falls off to the rim."""
    y, x = (np.indices(mask.shape) - SIDE / 2) / (SIDE / 2.8)
    turn, slope = rng.uniform(0, 7), rng.uniform(0, 0.45)
    depth = _depth(mask)
    tilted = 1 + slope * (np.cos(turn) * x + np.sin(turn) * y)
    return np.clip(tilted, 0.2, None) * np.minimum(1, 0.5 + depth / 18) * mask
