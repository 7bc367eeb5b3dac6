"""The way of one photo: photo → pieces → face → measurements → proposal."""

from dataclasses import dataclass
from pathlib import Path

from grader.face.cut import cut_face
from grader.face.face import Face
from grader.face.measure import measure_face
from grader.face.measurements import Measurements
from grader.face.size import size_class
from grader.grading.model import Model, load_model
from grader.grading.proposal import Proposal, SceneEstimate
from grader.grading.propose import propose, scene_estimate
from grader.measures import Remark
from grader.photo.photo import Photo, Scale
from grader.photo.pieces import Piece, find_pieces, whole_photo
from grader.photo.read import read_photo
from grader.photo.reference import Neutral, Reference, find_reference, no_reference
from grader.photo.surface import State, read_state
from grader.photo.verdict import Verdict, judge_photo
from grader.profile import Profile, load_profile


@dataclass(frozen=True)
class MeasuredPiece:
    """One stone with all that is measured on it, before any opinion.

    size_class and area_cm2 are ``None`` where the scale is not known; scale is that at the face.
    """

    piece: Piece
    face: Face
    measurements: Measurements
    size_class: str | None
    area_cm2: float | None
    scale: Scale
    state: State
    verdict: Verdict


@dataclass(frozen=True)
class GradedPiece:
    """A measured stone with the proposal; ``proposal`` is ``None`` on retake, the scene estimate stays."""

    measured: MeasuredPiece
    scene: SceneEstimate
    proposal: Proposal | None


@dataclass(frozen=True)
class Graded:
    """One photo, graded: no pieces means that no stone was found, and ``remarks`` says so."""

    photo: Photo
    reference: Reference
    pieces: tuple[GradedPiece, ...]
    remarks: tuple[Remark, ...]


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

    Raises
    ------
    PhotoError, SettingsError, ModelError
        One line each: which file, what is wrong, what to do.
    """
    profile = profile if isinstance(profile, Profile) else load_profile(profile)
    model = model if isinstance(model, Model) else load_model(model)
    if not isinstance(photo, Photo):
        photo = read_photo(
            photo, max_megapixels=profile.limits.photo_megapixels, mm_per_px=mm_per_px
        )
    reference = find_reference(photo, height_mm=height_mm, neutral=neutral)
    measured, remarks = measure_photo(photo, profile, reference=reference, whole=whole, state=state)
    pieces = tuple(_grade_piece(m, profile, model) for m in measured)
    return Graded(photo, reference, pieces, photo.remarks + reference.remarks + remarks)


def measure_photo(
    photo: Photo,
    profile: Profile,
    *,
    reference: Reference | None = None,
    whole: bool = False,
    state: str | None = None,
) -> tuple[tuple[MeasuredPiece, ...], tuple[Remark, ...]]:
    """Return every stone of a photo, measured, and what is to be said of the photo as a whole.

    reference : what its colours and lengths are referred to; without it nothing is looked for.
    """
    reference = reference or no_reference(photo)
    pieces, remarks = whole_photo(photo) if whole else find_pieces(photo)
    measured = tuple(_measure_piece(photo, piece, reference, profile, state) for piece in pieces)
    return measured, remarks


def _measure_piece(
    photo: Photo, piece: Piece, reference: Reference, profile: Profile, given_state: str | None
) -> MeasuredPiece:
    face = cut_face(photo, piece, reference)
    measurements = measure_face(face, profile)
    state = read_state(face.linear, face.lab, face.mask, measurements.glare, given_state)
    verdict = judge_photo(
        face.linear,
        face.lab,
        face.mask,
        measurements.glare,
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
        scale=reference.scale_at(*_middle(piece)),
        state=state,
        verdict=verdict,
    )


def _middle(piece: Piece) -> tuple[float, float]:
    x, y, w, h = piece.box
    return x + w / 2, y + h / 2


def _grade_piece(measured: MeasuredPiece, profile: Profile, model: Model) -> GradedPiece:
    scene = scene_estimate(measured.measurements, profile, model)
    if measured.verdict.value == "retake":
        return GradedPiece(measured, scene, None)
    return GradedPiece(
        measured, scene, propose(measured.measurements, measured.size_class, scene, profile, model)
    )
