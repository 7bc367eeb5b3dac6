"""Layers of the upright photo's own size, for other programs: regions, cracks, pieces and parts as
grey PNGs."""

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.sight.cut import fill_outline
from grader.grade import MeasuredPhoto, MeasuredPiece
from grader.made import write_made
from grader.photo.photo import Photo


def draw_layers(measured: MeasuredPhoto) -> dict[str, NDArray]:
    """Return the layers by name, each of shape (height, width) of the upright photo.

    regions : uint8, 0 background, the profile's class codes (1 blue, 2 white, 3 host), 9
    unreadable.
    cracks : uint8, 255 on lines of class crack, drawn at their measured width, 1 px at least.
    pieces : ids, uint8, or uint16 from 256 pieces on.
    borders : uint8, 255 where blue meets white, 128 on the bit of a fault that offsets a band.
    parts : uint8, within each piece 1 for the largest part that its lines leave, 2 for the next.
    """
    shape = measured.photo.height, measured.photo.width
    regions, cracks = np.zeros(shape, np.uint8), np.zeros(shape, np.uint8)
    parts, borders = np.zeros(shape, np.uint8), np.zeros(shape, np.uint8)
    pieces = np.zeros(shape, np.uint8 if len(measured.pieces) < 256 else np.uint16)
    for piece in measured.pieces:
        x, y, w, h = _window(piece, measured.photo)
        inside = _inside(piece, (x, y, w, h))
        pieces[y : y + h, x : x + w][inside] = piece.piece.id
        codes, sound = piece.measurements.regions.codes, piece.measurements.sound
        regions[y : y + h, x : x + w][inside] = _at_photo_px(codes, piece, (x, y, w, h))[inside]
        if sound is not None:
            labels = _at_photo_px(sound.labels, piece, (x, y, w, h))
            parts[y : y + h, x : x + w][inside] = labels[inside]
        _draw_cracks(cracks, piece)
        _draw_borders(borders, piece)
    return {
        "regions": regions,
        "cracks": cracks,
        "pieces": pieces,
        "parts": parts,
        "borders": borders,
    }


def write_layers(measured: MeasuredPhoto, folder: str | Path, stem: str) -> None:
    """Write ``<stem>.regions.png``, ``<stem>.cracks.png``, ``<stem>.pieces.png``,
    ``<stem>.parts.png`` and ``<stem>.borders.png`` into that folder."""
    for name, layer in draw_layers(measured).items():
        _, png = cv2.imencode(".png", layer, [cv2.IMWRITE_PNG_COMPRESSION, 3])
        write_made(Path(folder) / f"{stem}.{name}.png", png.tobytes())


def _draw_borders(borders: NDArray[np.uint8], piece: MeasuredPiece) -> None:
    """Draw the traced borders one px wide, and the offsets over them."""
    face, banding = piece.face, piece.measurements.banding
    for lines, value in ((banding.borders, 255), (banding.faults, 128)):
        for line in lines:
            points = np.rint((face.to_photo_px(line) - 0.5) * 16).astype(np.int32)
            cv2.polylines(borders, [points], False, value, 1, shift=4)


def _window(piece: MeasuredPiece, photo: Photo) -> tuple[int, int, int, int]:
    """The outline's bounding box within the photo, as x, y, w, h."""
    left, top = np.floor(piece.piece.outline.min(axis=0)).astype(int).clip(0)
    right, bottom = np.ceil(piece.piece.outline.max(axis=0)).astype(int)
    return left, top, min(right, photo.width) - left, min(bottom, photo.height) - top


def _inside(piece: MeasuredPiece, window: tuple[int, int, int, int]) -> NDArray[np.bool_]:
    x, y, w, h = window
    return fill_outline(piece.piece.outline - (x, y), (h, w))


def _at_photo_px(
    codes: NDArray[np.uint8], piece: MeasuredPiece, window: tuple[int, int, int, int]
) -> NDArray[np.uint8]:
    """Codes of a window of the photo: those of the working px that each px falls into."""
    x, y, w, h = window
    return codes_at(codes, piece.face, np.arange(x, x + w) + 0.5, np.arange(y, y + h) + 0.5)


def codes_at(codes: NDArray[np.uint8], face: Face, x: NDArray, y: NDArray) -> NDArray[np.uint8]:
    """Return the codes of a face at the crossings of columns x and rows y, px of the photo: those of the working px
    that each falls into; shape (len(y), len(x))."""
    # The outline passes through working px: their outermost ring takes the code beside it.
    codes = np.where(codes == 0, cv2.dilate(codes, np.ones((3, 3), np.uint8), iterations=2), codes)
    left, top = face.origin_px
    columns = ((x - left) * face.px_per_photo_px).astype(int)
    rows = ((y - top) * face.px_per_photo_px).astype(int)
    return codes[rows.clip(0, codes.shape[0] - 1)[:, None], columns.clip(0, codes.shape[1] - 1)]


def _draw_cracks(canvas: NDArray[np.uint8], piece: MeasuredPiece) -> None:
    for line in piece.measurements.cracks:
        # A px spans from its number to the next, and polylines are drawn from centre to centre.
        points = np.rint(piece.face.to_photo_px(line.points) - 0.5).astype(np.int32)
        width_px = max(1, round(line.width_px / piece.face.px_per_photo_px))
        cv2.polylines(canvas, [points.reshape(-1, 1, 2)], False, 255, width_px)
