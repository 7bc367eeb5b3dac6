"""Cut plans told: as words, as JSON, drawn into the photo, and as an SVG in true size."""

from html import escape

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.cutting import RELATIVE_SHARE, CutPiece
from grader.errors import GraderError, harmless
from grader.face.cutplan.cutplan import CutPlan, PlacedTemplate, lines_within, template_outline
from grader.face.lines.polyline import dashes
from grader.grade import MeasuredPhoto
from grader.report.cautions import CAUTIONS, SAW_CAUTIONS, SAW_LINE
from grader.report.overlay import PICTURE_PX, View, draw_line, view_of
from grader.report.plates import DARK, PALE, draw_plate
from grader.report.words import counted, percent, scale_words

SCHEMA = 1
#: Lines seen are grey, and dashes tell them apart: what is red or blue many machines would cut.
LINE_GREY = "#777"
#: The plans by the names under which they are asked for and told.
PLANS = {"most": "most pieces", "scenes": "best scenes first"}
NO_SCALE = (
    "scale not known: templates are drawn a third of the face's longer side long, so counts hold "
    "for that size alone; lay the photo card beside the stone, or give --mm-per-px"
)
NO_LINE_SEEN = "No line seen in the templates on the face photographed"
#: Of the SVG, in mm.
BORDER_MM, BAR_MM, LEAST_WIDTH_MM, ROW_MM = 8.0, 50.0, 100.0, 3.6


def plan_of(piece: CutPiece, name: str) -> CutPlan:
    """Return the plan of that name, one of ``PLANS``."""
    return piece.plans.most_pieces if name == "most" else piece.plans.best_scenes


def cut_text(measured: MeasuredPhoto, pieces: tuple[CutPiece, ...]) -> str:
    """Return the plans of a photo's stones as a short table."""
    photo = measured.photo
    lines = [f"{photo.name}   {photo.width} x {photo.height} px"]
    for piece in pieces:
        lines += ["", *_stone_lines(piece)]
    if not pieces:
        lines += [f"  {remark.text}" for remark in measured.remarks]
    all_cautions = (*SAW_CAUTIONS, *CAUTIONS)
    cautions = [f"- {c.text}" + (f"\n  [{c.source}]" if c.source else "") for c in all_cautions]
    return "\n".join([*lines, "", "Take care", *cautions])


def cut_record(measured: MeasuredPhoto, pieces: tuple[CutPiece, ...]) -> dict:
    """Return the plans of a photo's stones as plain data; points in px of the upright full-size photo."""
    photo = measured.photo
    return {
        "schema": SCHEMA,
        "photo": {
            "file": photo.name, "width": photo.width, "height": photo.height, "sha256": photo.sha256,
        },
        "pieces": [_piece_record(piece) for piece in pieces],
        "cautions": [{"text": c.text, "source": c.source} for c in (*SAW_CAUTIONS, *CAUTIONS)],
    }  # fmt: skip


def draw_cuts(
    measured: MeasuredPhoto, pieces: tuple[CutPiece, ...], plan: str
) -> NDArray[np.uint8]:
    """Return the photo with outline, lines and numbered templates of one plan, as sRGB (h, w, 3).

    Whole lines are cracks, dashed ones uncertain or healed; the tick of a template points up in its picture.
    """
    photo = measured.photo
    view = view_of(photo, (0, 0, photo.width, photo.height), PICTURE_PX)
    stroke = max(2, round(max(view.rgb.shape) / 600))
    for piece in pieces:
        _draw_piece(view, piece, plan, stroke)
    return np.vstack([view.rgb, _foot(view.rgb.shape[1], plan, pieces)])


def placed_templates(piece: CutPiece, plan: str) -> list[dict]:
    """Return the templates of a plan, each with its number, scene, outline and the tick that points up in its picture;
    points in px of the upright full-size photo."""
    to_photo = piece.measured.face.to_photo_px
    return [
        {
            "number": number,
            "scene": None if placed.score is None else round(placed.score),
            "outline": np.round(to_photo(template_outline(placed, piece.oval)), 1).tolist(),
            "tick": np.round(to_photo(_tick(placed, piece.oval.short_px)), 1).tolist(),
        }
        for number, placed in enumerate(plan_of(piece, plan).templates, start=1)
    ]


