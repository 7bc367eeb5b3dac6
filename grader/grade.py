"""The way of one photo: photo → pieces → face → measurements → proposal.

Further photos of the same face join it at the face: what is glare in the first is filled from them.

A remark bears its sentence beside its code, since what is wrong and what helps is known where it is found; all other
words are the report's.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from grader.errors import PhotoError
from grader.face.face import Face
from grader.face.measure import measure_face
from grader.face.measurements import Measurements
from grader.face.regions.regions import find_regions
from grader.face.sight.cut import cut_face
from grader.face.sight.drying import DriedLines, DryingPair
from grader.face.sight.filled import GlareFilledFace, fill_glare
from grader.face.sight.view import (
    FaceView,
    PreparedPhoto,
    search,
    see_face,
)
from grader.face.size import size_class
from grader.face.words import NOTHING_SAID, StoneWords
from grader.further import FurtherPhoto, card_elsewhere, view_again
from grader.grading.calls.joining import Stones, stone_words
from grader.grading.features.facts import StoneFacts, stone_facts
from grader.grading.models.familiarity import appearance_features
from grader.grading.models.model import Model
from grader.grading.models.model_files import load_model
from grader.grading.proposal import Call, Proposal, SceneEstimate
from grader.grading.propose import propose, scene_estimate
from grader.measures import Remark
from grader.photo import patience
from grader.photo.photo import Photo, Scale
from grader.photo.pieces import Piece, find_pieces, whole_photo
from grader.photo.read import DAMAGED, read_photo
from grader.photo.reference import Reference, find_reference
from grader.photo.surface import State
from grader.photo.tags import Tag, covered, find_tags
from grader.photo.terms import PhotoTerms
from grader.photo.verdict import WITH_CARE, Framing, Verdict, judge_photo
from grader.profile import Profile, load_profile
from grader.spots import GLARE

#: Where the seller says nothing of a photo.
SAYS_NOTHING = PhotoTerms()
#: A picture less wide than the narrowest face that a profile may ask for, or longer than so many times its other side,
#: shows no stone; made smaller for a search, nothing would be left of its width.
LEAST_SIDE_PX, MOST_TIMES_LONGER = 8, 40


@dataclass(frozen=True)
class MeasuredPiece:
    """One stone with all that is measured on it, before any opinion.

    size_class and area_cm2 are ``None`` where the scale is not known; scale is that at the face.
    filled_share : of the face, 0 to 1, glare in this photo and filled from others, which ``face`` then holds.
    left_out : for each further photo why it does not serve this stone, ``None`` where it does.
    again : for each further photo the outline of the face there, px of that photo, ``None`` where it is not seen.
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
    again: tuple[NDArray | None, ...] = ()


@dataclass(frozen=True)
class MeasuredPhoto:
    """One photo with its measured stones: no pieces means that no stone was found, and ``remarks`` says so.

    same_face : the further photos of the same face that were given, used or not.
    tags : in the photo, where they were looked for.
    """

    photo: Photo
    reference: Reference
    terms: PhotoTerms
    pieces: tuple[MeasuredPiece, ...]
    remarks: tuple[Remark, ...]
    same_face: tuple[FurtherPhoto, ...] = ()
    tags: tuple[Tag, ...] = ()


@dataclass(frozen=True)
class GradedPiece:
    """A measured stone with what it is graded by and the proposal; ``proposal`` is ``None`` on retake, the scene
    estimate stays."""

    measured: MeasuredPiece
    facts: StoneFacts
    scene: SceneEstimate
    proposal: Proposal | None


@dataclass(frozen=True)
class Graded:
    """One photo, measured, and a proposal for each of its stones."""

    measured: MeasuredPhoto
    pieces: tuple[GradedPiece, ...]

    @property
    def photo(self) -> Photo:
        return self.measured.photo

    @property
    def reference(self) -> Reference:
        return self.measured.reference

    @property
    def remarks(self) -> tuple[Remark, ...]:
        return self.measured.remarks


def grade_photo(
    photo: str | Path | Photo,
    *,
    terms: PhotoTerms = SAYS_NOTHING,
    profile: str | Path | Profile = "banded",
    model: str | Path | Model | None = None,
    calls: Iterable[Call] = (),
) -> Graded:
    """Grade every stone in a photo.

    Parameters
    ----------
    photo : a file, or a photo that ``read_photo`` returned.
    terms : what the seller says of the photo.
    profile : name of a shipped profile, a TOML file, or a profile.
    model : folder of a trained model, or a loaded one; the starter by default.
    calls : the seller's; their words on lines and patches of this photo hold, the rest is for the report to tell.

    Raises
    ------
    PhotoError, SettingsError, ModelError
        One line each: which file, what is wrong, what to do.
    """
    profile = profile if isinstance(profile, Profile) else load_profile(profile)
    model = model if isinstance(model, Model) else load_model(model)
    return grade_measured(measure_file(photo, terms, profile, calls), profile, model)


