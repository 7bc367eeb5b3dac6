"""Pictures whose truth is known, and how folders of photographs give them.

A folder of stones holds ``photo/NAME.jpg`` and ``regions/NAME.png``; ``unsure/NAME.png`` (255 =
leave out), ``cracks/NAME.png`` (255 crack, 128 doubtful) and ``index.json`` may be there. A folder
of cracks holds ``photo`` and ``mask`` (255 = crack), each picture filled by one face.
"""

import json
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
import yardstick
from metrics import layer_shares
from numpy.typing import NDArray

#: A label is turned where that raises its IoU with the photo's plain foreground by this much.
CLEARLY_BETTER = 0.05
#: Photographs of cracks are marked no finer than at this long side.
CRACK_LONG_SIDE_PX = 256


@dataclass(frozen=True)
class PieceTruth:
    """One stone; ``None`` where nothing is known.

    shares, low, high : (3,) blue, white, host of the readable face, and bounds of what they may be.
    direction_deg, continuity : of its bands.   kind, state : as in ``grader.render.StoneTruth``.
    long_side_px : longer side of its upright box, px of the photo.
    """

    shares: NDArray
    low: NDArray
    high: NDArray
    direction_deg: float | None = None
    continuity: float | None = None
    kind: str | None = None
    state: str | None = None
    long_side_px: int | None = None


@dataclass(frozen=True)
class Labelled:
    """A picture with its truth; layers as in ``answer.Answer``.

    cracks : bool, only those that can be seen.   faint : bool, lines that are there but too faint to
    see.   doubtful : bool, lines that may or may not be cracks.   unsure : bool, soft borders.
    naming_in_doubt : one eye calls the pale field white, the next light blue.
    as_filed : the regions as they lie in the folder, where they had to be turned by ``turned``
    quarter turns.
    """

    name: str
    rgb: NDArray[np.uint8]
    regions: NDArray[np.uint8]
    pieces: NDArray
    cracks: NDArray[np.bool_]
    by_piece: dict[int, PieceTruth] = field(default_factory=dict)
    doubtful: NDArray[np.bool_] | None = None
    faint: NDArray[np.bool_] | None = None
    unsure: NDArray[np.bool_] | None = None
    naming_in_doubt: bool = False
    turned: int = 0
    as_filed: NDArray[np.uint8] | None = None
    mm_per_px: float | None = None
    whole: bool = False


def unjudged(truth: Labelled) -> NDArray[np.bool_] | None:
    """Return where an answer's line is neither right nor wrong: doubtful or faint; ``None`` if nowhere."""
    layers = [layer for layer in (truth.doubtful, truth.faint) if layer is not None]
    return np.logical_or.reduce(layers) if layers else None


def stone_names(folder: Path) -> list[str]:
    """Return the names of the photographs that have a mask of regions, sorted."""
    return sorted(p.stem for p in (folder / "regions").glob("*.png"))


def labelled_stones(folder: Path, name: str) -> Labelled:
    """Return one photograph of a folder of stones with its labels, turned where they lie turned."""
    rgb = _picture(next((folder / "photo").glob(f"{name}.*")))
    regions = _layer(folder / "regions" / f"{name}.png")
    turned = quarter_turns(yardstick.foreground(yardstick.lab_of(rgb)), regions > 0)
    unsure, cracks = (_layer(folder / kind / f"{name}.png") for kind in ("unsure", "cracks"))
    upright, unsure, cracks = (
        None if layer is None else np.rot90(layer, turned) for layer in (regions, unsure, cracks)
    )
    pieces = cv2.connectedComponents((upright > 0).astype(np.uint8))[1]
    note = _index(folder).get(name, {})
    return Labelled(
        name=name,
        rgb=rgb,
        regions=upright,
        pieces=pieces,
        cracks=np.zeros(upright.shape, bool) if cracks is None else cracks == 255,
        by_piece=_pieces_of(upright, pieces, note.get("shares_percent_bounds")),
        doubtful=None if cracks is None else cracks == 128,
        unsure=None if unsure is None else unsure > 0,
        naming_in_doubt="DOUBTFUL" in note.get("white_named_by", ""),
        turned=turned,
        as_filed=regions if turned else None,
    )


def as_filed(stone: Labelled) -> Labelled:
    """Return the stone with its regions as they lie in the folder, unturned."""
    if stone.as_filed is None:
        return stone
    unsure = None if stone.unsure is None else np.rot90(stone.unsure, -stone.turned)
    return replace(stone, regions=stone.as_filed, unsure=unsure)


def quarter_turns(foreground: NDArray[np.bool_], label: NDArray[np.bool_]) -> int:
    """Return the counter-clockwise quarter turns that lay a label on its photo, mostly 0."""
    fits = []
    for turns in range(4):
        mask = np.rot90(label, turns)
        same = mask.shape == foreground.shape
        fits.append(np.sum(mask & foreground) / max(np.sum(mask | foreground), 1) if same else 0.0)
    best = int(np.argmax(fits))
    return best if fits[best] >= fits[0] + CLEARLY_BETTER else 0


def crack_names(folder: Path) -> list[str]:
    """Return the names of the photographs that have a mask of cracks, sorted."""
    return sorted(p.stem for p in (folder / "mask").iterdir())


def labelled_cracks(folder: Path, name: str) -> Labelled:
    """Return one photograph of a folder of cracks, shrunk to the size at which it was marked."""
    rgb = _picture(next((folder / "photo").glob(f"{name}.*")))
    mask = _layer(next((folder / "mask").glob(f"{name}.*")))
    scale = min(1.0, CRACK_LONG_SIDE_PX / max(mask.shape))
    # A px of the small picture is crack where any part of it is: a thin mark does not vanish.
    rgb, crack = (
        cv2.resize(p, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        for p in (rgb, (mask > 127).astype(np.float32))
    )
    face = np.ones(crack.shape, np.uint8)
    return Labelled(name, rgb, face, face, crack > 0, whole=True)


def photo_size_px(folder: Path, name: str) -> tuple[int, int]:
    """Return width and height of a photograph of a folder."""
    return _picture(next((folder / "photo").glob(f"{name}.*"))).shape[1::-1]


def _picture(path: Path) -> NDArray[np.uint8]:
    return np.ascontiguousarray(cv2.imread(str(path), cv2.IMREAD_COLOR)[..., ::-1])


def _layer(path: Path) -> NDArray[np.uint8] | None:
    return cv2.imread(str(path), cv2.IMREAD_GRAYSCALE) if path.exists() else None


def _index(folder: Path) -> dict[str, dict]:
    path = folder / "index.json"
    rows = json.loads(path.read_text("utf-8")) if path.exists() else []
    return {row["id"]: row for row in rows}


def _pieces_of(regions: NDArray, pieces: NDArray, bounds: dict | None) -> dict[int, PieceTruth]:
    by_piece = {}
    for number in range(1, int(pieces.max()) + 1):
        shares = layer_shares(regions, pieces == number)
        low = high = shares
        # The bounds are told for the photo as a whole.
        if bounds and pieces.max() == 1:
            low, high = np.array([bounds[n] for n in ("blue", "white", "host")]).T / 100
        by_piece[number] = PieceTruth(shares, np.minimum(low, shares), np.maximum(high, shares))
    return by_piece
