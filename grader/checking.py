"""Photos graded one by one, each on its own: its record, and what there is to draw of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from grader.errors import GraderError
from grader.looking import look_at, measured_again
from grader.looks import Ask, ask_for, calls_on, shown
from grader.measures import Remark
from grader.photo.terms import PhotoTerms
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

    ask : what it takes to measure it again, ``None`` where it could not be read.
    """

    record: dict
    ask: Ask | None

    @property
    def failed(self) -> bool:
        """Whether the photo could not be read or measured."""
        return self.ask is None


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
        calls = calls_on([look], session.ledger)
        (record,), _ = with_calls([look.graded(profile, used)], calls, session.settings.decider)
        yield Checked(record, ask)


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


def check_one_piece(records: Sequence[dict]) -> None:
    """Refuse photos of the faces of one piece where one shows another number of stones.

    Raises
    ------
    GraderError
        One line: which photo.
    """
    for record in records:
        if "error" not in record and len(record["pieces"]) != 1:
            raise GraderError(
                f"{record['photo']['file']}: {len(record['pieces'])} stones; "
                "for --one-piece photograph one",
                "not_one_piece",
            )
