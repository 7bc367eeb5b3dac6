"""Photos graded one by one, each on its own: its record, and what there is to draw of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from grader.errors import GraderError, LedgerError
from grader.ledger.store import Ledger
from grader.looking import look_at, measured_again
from grader.looks import Ask, Look, ask_for, calls_on, shown
from grader.measures import Remark
from grader.nearest import CalledFaces
from grader.photo.terms import PhotoTerms
from grader.pieces import faces_of_one, further_facts, joined_pieces, with_pieces
from grader.profile import Profile
from grader.report.calls import with_calls
from grader.report.layers import write_layers
from grader.report.overlay import best_placed, view_picture, write_picture
from grader.report.result import failed_record
from grader.report.views import draw_view
from grader.session import Session


@dataclass(frozen=True)
class Checked:
    """One photo with its record: proposals and calls, or the error.

    look : what it was graded from, ``None`` where it could not be read.
    """

    record: dict
    look: Look | None

    @property
    def ask(self) -> Ask | None:
        """What it takes to measure it again."""
        return self.look and self.look.ask

    @property
    def is_best_face(self) -> bool:
        """Whether it shows the face of a piece that the scene is taken from."""
        stones = self.record["pieces"]
        return any(s.get("piece", {}).get("scene_from") == self.look.ask.file for s in stones)

    @property
    def failed(self) -> bool:
        """Whether the photo could not be read or measured."""
        return self.look is None


def check_photos(
    photos: Sequence[Path],
    terms: PhotoTerms,
    session: Session,
    *,
    model: Path | None = None,
    same_face: bool = False,
    anew: bool = False,
) -> Iterator[Checked]:
    """Yield each photo graded, as soon as it is done; one that cannot be read never stops the others.

    Parameters
    ----------
    terms : of every photo.   model : folder of one; that in use by default.
    same_face : all photos show one face, and what is glare in the first is read from the others.
    anew : measure again what is known.
    """
    profile, used = session.profile, session.model(model)
    called = CalledFaces(session.ledger)
    faces = [(photos[0], photos[1:])] if same_face else [(photo, ()) for photo in photos]
    for photo, further in faces:
        of_face = replace(terms, same_face=tuple(further))
        try:
            ask = ask_for(photo, of_face, session.ledger)
            look = look_at(ask, profile, session.ledger, anew=anew)
        except GraderError as err:
            yield Checked(failed_record(str(photo), err), None)
            continue
        shown([look], session.ledger)
        told = _join_further(look, session.ledger)
        calls = calls_on([look], session.ledger)
        (record,), _ = with_calls([look.graded(profile, used)], calls, session.settings.decider)
        pieces = joined_pieces([look], session.ledger)
        (record,) = with_pieces([record], [look], pieces, profile, used, session.ledger)
        record = called.with_nearest(record, look, used.familiarity)
        yield Checked(_with_remarks(record, told), look)


def _join_further(look: Look, ledger: Ledger | None) -> list[Remark]:
    """Keep that the further photos of a face show its piece; return what stands against it."""
    if ledger is None:
        return []
    try:
        ledger.add(*further_facts(look, ledger))
    except LedgerError:
        raise
    except GraderError as err:
        return [Remark(err.code, str(err))]
    return []


def _with_remarks(record: dict, remarks: Sequence[Remark]) -> dict:
    photo = record["photo"]
    told = [{"code": remark.code, "text": remark.text} for remark in remarks]
    return record | {"photo": photo | {"warnings": [*photo["warnings"], *told]}}


def check_one_piece(
    checked: Sequence[Checked], session: Session, *, model: Path | None = None
) -> list[Checked]:
    """Return photos of the faces of one piece with what is proposed for the piece; one that could not be read stays as
    it is, and then there is nothing to say of the piece.

    Raises
    ------
    GraderError
        A photo shows another number of stones than one: one line.
    """
    looks = [one.look for one in checked if one.look]
    piece = faces_of_one(looks)
    if any(one.failed for one in checked):
        return list(checked)
    records = with_pieces(
        [one.record for one in checked], looks, [piece], session.profile, session.model(model), None
    )
    return [replace(one, record=record) for one, record in zip(checked, records, strict=True)]


def write_pictures(
    checked: Checked,
    profile: Profile,
    *,
    layers: Path | None = None,
    picture: Path | None = None,
    view: str = "lines",
    scene: Path | None = None,
) -> tuple[Remark, ...]:
    """Write what is wanted of a photo that was read; return what could not be drawn.

    layers : folder of the layers, and of a picture of the regions for eyes.   picture : the photo as ``view`` shows it,
    one of ``VIEWS``.   scene : the best scene, cut out and upright.
    """
    if not (layers or picture or scene):
        return ()
    photo = checked.ask.path
    measured = measured_again(checked.ask, profile)
    if layers:
        write_layers(measured, layers, photo.stem)
        regions_picture = draw_view("regions", measured, checked.record, profile)
        write_picture(layers / f"{photo.stem}.seen.png", regions_picture)
    if picture:
        write_picture(picture, draw_view(view, measured, checked.record, profile))
    stone = best_placed(measured) if scene else None
    if stone is not None:
        best = stone.measurements.scene.best
        write_picture(scene, view_picture(measured.photo, stone.face, best))
    elif scene:
        text = f"{photo.name}: no scene to cut out, no picture of it written"
        return (Remark("no_scene", text),)
    return ()
