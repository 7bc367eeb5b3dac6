"""All that was found in a photo, as a picture and a table: what ``grader doctor`` shows."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.grade import MeasuredPhoto, MeasuredPiece
from grader.measures import UNREADABLE
from grader.report.overlay import PICTURE_PX, View, draw_line, view_of
from grader.report.plates import DARK, PALE, Ground, draw_plate
from grader.report.result import measured_record
from grader.report.words import colour_words, percent, scale_words, state_words

#: Height of the letters as a part of the picture's longer side.
_LETTERS = 1 / 70
_LABEL = "  {:<8} {}"


def draw_found(measured: MeasuredPhoto) -> NDArray[np.uint8]:
    """Return the photo with card, chart, the paper that gave the white, stones and glare drawn in, sRGB (h, w, 3)."""
    photo, reference = measured.photo, measured.reference
    view = view_of(photo, (0, 0, photo.width, photo.height), PICTURE_PX)
    stroke_px = max(1, round(max(view.rgb.shape) / 900))
    named = {
        f"{piece.piece.id} {piece.verdict.value}": piece.piece.outline for piece in measured.pieces
    }
    outlines = list(named.values())
    if reference.card:
        named["card"] = reference.card.outline_px
        outlines += [*reference.card.white_px, reference.card.outline_px]
    if reference.chart:
        named["chart"] = cv2.convexHull(
            np.concatenate(reference.chart.corners_px).astype(np.float32)
        )[:, 0]
        outlines += list(reference.chart.corners_px)
    for piece in measured.pieces:
        _hatch_glare(view, piece)
    for outline in outlines:
        draw_line(view.rgb, [view.points(outline)], 3 * stroke_px, stroke_px, closed=True)
    ground = Ground(view.rgb.shape, [view.points(outline) for outline in named.values()])
    size = max(12, round(max(view.rgb.shape) * _LETTERS))
    for number, text in enumerate(named):
        plate, words, bare = ground.place(number, [[(text, size)]])
        draw_plate(view.rgb, plate[:2], words, thin=not bare)
    return view.rgb


def found_text(measured: MeasuredPhoto) -> str:
    """Return what was found in a photo and what it is used for, as a short table."""
    record, reference = measured_record(measured), measured.reference
    photo = record["photo"]
    rows = [
        ("card", _card_words(measured)),
        (
            "chart",
            f"{int(reference.chart.sound.sum())} of 24 patches sound"
            if reference.chart
            else "none used",
        ),
        ("scale", scale_words(photo["scale"]).removeprefix("scale ")),
        ("colours", colour_words(photo["colour"]).removeprefix("colours ")),
        *_left_open(photo["colour"]["lab_sd"]),
        ("light", _light_words(measured)),
        *(
            ("note" if i == 0 else "", warning["text"])
            for i, warning in enumerate(photo["warnings"])
        ),
    ]
    lines = [
        f"{photo['file']}   {photo['width']} x {photo['height']} px",
        *(_LABEL.format(*row) for row in rows),
    ]
    for piece, measured_piece in zip(record["pieces"], measured.pieces, strict=True):
        basis = {"seller": "you say so", "photo": "by gloss and depth of colour"}[
            piece["state"]["source"]
        ]
        lines += [
            f"Stone {piece['id']}   {piece['verdict']}",
            _LABEL.format("state", f"{state_words(piece['state'])} ({basis})"),
            _LABEL.format("glare", f"{percent(piece['glare']['value'])} of the face"),
            *_sight_rows(measured_piece),
            _LABEL.format("scale", scale_words(piece["scale"]).removeprefix("scale ")),
            *(
                _LABEL.format("why" if i == 0 else "", w["text"])
                for i, w in enumerate(piece["warnings"])
            ),
        ]
    return "\n".join(lines)


def _sight_rows(piece: MeasuredPiece) -> list[str]:
    """Focus, exposure and the finest line that shows, as the verdict read them."""
    sight, side_px = piece.verdict.sight, max(piece.face.mask.shape)
    focus = (
        "no edge to tell it by"
        if sight.blur_px is None
        else f"edges blurred over {sight.blur_px:.1f} px"
    )
    if sight.is_shaken(side_px):
        focus += f", shaken by {sight.shake_px:.1f} px along {sight.shake_deg:.0f}°"
    rows = [("focus", f"{focus}; the face is {side_px} px long")]
    if sight.lightest is not None:
        burnt, full = percent(sight.burnt_share), percent(sight.full_share)
        text = f"a tenth is lighter than {sight.lightest:.0f} of 100; burnt out {burnt}, one colour full {full}"
        rows.append(("exposure", text))
    if sight.line_mm is not None:
        rows.append(("lines", f"from {sight.line_mm:.2g} mm wide show"))
    return [_LABEL.format(*row) for row in rows]


def _card_words(measured: MeasuredPhoto) -> str:
    card = measured.reference.card
    if card is None:
        return "none seen"
    return (
        f"{card.corners_used} of {card.corners_seen} corners used, camera tilted {card.tilt_deg:.0f}°, "
        f"{len(card.white_px)} places of paper in the picture"
    )


def _left_open(lab_sd: list[float] | None) -> list[tuple[str, str]]:
    """How far a colour may be off, 95 of 100 times, where a chart does not tell it."""
    if lab_sd is None:
        return []
    lightness, a, b = (round(1.96 * sd) for sd in lab_sd)
    return [
        (
            "",
            f"a colour may be off: lightness by {lightness}, green to red by {a}, blue to yellow by {b} (CIELAB)",
        )
    ]


def _light_words(measured: MeasuredPhoto) -> str:
    """How much the light falls off over the photo, where a surface shows it."""
    photo, field = measured.photo, measured.reference.field
    if field is None:
        return "assumed even: no plain surface in the photo to measure it on"
    x, y = np.meshgrid(np.linspace(0, photo.width, 9), np.linspace(0, photo.height, 9))
    light = field.at(x, y).mean(axis=-1)
    return f"the darkest corner gets {percent(float(light.min() / light.max()))} of the brightest's; that is evened out"


def _hatch_glare(view: View, piece) -> None:
    """Every other diagonal of the glare in white and black, so that it shows on any stone."""
    face = piece.face
    codes = piece.measurements.regions.codes
    contours, _ = cv2.findContours(
        (codes == UNREADABLE).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    mask = np.zeros(view.rgb.shape[:2], np.uint8)
    outlines = [view.points(face.to_photo_px(c[:, 0] + 0.5)).astype(np.int32) for c in contours]
    cv2.fillPoly(mask, outlines, 1)
    y, x = np.nonzero(mask)
    stripe = ((x + y) // 4) % 2 == 0
    view.rgb[y[stripe], x[stripe]] = DARK
    view.rgb[y[~stripe], x[~stripe]] = PALE
