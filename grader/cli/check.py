"""``grader check``: photos graded one by one, for a person or for a program."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.options import (
    HeightOption,
    ModelOption,
    PaperOption,
    ProfileOption,
    ScaleOption,
    ScalePxOption,
    StateOption,
    TrayOption,
    WeightOption,
    WholeOption,
    check_picture,
    folder_place,
    neutral_of,
    scale_of,
    settled,
    working_calls,
)


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
    profile: ProfileOption = None,
    model: ModelOption = None,
    mm_per_px: ScaleOption = None,
    scale_px: ScalePxOption = None,
    height_mm: HeightOption = None,
    paper_at: PaperOption = None,
    tray_at: TrayOption = None,
    whole: WholeOption = False,
    state: StateOption = None,
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
    if dried and not (same_face and state in (None, "wet")):
        raise typer.BadParameter(
            "give --same-face, and the photo of the wet face first", param_hint="--dried"
        )
    check_picture(picture, photos)
    check_picture(view, photos, "--view")
    from grader.batch import Terms, grade_file, words_on_lines
    from grader.report.calls import about, with_calls
    from grader.report.layers import write_layers
    from grader.report.overlay import best_placed, draw_overlay, view_picture, write_picture
    from grader.report.result import to_json
    from grader.report.words import cautions_text, one_piece_text, photo_text

    loaded_profile, loaded_model, mm_per_px = settled(profile, model, scale_of(mm_per_px, scale_px))
    neutral = neutral_of(paper_at, tray_at)
    calls = working_calls()
    terms = Terms(
        loaded_profile,
        loaded_model,
        mm_per_px,
        whole,
        state,
        height_mm,
        neutral,
        weight_g,
        words_on_lines(calls),
        dried,
    )
    records = []
    for path, further in [(photos[0], photos[1:])] if same_face else [(p, ()) for p in photos]:
        record, graded = grade_file(path, str(path), terms, further)
        (record,), _ = with_calls([record], [call for call in calls if about(record, call)])
        records.append(record)
        if "error" in record:
            typer.echo(f"grader: {record['error']['text']}", err=True)
        elif not json:
            typer.echo(photo_text(record, loaded_profile))
        if graded and layers:
            write_layers(graded, layers, path.stem)
        if graded and picture:
            write_picture(picture, draw_overlay(graded, _called(record)))
        if graded and view:
            stone = best_placed(graded)
            if stone is None:
                typer.echo(f"grader: {path.name}: no scene to cut out, no view written", err=True)
            else:
                m = stone.measured
                write_picture(view, view_picture(graded.photo, m.face, m.measurements.scene.best))
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


def _called(record: dict) -> dict[int, str]:
    said = {piece["id"]: piece["call"] for piece in record["pieces"]}
    return {piece: call["grade"] for piece, call in said.items() if call and call["grade"]}
