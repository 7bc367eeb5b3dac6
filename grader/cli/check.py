"""``grader check``: photos graded one by one, for a person or for a program."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    AnewOption,
    ModelOption,
    PictureView,
    WeightOption,
    check_picture,
    folder_place,
    takes_session,
    takes_terms,
    weight_of,
)


@takes_session
@takes_terms
def check(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO", readable=False, help="Photos of stone faces.")
    ],
    json: Annotated[
        bool, typer.Option("--json", help="Print JSON alone: one object, or a list for several.")
    ] = False,
    layers: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            callback=folder_place,
            help="Write regions, cracks, pieces and parts as grey PNGs there, and NAME.seen.png for your eyes.",
        ),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Write the photo with what --view says drawn in; of several faces of a piece the best.",
        ),
    ] = None,
    view: Annotated[
        PictureView | None,
        typer.Option(
            help="What --picture shows: ids, grades and lines (as without it), the plain photo, what was counted "
            "as which colour, or the best place for a template."
        ),
    ] = None,
    scene: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the best scene, cut out and upright, there."),
    ] = None,
    model: ModelOption = None,
    same_face: Annotated[
        bool,
        typer.Option(
            "--same-face",
            help="All photos show the same face, lamp or camera moved: glare in the first is "
            "filled from the others, and all are photos of its piece.",
        ),
    ] = False,
    one_piece: Annotated[
        bool,
        typer.Option(
            "--one-piece",
            help="Each photo shows another face of one piece, which gets one grade: scene of the best face, "
            "lines of the worst.",
        ),
    ] = False,
    dried: Annotated[
        bool,
        typer.Option(
            "--dried",
            help="With --same-face: the first photo shows the face wet, the others after it has dried. "
            "A line that stays dark there is likelier a crack.",
        ),
    ] = False,
    weight_g: WeightOption = None,
    anew: AnewOption = False,
    more: Annotated[bool, typer.Option("--more", help="Show all that was measured.")] = False,
    *,
    terms,
    session,
) -> None:
    """Grade photos: colour shares, lines seen, scene, and a proposal beside your own call.

    Exit code 0: graded, also where no stone is found or a retake is asked for. 1: a photo could not
    be read; the others are graded. 2: the command, a profile, a model or grader.toml makes no sense.
    """
    _usage_of_faces(photos, same_face, one_piece)
    # The others only fill the first: layers and pictures are of its frame.
    graded = photos[:1] if same_face else photos
    if layers:
        _usage_of_layers(graded)
    if not one_piece:
        _usage_of_one(graded, {"--picture": picture, "--scene": scene, "--weight-g": weight_g})
    if dried and not (same_face and terms.state in (None, "wet")):
        raise typer.BadParameter(
            "give --same-face, and the photo of the wet face first", param_hint="--dried"
        )
    check_picture(picture, photos)
    check_picture(scene, photos, "--scene")
    shown = _usage_of_view(view, picture)
    from grader.checking import write_pictures

    _tell_drying(dried)
    terms = replace(session.with_usual_scale(terms), dried=dried, weight=weight_of(weight_g))
    done = []
    of_all = {"model": model, "same_face": same_face, "anew": anew}
    for checked in _graded(photos, terms, session, one_piece, of_all):
        done.append(checked.record)
        _tell(checked.record, session.profile, json, more)
        if not checked.failed:
            # Of a piece the best face is drawn.
            drawn = not one_piece or checked.is_best_face
            remarks = write_pictures(
                checked,
                session.profile,
                layers=layers,
                picture=picture if drawn else None,
                view=shown,
                scene=scene if drawn else None,
            )
            for remark in remarks:
                typer.echo(f"grader: {remark.text}", err=True)
    _tell_all(done, session.profile, json, more)
    if any("error" in record for record in done):
        raise typer.Exit(1)


def _graded(photos: list[Path], terms, session, one_piece: bool, of_all: dict):
    """The photos, each as soon as it is graded; of the faces of one piece all at once."""
    from grader.checking import check_one_piece, check_photos

    each = check_photos(photos, terms, session, **of_all)
    return check_one_piece(list(each), session, model=of_all["model"]) if one_piece else each


def _tell_drying(dried: bool) -> None:
    """Say how to dry a stone to whoever is about to."""
    from grader.report.cautions import DRYING_CAUTIONS, caution_lines

    for line in caution_lines(DRYING_CAUTIONS) if dried else ():
        typer.echo(line, err=True)


def _tell(record: dict, profile, json: bool, more: bool) -> None:
    """Print what a photo is graded, or why it is not."""
    from grader.report.screen import photo_text

    if "error" in record:
        typer.echo(f"grader: {record['error']['text']}", err=True)
    elif not json:
        typer.echo(photo_text(record, profile, more))


def _tell_all(records: list[dict], profile, json: bool, more: bool) -> None:
    """Print what is told once behind all photos."""
    from grader.report.cautions import CARE_LINE
    from grader.report.json_text import to_json
    from grader.report.one_piece import one_piece_text
    from grader.report.words import stones_once, unsettled_words

    if json:
        typer.echo(to_json(records[0] if len(records) == 1 else records))
        return
    for stone in stones_once(records):
        if stone.get("piece"):
            typer.echo(one_piece_text(stone, profile, more))
    if all("error" in record for record in records):
        return
    if unsettled := unsettled_words(records):
        typer.echo(f"{unsettled}\n")
    typer.echo(CARE_LINE if more else f"{CARE_LINE}\nAll that was measured: grader check --more")


def _usage_of_faces(photos: list[Path], same_face: bool, one_piece: bool) -> None:
    """Refuse one photo where several are spoken of."""
    if one_piece and (same_face or len(photos) < 2):
        raise typer.BadParameter(
            "give a photo of each face, two or more, and not --same-face", param_hint="--one-piece"
        )
    if same_face and len(photos) < 2:
        raise typer.BadParameter(
            "give two or more photos of the face, the best one first", param_hint="--same-face"
        )


def _usage_of_view(view: PictureView | None, picture: Path | None) -> str:
    """Return what the picture shows; refuse a view without one."""
    if view and not picture:
        raise typer.BadParameter(
            "give --picture FILE too, where it is written", param_hint="--view"
        )
    return (view or PictureView.lines).value


def _usage_of_layers(graded: list[Path]) -> None:
    """Refuse two photos whose layers would be one file."""
    stems = [path.stem.casefold() for path in graded]
    twice = next((stem for stem in stems if stems.count(stem) > 1), None)
    if twice:
        raise typer.BadParameter(
            f"two photos are called {twice!r}: their layers would be one file",
            param_hint="--layers",
        )


def _usage_of_one(graded: list[Path], of_one: dict[str, object]) -> None:
    """Refuse several photos with an option, by its name, that speaks of one."""
    for option, given in of_one.items():
        if given is not None and len(graded) > 1:
            raise typer.BadParameter(f"give one photo with {option}", param_hint=option)
