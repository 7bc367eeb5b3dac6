"""A graded photo as plain data: the JSON object that every reader of results relies on. Keys are
only ever added."""

import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from functools import cache
from importlib import resources
from pathlib import Path, PurePath

import numpy as np

from grader.errors import GraderError
from grader.face.face import Face
from grader.face.lines.lines import p21
from grader.face.lines.sound import clear_step, weights_g
from grader.face.measurements import (
    Banding,
    Line,
    Measurements,
    Placement,
    RegionColour,
    Share,
    SoundStone,
)
from grader.face.size import oval_name
from grader.grade import Graded, MeasuredPhoto, MeasuredPiece
from grader.grading.models.prediction_set import LEVEL
from grader.grading.proposal import Proposal, SceneEstimate
from grader.measures import Interval, Remark
from grader.photo.photo import Photo, Scale
from grader.photo.reference import Reference
from grader.photo.tags import Tag
from grader.profile import SCENE_PARTS
from grader.report.reasons import (
    condition_words,
    reason_words,
    unfamiliar_words,
    what_if_words,
)

SCHEMA = 1
NO_SCALE = Remark(
    "no_scale",
    "scale not known, so no sizes; lay the photo card beside the stone, or give --mm-per-px",
)


def photo_record(graded: Graded, file: str | Path | None = None) -> dict:
    """Return the JSON object of one graded photo.

    Lengths and points are in whole px of the upright full-size photo, shares 0 to 1; what is not
    known is ``None``.

    file : the photo as its reader names it; its own name by default.
    """
    estimates = [(piece.scene, piece.proposal) for piece in graded.pieces]
    return graded_record(measured_record(graded.measured, file), estimates)


def measured_record(measured: MeasuredPhoto, file: str | Path | None = None) -> dict:
    """Return the JSON object of one measured photo: the same, with no proposal in it yet.

    What a model says, the scene score and the proposal, is ``None`` there.
    """
    photo = measured.photo
    further = [str(other) for other in measured.terms.same_face]
    return {
        "schema": SCHEMA,
        "photo": {
            "file": str(file or photo.name),
            "width": photo.width,
            "height": photo.height,
            "sha256": photo.sha256,
            "scale": _scale(measured.reference.scale),
            "colour": _colour_reference(measured.reference) | {"encoding": photo.encoding.name},
            "warnings": _warnings(measured.remarks, measured.reference.scale.mm_per_px),
            **_tags(photo, measured.tags, measured.terms.tags),
        },
        "photos": [
            _shown(file or photo.name, photo, None),
            *(_further(*of, measured) for of in enumerate(further)),
        ],
        "pieces": [piece_record(piece, photo.width, photo.height) for piece in measured.pieces],
    }


def _tags(photo: Photo, tags: Sequence[Tag], asked: bool) -> dict:
    """The tags, where they were looked for: what each says, and the corners of its code."""
    if not asked:
        return {}
    size = (photo.width, photo.height)
    return {"tags": [{"text": tag.text, "code": _whole_px(tag.code, size)} for tag in tags]}


def graded_record(record: dict, estimates: Sequence[tuple[SceneEstimate, Proposal | None]]) -> dict:
    """Return the JSON object of a measured photo with what a model says of each stone."""
    pieces = [
        piece
        | {"scene": {**asdict(scene), **_without_estimate(piece["scene"])}}
        | {"proposal": proposal_record(proposal)}
        for piece, (scene, proposal) in zip(record["pieces"], estimates, strict=True)
    ]
    return record | {"pieces": pieces}


def _without_estimate(scene: dict) -> dict:
    return {key: value for key, value in scene.items() if key not in ("score", "low", "high")}


def failed_record(file: str | Path, error: GraderError) -> dict:
    """Return the JSON object of a photo that could not be read; its text names the file as
    ``file`` does, since a folder may hold two of one name."""
    name, text = PurePath(file).name, str(error)
    text = str(file) + text.removeprefix(name) if text.startswith(f"{name}: ") else text
    return {
        "schema": SCHEMA,
        "photo": {"file": str(file)},
        "pieces": [],
        "error": {"code": error.code, "text": text},
    }


