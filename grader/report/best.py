"""The best view: where the template lies on each stone, how good a picture it shows and what lies in it."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.measurements import CONTACT_SHOWN, Placement
from grader.face.sight.cut import fill_outline
from grader.grade import MeasuredPhoto
from grader.measures import UNREADABLE
from grader.profile import Profile
from grader.report.counted import counted_codes, with_told
from grader.report.overlay import HATCHED_PX, PICTURE_PX, View, view_of
from grader.report.tint import dim_outside, laid_over, stroke_of
from grader.report.words import WORTH_DRAWING, counted, percent

#: What a line of each class is called, in the order of telling.
_NOUNS = {
    "crack": "crack",
    "uncertain": "uncertain line",
    "pattern line": "pattern line",
    "contact": "contact",
}


def draw_best(measured: MeasuredPhoto, record: dict, profile: Profile) -> NDArray[np.uint8]:
    """Return the photo with all dimmed but the best places for a template, as sRGB (h, w, 3), and beside each stone
    the template, the scene and what lies in it.

    Parameters
    ----------
    record : of the photo.
    """
    photo = measured.photo
    view = view_of(photo, (0, 0, photo.width, photo.height), PICTURE_PX, HATCHED_PX)
    codes = counted_codes(view, measured.pieces)
    told = [
        [(f"stone {stone['id']}", None)]
        + [(line, None) for line in best_words(stone, codes, view, profile)]
        for stone in record["pieces"]
    ]
    rgb = laid_over(view.rgb, best_tint(record["pieces"], view))
    return with_told(rgb, view, measured.pieces, told)


def best_tint(pieces: Sequence[dict], view: View) -> NDArray[np.uint8]:
    """Return all of a view dimmed but the best places on these stones, as places in the palette."""
    placed = [place for piece in pieces if (place := best_place(piece))]
    rims = [view.points(place.outline_px()) for place in placed]
    return dim_outside(view.rgb.shape, rims, stroke_of(view.rgb.shape))


def best_words(piece: dict, codes: NDArray[np.uint8], view: View, profile: Profile) -> list[str]:
    """Return the template with the scene, what lies in it, and the lines seen in it, a line each.

    Parameters
    ----------
    codes : of the regions at the px of the view.
    """
    place = best_place(piece)
    if place is None:
        return ["no scene"]
    scene, inside = piece["scene"], fill_outline(view.points(place.outline_px()), codes.shape)
    score = place.score if scene["score"] is None else scene["score"]
    around = cv2.boundingRect(inside.view(np.uint8))
    window = np.s_[around[1] : around[1] + around[3], around[0] : around[0] + around[2]]
    return [
        f"{place.kind}: {place.template}, scene {score:.0f} of 100",
        _held(codes[window][inside[window]], profile),
        _lines(piece, view, inside),
    ]


def best_place(piece: dict) -> Placement | None:
    """Return the best place for a template, in px of the full-size photo; ``None`` where none is worth drawing."""
    best = piece["scene"]["best"]
    return Placement(**best) if best and best["score"] >= WORTH_DRAWING else None


def _held(codes: NDArray[np.uint8], profile: Profile) -> str:
    """Return "in it: white 45 %, blue 40 %, host 15 %", the most first."""
    names = dict(enumerate((c.name for c in profile.colours), start=1)) | {UNREADABLE: "unreadable"}
    count = np.bincount(codes[codes > 0], minlength=UNREADABLE + 1)
    parts = [
        f"{names[code]} {percent(count[code] / count.sum())}"
        for code in np.argsort(-count, kind="stable")
        if count[code] and code in names
    ]
    return f"in it: {', '.join(parts)}" if parts else "what lies in it is not known"


def _lines(piece: dict, view: View, inside: NDArray[np.bool_]) -> str:
    """Return "1 crack seen in it", or that no line is; a contact that is surely sound is no line."""
    seen = [
        line["class"]
        for line in piece["cracks"]["lines"]
        if (line["class"] != "contact" or line["parting_chance"] >= CONTACT_SHOWN)
        and _passes(line, view, inside)
    ]
    told = [counted(seen.count(kind), noun) for kind, noun in _NOUNS.items() if kind in seen]
    return f"{', '.join(told)} seen in it" if told else "no line seen in it"


def _passes(line: dict, view: View, inside: NDArray[np.bool_]) -> bool:
    """Whether a line runs through a template."""
    drawn = np.zeros(inside.shape, np.uint8)
    points = np.rint((view.points(line["points"]) - 0.5) * 16).astype(np.int32)
    cv2.polylines(drawn, [points], False, 1, shift=4)
    return bool((drawn.astype(bool) & inside).any())
