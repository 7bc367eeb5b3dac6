"""How many cabs fit on a face, from what is kept of it: nothing is measured again, and no photo is opened."""

import cv2
import numpy as np

from grader.cutting import SEED
from grader.face.cutplan.cutplan import plan_cuts
from grader.face.cutplan.room import Oval, room_of
from grader.face.measurements import Line
from grader.face.sight.cut import fill_outline
from grader.measures import UNREADABLE
from grader.report.stone_pictures import blank_view, region_codes

#: The oval that a listing counts, long and short side, and what is kept for the saw: as ``grader cutplan`` has them.
OVAL_MM, MARGIN_MM = (30.0, 22.0), 1.5
#: Of the way by which places are sought: raise it with any change that may give another plan of the same face.
PLAN_VERSION = 1
#: A line too thin for its width to be told, px of the photo.
THIN_PX = 2.0


def kept_cuts(stone: dict, photo: dict, regions: bytes | None) -> dict | None:
    """Return a plan of most pieces; ``None`` where the scale is not known.

    Parameters
    ----------
    stone, photo : their records.   regions : as they are kept, for the glare on which no template lies.

    Returns
    -------
    oval_mm, margin_mm, plan_version, and templates : x, y in px of the photo and turn in degrees of each.
    """
    mm_per_px = stone["scale"]["mm_per_px"]
    if not mm_per_px:
        return None
    view = blank_view(tuple(stone["box"]), photo["width"], photo["height"])
    mm = mm_per_px / view.px_per_photo_px
    mask = fill_outline(view.points(stone["outline"]), view.rgb.shape[:2])
    glare = None if regions is None else region_codes(regions, view.rgb.shape) == UNREADABLE
    lines = [_line(line, view) for line in stone["cracks"]["lines"]]
    oval, margin_px = Oval(OVAL_MM[0] / mm, OVAL_MM[1] / mm), MARGIN_MM / mm
    room = room_of(mask, lines, glare, oval, margin_px)
    plan = plan_cuts(room, oval, margin_px, np.random.default_rng(SEED)).most_pieces
    origin, scale = np.array(view.origin_px), view.px_per_photo_px
    return _way() | {
        "templates": [
            [
                *np.round(np.array([t.x_px, t.y_px]) / scale + origin, 1).tolist(),
                round(t.turn_deg, 1),
            ]
            for t in plan.templates
        ],
    }


def _way() -> dict:
    """What a plan hangs on beside the face."""
    return {"oval_mm": list(OVAL_MM), "margin_mm": MARGIN_MM, "plan_version": PLAN_VERSION}


def planned_as_now(cuts: dict) -> bool:
    """Return whether a plan that was kept is what :func:`kept_cuts` would find again on the same face."""
    return _way().items() <= cuts.items()


def _line(line: dict, view) -> Line:
    """A line as it is kept, in px of the view."""
    points = view.points(line["points"])
    width = (line["width_px"] or THIN_PX) * view.px_per_photo_px
    length = float(cv2.arcLength(points.astype(np.float32), False))
    parting = line["parting_chance"] or 0.0
    return Line(points, length, width, line["class"], line["probability"] or 0.0, parting)