def cut_svg(piece: CutPiece, plan: str, photo_name: str) -> str:
    """Return one stone's plan as an SVG in true size, one unit a mm, in layers named by their ids.

    Layers: outline, glare, lines, templates (each with its number; the tick points up in its picture), bar (50 mm, to
    be measured on the print), words.

    Raises
    ------
    GraderError
        The scale is not known.
    """
    title = f"{photo_name}, stone {piece.measured.piece.id}"
    if piece.mm_per_px is None:
        raise GraderError(
            f"{title}: no scale, so no drawing in true size; lay the photo card beside the stone, "
            "or give --mm-per-px",
            "no_scale",
        )
    face, m = piece.measured.face, piece.measured.measurements
    outline = _to_working(piece, piece.measured.piece.outline)
    corner = outline.min(axis=0)
    width, height = np.ptp(outline, axis=0) * piece.mm_per_px + 2 * BORDER_MM
    width = max(width, LEAST_WIDTH_MM)

    def mm(points: NDArray) -> NDArray:
        return (np.asarray(points, float) - corner) * piece.mm_per_px + BORDER_MM

    title = harmless(title)  # Letters that steer have no place in XML 1.0.
    words = _svg_words(piece, plan, title, width)
    foot = 10 + ROW_MM * len(words)
    glare = [mm(ring + 0.5) for ring in _rings(m.glare & face.mask, piece.margin_px)]
    layers = {
        "outline": [_path([mm(outline)], 'fill="none" stroke="#000" stroke-width="0.4"')],
        "glare": [_path(glare, 'fill="#ddd" stroke="#999" stroke-width="0.15"')] if glare else [],
        "lines": [
            _path([mm(line.points)], _line_look(line.kind), closed=False) for line in m.lines
        ],
        "templates": [
            part
            for number, placed in enumerate(plan_of(piece, plan).templates, start=1)
            for part in _template_svg(piece, number, placed, mm)
        ],
        "bar": _bar_svg(BORDER_MM, height + 4),
        "words": [
            _text(BORDER_MM, height + 10 + ROW_MM * n, row, 2.6) for n, row in enumerate(words)
        ],
    }
    size = f'width="{width:.2f}mm" height="{height + foot:.2f}mm" viewBox="0 0 {width:.2f} {height + foot:.2f}"'
    groups = [f'<g id="{name}">\n' + "\n".join(parts) + "\n</g>" for name, parts in layers.items()]
    return "\n".join(
        [
            '<?xml version="1.0" encoding="UTF-8"?>',
            f'<svg xmlns="http://www.w3.org/2000/svg" {size}>',
            f"<title>{escape(title)}</title>",
            *groups,
            "</svg>\n",
        ]
    )


def stone_facts(piece: CutPiece) -> list[tuple[str, str]]:
    """Return the plans of one stone in words, each fact with its name."""
    measured, m = piece.measured, piece.measured.measurements
    long, short = piece.oval_mm
    if piece.mm_per_px is None:
        shape = (
            f"{long:g}x{short:g} in shape, {percent(RELATIVE_SHARE)} of the face's longer side long"
        )
        margin = f"{percent(piece.margin_px / piece.oval.long_px)} of its length"
    else:
        shape, margin = f"{long:g}x{short:g} mm", f"{piece.margin_mm:g} mm"
    facts = [
        (
            "scale",
            (NO_SCALE if piece.mm_per_px is None else scale_words(_scale(piece))).removeprefix(
                "scale "
            ),
        ),
        ("template", f"{shape}; {margin} kept between them and from outline and lines"),
        *((words, _plan_words(plan_of(piece, name))) for name, words in PLANS.items()),
        ("lines", _lines_words(piece)),
        ("glare", f"{percent(m.regions.glare_share)} of the face; no template lies on it"),
    ]
    if measured.verdict.value != "usable":
        lines = "; ".join(remark.text for remark in measured.verdict.remarks)
        facts.insert(0, ("photo", f"{measured.verdict.value}: {lines}"))
    return facts


def depth_words(piece: CutPiece) -> str:
    """Return whether a line is seen in the templates, and what a photo does not show."""
    return f"{_lines_within_words(piece, *PLANS)} What lies deeper a photo does not show."


def _stone_lines(piece: CutPiece) -> list[str]:
    return [
        f"Stone {piece.measured.piece.id}",
        *(f"  {label:<18} {words}" for label, words in stone_facts(piece)),
        f"  {depth_words(piece)}",
    ]


def _plan_words(plan: CutPlan) -> str:
    n = len(plan.templates)
    if not n:
        return "none fits; try a smaller template"
    scores = ", ".join(f"{t.score:.0f}" for t in plan.templates if t.score is not None)
    covered = (
        f"{counted(n, 'template')} cover{'s' * (n == 1)} {percent(plan.yield_share)} of the face"
    )
    return (
        f"{covered}; {'its scene' if n == 1 else 'their scenes'}: {scores} of 100"
        if scores
        else covered
    )


