"""Options that several commands share, declared once."""

import inspect
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


def number(least: float, most: float) -> Callable[[str | float], float]:
    """Return the parser of a number within that range, decimals behind a point or a comma."""

    def parse(text: str | float) -> float:
        value = _number(text)
        if not least <= value <= most:
            raise typer.BadParameter(f"{text}: give a number from {least:g} to {most:g}")
        return value

    return parse


def _number(text: str | float) -> float:
    from grader.files import read_number

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


def existing_folder(path: Path | None) -> Path | None:
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
    from grader.made import why_kept

    if path is not None and (why := why_kept(path)):
        raise typer.BadParameter(why, param_hint=option)


def _mm_per_px(text: str | float) -> float:
    from grader.settings import MOST_MM_PER_PX

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
    from grader.files import read_number

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
    from grader.photo.terms import Neutral

    hint = "--paper-at" if tray_at is None else "--tray-at"
    try:
        x, y, w, h = (int(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(
            f"{text!r}: give four whole numbers of px with commas between, x,y,w,h",
            param_hint=hint,
        ) from None
    return Neutral((x, y, w, h), "paper" if tray_at is None else "tray")


JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON alone.")]
GradedFolder = Annotated[
    Path,
    typer.Argument(
        metavar="FOLDER", callback=existing_folder, help="A folder of photos that batch has graded."
    ),
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
        "--model", metavar="DIR|starter", help="Folder of a trained model; else the one in use."
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
    str | None,
    typer.Option(
        "--weight-g", metavar="G", help="What the one stone in the photo weighs, in grams."
    ),
]
AnewOption = Annotated[bool, typer.Option("--anew", help="Measure again what the ledger knows.")]
ByOption = Annotated[
    str | None,
    typer.Option(
        "--by", metavar="NAME", callback=words, help="Who says so; else the one in grader.toml."
    ),
]
PhotosOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--photos",
        metavar="FOLDER",
        help="Where the photos of the table lie; else here and where the table lies.",
    ),
]
WholeOption = Annotated[
    bool, typer.Option("--whole", help="The picture is filled by one face: cut nothing out.")
]
CameraWhiteOption = Annotated[
    bool,
    typer.Option(
        "--camera-white", help="Keep the camera's colours: do not estimate the light of the photo."
    ),
]


class PictureView(StrEnum):
    """What a drawn photo shows, as ``grader.report.views`` draws it."""

    lines = "lines"
    photo = "photo"
    regions = "regions"
    best = "best"


class TypedState(StrEnum):
    """How the faces were photographed, in the seller's word."""

    wet = "wet"
    dry = "dry"
    patchy = "patchy"


StateOption = Annotated[
    TypedState | None,
    typer.Option(
        "--state", help="How the faces were photographed; wins over what the photo shows."
    ),
]


TagsOption = Annotated[
    bool,
    typer.Option(
        "--tags",
        help="There are tags in the photo: they are no stones. Always looked for with --haul.",
    ),
]


@dataclass(frozen=True)
class _Given:
    """An option that several commands take, as Typer wants it."""

    annotation: object
    default: object = None


#: What a seller may say of the photos of a command, in the order of the help; each is told where it is looked at.
_TERMS = {
    "mm_per_px": _Given(ScaleOption),
    "scale_px": _Given(ScalePxOption),
    "height_mm": _Given(HeightOption),
    "paper_at": _Given(PaperOption),
    "tray_at": _Given(TrayOption),
    "camera_white": _Given(CameraWhiteOption, False),
    "whole": _Given(WholeOption, False),
    "state": _Given(StateOption),
    "tags": _Given(TagsOption, False),
}
_SESSION = {
    "profile": _Given(ProfileOption),
    "ledger": _Given(
        Annotated[
            Path | None,
            typer.Option(
                "--ledger",
                metavar="FILE",
                help="The ledger; else the one in grader.toml, else yours.",
            ),
        ]
    ),
    "no_ledger": _Given(
        Annotated[
            bool,
            typer.Option("--no-ledger", help="A dry look: read no ledger, keep nothing."),
        ],
        False,
    ),
}


