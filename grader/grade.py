"""The way of one photo: photo → pieces → face → measurements → proposal.

Further photos of the same face join it at the face: what is glare in the first is filled from them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from grader.errors import PhotoError
from grader.face.cut import cut_face, with_light
from grader.face.drying import DriedLines, DryingPair, drying_pair
from grader.face.face import Face
from grader.face.filled import Filled, fill_glare
from grader.face.line_words import LineWord
from grader.face.measure import measure_face
from grader.face.measurements import Measurements
from grader.face.regions import find_regions
from grader.face.sighting import Searched, Sighting, find_again, search, see_face
from grader.face.size import size_class
from grader.grading.joining import Stones, line_words
from grader.grading.model import Model, load_model
from grader.grading.proposal import Call, Proposal, SceneEstimate
from grader.grading.propose import propose, scene_estimate
from grader.grading.strangers import look_of
from grader.measures import Remark
from grader.photo.align import Alignment
from grader.photo.photo import Photo, Scale
from grader.photo.pieces import Piece, find_pieces, whole_photo
from grader.photo.read import read_photo
from grader.photo.reference import Neutral, Reference, find_reference, no_reference
from grader.photo.surface import State
from grader.photo.verdict import Verdict, judge_photo
from grader.profile import Profile, load_profile


@dataclass(frozen=True)
class MeasuredPiece:
    """One stone with all that is measured on it, before any opinion.

    size_class and area_cm2 are ``None`` where the scale is not known; scale is that at the face.
    filled_share : of the face, 0 to 1, glare in this photo and filled from others, which ``face`` then holds.
    left_out : for each further photo why it does not serve this stone, ``None`` where it does.
    weight_g : of the piece, where the seller says it.
    """

    piece: Piece
    face: Face
    measurements: Measurements
    size_class: str | None
    area_cm2: float | None
    scale: Scale
    state: State
    verdict: Verdict
    weight_g: float | None = None
    filled_share: float = 0.0
    left_out: tuple[Remark | None, ...] = ()


@dataclass(frozen=True)
class FurtherPhoto:
    """Another photo of the same face; ``left_out`` says why it is not used, and is ``None`` where it is."""

    photo: Photo
    left_out: Remark | None


@dataclass(frozen=True)
class GradedPiece:
    """A measured stone with the proposal; ``proposal`` is ``None`` on retake, the scene estimate stays."""

    measured: MeasuredPiece
    scene: SceneEstimate
    proposal: Proposal | None


@dataclass(frozen=True)
class Graded:
    """One photo, graded: no pieces means that no stone was found, and ``remarks`` says so.

    same_face : the further photos of it that were given, used or not.
    """

    photo: Photo
    reference: Reference
    pieces: tuple[GradedPiece, ...]
    remarks: tuple[Remark, ...]
    same_face: tuple[FurtherPhoto, ...] = ()


def grade_photo(
    photo: str | Path | Photo,
    *,
    profile: str | Path | Profile = "banded",
    model: str | Path | Model | None = None,
    mm_per_px: float | None = None,
    height_mm: float | None = None,
    neutral: Neutral | None = None,
    whole: bool = False,
    state: str | None = None,
    weight_g: float | None = None,
    calls: Iterable[Call] = (),
    same_face: Sequence[str | Path | Photo] = (),
    dried: bool = False,
) -> Graded:
    """Grade every stone in a photo.

    Parameters
    ----------
    photo : a file, or a photo that ``read_photo`` returned.
    profile : name of a shipped profile, a TOML file, or a profile.
    model : folder of a trained model, or a loaded one; the starter by default.
    mm_per_px : millimetres per px of the upright full-size photo, where ``photo`` is a file; a
        photo that was read holds its own.
    height_mm : of the faces above the photo card, where the seller says it; 0 for a card at their height.
    neutral : a neutral place in the photo that the seller declares.
    whole : the picture is filled by one face, so nothing is cut out.
    state : "wet", "dry" or "patchy", where the seller says so; else read from the photo.
    weight_g : of the one stone in the photo.
    calls : the seller's; their words on lines of this photo hold, the rest is for the report to tell.
    same_face : further photos of the same face, lamp or camera moved. All is told in px of ``photo``, by its card; what
        is glare in it is read from the others in its state, wet or dry; one in the other state moves the chances of
        lines.
    dried : ``photo`` shows the face wet, the others after it has dried.

    Raises
    ------
    PhotoError, SettingsError, ModelError
        One line each: which file, what is wrong, what to do.
    """
    profile = profile if isinstance(profile, Profile) else load_profile(profile)
    model = model if isinstance(model, Model) else load_model(model)
    photo = _as_read(photo, profile, mm_per_px)
    if dried and state not in (None, "wet"):
        raise PhotoError(
            f"{photo.name}: of a wet and a dried photo the first is the wet one", "dried"
        )
    others = [_as_read(other, profile) for other in same_face]
    reference = find_reference(photo, setup=profile.setup, height_mm=height_mm, neutral=neutral)
    measured, remarks = measure_photo(
        photo,
        profile,
        reference=reference,
        whole=whole,
        state=state,
        calls=calls,
        same_face=others,
        dried=dried,
    )
    measured = _weighed(measured, weight_g, photo)
    pieces = tuple(_grade_piece(m, profile, model) for m in measured)
    further = _further_photos(photo, others, measured)
    remarks += tuple(other.left_out for other in further if other.left_out)
    remarks += _card_elsewhere(reference, [other.photo for other in further if not other.left_out])
    return Graded(photo, reference, pieces, photo.remarks + reference.remarks + remarks, further)


def _as_read(photo: str | Path | Photo, profile: Profile, mm_per_px: float | None = None) -> Photo:
    if isinstance(photo, Photo):
        return photo
    return read_photo(photo, max_megapixels=profile.limits.photo_megapixels, mm_per_px=mm_per_px)


def measure_photo(
    photo: Photo,
    profile: Profile,
    *,
    reference: Reference | None = None,
    whole: bool = False,
    state: str | None = None,
    calls: Iterable[Call] = (),
    same_face: Sequence[Photo] = (),
    dried: bool = False,
) -> tuple[tuple[MeasuredPiece, ...], tuple[Remark, ...]]:
    """Return every stone of a photo, measured, and what is to be said of the photo as a whole.

    reference : what its colours and lengths are referred to; without it nothing is looked for.
    calls : the seller's, for their words on lines.
    same_face : further photos of the same stones.
    dried : the photo shows them wet, the further ones after they have dried.
    """
    reference = reference or no_reference(photo)
    pieces, remarks = whole_photo(photo) if whole else find_pieces(photo)
    stones = Stones(photo.name, photo.sha256, {piece.id: piece.box for piece in pieces})
    words = line_words(stones, calls)
    searched = [search(other) for other in same_face] if pieces else []
    states = ("wet", "dry") if dried else (state, state)
    measured = tuple(
        _measure_piece(photo, piece, reference, profile, states, words.get(piece.id, ()), searched)
        for piece in pieces
    )
    return measured, remarks


def _measure_piece(
    photo: Photo,
    piece: Piece,
    reference: Reference,
    profile: Profile,
    given_states: tuple[str | None, str | None],
    words: Sequence[LineWord],
    others: Sequence[Searched],
) -> MeasuredPiece:
    """``given_states`` : of the photo and of the others, where the seller says so."""
    seen = see_face(cut_face(photo, piece, reference), profile, given_states[0])
    shown = [
        _seen_again(
            [photo, *(o.photo for o in others[:n])],
            seen,
            other,
            reference,
            profile,
            given_states[1],
        )
        for n, other in enumerate(others)
    ]
    drying = next((s for s in shown if isinstance(s, DryingPair)), None)
    filled = fill_glare(seen, [s for s in shown if isinstance(s, tuple)], reference)
    measured = measure_seen(
        piece,
        seen,
        filled,
        seen.hidden,
        reference.scale_at(*_middle(piece)),
        profile,
        words,
        drying,
    )
    return replace(measured, left_out=tuple(s if isinstance(s, Remark) else None for s in shown))


def measure_seen(
    piece: Piece,
    seen: Sighting,
    filled: Filled,
    hidden: NDArray[np.bool_],
    scale: Scale,
    profile: Profile,
    words: Sequence[LineWord] = (),
    drying: DryingPair | DriedLines | None = None,
) -> MeasuredPiece:
    """Return a stone, measured, of what its photos show of it.

    seen : the face in the photo, and its state.   filled : the same with its glare filled.
    hidden : ndarray of shape (h, w), what glare hides in the photo itself.   scale : at the face.
    """
    face, state = filled.face, seen.state
    same = face is seen.face
    regions = seen.regions if same else find_regions(face, filled.glare, profile)
    measurements = measure_face(face, profile, regions, words, drying)
    # Exposure and focus are those of the photo; of glare only what no photo shows is left.
    verdict = judge_photo(
        seen.face.linear,
        seen.face.lab,
        seen.face.mask,
        hidden,
        glare_share=measurements.regions.glare_share,
        cut_by_frame=piece.cut_by_frame,
        state=state,
        limits=profile.limits,
        px_per_photo_px=face.px_per_photo_px,
        mm_per_px=face.mm_per_px,
    )
    return MeasuredPiece(
        piece=piece,
        face=face,
        measurements=measurements,
        size_class=None
        if face.mm_per_px is None
        else size_class(face.mask, face.mm_per_px, profile.ovals_mm),
        area_cm2=measurements.area_cm2,
        scale=scale,
        state=state,
        verdict=verdict,
        filled_share=filled.share,
    )


def _weighed(
    measured: tuple[MeasuredPiece, ...], weight_g: float | None, photo: Photo
) -> tuple[MeasuredPiece, ...]:
    if weight_g is not None and len(measured) > 1:
        raise PhotoError(
            f"{photo.name}: one weight and {len(measured)} stones; photograph the weighed one alone",
            "one_weight",
        )
    return tuple(replace(one, weight_g=weight_g) for one in measured)


def _seen_again(
    earlier: Sequence[Photo],
    first: Sighting,
    other: Searched,
    reference: Reference,
    profile: Profile,
    given_state: str | None,
) -> tuple[Sighting, Alignment] | DryingPair | Remark:
    """The same face in another photo, the pair that a wet and a dry one make, or why that photo is left out.

    earlier : the photos given before it, that of the first sighting in front.
    """
    name = other.photo.name
    if double := next((e for e in earlier if e.sha256 == other.photo.sha256), None):
        return Remark("same_photo", f"{name}: is the same photo as {double.name}; left out")
    found = find_again(first, other)
    if found is None:
        text = "does not show the same face, or from too far aside; left out"
        return Remark("other_face", f"{name}: {text}")
    face, alignment = found
    again = see_face(face, profile, given_state)
    if {first.state.value, again.state.value} != {"wet", "dry"}:
        return again, alignment
    there = find_reference(other.photo, setup=profile.setup)
    one_white = "uncalibrated" not in (reference.colour_source, there.colour_source)
    if given_state or one_white:
        again = replace(again, face=with_light(again.face, again.face.linear, there))
        return drying_pair(first, again, alignment, one_white)
    text = (
        f"{name}: looks {again.state.value}, {earlier[0].name} {first.state.value}; left out. "
        "If the face has dried in between, say --dried; if both were wet, or both dry, say so with --state"
    )
    return Remark("other_state", text)


def _further_photos(
    photo: Photo, others: Sequence[Photo], measured: Sequence[MeasuredPiece]
) -> tuple[FurtherPhoto, ...]:
    """The further photos; one that serves any stone is used."""
    further = []
    for number, other in enumerate(others):
        reasons = [piece.left_out[number] for piece in measured]
        if not reasons:
            reasons = [Remark("no_stone", f"{other.name}: no stone in {photo.name}; left out")]
        further.append(FurtherPhoto(other, None if None in reasons else reasons[0]))
    return tuple(further)


def _card_elsewhere(reference: Reference, others: Sequence[Photo]) -> tuple[Remark, ...]:
    """Light and scale are the first photo's, so a card that only another one shows is of no use there."""
    if reference.card or reference.chart:
        return ()
    for other in others:
        there = find_reference(other)
        if there.card or there.chart:
            what = "card" if there.card else "chart"
            text = f"the {what} is only in {other.name}: name that photo first"
            return (Remark("card_elsewhere", text),)
    return ()


def _middle(piece: Piece) -> tuple[float, float]:
    x, y, w, h = piece.box
    return x + w / 2, y + h / 2


def _grade_piece(measured: MeasuredPiece, profile: Profile, model: Model) -> GradedPiece:
    scene = scene_estimate(measured.measurements, profile, model)
    if measured.verdict.value == "retake":
        return GradedPiece(measured, scene, None)
    proposal = propose(
        measured.measurements,
        measured.size_class,
        scene,
        profile,
        model,
        measured.weight_g,
        look_of(measured.face.lab, measured.face.mask),
    )
    return GradedPiece(measured, scene, proposal)