@cache
def result_schema() -> dict:
    """Return the JSON Schema (2020-12) of the object."""
    return json.loads((resources.files("grader.report") / "result.schema.json").read_text("utf-8"))


def _shown(file: str | Path, photo: Photo, left_out: Remark | None) -> dict:
    """One photo of the face; the first is always used."""
    why_not = left_out and {"code": left_out.code, "text": left_out.text}
    return {
        "file": str(file),
        "sha256": photo.sha256,
        "used": left_out is None,
        "why_not": why_not,
    }


def _further(n: int, file: str, measured: MeasuredPhoto) -> dict:
    """A further photo of the same face: where it shows each stone, in px of its own, and its tags."""
    other = measured.same_face[n]
    photo = other.photo
    size = (photo.width, photo.height)
    stones = [
        {"id": piece.piece.id, "outline": _whole_px(outline, size)}
        for piece in measured.pieces
        for outline in piece.again[n : n + 1]
        if outline is not None
    ]
    tags = _tags(photo, other.tags, measured.terms.tags)
    return _shown(file, photo, other.left_out) | {"stones": stones} | tags


def piece_record(measured: MeasuredPiece, width: int, height: int) -> dict:
    """Return the JSON object of one measured stone; width and height are those of its full-size photo."""
    m, photo = measured.measurements, (width, height)
    return {
        "id": measured.piece.id,
        "box": [int(v) for v in measured.piece.box],
        "outline": _whole_px(measured.piece.outline, photo),
        "area_cm2": _number(measured.area_cm2, 2),
        "size_class": measured.size_class,
        "shares": {
            name: _share(share) | _kinds(m.regions.kinds.get(name))
            for name, share in m.regions.shares.items()
        },
        "colour": {name: _colour(colour) for name, colour in m.regions.colour.items()},
        "glare": {
            "value": _number(m.regions.glare_share, 4),
            "filled": _number(measured.filled_share, 4),
        },
        "banding": _banding(m.banding, m),
        "cracks": _cracks(measured, photo),
        "sound": m.sound and _sound(m.sound, m.area_cm2, measured.weight_g),
        "scene": {
            "score": None,
            "low": None,
            "high": None,
            "parts": _parts(m.scene.parts),
            "best": _placement(m.scene.best, measured.face),
            "runner_up": _placement(m.scene.runner_up, measured.face),
            "without_lines": None if m.scene.whole_score is None else round(m.scene.whole_score),
            "crossed": m.scene.crossed,
        },
        "room": m.room
        and {
            "pattern_share": _number(m.room.pattern_share, 4),
            "colour_share": _number(m.room.colour_share, 4),
            "pattern_contrast": _number(m.room.pattern_contrast, 2),
        },
        "proposal": None,
        "call": None,
        "calls": [],
        "state": {"value": measured.state.value, "source": measured.state.source},
        "verdict": measured.verdict.value,
        "warnings": _warnings(measured.verdict.remarks, measured.scale.mm_per_px),
        "scale": _scale(measured.scale),
    }


def _parts(parts: dict[str, float | None]) -> dict:
    return {part: _number(parts.get(part), 3) for part in SCENE_PARTS}


def _placement(placement: Placement | None, face: Face) -> dict | None:
    """A template on the face, in px of the full-size photo."""
    if placement is None:
        return None
    centre = face.to_photo_px(np.array([placement.centre_px]))[0]
    return {
        "template": placement.template,
        "shape": placement.shape,
        "kind": placement.kind,
        "centre_px": [_number(v, 1) for v in centre],
        "turn_deg": _number(placement.turn_deg, 1) % 360,
        "size_px": [_number(side / face.px_per_photo_px, 1) for side in placement.size_px],
        "size_mm": placement.size_mm and [_number(side, 1) for side in placement.size_mm],
        "score": round(placement.score),
        "low": round(placement.low),
        "high": round(placement.high),
        "parts": _parts(placement.parts),
        "shore_share": _number(placement.shore_share, 3),
        "shore_mm": _number(placement.shore_mm, 1),
        "shore_evenness": _number(placement.shore_evenness, 3),
        "line_ratio": _number(placement.line_ratio, 3),
    }


