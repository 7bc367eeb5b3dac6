"""Several faces of one piece: its record, and what is told of it as one stone."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from grader.grading.features.facts import StoneFacts
from grader.grading.features.several_faces import best_face, most_lined_face, with_any_line
from grader.grading.proposal import Proposal, SceneEstimate
from grader.profile import Profile
from grader.report.headline import headed_words, line_care_words
from grader.report.result import proposal_record
from grader.report.screen import block, proposal_facts, table
from grader.report.words import (
    calls_words,
    healed_words,
    no_line_words,
    score_words,
    sound_words,
)


@dataclass(frozen=True)
class Face:
    """One face of a piece, as its photo was shown.

    file : of the photo.   stone : its record.   facts : what it alone is graded by.
    """

    file: str
    sha256: str
    stone: dict
    facts: StoneFacts


def one_piece_record(
    faces: Sequence[Face], says: tuple[SceneEstimate, Proposal | None], weight_g: float | None
) -> dict:
    """Return what is said of the piece: its faces, whose picture and whose lines count, scene and proposal.

    weight_g : of the piece, ``None`` where nobody says it.
    """
    scene, proposal = says
    facts = [face.facts for face in faces]
    lined = faces[most_lined_face(facts)] if with_any_line(facts) else None
    sounded = [face for face in faces if face.stone["sound"]]
    worst = min(sounded, key=lambda face: face.stone["sound"]["largest"]["value"], default=None)
    return {
        "faces": [_face_record(face) for face in faces],
        "scene_from": faces[best_face(facts)].file,
        "lines_from": lined and lined.file,
        "scene": asdict(scene),
        "sound_from": worst and worst.file,
        "sound": worst and worst.stone["sound"],
        "weight_g": weight_g,
        "proposal": proposal_record(proposal),
    }


def _face_record(face: Face) -> dict:
    classes = [line["class"] for line in face.stone["cracks"]["lines"]]
    return {
        "file": face.file,
        "sha256": face.sha256,
        "id": face.stone["id"],
        "state": face.stone["state"]["value"],
        "cracks": classes.count("crack"),
        "uncertain": classes.count("uncertain"),
        "healed_or_seam": classes.count("pattern line"),
        "retake": face.facts.retake,
    }


def one_piece_text(stone: dict, profile: Profile, more: bool = False) -> str:
    """Return what is told of a piece as one stone: grade, whence scene and lines are taken, and why.

    stone : the record of one of its faces, with what is said of the piece in it.
    """
    piece = stone["piece"]
    faces, proposal = piece["faces"], piece["proposal"]
    facts = [
        ("call", calls_words(stone) or (more and "none yet")),
        *proposal_facts(proposal, more),
        ("from", from_words(piece)),
        ("scene", score_words(piece["scene"])),
        ("weight", piece["weight_g"] and f"{piece['weight_g']:.5g} g"),
        ("lines", _lines_words(faces)),
        *(block("sound", _sound_words(piece)) if more else ()),
        ("care", line_care_words(_as_stone(piece))),
    ]
    return table(f"The piece, {len(faces)} faces   {headed_words(proposal, profile)}", facts) + "\n"


def from_words(piece: dict) -> str:
    """Return "scene from B.jpg, lines from A.jpg, the worst of 2 faces"."""
    if again := [face["file"] for face in piece["faces"] if face["retake"]]:
        return f"photograph again: {', '.join(again)}"
    scene = f"scene from {piece['scene_from']}"
    if piece["lines_from"] is None:
        return f"{scene}, the best of {len(piece['faces'])} faces"
    return f"{scene}, lines from {piece['lines_from']}, the worst of {len(piece['faces'])} faces"


def _lines_words(faces: Sequence[dict]) -> str:
    lined = [face["file"] for face in faces if face["cracks"] or face["uncertain"]]
    if not lined:
        unseen = no_line_words([face["state"] for face in faces])
        healed = sum(face["healed_or_seam"] for face in faces)
        if not healed:
            return unseen
        return f"{healed_words(healed)}; {unseen.replace('no line', 'no other line')}"
    return f"seen on {len(lined)} of {len(faces)} faces: {', '.join(lined)}"


def _sound_words(piece: dict) -> list[str]:
    if piece["sound"] is None:
        return []
    return [f"{piece['sound_from']} counts, the worst face", *sound_words(piece["sound"])]


def _as_stone(piece: dict) -> dict:
    count = sum(face["cracks"] for face in piece["faces"])
    return {"proposal": piece["proposal"], "cracks": {"count": count}}
