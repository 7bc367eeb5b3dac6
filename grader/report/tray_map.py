"""A photo of a tray with the number of each stone, to put stones and tags together by."""

import hashlib
import json
from collections.abc import Mapping, Sequence

import cv2
import numpy as np

from grader.photo.photo import Photo
from grader.report.overlay import PICTURE_PX, draw_line, view_of
from grader.report.plates import Ground, draw_plate, sizes_down

#: Height of a number as a part of the picture's short side: the aim, and the least where there is room.
AIM, LEAST = 1 / 18, 1 / 45
#: Of the drawing: raise it with any change of how a map looks.
VERSION = 1


def noted(jpeg: bytes, words: str) -> bytes:
    """Return a JPEG with a comment after its first segment (ITU-T T.81, B.2.4.5)."""
    text = words.encode()
    first = 4 + int.from_bytes(jpeg[4:6], "big")
    comment = b"\xff\xfe" + (len(text) + 2).to_bytes(2, "big") + text
    return jpeg[:first] + comment + jpeg[first:]


def map_note(
    sha256: str, outlines: Mapping[int, Sequence[Sequence[int]]], codes: Mapping[int, str]
) -> str:
    """Return what a map of a photo of that content is known by: the same words, the same map."""
    shown = [VERSION, sha256, sorted(outlines.items()), sorted(codes.items())]
    return f"map {hashlib.sha256(json.dumps(shown).encode()).hexdigest()}"


def tray_map(
    photo: Photo, outlines: Mapping[int, Sequence[Sequence[int]]], codes: Mapping[int, str]
) -> bytes:
    """Return a JPEG of a photo with each stone's outline and number; one without a number bears a dash.

    outlines : x, y in px of the photo, by stone.   codes : by stone.
    """
    view = view_of(photo, (0, 0, photo.width, photo.height), PICTURE_PX)
    stroke_px = max(2, round(max(view.rgb.shape) / 600))
    rims = {stone: view.points(np.array(outline)) for stone, outline in outlines.items()}
    draw_line(view.rgb, list(rims.values()), 3 * stroke_px, stroke_px, closed=True)
    ground = Ground(view.rgb.shape, list(rims.values()))
    for number, stone in enumerate(rims):
        choices = [[(codes.get(stone, "-"), px)] for px in sizes_down(view.rgb.shape, AIM, LEAST)]
        plate, words, bare = ground.place(number, choices)
        draw_plate(view.rgb, plate[:2], words, thin=not bare)
    bgr = np.ascontiguousarray(view.rgb[..., ::-1])
    return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 88])[1].tobytes()
