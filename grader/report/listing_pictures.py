"""The pictures of a listing: the face, its lines, the best view turned upright, and the cut plan.

They are drawn from what the ledger keeps of a stone, so that the photo may be gone; drawn anew they hold nothing of it
but what is seen: no camera, no place, no name.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.cutplan.cutplan import PlacedTemplate, template_outline
from grader.face.cutplan.room import Oval
from grader.face.lines.polyline import dashes
from grader.face.measurements import CONTACT_SHOWN, Placement
from grader.photo.photo import Photo
from grader.report.overlay import View, draw_line, view_of
from grader.report.plates import DARK, FONT, PALE
from grader.report.words import WORTH_DRAWING

#: Longest side of the picture of the face, and of the others, px: sharp on a phone and in print.
FACE_PX, OTHER_PX = 1000, 640
QUALITY = 82


def listing_pictures(
    kept: Photo, px_per_photo_px: float, stone: dict, cuts: dict | None
) -> dict[str, bytes]:
    """Return the pictures of a face as JPEG: "face", "lines", and where there are such, "best" and "cuts".

    Parameters
    ----------
    kept : the stone's box as it is kept, and px of it per px of the photo.   stone : its record.
    cuts : of the face, templates in px of the photo.
    """
    whole = (0, 0, kept.width, kept.height)
    large = view_of(kept, whole, FACE_PX).rgb
    small = _view(kept, px_per_photo_px, stone)
    pictures = {"face": _jpeg(large), "lines": _jpeg(_with_lines(small, stone))}
    best = stone["scene"]["best"]
    if best and best["score"] >= WORTH_DRAWING:
        pictures["best"] = _jpeg(_upright(small, Placement(**best)))
    if cuts and cuts["templates"]:
        pictures["cuts"] = _jpeg(_with_cuts(small, stone, cuts))
    return pictures


def lines_picture(kept: Photo, px_per_photo_px: float, stone: dict) -> bytes:
    """Return the picture of a further face with its lines, as JPEG."""
    return _jpeg(_with_lines(_view(kept, px_per_photo_px, stone), stone))


def _view(kept: Photo, px_per_photo_px: float, stone: dict) -> View:
    shown = view_of(kept, (0, 0, kept.width, kept.height), OTHER_PX)
    return View(shown.rgb, tuple(stone["box"][:2]), px_per_photo_px * shown.px_per_photo_px)


def _with_lines(view: View, stone: dict) -> NDArray[np.uint8]:
    rgb = view.rgb.copy()
    draw_line(rgb, [view.points(stone["outline"])], 4, 2, closed=True)
    for line in stone["cracks"]["lines"]:
        if line["class"] == "contact" and (line["parting_chance"] or 0) < CONTACT_SHOWN:
            continue
        points = view.points(line["points"])
        dash = {"crack": None, "pattern line": 3.0}.get(line["class"], 9.0)
        draw_line(rgb, [points] if dash is None else dashes(points, dash), 4, 2)
    return rgb


def _with_cuts(view: View, stone: dict, cuts: dict) -> NDArray[np.uint8]:
    rgb = view.rgb.copy()
    draw_line(rgb, [view.points(stone["outline"])], 4, 2, closed=True)
    to_px = view.px_per_photo_px / stone["scale"]["mm_per_px"]
    oval = Oval(*(side * to_px for side in cuts["oval_mm"]))
    for number, (x, y, turn) in enumerate(cuts["templates"], start=1):
        centre = view.points(np.array([[x, y]]))[0]
        rim = template_outline(PlacedTemplate(*centre, turn), oval)
        draw_line(rgb, [rim], 5, 2, closed=True)
        size = int(np.clip(0.35 * oval.short_px, 12, 28))
        foot = round(centre[0] - 0.3 * size * len(str(number))), round(centre[1] + 0.35 * size)
        for colour, weight, shift in ((DARK, 700, 1), (PALE, 600, 0)):
            at = (foot[0] + shift, foot[1] + shift)
            cv2.putText(rgb, str(number), at, colour, FONT, size, weight)
    return rgb


def _upright(view: View, placement: Placement) -> NDArray[np.uint8]:
    """What the best template shows, turned upright; pale around an oval."""
    size = np.array(placement.size_px) * view.px_per_photo_px
    grow = min(1.0, OTHER_PX / size.max())
    w, h = (max(1, round(side * grow)) for side in size)
    half = np.array([[-0.5, -0.5], [0.5, -0.5], [-0.5, 0.5]]) * np.array(placement.size_px)
    corner = view.points(placement.centre_px + half @ placement.axes)
    goal = np.array([[0, 0], [w, 0], [0, h]], np.float32) - 0.5
    matrix = cv2.getAffineTransform((corner - 0.5).astype(np.float32), goal)
    upright = cv2.warpAffine(view.rgb, matrix, (w, h), flags=cv2.INTER_AREA, borderValue=PALE)
    if placement.shape == "oval":
        y, x = np.mgrid[:h, :w]
        upright[np.hypot((x + 0.5) / w * 2 - 1, (y + 0.5) / h * 2 - 1) > 1] = PALE
    return upright


def _jpeg(rgb: NDArray[np.uint8]) -> bytes:
    _, content = cv2.imencode(".jpg", rgb[..., ::-1], (cv2.IMWRITE_JPEG_QUALITY, QUALITY))
    return content.tobytes()
