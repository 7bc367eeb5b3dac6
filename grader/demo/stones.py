"""The stones of the invented season: each drawn, with a photo of its own and a weight that goes with its size."""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from grader.errors import GraderError
from grader.files import write_bytes
from grader.render import render_photo
from grader.workers.pool import processes

#: The invented camera stands still: mm per px, and the photo in px, the long side first.
MM_PER_PX, SIZE_PX = 0.35, (300, 225)
#: How thick the chunks are, mm; the part of face times thickness that one fills; and g/cm3 of quartz-type stone, from
#: memory.
THICK_MM, FILLS, DENSITY = (18.0, 45.0), (0.6, 0.8), 2.6
#: Patterns by lot; ``None`` is any of the catalogue.
PATTERNS = ("banded", "banded", "banded", "banded", None)
#: Share of the photo that a stone covers.
COVERS = (0.25, 0.5)
JPEG_QUALITY = 92
#: Fewer are drawn in this process. One that drew first would be ended when it looks at photos: its memory grows by
#: the networks, which joblib takes for a leak.
FEW = 40


@dataclass(frozen=True)
class DrawnStone:
    """A stone as it was drawn: number in its haul, photo, what it weighs in g, how thick it is in mm."""

    number: int
    photo: Path
    grams: int
    thick_mm: int


def draw_stone(seed: int, haul: str, number: int, folder: Path) -> DrawnStone:
    """Write the photo of a stone, named after its number, and return what was drawn; settled by seed, haul and number
    alone.

    Raises
    ------
    GraderError
        The place cannot be written to.
    """
    rng = np.random.default_rng([seed, int(haul), number])
    thick_mm, fills = rng.uniform(*THICK_MM), rng.uniform(*FILLS)
    width, height = SIZE_PX
    drawn = render_photo(
        rng, width_px=width, height_px=height, mm_per_px=MM_PER_PX, stones=1, kind="chunk",
        pattern=PATTERNS[rng.integers(len(PATTERNS))], fill=rng.uniform(*COVERS),
        state="wet" if rng.random() < 0.7 else "dry", glare=False, cut=False, touching=False,
        strays=False, ruler=False, card=False, coin=False, finger=False,
    )  # fmt: skip
    face_cm2 = float((drawn.pieces > 0).sum()) * MM_PER_PX**2 / 100
    grams = max(1, round(face_cm2 * thick_mm / 10 * fills * DENSITY))
    path = folder / f"{haul}-{number:03d}.jpg"
    done, jpeg = cv2.imencode(
        ".jpg", drawn.rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY]
    )
    if not done:
        raise GraderError(f"{path}: could not be made")
    write_bytes(path, jpeg.tobytes())
    return DrawnStone(number, path, grams, round(thick_mm))


def draw_haul(
    seed: int, haul: str, count: int, folder: Path, workers: int | None = None
) -> Iterator[DrawnStone]:
    """Yield the stones of a haul as they are drawn, in their order.

    workers : processes, as many as there are cores by default; 1 works in this process.
    """
    numbers = range(1, count + 1)
    workers = workers or os.cpu_count() or 1
    if workers < 2 or count < FEW:
        yield from (draw_stone(seed, haul, number, folder) for number in numbers)
        return
    # The processes that look at photos: another pool of the same kind beside them would fail.
    yield from processes(workers).map(partial(draw_stone, seed, haul, folder=folder), numbers)
