"""``grader check``: photos graded one by one, for a person or for a program."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    AnewOption,
    ModelOption,
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
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO", help="Photos of stone faces.")],
    json: Annotated[
        bool, typer.Option("--json", help="Print JSON alone: one object, or a list for several.")
    ] = False,
    layers: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            callback=folder_place,
            help="Write regions, cracks, pieces and parts as grey PNGs there.",
        ),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the photo with ids and grade words drawn in."),
    ] = None,
    view: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the best scene, cut out and upright, there."),
    ] = None,
    model: ModelOption = None,
    same_face: Annotated[
        bool,
        typer.Option(
            "--same-face",
            help="All photos show the same face, lamp or camera moved: glare in the first is "
            "filled from the others.",
        ),
    ] = False,
    one_piece: Annotated[
        bool,
        typer.Option(
            "--one-piece",
            help="Each photo shows another face of one piece: the worst face counts.",
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
    *,
    terms,
    session,
) -> None:
    """Grade photos: colour shares, bands, lines seen, scene, and a proposal beside your own call.

    Exit code 0: graded, also where no stone is found or a retake is asked for. 1: a photo could not
    be read; the others are graded. 2: the command, a profile, a model or grader.toml makes no sense.
    """
    of_one = {"--picture": picture, "--view": view}
    if not one_piece:
        of_one["--weight-g"] = weight_g
    if one_piece and (same_face or len(photos) < 2):
        raise typer.BadParameter(
            "give a photo of each face, two or more, and not --same-face", param_hint="--one-piece"
        )
    _usage(photos, layers, same_face, of_one)
    if dried and not (same_face and terms.state in (None, "wet")):
        raise typer.BadParameter(
            "give --same-face, and the photo of the wet face first", param_hint="--dried"
        )
    check_picture(picture, photos)
    check_picture(view, photos, "--view")
    from grader.errors import GraderError
    from grader.looks import ask_for, calls_on, look_at, measured_again, shown
    from grader.report.calls import with_calls
    from grader.report.layers import write_layers
    from grader.report.overlay import best_placed, draw_overlay, view_picture, write_picture
    from grader.report.result import failed_record, to_json
    from grader.report.words import cautions_text, one_piece_text, photo_text, unsettled_words

    profile, used = session.profile, session.model(model)
    terms = replace(session.with_usual_scale(terms), dried=dried, weight=weight_of(weight_g))
    records = []
    for path, further in [(photos[0], photos[1:])] if same_face else [(p, ()) for p in photos]:
        try:
            ask = ask_for(path, replace(terms, same_face=tuple(further)), session.ledger)
            look = look_at(ask, profile, session.ledger, anew=anew)
        except GraderError as err:
            records.append(failed_record(str(path), err))
            typer.echo(f"grader: {records[-1]['error']['text']}", err=True)
            continue
        shown([look], session.ledger)
        calls = calls_on([look], session.ledger)
        (record,), _ = with_calls([look.graded(profile, used)], calls, session.settings.decider)
        records.append(record)
        if not json:
            typer.echo(photo_text(record, profile))
        if not (layers or picture or view):
            continue
        measured = measured_again(ask, profile)
        if layers:
            write_layers(measured, layers, path.stem)
        if picture:
            write_picture(picture, draw_overlay(measured, record))
        if view:
            stone = best_placed(measured)
            if stone is None:
                typer.echo(f"grader: {path.name}: no scene to cut out, no view written", err=True)
            else:
                write_picture(
                    view,
                    view_picture(measured.photo, stone.face, stone.measurements.scene.best),
                )
    if one_piece:
        odd = next((r for r in records if "error" not in r and len(r["pieces"]) != 1), None)
        if odd is not None:
            text = f"{odd['photo']['file']}: {len(odd['pieces'])} stones; for --one-piece photograph one"
            typer.echo(f"grader: {text}", err=True)
            raise typer.Exit(1)
        if not json and not any("error" in record for record in records):
            typer.echo(one_piece_text(records))
    if json:
        typer.echo(to_json(records[0] if len(records) == 1 else records))
    elif not all("error" in record for record in records):
        if unsettled := unsettled_words(records):
            typer.echo(f"{unsettled}\n")
        typer.echo(cautions_text())
    if any("error" in record for record in records):
        raise typer.Exit(1)


def _usage(
    photos: list[Path], layers: Path | None, same_face: bool, of_one: dict[str, object]
) -> None:
    """Refuse options that do not fit the photos; ``of_one`` holds, by name, what goes with one photo alone."""
    if same_face and len(photos) < 2:
        raise typer.BadParameter(
            "give two or more photos of the face, the best one first", param_hint="--same-face"
        )
    # The others only fill the first: layers and pictures are of its frame.
    graded = photos[:1] if same_face else photos
    stems = [path.stem.casefold() for path in graded]
    twice = next((stem for stem in stems if stems.count(stem) > 1), None)
    if layers and twice:
        raise typer.BadParameter(
            f"two photos are called {twice!r}: their layers would be one file",
            param_hint="--layers",
        )
    for option, given in of_one.items():
        if given is not None and len(graded) > 1:
            raise typer.BadParameter(f"give one photo with {option}", param_hint=option)
