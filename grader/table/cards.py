"""What the page shows of a stone: its card and its tile; their words are those of the sheet and the commands."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from pathlib import PurePosixPath
from typing import Any

from grader.grading.calls.left import LEFT
from grader.ledger import views
from grader.ledger.joint import JointPiece, joint_pieces, piece_at
from grader.looks import Look, place_of
from grader.profile import Profile
from grader.report import headline, words
from grader.report.overlay import stone_window
from grader.report.result import NO_SCALE
from grader.report.stock import weight_text
from grader.report.stone_pictures import shown_views
from grader.report.stone_words import chances, facts, headed, piece_facts
from grader.table.patches import patch_rows
from grader.table.stones import TableStone
from grader.table.tray import Tray

#: Which facts of a stone stand together: colour, soundness, scene and size are told apart.
_BLOCKS = {
    "scene": ("scene",),
    "colour": ("colour", "glare", "bands"),
    "soundness": ("lines", "sound", "care"),
    "size": ("size", "sell as"),
    "photo": ("photo",),
}


def tile(stone: TableStone, by: str, unit: str) -> dict[str, Any]:
    """Return what a small picture of a stone is shown with."""
    own = stone.own(by)
    return {
        "id": stone.id,
        "name": stone.name,
        "photo": stone.photo,
        "picture": stone.picture and f"/pictures/{stone.picture}",
        "proposed": stone.label,
        "grade": stone.grade,
        "own": own and own["grade"],
        "differ": stone.differ,
        "left": stone.left is not None,
        "weight": _weight(stone.net_g, unit),
    }


def _weight(grams: Decimal | None, unit: str) -> str | None:
    return None if grams is None else weight_text(grams, unit)


def card(stone: TableStone, by: str, tray: Tray) -> dict[str, Any] | None:
    """Return all that is shown of a stone; ``None`` where its look is not there any more."""
    graded = tray.look(stone.measured)
    if graded is None:
        return None
    look, profile = graded[0], tray.session.profile
    joint = joint_pieces(tray.ledger)
    record = tray.called(*graded, joint)
    photo = record["photo"]
    piece = next(one for one in record["pieces"] if one["id"] == stone.piece)
    proposal = headline.proposal_of(piece)
    told = piece_facts(piece) + facts(piece, proposal)
    return {
        **tile(stone, by, tray.session.settings.unit),
        "stone": stone.piece,
        "measured": stone.measured,
        "heard": stone.heard,
        "headline": headed(proposal, profile)["grade"],
        "meaning": headed(proposal, profile)["meaning"],
        "proposes": _proposes(stone, proposal),
        "accepts": stone.likely[0] if len(stone.likely) == 1 else None,
        "chances": [
            {"grade": grade, "words": words.percent(p), "share": round(p, 3)}
            for grade, p in chances(proposal).items()
        ],
        "set": headline.set_words(proposal) if proposal else None,
        "reasons": proposal["reasons"] if proposal else [],
        "what_if": proposal.get("what_if") if proposal else None,
        "rules": headline.rules_words(proposal) if proposal else None,
        "model": proposal["model"] if proposal else None,
        "blocks": _blocks(told),
        "verdict": piece["verdict"],
        "remedies": _remedies(record, piece),
        "scene": piece["scene"]["score"],
        "calls": [_call(call) for call in piece["calls"]],
        "counts": words.house_words(piece),
        "said": _own_scene(stone, by),
        "pictures": _pictures(stone, look, piece, photo, profile)
        | {"patches": patch_rows(look, stone.piece, tray)},
        "faces": _faces(stone, look, joint, tray),
    }


def _proposes(stone: TableStone, proposal: Mapping[str, Any] | None) -> tuple[str, ...]:
    """The grades whose buttons are marked; none where any grade may be right."""
    if proposal is None or len(proposal["grade_set"]["grades"]) == len(proposal["probabilities"]):
        return ()
    return stone.likely


def _own_scene(stone: TableStone, by: str) -> int | None:
    own = stone.own(by)
    return own and own["scene"]


def _blocks(told: list[tuple[str, str]]) -> list[dict[str, Any]]:
    """Facts under the four headings, and the photo; a line without a name goes on with the one before."""
    lines: dict[str, list[str]] = {}
    last = ""
    for name, text in told:
        last = name or last
        lines.setdefault(last, []).append(text)
    blocks = []
    for heading, names in _BLOCKS.items():
        texts = [
            f"{name}: {text}" if name not in (heading, "lines", "sound", "sell as") else text
            for name in names
            for text in lines.get(name, ())
        ]
        texts = [f"sell as {t}" if t in lines.get("sell as", ()) else t for t in texts]
        blocks.append({"name": heading, "lines": texts})
    return blocks


def _remedies(record: Mapping[str, Any], piece: Mapping[str, Any]) -> list[str]:
    """What is to be known of the photo, and what to do; that it has no scale stands with the size."""
    quiet = (NO_SCALE.code, "duplicate", "call_without_stone")
    both = [*piece["warnings"], *record["photo"]["warnings"]]
    return list(dict.fromkeys(one["text"] for one in both if one["code"] not in quiet))


def _call(call: Mapping[str, Any]) -> dict[str, Any]:
    said = LEFT if call["note"] == LEFT else words.grade_and_scene_words(call) or call["note"] or ""
    note = None if call["note"] in (LEFT, said) else call["note"]
    return {"by": call["by"] or words.UNNAMED, "says": said, "time": call["time"], "note": note}


def _pictures(
    stone: TableStone, look: Look, piece: dict, photo: dict, profile: Profile
) -> dict[str, Any]:
    """Where its pictures are, and what is laid over them, in px of the photo."""
    left, top, right, bottom = stone_window(tuple(piece["box"]), photo["width"], photo["height"])
    kept = look.pictures[stone.piece]
    shows = shown_views(piece, photo, look.stone_pictures(stone.piece), profile)
    return {
        "small": stone.picture and f"/pictures/{stone.picture}",
        "large": f"/large/{stone.measured}/{stone.piece}.jpg",
        "whole": f"/whole/{stone.measured}/{stone.piece}.jpg",
        "regions": f"/pictures/{kept['regions'].name}" if "regions" in kept else None,
        "best": f"data:image/png;base64,{shows['best']}" if "best" in shows else None,
        "best_words": shows.get("words", []),
        "counted": [
            {"swatch": f"data:image/png;base64,{swatch}", "words": text}
            for swatch, text in shows.get("counted", [])
        ],
        "window": [left, top, right - left, bottom - top],
        "outline": piece["outline"],
        "lines": [_line(line) for line in piece["cracks"]["lines"]],
    }


def _line(line: Mapping[str, Any]) -> dict[str, Any]:
    length = f"{line['length_px']:.0f} px"
    if line["length_mm"] is not None:
        length = f"{line['length_mm']:.0f} mm"
    told = ", said by a person" if line.get("source") == "seller" else ""
    return {
        "id": line["id"],
        "class": line["class"],
        "words": f"line {line['id']}: {line['class']}, {length}{told}",
        "points": line["points"],
    }


def _faces(
    stone: TableStone, look: Look, joint: Sequence[JointPiece], tray: Tray
) -> list[dict[str, Any]]:
    """The other faces of its piece, where several are known."""
    piece = piece_at(place_of(look, stone.piece), joint)
    if piece is None:
        return []
    uids = views.last_looks(tray.ledger, [face.sha256 for face in piece.faces])
    looks = {sha: graded[0] for sha, uid in uids.items() if (graded := tray.look(uid))}
    on_photos = {sha: replace(one.on_photo, photo=sha) for sha, one in looks.items()}
    return [
        _face(looks[sha], number)
        for sha, number in piece.places(on_photos)
        if (sha, number) != (stone.sha256, stone.piece)
    ]


def _face(look: Look, number: int) -> dict[str, Any]:
    piece = next(one for one in look.record["pieces"] if one["id"] == number)
    kept = look.pictures[number]
    return {
        "photo": PurePosixPath(look.ask.file).name,
        "state": words.state_words(piece["state"]),
        "small": f"/pictures/{(kept.get('photo') or kept['sheet']).name}",
        "large": f"/large/{look.uid}/{number}.jpg",
    }