def _scale(scale: Scale) -> dict:
    """A scale that is exact as far as is known is its own interval."""
    low, high = (scale.mm_per_px if v is None else v for v in (scale.low, scale.high))
    return {
        "mm_per_px": _number(scale.mm_per_px), "low": _number(low), "high": _number(high),
        "source": scale.source,
    }  # fmt: skip


def _colour_reference(reference: Reference) -> dict:
    """Where the colours are known from, and what that leaves open: on the chart's own patches, or of L*, a*, b*."""
    left = reference.correction and reference.correction.remaining_mean
    return {
        "source": reference.colour_source,
        "chart_de00": _number(left, 2),
        "lab_sd": None if reference.correction else [_number(sd, 1) for sd in reference.white.sd],
    }


def _share(share: Share) -> dict:
    # Eight decimals: the values of up to eight classes still sum to 1 within 1e-7.
    value = round(float(share.value), 8)
    low, high = max(0.0, round(float(share.low), 4)), min(1.0, round(float(share.high), 4))
    return {"value": value, "low": min(low, value), "high": max(high, value)}


def _kinds(kinds: dict[str, float] | None) -> dict:
    return {"kinds": {name: round(float(v), 8) for name, v in kinds.items()}} if kinds else {}


def _colour(colour: RegionColour | None) -> dict | None:
    return colour and {key: _number(getattr(colour, key), 2) for key in ("L", "C", "h", "spread")}


def _banding(banding: Banding, m: Measurements) -> dict:
    thickness = banding.thickness_px
    direction = _number(banding.direction_deg, 1)
    return {
        "continuity": _number(banding.continuity, 4),
        "fill_share": _number(banding.fill_share, 4),
        "bands": None if banding.bands is None else int(banding.bands),
        "direction_deg": direction if direction is None else direction % 180,
        "thickness_px": thickness and _number(thickness / m.px_per_photo_px, 1),
        "thickness_mm": _millimetres(thickness, m),
        "band_contrast": _number(banding.contrast_de00, 2),
        "confidence": _number(banding.confidence, 3),
        "thickness_spread_px": _photo_px(banding.thickness_spread_px, m),
        "thickness_spread_mm": _millimetres(banding.thickness_spread_px, m),
        "direction_spread_deg": _number(banding.direction_spread_deg, 1),
        "border_width_px": _photo_px(banding.border_width_px, m),
        "border_width_mm": _millimetres(banding.border_width_px, m),
        "waviness": _number(banding.waviness, 3),
        "offsets": banding.offsets,
        "throw_px": _photo_px(banding.throw_px, m),
        "throw_mm": _millimetres(banding.throw_px, m),
    }


def _photo_px(length: float | None, m: Measurements) -> float | None:
    """A length of working px in px of the full-size photo."""
    return None if length is None else _number(length / m.px_per_photo_px, 1)


def _cracks(measured, photo: tuple[int, int]) -> dict:
    m = measured.measurements
    length_px = float(sum(line.length_px for line in m.cracks))
    return {
        "count": len(m.cracks),
        "length_px": _number(length_px / m.px_per_photo_px, 1),
        "length_mm": _millimetres(length_px, m),
        # Both in working px, so their ratio is that of the stone.
        "density": _number(length_px / math.sqrt(m.face_area_px), 4) if m.face_area_px else None,
        # P21 in px of the photo as well, where no scale is known.
        "crack_mm_per_cm2": m.area_cm2 and _number(p21([length_px * m.mm_per_px], m.area_cm2), 4),
        "crack_px_per_px2": _number(p21([length_px * m.px_per_photo_px], m.face_area_px), 6),
        "lines": [
            _line(number, line, measured, photo) for number, line in enumerate(m.lines, start=1)
        ],
    }


