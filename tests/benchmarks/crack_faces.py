"""Faces with known lines: cut out of renders by their true outlines, or photographs that one face fills."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from labelled import labelled_cracks
from numpy.typing import NDArray
from renders import drawn_photo

from grader.render import TRAINING, Rendered
from grader.render.truth import CRACK, FAINT, LINE_CODES, PATTERN_LINE, DrawnLine, StoneTruth

#: Stones with a shorter side under this are left out, px.
LEAST_PX = 40
#: Renders on which the classical detectors are set.
TUNING_SEED = 7301


@dataclass(frozen=True)
class KnownFace:
    """One face in px of its photo, cut to its box.

    rgb : (h, w, 3) uint8, sRGB.   mask : (h, w) bool.   cracks, faint, pattern : (h, w) bool, open cracks that can be
    seen; lines too faint to see; healed cracks, seams, webs.   borders : (h, w) bool, of blue, white and host.
    lines : as drawn, in px of the cut, px centres whole numbers; none of a photograph, whose ``known`` is false.
    """

    rgb: NDArray[np.uint8]
    mask: NDArray[np.bool_]
    cracks: NDArray[np.bool_]
    faint: NDArray[np.bool_]
    pattern: NDArray[np.bool_]
    borders: NDArray[np.bool_]
    lines: tuple[DrawnLine, ...] = ()
    known: bool = True

    @property
    def sound(self) -> bool:
        """Whether no crack is drawn on it."""
        return self.known and not any(line.kind == "crack" for line in self.lines)

    def drawn(self, *kinds: str) -> NDArray[np.bool_]:
        """Return the centre-lines of the drawn lines of those kinds, or of all that are no line of the stone."""
        layer = np.zeros(self.mask.shape, np.uint8)
        for line in self.lines:
            if line.kind in kinds or (not kinds and line.kind not in LINE_CODES):
                cv2.polylines(layer, [np.rint(line.points).astype(np.int32)], False, 1)
        return (layer > 0) & self.mask


def faces_of(drawn: Rendered) -> list[tuple[StoneTruth, KnownFace]]:
    """Return the stones of a rendered photo with their faces, by their true outlines."""
    faces = []
    for stone in drawn.stones:
        x, y, w, h = stone.box
        if min(w, h) < LEAST_PX:
            continue
        cut = np.s_[y : y + h, x : x + w]
        mask = drawn.pieces[cut] == stone.id
        codes = np.where(mask, drawn.regions[cut], 0)
        spread = [cv2.dilate((codes == k).view(np.uint8), np.ones((3, 3))) for k in (1, 2, 3)]
        lines = tuple(
            DrawnLine(line.points - (x, y), line.width_px, line.kind, line.family, line.piece)
            for line in drawn.lines
            if line.piece == stone.id
        )
        cracks, faint, pattern = (
            mask & (drawn.cracks[cut] == code) for code in (CRACK, FAINT, PATTERN_LINE)
        )
        borders = (np.sum(spread, axis=0) >= 2) & mask
        face = KnownFace(drawn.rgb[cut], mask, cracks, faint, pattern, borders, lines)
        faces.append((stone, face))
    return faces


def photographed_face(folder: Path, name: str) -> KnownFace:
    """Return one photograph of a folder of marked cracks."""
    truth = labelled_cracks(folder, name)
    everywhere = np.ones(truth.cracks.shape, bool)
    nowhere = ~everywhere
    return KnownFace(truth.rgb, everywhere, truth.cracks, nowhere, nowhere, nowhere, known=False)


def training_faces(photos: int) -> list[KnownFace]:
    """Return the faces of so many renders of the style to learn from."""
    drawn = (drawn_photo(TUNING_SEED, number, TRAINING) for number in range(photos))
    return [face for photo in drawn for _, face in faces_of(photo)]


def lightness_of_face(face: KnownFace) -> NDArray[np.float32]:
    """Return L* of a face as photographed."""
    rgb = np.ascontiguousarray(face.rgb).astype(np.float32) / 255
    return np.ascontiguousarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)[..., 0])
