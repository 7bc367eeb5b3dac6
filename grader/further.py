"""What further photos of the same face show of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from numpy.typing import NDArray

from grader.face.sight.cut import with_light
from grader.face.sight.drying import DryingPair, drying_pair
from grader.face.sight.view import FaceView, PreparedPhoto, find_again, outline_of, see_face
from grader.measures import Remark
from grader.photo.align import Alignment
from grader.photo.photo import Photo
from grader.photo.reference import Reference, find_reference
from grader.photo.tags import Tag
from grader.profile import Profile


@dataclass(frozen=True)
class FurtherPhoto:
    """Another photo of the same face; ``left_out`` says why it is not used, and is ``None`` where it is; ``tags`` are
    those in it, where they were looked for."""

    photo: Photo
    left_out: Remark | None
    tags: tuple[Tag, ...] = ()


@dataclass(frozen=True)
class SeenAgain:
    """What a further photo shows of a face: how it is read there, or why not; and its outline where it is seen."""

    read: tuple[FaceView, Alignment] | DryingPair | Remark
    outline: NDArray | None = None


def view_again(
    earlier: Sequence[Photo],
    first: FaceView,
    other: PreparedPhoto,
    reference: Reference,
    profile: Profile,
    given_state: str | None,
) -> SeenAgain:
    """Return the same face in another photo, the pair that a wet and a dry one make, or why that photo is left out.

    earlier : the photos given before it, that of the first view in front.
    """
    name = other.photo.name
    if double := next((e for e in earlier if e.sha256 == other.photo.sha256), None):
        return SeenAgain(
            Remark("same_photo", f"{name}: is the same photo as {double.name}; left out")
        )
    found = find_again(first, other)
    if found is None:
        text = "does not show the same face, or from too far aside; left out"
        return SeenAgain(Remark("other_face", f"{name}: {text}"))
    face, alignment = found
    outline = face.to_photo_px(alignment.to_other(outline_of(first.face)))
    again = see_face(face, profile, given_state)
    if {first.state.value, again.state.value} != {"wet", "dry"}:
        return SeenAgain((again, alignment), outline)
    later_reference = find_reference(other.photo, setup=profile.setup)
    one_white = reference.white_known and later_reference.white_known
    if given_state or one_white:
        again = replace(again, face=with_light(again.face, again.face.linear, later_reference))
        return SeenAgain(drying_pair(first, again, alignment, one_white), outline)
    text = (
        f"{name}: looks {again.state.value}, {earlier[0].name} {first.state.value}; left out. "
        "If the face has dried in between, say --dried; if both were wet, or both dry, say so with --state"
    )
    return SeenAgain(Remark("other_state", text), outline)


def card_elsewhere(reference: Reference, others: Sequence[Photo]) -> tuple[Remark, ...]:
    """Return that the card or chart is in a further photo alone, where it is of no use: light and scale are the first
    photo's."""
    if reference.card or reference.chart:
        return ()
    for other in others:
        other_reference = find_reference(other)
        if other_reference.card or other_reference.chart:
            what = "card" if other_reference.card else "chart"
            text = f"the {what} is only in {other.name}: name that photo first"
            return (Remark("card_elsewhere", text),)
    return ()