def _lines_within_words(piece: CutPiece, *plans: str) -> str:
    """What of lines is in the templates of these plans."""
    lines = piece.measured.measurements.lines
    placed = [t for name in plans for t in plan_of(piece, name).templates]
    if not placed:
        return "No template fits."
    if any(lines_within(template, piece.oval, lines) for template in placed):
        return f"{NO_LINE_SEEN}, but for thin healed lines or seams."
    return f"{NO_LINE_SEEN}."


def _lines_words(piece: CutPiece) -> str:
    lines = piece.measured.measurements.lines
    kept = sum(line.may_part for line in lines)
    parts = f"{kept} kept clear of" if kept else "none seen that would part the stone"
    through = []
    for name, words in PLANS.items():
        met = [
            str(number)
            for number, placed in enumerate(plan_of(piece, name).templates, start=1)
            if lines_within(placed, piece.oval, lines)
        ]
        if met:
            through.append(f"template{'s' if len(met) > 1 else ''} {', '.join(met)} ({words})")
    if not through:
        return parts
    return f"{parts}; healed lines or seams run through {' and '.join(through)}"


def _scale(piece: CutPiece) -> dict:
    scale = piece.measured.scale
    return {
        "mm_per_px": scale.mm_per_px,
        "low": scale.low,
        "high": scale.high,
        "source": scale.source,
    }


def _piece_record(piece: CutPiece) -> dict:
    per_photo_px = piece.measured.face.px_per_photo_px
    known = piece.mm_per_px is not None
    return {
        "id": piece.measured.piece.id,
        "scale": _scale(piece),
        "template": {
            "long_mm": piece.oval_mm[0] if known else None,
            "short_mm": piece.oval_mm[1] if known else None,
            "margin_mm": piece.margin_mm if known else None,
            "long_px": round(piece.oval.long_px / per_photo_px, 1),
            "short_px": round(piece.oval.short_px / per_photo_px, 1),
            "margin_px": round(piece.margin_px / per_photo_px, 1),
            "of_face_width": None if known else round(RELATIVE_SHARE, 4),
        },
        "verdict": piece.measured.verdict.value,
        "warnings": [] if known else [{"code": "no_scale", "text": NO_SCALE}],
        "plans": {name: _plan_record(piece, plan_of(piece, name)) for name in PLANS},
    }


def _plan_record(piece: CutPiece, plan: CutPlan) -> dict:
    return {
        "count": len(plan.templates),
        "yield_share": round(plan.yield_share, 4),
        "templates": [
            _template_record(piece, number, placed)
            for number, placed in enumerate(plan.templates, start=1)
        ],
    }


def _template_record(piece: CutPiece, number: int, placed: PlacedTemplate) -> dict:
    x, y = piece.measured.face.to_photo_px(np.array([[placed.x_px, placed.y_px]]))[0]
    met = lines_within(placed, piece.oval, piece.measured.measurements.lines)
    return {
        "number": number,
        "x": round(float(x), 1),
        "y": round(float(y), 1),
        "turn_deg": round(placed.turn_deg, 1) % 360,
        "scene": None if placed.score is None else round(placed.score),
        "lines": sorted({line.kind for line in met}),
    }