def measure_file(
    photo: str | Path | Photo, terms: PhotoTerms, profile: Profile, calls: Iterable[Call] = ()
) -> MeasuredPhoto:
    """Return every stone of a photo, measured: the one way from a file and what is said of it to numbers.

    Parameters
    ----------
    photo : a file, or a photo that ``read_photo`` returned, which then holds its own scale.
    terms : what the seller says of it; photos of the same face are files.
    calls : the seller's, for their words on lines and patches of this photo.

    Raises
    ------
    PhotoError, ModelError
        One line each: which file, what is wrong, what to do.
    """
    photo = _as_read(photo, profile, terms.mm_per_px)
    if terms.dried and terms.state not in (None, "wet"):
        raise PhotoError(
            f"{photo.name}: of a wet and a dried photo the first is the wet one", "dried"
        )
    others = [_as_read(other, profile) for other in terms.same_face]
    reference = find_reference(
        photo,
        setup=profile.setup,
        height_mm=terms.height_mm,
        neutral=terms.neutral,
        whole=terms.whole,
        camera_white=terms.camera_white,
    )
    return measure_photo(photo, terms, profile, reference, calls=calls, same_face=others)


def _as_read(photo: str | Path | Photo, profile: Profile, mm_per_px: float | None = None) -> Photo:
    if not isinstance(photo, Photo):
        most = profile.limits.photo_megapixels
        photo = read_photo(photo, max_megapixels=most, mm_per_px=mm_per_px)
    short, long = sorted((photo.width, photo.height))
    if short < LEAST_SIDE_PX or long > MOST_TIMES_LONGER * short:
        raise PhotoError(
            f"{photo.name}: a strip of {photo.width} x {photo.height} px, too narrow for a stone; give the whole photo",
            "not_a_photo",
        )
    patience.allow(patience.LOOK_S_PER_MEGAPIXEL * photo.width * photo.height / 1e6)
    return photo


def shows_tag(photo: str | Path, profile: Profile) -> bool:
    """Return whether there is a tag in a photo, as :func:`measure_file` would find it.

    Raises
    ------
    PhotoError
        It cannot be read: one line.
    """
    return bool(find_tags(_as_read(photo, profile)))


def measure_photo(
    photo: Photo,
    terms: PhotoTerms,
    profile: Profile,
    reference: Reference,
    *,
    calls: Iterable[Call] = (),
    same_face: Sequence[Photo] = (),
) -> MeasuredPhoto:
    """Return every stone of a photo that is read, measured.

    All is told in px of ``photo``, by its reference; what is glare in it is read from further photos in its state, wet
    or dry; one in the other state moves the chances of lines.

    Parameters
    ----------
    terms : what the seller says of it; its scale and its further photos are in ``photo`` and ``same_face`` already.
    reference : what its colours and lengths are referred to, by :func:`~grader.photo.reference.find_reference`.
    calls : the seller's, for their words on lines and patches.
    same_face : further photos of the same stones.

    Raises
    ------
    PhotoError
        One weight for several stones.
    """
    tags = find_tags(photo) if terms.tags else ()
    papers = [tag.paper for tag in tags]
    pieces, remarks = whole_photo(photo) if terms.whole else find_pieces(photo, papers)
    pieces, upon = covered(pieces, tags)
    if terms.weight is not None and len(pieces) > 1:
        raise PhotoError(
            f"{photo.name}: one weight and {len(pieces)} stones; photograph the weighed one alone",
            "one_weight",
        )
    stones = Stones(photo.name, photo.sha256, {piece.id: piece.box for piece in pieces})
    words = stone_words(stones, calls)
    patience.allow(patience.LOOK_S_PER_STONE * len(pieces) * (1 + len(same_face)))
    searched = [search(other) for other in same_face] if pieces else []
    measured = tuple(
        measure_piece(
            photo, piece, reference, profile, terms, words.get(piece.id, NOTHING_SAID), searched
        )
        for piece in pieces
    )
    further = _further_photos(photo, same_face, measured, terms.tags)
    remarks += tuple(other.left_out for other in further if other.left_out)
    remarks += card_elsewhere(reference, [other.photo for other in further if not other.left_out])
    remarks = photo.remarks + reference.remarks + remarks + upon
    return MeasuredPhoto(photo, reference, terms, measured, remarks, further, tags)