def _line(number: int, line: Line, measured, photo: tuple[int, int]) -> dict:
    scale = measured.measurements.px_per_photo_px
    return {
        "id": number,
        "points": _whole_px(measured.face.to_photo_px(line.points), photo),
        "length_px": _number(line.length_px / scale, 1),
        "width_px": _of_photo(line.reported_width_px, scale),
        "class": line.kind,
        "probability": _number(line.probability, 3),
        "parting_chance": _number(line.parting_chance, 3),
        "greatest_width_px": _of_photo(line.greatest_width_px, scale),
        "length_mm": _millimetres(line.length_px, measured.measurements),
        "width_mm": _millimetres(line.reported_width_px, measured.measurements),
        "greatest_width_mm": _millimetres(line.greatest_width_px, measured.measurements),
        "ends": line.ends,
        "source": line.source,
        "drying_ratio": _number(line.drying_ratio, 2),
    }


def _of_photo(working_px: float | None, scale: float) -> float | None:
    return None if working_px is None else _number(working_px / scale, 1)


def _sound(sound: SoundStone, area_cm2: float | None, weight_g: float | None) -> dict:
    """What the lines leave: parts, largest first; weights are by area, as if evenly thick."""
    areas = [None if area_cm2 is None else area_cm2 * share for share in sound.parts]
    grams = weights_g(sound.parts, weight_g) if weight_g else [None] * len(sound.parts)
    return {
        "largest": _likely(sound.largest),
        "parts": [
            {"share": _number(share, 4), "area_cm2": _number(cm2, 2), "weight_g": _number(g, 1)}
            for share, cm2, g in zip(sound.parts, areas, grams, strict=True)
        ],
        "clear": [
            {
                "oval": oval_name(clear.oval_mm),
                "share": _number(clear.share, 4),
                "high": _number(max(clear.share, clear.high), 4),
                "step": _number(clear_step(clear.share), 4),
            }
            for clear in sound.clear
        ],
        "usable": sound.usable and _likely(sound.usable),
        "weight_g": _number(weight_g, 1),
        "usable_g": _likely(sound.usable, weight_g, 1) if weight_g and sound.usable else None,
    }


def _likely(share: Interval, times: float = 1.0, decimals: int = 4) -> dict:
    return {key: _number(times * getattr(share, key), decimals) for key in ("value", "low", "high")}


def proposal_record(proposal: Proposal | None) -> dict | None:
    """Return the JSON object of a proposal, ``None`` without one."""
    return proposal and {
        "grade": proposal.grade,
        "scene": proposal.scene,
        "likely": list(proposal.likely),
        "ask_first": proposal.ask_first,
        "probabilities": {grade: round(float(p), 4) for grade, p in proposal.probabilities.items()},
        "sell_as": proposal.sell_as,
        "reasons": [reason_words(reason) for reason in proposal.reasons],
        "model": proposal.model,
        "grade_set": {"grades": list(proposal.grade_set), "level": LEVEL},
        "rules": proposal.rules
        and {
            "grade": proposal.rules.grade,
            "because": proposal.rules.because and condition_words(proposal.rules.because),
        },
        "what_if": proposal.what_if and what_if_words(proposal.what_if),
        "unfamiliar": proposal.unfamiliar and unfamiliar_words(proposal.unfamiliar),
    }


def _warnings(remarks: tuple[Remark, ...], mm_per_px: float | None) -> list[dict]:
    if mm_per_px is None and all(remark.code != NO_SCALE.code for remark in remarks):
        remarks = (*remarks, NO_SCALE)
    return [{"code": remark.code, "text": remark.text} for remark in dict.fromkeys(remarks)]


def _whole_px(points, photo: tuple[int, int]) -> list[list[int]]:
    width, height = photo
    # A px spans from its number to the next.
    return [[min(max(int(x), 0), width - 1), min(max(int(y), 0), height - 1)] for x, y in points]


def _millimetres(working_px: float | None, m: Measurements) -> float | None:
    known = working_px is not None and m.mm_per_px is not None
    return _number(working_px * m.mm_per_px, 2) if known else None


def _number(value: float | None, decimals: int | None = None) -> float | None:
    """A plain float, or ``None`` for what is not known, nan and infinity included."""
    if value is None or not math.isfinite(value):
        return None
    return float(value) if decimals is None else round(float(value), decimals)