def _draw_piece(view: View, piece: CutPiece, plan: str, stroke: int) -> None:
    face, m = piece.measured.face, piece.measured.measurements
    draw_line(
        view.rgb, [view.points(piece.measured.piece.outline)], 3 * stroke, stroke, closed=True
    )
    for line in m.lines:
        points = view.points(face.to_photo_px(line.points))
        parts = [points] if line.kind == "crack" else dashes(points, 4.0 * stroke)
        draw_line(view.rgb, parts, stroke + 2, max(1, stroke // 2))
    for number, placed in enumerate(plan_of(piece, plan).templates, start=1):
        rim = view.points(face.to_photo_px(template_outline(placed, piece.oval)))
        draw_line(view.rgb, [rim], 3 * stroke, stroke, closed=True)
        if placed.score is not None:
            tick = view.points(face.to_photo_px(_tick(placed, piece.oval.short_px)))
            draw_line(view.rgb, [tick], 3 * stroke, stroke)
        # Small: the plate must not hide the scene that it numbers.
        size = int(np.clip(0.12 * np.ptp(rim, axis=0).min(), 12, 36))
        at = rim.mean(axis=0) - (0.55 * size * len(str(number)), 0.7 * size)
        draw_plate(view.rgb, tuple(at), [(str(number), size)])


def _tick(placed: PlacedTemplate, short_px: float) -> NDArray[np.float64]:
    """A short line at the template's upper rim, (2, 2) x, y in working px."""
    turn = np.radians(placed.turn_deg)
    up = np.array([-np.sin(turn), -np.cos(turn)])
    return np.array([placed.x_px, placed.y_px]) + np.outer([0.5, 0.4], up * short_px)


def _foot(width: int, plan: str, pieces: tuple[CutPiece, ...]) -> NDArray[np.uint8]:
    """The strip below the picture: which plan it is, and what to take care of."""
    size = max(11, round(width / 75))
    lines = [
        f"Plan: {PLANS[plan]}.",
        *dict.fromkeys(_lines_within_words(piece, plan) for piece in pieces),
    ]
    if any(piece.mm_per_px is None for piece in pieces):
        lines.append("Scale not known: templates are a third of the face's longer side long.")
    rows = [
        row for text in (*lines, SAW_LINE) for row in _wrapped(text, int(2 * width / size * 0.95))
    ]
    strip = np.full((round(1.4 * size * (len(rows) + 0.6)), width, 3), DARK, np.uint8)
    for number, row in enumerate(rows, start=1):
        at = (size // 2, round(1.4 * size * number))
        cv2.putText(strip, row, at, PALE, cv2.FontFace("sans"), size, 400)
    return strip


def _wrapped(text: str, letters: int) -> list[str]:
    rows = [""]
    for word in text.split():
        if rows[-1] and len(rows[-1]) + 1 + len(word) > letters:
            rows.append("")
        rows[-1] = f"{rows[-1]} {word}".strip()
    return rows


def _to_working(piece: CutPiece, photo_px: NDArray) -> NDArray[np.float64]:
    face = piece.measured.face
    return (np.asarray(photo_px, float) - face.origin_px) * face.px_per_photo_px


def _rings(mask: NDArray[np.bool_], least_px: float) -> list[NDArray]:
    """Outlines of the patches that a plan keeps clear of, (n, 2) x, y of px centres."""
    side = 2 * round(least_px / 2) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, disc)
    rings, _ = cv2.findContours(opened, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_TC89_L1)
    return [ring[:, 0] for ring in rings if len(ring) > 2]


def _line_look(kind: str) -> str:
    width, dash = {"crack": (0.35, ""), "uncertain": (0.3, "1.5 0.8")}.get(kind, (0.15, "0.5 0.8"))
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'fill="none" stroke="{LINE_GREY}" stroke-width="{width}"{dashes} class="{kind.replace(" ", "-")}"'


def _path(rings: list[NDArray], look: str, closed: bool = True) -> str:
    end = " Z" if closed else ""
    d = " ".join(
        "M " + " L ".join(f"{x:.2f},{y:.2f}" for x, y in ring) + end for ring in rings if len(ring)
    )
    return f'<path d="{d}" fill-rule="evenodd" {look}/>'


def _text(x: float, y: float, words: str, size: float, anchor: str = "start") -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}" font-family="sans-serif" '
        f'text-anchor="{anchor}">{escape(words)}</text>'
    )


def _template_svg(piece: CutPiece, number: int, placed: PlacedTemplate, mm) -> list[str]:
    (x, y), look = (
        mm([[placed.x_px, placed.y_px]])[0],
        'fill="none" stroke="#000" stroke-width="0.3"',
    )
    long, short = piece.oval_mm
    parts = [
        f'<ellipse cx="{x:.2f}" cy="{y:.2f}" rx="{long / 2:g}" ry="{short / 2:g}" '
        f'transform="rotate({-placed.turn_deg:.2f} {x:.2f} {y:.2f})" {look}/>',
        _text(x, y + 1.5, str(number), 4.5, "middle"),
    ]
    if placed.score is not None:
        parts.append(_path([mm(_tick(placed, piece.oval.short_px))], look, closed=False))
        parts.append(_text(x, y + 4.6, f"scene {placed.score:.0f}", 2.2, "middle"))
    return parts


def _bar_svg(x: float, y: float) -> list[str]:
    ends = "".join(f"M {x + mm:.2f},{y - 1.5:.2f} V {y + 1.5:.2f} " for mm in (0, BAR_MM))
    middle = f"M {x:.2f},{y:.2f} H {x + BAR_MM:.2f}"
    return [
        f'<path d="{ends}{middle}" fill="none" stroke="#000" stroke-width="0.3"/>',
        _text(x + BAR_MM + 2, y + 1, f"{BAR_MM:g} mm: measure it on the print", 2.6),
    ]


def _svg_words(piece: CutPiece, plan: str, title: str, width: float) -> list[str]:
    long, short = piece.oval_mm
    n = len(plan_of(piece, plan).templates)
    words = (
        f"{title}: {PLANS[plan]}, {n} of {long:g}x{short:g} mm, {piece.margin_mm:g} mm kept for the saw.",
        _lines_within_words(piece, plan),
        SAW_LINE,
    )
    letters = int((width - 2 * BORDER_MM) / 1.3)
    return [row for text in words for row in _wrapped(text, letters)]
