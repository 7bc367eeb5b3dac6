"""Several faces of one piece as the facts of one stone: the picture of the best face, the soundness of the worst."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from grader.grading.features.facts import StoneFacts
from grader.grading.features.features import with_scene
from grader.profile import Profile

#: Of these the most on any face counts: a line goes through the piece, whichever face shows it.
_LINES = ("crack_density", "line_density", "crack_count")
#: Of these the least on any face with a crack or a doubtful line: where none is seen, a plain back takes nothing from
#: a good front.
_ROOM = ("pattern_room_share", "colour_room_share")


def piece_facts(faces: Sequence[StoneFacts], profile: Profile) -> StoneFacts:
    """Return what a piece is graded by, from what each of its faces would be; their order does not matter, and one face
    gives itself.

    Scene, colours and bands are those of the best face. Lines are the most on any face, room for templates the least on
    any face with a crack or a doubtful line. Of the size the largest face tells, of the weight the heaviest word. Where
    one face has to be photographed again, the piece has.

    Raises
    ------
    ValueError
        There is no face.
    """
    if not faces:
        raise ValueError("a piece has a face")
    best, lined = faces[best_face(faces)], faces[most_lined_face(faces)]
    values = dict(best.features)
    for name in _LINES:
        values[name] = _of(max, (face.features[name] for face in faces))
    marked = [best, *(face for face in faces if with_any_line([face]))]
    for name in _ROOM:
        values[name] = _of(min, (face.features[name] for face in marked))
    values["area_cm2"] = _of(max, (face.features["area_cm2"] for face in faces))
    largest = max(faces, key=lambda face: (face.features["area_cm2"] or 0.0, _order(face)))
    return StoneFacts(
        features=with_scene(values, best.features["scene_score"], profile),
        lines=lined.lines,
        face_area_px=lined.face_area_px,
        size_class=largest.size_class,
        appearance=best.appearance,
        weight_g=_of(max, (face.weight_g for face in faces)),
        retake=any(face.retake for face in faces),
    )


def best_face(faces: Sequence[StoneFacts]) -> int:
    """Return which face shows the best scene."""
    scenes = [
        (face.features["scene_score"], face.features["scene_without_lines"] or 0.0, _order(face))
        for face in faces
    ]
    return scenes.index(max(scenes))


def most_lined_face(faces: Sequence[StoneFacts]) -> int:
    """Return which face shows the most of lines."""
    lines = [(*(face.features[name] or 0.0 for name in _LINES), _order(face)) for face in faces]
    return lines.index(max(lines))


def with_any_line(faces: Sequence[StoneFacts]) -> bool:
    """Return whether a crack or a doubtful line is seen on any face."""
    return any(line.kind in ("crack", "uncertain") for face in faces for line in face.lines)


def _order(face: StoneFacts) -> str:
    """By which faces that are as good stand in one order, however they come."""
    return repr(
        replace(
            face, features=sorted(face.features.items()), appearance=sorted(face.appearance.items())
        )
    )


def _of(choose, values: Iterable[float | None]) -> float | None:
    """The greatest or least of what is known."""
    return choose((value for value in values if value is not None), default=None)
