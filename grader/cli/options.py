"""Options that several commands share, declared once."""

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from grader.files import read_number
from grader.made import why_kept
from grader.settings import MOST_MM_PER_PX, load_settings


def number(least: float, most: float) -> Callable[[str | float], float]:
    """Return the parser of a number within that range, decimals behind a point or a comma."""

    def parse(text: str | float) -> float:
        value = _number(text)
        if not least <= value <= most:
            raise typer.BadParameter(f"{text}: give a number from {least:g} to {most:g}")
        return value

    return parse


def _number(text: str | float) -> float:
    try:
        return read_number(str(text))
    except ValueError as err:
        raise typer.BadParameter(str(err)) from None


def whole_number(least: int, most: int | None = None) -> Callable[[str | int], int]:
    """Return the parser of a whole number within that range."""
    span = f"of {least} or more" if most is None else f"from {least} to {most}"

    def parse(text: str | int) -> int:
        try:
            value = int(str(text))
        except ValueError:
            value = least - 1
        if value < least or (most is not None and value > most):
            raise typer.BadParameter(f"{text!s}: give a whole number {span}")
        return value

    return parse


def words(text: str | None) -> str | None:
    """What a person wrote; nothing but blanks is not given."""
    return (text and text.strip()) or None


def folder_there(path: Path | None) -> Path | None:
    """Refuse what is no folder; none where none is given."""
    if path is None:
        return None
    if not path.exists():
        raise typer.BadParameter(f"{path}: no such folder; check its name and place")
    if not path.is_dir():
        raise typer.BadParameter(f"{path}: a file, not a folder; name the folder that it is in")
    return path


def folder_place(path: Path | None) -> Path | None:
    """Refuse a file as the folder to write into."""
    if path is not None and path.is_file():
        raise typer.BadParameter(f"{path}: a file, not a folder; choose another name")
    return path


def check_picture(picture: Path | None, photos: list[Path], option: str = "--picture") -> None:
    """Refuse a picture that has no format, or that is one of the photos itself."""
    if picture is None:
        return
    from grader.report.overlay import PICTURE_SUFFIXES

    if picture.suffix.lower() not in PICTURE_SUFFIXES:
        raise typer.BadParameter(
            f"{picture}: end the name in .jpg, .png, .webp or .tif", param_hint=option
        )
    if picture.exists() and any(p.exists() and picture.samefile(p) for p in photos):
        raise typer.BadParameter(
            f"{picture} is the photo itself; choose another name", param_hint=option
        )
    check_made(picture, option)


def check_made(path: Path | None, option: str) -> None:
    """Refuse, before the work is done, to write over what the tool did not make."""
    if path is not None and (why := why_kept(path)):
        raise typer.BadParameter(why, param_hint=option)


def _mm_per_px(text: str | float) -> float:
    value = _number(text)
    if value <= 0:
        raise typer.BadParameter(f"{text}: give a number above 0")
    if value > MOST_MM_PER_PX:
        raise typer.BadParameter(
            f"{value:g} mm for one px is too coarse to grade by; is it px per mm? give mm per px"
        )
    return value


def _measured_in_photo(text: str) -> float:
    """Millimetres per px of "412:100mm"."""
    px, _, mm = text.partition(":")
    try:
        return _mm_per_px(read_number(mm.strip().removesuffix("mm")) / read_number(px))
    except (ValueError, ZeroDivisionError):
        raise typer.BadParameter(
            f"{text!r}: give px, a colon and mm, as 412:100mm for 412 px that are 100 mm"
        ) from None


def scale_of(mm_per_px: float | None, scale_px: float | None) -> float | None:
    """Return the one scale that the seller gave."""
    if mm_per_px is not None and scale_px is not None:
        raise typer.BadParameter(
            "give --mm-per-px or --scale-px, not both", param_hint="--scale-px"
        )
    return mm_per_px if scale_px is None else scale_px