def grade_measured(measured: MeasuredPhoto, profile: Profile, model: Model) -> Graded:
    """Return the proposals for the stones of a measured photo."""
    return Graded(measured, tuple(_grade_piece(m, profile, model) for m in measured.pieces))


def facts_of(measured: MeasuredPiece, profile: Profile) -> StoneFacts:
    """Return what a measured stone is graded by."""
    return stone_facts(
        measured.measurements,
        profile,
        size_class=measured.size_class,
        appearance=appearance_features(measured.face.lab, measured.face.mask),
        weight_g=measured.weight_g,
        retake=measured.verdict.value == "retake",
    )


def _grade_piece(measured: MeasuredPiece, profile: Profile, model: Model) -> GradedPiece:
    facts = facts_of(measured, profile)
    scene = scene_estimate(facts, model)
    return GradedPiece(measured, facts, scene, propose(facts, scene, profile, model))


def measure_piece(
    photo: Photo,
    piece: Piece,
    reference: Reference,
    profile: Profile,
    terms: PhotoTerms,
    words: StoneWords = NOTHING_SAID,
    others: Sequence[PreparedPhoto] = (),
) -> MeasuredPiece:
    """Return one stone of a photo, measured.

    words : of the seller, on its lines and patches.   others : further photos of the same face.
    """
    state, later_state = ("wet", "dry") if terms.dried else (terms.state, terms.state)
    view = see_face(cut_face(photo, piece, reference), profile, state, words.patches)
    others_read = [
        view_again(
            [photo, *(o.photo for o in others[:n])],
            view,
            other,
            reference,
            profile,
            later_state,
        )
        for n, other in enumerate(others)
    ]
    reads = [other.read for other in others_read]
    drying = next((s for s in reads if isinstance(s, DryingPair)), None)
    filled = fill_glare(view, [s for s in reads if isinstance(s, tuple)], reference)
    measured = measure_view(
        piece,
        view,
        filled,
        view.hidden,
        reference.scale_at(*_middle(piece)),
        profile,
        words,
        drying,
    )
    verdict = measured.verdict
    for remark in photo.remarks:
        if remark.code == DAMAGED:
            verdict = verdict.no_better_than(WITH_CARE, remark)
    return replace(
        measured,
        verdict=verdict,
        weight_g=terms.weight_g,
        left_out=tuple(s if isinstance(s, Remark) else None for s in reads),
        again=tuple(other.outline for other in others_read),
    )


def measure_view(
    piece: Piece,
    view: FaceView,
    filled: GlareFilledFace,
    hidden: NDArray[np.bool_],
    scale: Scale,
    profile: Profile,
    words: StoneWords = NOTHING_SAID,
    drying: DryingPair | DriedLines | None = None,
) -> MeasuredPiece:
    """Return a stone, measured, of what its photos show of it.

    view : the face in the photo, and its state.   filled : the same with its glare filled.
    hidden : ndarray of shape (h, w), what glare hides in the photo itself.   scale : at the face.
    """
    face = filled.face
    same = face is view.face
    # What the seller calls glare in this photo may be filled from others: then it is read there.
    patches = [word for word in words.patches if word.says != GLARE]
    regions = view.regions if same else find_regions(face, filled.glare, profile, patches)
    measurements = measure_face(face, profile, regions, words, drying)
    # Exposure and focus are those of the photo; of glare only what no photo shows is left.
    verdict = judge_photo(
        view.face.linear,
        view.face.lab,
        view.face.mask,
        hidden,
        glare_share=measurements.regions.glare_share,
        framing=Framing(piece.cut_by_frame, face.px_per_photo_px, face.mm_per_px),
        state=view.state,
        limits=profile.limits,
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
        state=view.state,
        verdict=verdict,
        filled_share=filled.share,
    )


def _further_photos(
    photo: Photo, others: Sequence[Photo], measured: Sequence[MeasuredPiece], tags: bool
) -> tuple[FurtherPhoto, ...]:
    """The further photos; one that serves any stone is used."""
    further = []
    for number, other in enumerate(others):
        reasons = [piece.left_out[number] for piece in measured]
        if not reasons:
            reasons = [Remark("no_stone", f"{other.name}: no stone in {photo.name}; left out")]
        left_out = None if None in reasons else reasons[0]
        further.append(FurtherPhoto(other, left_out, find_tags(other) if tags else ()))
    return tuple(further)


def _middle(piece: Piece) -> tuple[float, float]:
    x, y, w, h = piece.box
    return x + w / 2, y + h / 2
