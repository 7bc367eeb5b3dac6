"""Writes down what is true of a rendered photo: numbers the visible stones, counts their px, lists their lines."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.measures import UNREADABLE
from grader.render.bands import band_truth
from grader.render.lens import View
from grader.render.sight import lightness_of, seen_points
from grader.render.stone import StoneFace
from grader.render.stroke import seen_truth
from grader.render.tabletop import Tabletop
from grader.render.truth import (
    BLUE,
    HOST,
    LINE_CODES,
    WHITE,
    BandTruth,
    DrawnLine,
    Rendered,
    StoneTruth,
    reading_order,
)


def write_down(
    rgb, table: Tabletop, faces: list[StoneFace], glare, mm_per_px: float, view: View, features
) -> Rendered:
    """Number the visible stones, and write down what is true of each."""
    boxes, kept = [], []
    for number in range(1, len(faces) + 1):
        mask = (table.ids == number).astype(np.uint8)
        box = cv2.boundingRect(mask)
        if box[2] >= 3 and box[3] >= 3:
            boxes.append(tuple(int(v) for v in box))
            kept.append(number)
    order = reading_order(boxes)
    renumber = np.zeros(256, np.uint8)
    for new, at in enumerate(order, start=1):
        renumber[kept[at]] = new
    pieces = renumber[table.ids]
    regions = np.where(pieces > 0, np.where(glare, np.uint8(UNREADABLE), table.regions), 0).astype(
        np.uint8
    )
    cracks = np.where(pieces > 0, table.cracks, 0).astype(np.uint8)
    truths, lines = [], []
    for new, at in enumerate(order, start=1):
        face = faces[kept[at] - 1]
        truths.append(_stone_truth(new, boxes[at], face, regions, pieces, mm_per_px, view))
        lines += _seen_lines(face, new, rgb, pieces, cracks)
        features |= {name: True for name, present in _stone_features(face).items() if present}
    codes = regions[regions > 0]
    features |= {
        "cut by frame": any(t.cut_by_frame for t in truths),
        "glare": bool((codes == UNREADABLE).mean() > 0.002) if codes.size else False,
        "no blue": not (codes == BLUE).any(),
        "no white": not (codes == WHITE).any(),
        "no host": not (codes == HOST).any(),
        "one stone": len(truths) == 1,
        "many stones": len(truths) > 8,
    }
    features["absent class"] = features["no blue"] or features["no white"] or features["no host"]
    return Rendered(
        rgb,
        regions,
        pieces,
        cracks,
        table.wet & (pieces > 0),
        tuple(lines),
        tuple(truths),
        mm_per_px,
        features,
    )


def _seen_lines(face: StoneFace, number: int, rgb, pieces, cracks) -> list[DrawnLine]:
    """Return the lines drawn on a stone, and mark in the cracks layer what of them is too faint to see."""
    x, y, w, h = face.box
    part = np.s_[y : y + h, x : x + w]
    mine = pieces[part] == number
    light = lightness_of(rgb[part]) if face.strokes else None
    lines, visible = [], []
    for s in face.strokes:
        shows = share = None
        if s.kind in LINE_CODES:
            at = np.round(s.points).astype(int)
            on = np.all((at >= 0) & (at < (w, h)), axis=1)
            on[on] = mine[at[on, 1], at[on, 0]]
            shows = seen_points(light, s.points, s.widths, on)
            share = float(shows.sum() / max(1, on.sum()))
        visible.append(shows)
        points, width = np.float32(s.points + np.array([x, y])), float(np.median(s.widths))
        lines.append(DrawnLine(points, width, s.kind, s.family, number, share))
    if cracks[part][mine].any():
        cracks[part] = np.where(mine, seen_truth(cracks[part], face.strokes, visible), cracks[part])
    return lines


def _stone_features(face: StoneFace) -> dict[str, bool]:
    plan = face.plan
    named = {
        f"kind {plan.kind}",
        f"pattern {plan.pattern}",
        f"state {plan.state}",
        f"host {plan.host}",
    }
    named |= (
        set(plan.marks)
        | {s.kind for s in face.strokes}
        | {f"crack {s.family}" for s in face.strokes if s.family}
        | {f"crack look {look}" for _, look in plan.fractures}
        | {f"overlaid {name}" for name in plan.overlaid}
    )
    return {name: True for name in named} | face.features


def _stone_truth(
    number: int, box, face: StoneFace, regions, pieces, mm_per_px: float, view: View
) -> StoneTruth:
    x, y, w, h = box
    part = (slice(y, y + h), slice(x, x + w))
    mine = pieces[part] == number
    codes = regions[part][mine]
    counts = np.bincount(codes, minlength=10)
    readable = max(1, int(counts[BLUE] + counts[WHITE] + counts[HOST]))
    fx, fy = face.box[0], face.box[1]
    step = max(1, int(np.sqrt(mine.sum() / 20000)))  # medians of colour need no more px than that
    lab = face.lab[y - fy : y - fy + h : step, x - fx : x - fx + w : step][mine[::step, ::step]]
    picked = regions[part][::step, ::step][mine[::step, ::step]]
    names = {"blue": BLUE, "white": WHITE, "host": HOST}
    colour = {
        name: _median_lch(lab[picked == code])
        for name, code in names.items()
        if (picked == code).any()
    }
    rust = lab[picked == HOST]
    rusty = float((np.hypot(rust[:, 1], rust[:, 2]) >= 9).mean()) if len(rust) else 0.0
    hosts = counts[HOST] / readable
    height_px, width_px = regions.shape
    return StoneTruth(
        id=number,
        box=box,
        area_px=int(mine.sum()),
        kind=face.plan.kind,
        pattern=face.plan.pattern,
        state=face.plan.state,
        shares={name: counts[code] / readable for name, code in names.items()},
        kinds={"rusty": hosts * rusty, "grey": hosts * (1 - rusty)},
        glare_share=float(counts[UNREADABLE] / max(1, mine.sum())),
        colour=colour,
        bands=_bands_seen(face, mm_per_px, view),
        mm_per_px=mm_per_px,
        cut_by_frame=x <= 0 or y <= 0 or x + w >= width_px or y + h >= height_px,
    )


def _median_lch(lab: NDArray[np.float32]) -> tuple[float, float, float]:
    lightness, a, b = (float(v) for v in np.median(lab, 0))
    return lightness, float(np.hypot(a, b)), float(np.degrees(np.arctan2(b, a)) % 360)


def _bands_seen(face: StoneFace, mm_per_px: float, view: View) -> BandTruth:
    figure, plan = face.figure, face.plan
    if figure.course is None or figure.stripes is None:
        return BandTruth()
    wide = 2 * plan.radius * mm_per_px
    truth = band_truth(
        figure.course,
        figure.stripes,
        face.grid.u,
        face.grid.v,
        face.classes,
        min(0.5, 1 / wide),
        face.grid.radius_px,
    )
    heading = np.array([np.cos(figure.course.angle), np.sin(figure.course.angle)])
    ends = view.to_photo(plan.centre + np.array([[-20], [20]]) * heading)
    dx, dy = ends[1] - ends[0]
    left, top = face.box[:2]
    return replace(
        truth,
        direction_deg=float(np.degrees(np.arctan2(-dy, dx)) % 180),
        breaks=tuple((x + left, y + top, *thrown) for x, y, *thrown in truth.breaks),
    )