def neutral_of(paper_at: str | None, tray_at: str | None):
    """Return the neutral place that the seller declares; ``None`` without one."""
    if paper_at is not None and tray_at is not None:
        raise typer.BadParameter("give --paper-at or --tray-at, not both", param_hint="--tray-at")
    text = paper_at if tray_at is None else tray_at
    if text is None:
        return None
    from grader.photo.reference import Neutral

    hint = "--paper-at" if tray_at is None else "--tray-at"
    try:
        x, y, w, h = (int(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(
            f"{text!r}: give four whole numbers of px with commas between, x,y,w,h",
            param_hint=hint,
        ) from None
    return Neutral((x, y, w, h), "paper" if tray_at is None else "tray")


GradedFolder = Annotated[
    Path,
    typer.Argument(metavar="FOLDER", callback=folder_there, help="A folder that batch has graded."),
]
CountOption = Annotated[
    int, typer.Option("-n", metavar="N", parser=whole_number(1), help="How many stones.")
]
ProfileOption = Annotated[
    str | None,
    typer.Option("--profile", metavar="NAME|FILE", help="A shipped profile or a TOML file."),
]
ModelOption = Annotated[
    Path | None,
    typer.Option(
        "--model", metavar="DIR", help="Folder of a trained model; the starter by default."
    ),
]
ScaleOption = Annotated[
    float | None,
    typer.Option(
        "--mm-per-px",
        metavar="X",
        parser=_mm_per_px,
        help="Millimetres per px of the full-size photo.",
    ),
]
ScalePxOption = Annotated[
    float | None,
    typer.Option(
        "--scale-px",
        metavar="PX:MM",
        parser=_measured_in_photo,
        help="A length measured in the photo: 412:100mm is 412 px for 100 mm.",
    ),
]
HeightOption = Annotated[
    float | None,
    typer.Option(
        "--height-mm",
        metavar="MM",
        parser=number(0, 500),
        help="How far the faces lie above the photo card; 0 for a card at their height.",
    ),
]
PaperOption = Annotated[
    str | None,
    typer.Option(
        "--paper-at",
        metavar="X,Y,W,H",
        help="Where unprinted white paper lies in the photo, in px.",
    ),
]
TrayOption = Annotated[
    str | None,
    typer.Option(
        "--tray-at", metavar="X,Y,W,H", help="Where a neutral grey tray or sheet lies, in px."
    ),
]
WeightOption = Annotated[
    float | None,
    typer.Option(
        "--weight-g",
        metavar="G",
        parser=number(0.1, 1e6),
        help="What the one stone in the photo weighs, in grams.",
    ),
]
WholeOption = Annotated[
    bool, typer.Option("--whole", help="The picture is filled by one face: cut nothing out.")
]


class SeenState(StrEnum):
    """How the faces were photographed, in the seller's word."""

    wet = "wet"
    dry = "dry"
    patchy = "patchy"


StateOption = Annotated[
    SeenState | None,
    typer.Option(
        "--state", help="How the faces were photographed; wins over what the photo shows."
    ),
]


def settled(profile: str | None, model: Path | None, mm_per_px: float | None):
    """Return profile, model and scale loaded: the command line wins over ``grader.toml`` of the
    working folder."""
    from grader.grading.model import load_model
    from grader.profile import load_profile

    settings = load_settings()
    return (
        load_profile(profile or settings.profile),
        load_model(model or (settings.model and Path(settings.model))),
        mm_per_px if mm_per_px is not None else settings.mm_per_px,
    )


def label_in_use() -> str | None:
    """Return the label of the working folder's model, ``None`` where it cannot be read."""
    from grader.errors import ModelError
    from grader.grading.model import load_model

    model = load_settings().model
    try:
        return load_model(model and Path(model)).label
    except ModelError:
        return None


def working_models():
    """Return the models taken into use in the working folder so far; half a last line is told and left."""
    from grader.settings import used_models

    used, remark = used_models()
    if remark:
        typer.echo(remark, err=True)
    return used


def working_calls():
    """Return the calls made in the working folder so far; a line that holds no call is told and
    left."""
    from grader.grading.calls import read_calls

    read = read_calls()
    for remark in read.refused:
        typer.echo(str(remark), err=True)
    return read.calls
