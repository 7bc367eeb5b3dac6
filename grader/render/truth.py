"""What is true of a rendered photo: frozen records beside exact label layers."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

#: Codes in a regions layer, as in the profile that ships.
BLUE, WHITE, HOST = 1, 2, 3
#: Codes in a cracks layer: an open crack; a healed crack, growth seam or pattern line; either of them
#: where it is drawn, but too faint to see at this scale: neither a line nor the lack of one.
CRACK, PATTERN_LINE, FAINT = 255, 128, 64
#: The kinds of drawn lines that are lines of the stone; all others lie on it.
LINE_CODES = {
    "crack": CRACK, "healed": PATTERN_LINE, "seam": PATTERN_LINE, "contact": PATTERN_LINE, "web": PATTERN_LINE,
}  # fmt: skip


@dataclass(frozen=True)
class DrawnLine:
    """One line on or over a face.

    points : (n, 2) x, y in photo px.   width_px : median drawn width.
    kind : "crack", "healed", "seam", "contact", "web", "scratch", "saw mark", "hair",
    "pencil", "print", "ticks", "marker", "joint", "chisel", "fibre" or "drop rim".
    family : how it runs, for cracks; "" otherwise.   piece : id of the piece that carries it.
    seen_share : part of it, 0 to 1, that shows in the finished photo; ``None`` for what is no line
    of the stone.
    """

    points: NDArray[np.float32]
    width_px: float
    kind: str
    family: str
    piece: int
    seen_share: float | None = None


@dataclass(frozen=True)
class BandTruth:
    """Bands of a face as drawn; ``None`` where the family has no such number.

    direction_deg : the bands' own direction in the photo, 0 to 180, 0 level, counter-clockwise.
    continuity : mean length of the unbroken runs of the band middle lines / face width along the
    bands, 0 to 1.
    fill_share : banded length present / chord.   bands : count across the middle of the face.
    thickness_px : median, photo px.   offsets : of the faults, in band thicknesses.
    breaks : (n, 4), where a fault throws a band by a quarter of its thickness or more: x, y in photo
    px, the throw in photo px, and in thicknesses of that band.
    """

    direction_deg: float | None = None
    continuity: float | None = None
    fill_share: float | None = None
    bands: int | None = None
    thickness_px: float | None = None
    offsets: tuple[float, ...] = ()
    breaks: tuple[tuple[float, float, float, float], ...] = ()


@dataclass(frozen=True)
class StoneTruth:
    """One stone of a rendered photo.

    shares : "blue", "white", "host" of the readable face, sum 1.   kinds : "rusty", "grey" of the
    readable face.
    glare_share : unreadable share of the whole visible face.   colour : L*, C*ab, h_ab of each
    class present,
    as the surface would look in even daylight.   state : "dry", "wet" or "patchy" (a polished cab
    is wet-looking).
    """

    id: int
    box: tuple[int, int, int, int]
    area_px: int
    kind: str
    pattern: str
    state: str
    shares: dict[str, float]
    kinds: dict[str, float]
    glare_share: float
    colour: dict[str, tuple[float, float, float]]
    bands: BandTruth
    cut_by_frame: bool
    mm_per_px: float


@dataclass(frozen=True)
class Rendered:
    """A rendered photo with its truth.

    rgb : (H, W, 3) uint8, sRGB.   regions : (H, W) uint8, 0 background, 1 blue, 2 white, 3 host,
    9 unreadable.
    pieces : (H, W) uint8, ids row by row from the top, left to right.
    cracks : (H, W) uint8, 255 open crack at its true width, 128 healed crack, growth seam or
    pattern line, 64 where either is too faint to see.
    wet : (H, W) bool, where a stone looks wet.
    lines : every line drawn.   stones : by id.   features : what occurs in the photo, by name.
    white : (3,) linear sRGB, green at 1, that a grey surface in the light of the whole photo has in the file.
    """

    rgb: NDArray[np.uint8]
    regions: NDArray[np.uint8]
    pieces: NDArray[np.uint8]
    cracks: NDArray[np.uint8]
    wet: NDArray[np.bool_]
    lines: tuple[DrawnLine, ...]
    stones: tuple[StoneTruth, ...]
    mm_per_px: float
    features: dict[str, bool] = field(default_factory=dict)
    white: NDArray[np.float64] | None = None


def reading_order(boxes: list[tuple[int, int, int, int]]) -> list[int]:
    """Return the places of x, y, w, h boxes row by row from the top, left to right.

    A row ends where a centre lies more than half a median height below the row's first centre.
    """
    if not boxes:
        return []
    half_height = np.median([h for _, _, _, h in boxes]) / 2
    centres = [(x + w / 2, y + h / 2) for x, y, w, h in boxes]
    rows: list[list[int]] = []
    for place in sorted(range(len(boxes)), key=lambda i: centres[i][1]):
        if not rows or centres[place][1] - centres[rows[-1][0]][1] > half_height:
            rows.append([])
        rows[-1].append(place)
    return [place for row in rows for place in sorted(row, key=lambda i: centres[i][0])]