def takes_terms(command: Callable) -> Callable:
    """Give a command the options of :class:`~grader.photo.terms.PhotoTerms`, which it gets as one, ``terms``."""

    def run(**given):
        values = {name: given.pop(name) for name in _TERMS}
        return command(**given, terms=_terms(**values))

    return _with_options(run, command, "terms", _TERMS)


def takes_session(command: Callable) -> Callable:
    """Give a command the options of what it works with, which it gets as one ``session``; where its ledger is not the
    usual one, the last line names it."""

    def run(**given):
        from grader.session import Session

        profile, ledger, dry = (given.pop(name) for name in _SESSION)
        if ledger is not None and dry:
            raise typer.BadParameter(
                "give --ledger or --no-ledger, not both", param_hint="--ledger"
            )
        session = Session(profile, ledger, dry)
        try:
            done = command(**given, session=session)
        except typer.Exit:
            _closed(session)
            raise
        except BaseException:
            _remarked(session)
            session.close()
            raise
        _closed(session)
        return done

    return _with_options(run, command, "session", _SESSION)


def _closed(session) -> None:
    _remarked(session)
    if session.close():
        typer.echo(f"ledger: {session.ledger_path}", err=True)


def _remarked(session) -> None:
    """Tell once what a person should know of the place of a ledger: when it is new."""
    for remark in session.remarks:
        typer.echo(f"ledger: {remark}", err=True)


def _with_options(
    run: Callable, command: Callable, name: str, options: dict[str, _Given]
) -> Callable:
    """``run`` under the name of a command, with options in the place of one parameter."""
    own = [p for p in inspect.signature(command).parameters.values() if p.name != name]
    new = [
        inspect.Parameter(
            option,
            inspect.Parameter.KEYWORD_ONLY,
            default=given.default,
            annotation=given.annotation,
        )
        for option, given in options.items()
    ]
    own = [p.replace(kind=inspect.Parameter.KEYWORD_ONLY) for p in own]
    run.__signature__ = inspect.Signature([*own, *new])
    run.__annotations__ = {p.name: p.annotation for p in (*own, *new)}
    run.__name__, run.__doc__, run.__module__ = (
        command.__name__,
        command.__doc__,
        command.__module__,
    )
    return run


def _terms(mm_per_px, scale_px, height_mm, paper_at, tray_at, camera_white, whole, state, tags):
    from grader.photo.terms import PhotoTerms

    return PhotoTerms(
        mm_per_px=scale_of(mm_per_px, scale_px),
        height_mm=height_mm,
        neutral=neutral_of(paper_at, tray_at),
        camera_white=camera_white,
        whole=whole,
        state=None if state is None else state.value,
        tags=tags,
    )


def weight_of(text: str | None):
    """Return the weight that the seller typed, ``None`` without one."""
    if text is None:
        return None
    from grader.weight import grams_of

    try:
        weight = grams_of(text)
    except ValueError as err:
        raise typer.BadParameter(str(err), param_hint="--weight-g") from None
    if not 0.1 <= float(weight) <= 1e6:
        raise typer.BadParameter(
            f"{text}: give a number from 0.1 to 1e+06", param_hint="--weight-g"
        )
    return weight


@contextmanager
def progress(what: str, of: str = "photos"):
    """Yield a function that is told how many of how many are done; a bar shows it."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    columns = (what, BarColumn(), MofNCompleteColumn(), of, TimeRemainingColumn())
    console = Console(stderr=True)
    # Into a file it would only leave blank lines.
    hidden = not console.is_terminal
    with Progress(*columns, console=console, transient=True, disable=hidden) as bar:
        task = bar.add_task("", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def beside(*tables: Path | None) -> list[Path]:
    """Return where a table's photos are looked for: here, beside it and above it, where a sheet's photos are."""
    places = [place for table in tables if table for place in (table.parent, table.parent.parent)]
    return [Path(), *places]
