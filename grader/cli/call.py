"""``grader call``: the seller's word on a stone, kept beside the proposal."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
from typer.core import TyperCommand

from grader.cli.options import (
    ByOption,
    PhotosOption,
    beside,
    progress,
    takes_session,
    takes_terms,
    whole_number,
    words,
)

FROM = "--from"


class FromDownloads(TyperCommand):
    """A command whose ``--from`` may stand without a file: then it is the folder where a browser puts downloads."""

    def parse_args(self, ctx, args):
        bare = [n for n, arg in enumerate(args) if arg == FROM and not _has_value(args[n + 1 :])]
        for n in reversed(bare):
            from platformdirs import user_downloads_path

            args = [*args[: n + 1], str(user_downloads_path()), *args[n + 1 :]]
        return super().parse_args(ctx, args)


def _has_value(behind: list[str]) -> bool:
    return bool(behind) and not behind[0].startswith("-")


#: What a seller says of a line.
LINE_CLASSES = ("crack", "pattern", "withdrawn")


class LineFound(StrEnum):
    """How a line was found by hand."""

    open = "open"
    tight = "tight"
    healed = "healed"
    unknown = "unknown"


def _patch_box(text: str) -> tuple[int, int, int, int]:
    """x, y, w and h, whole px of the photo, of "X,Y" or "X,Y,W,H"."""
    try:
        numbers = [int(part) for part in text.split(",")]
        x, y, *size = numbers
        if len(size) not in (0, 2) or min(numbers) < 0 or (size and min(size) < 1):
            raise ValueError
    except ValueError:
        raise typer.BadParameter(
            f"{text}: give X,Y or X,Y,W,H in whole px of the photo, as 812,440",
            param_hint="--patch",
        ) from None
    if size:
        return x, y, *size
    from grader.patching import point_box

    return point_box(x, y)


@takes_session
@takes_terms
def call(
    stones: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="PHOTO", help="The photo of the stone; with --one-piece one of each face."
        ),
    ] = None,
    piece: Annotated[
        int | None,
        typer.Option(
            metavar="N", parser=whole_number(1), help="Its number, where there are several."
        ),
    ] = None,
    grade: Annotated[
        str | None,
        typer.Option(metavar="G", callback=words, help="Your grade, by its name on your ladder."),
    ] = None,
    scene: Annotated[
        int | None,
        typer.Option(metavar="S", parser=whole_number(0, 100), help="Your scene score, 0 to 100."),
    ] = None,
    by: ByOption = None,
    note: Annotated[
        str | None, typer.Option(metavar="T", callback=words, help="Why, or anything else.")
    ] = None,
    line: Annotated[
        int | None,
        typer.Option(
            metavar="K",
            parser=whole_number(1),
            help="A line on the stone, by its id in check --json.",
        ),
    ] = None,
    patch: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y[,W,H]",
            help="A patch of the stone, px of the photo: a point, or a box from its upper left corner.",
        ),
    ] = None,
    says: Annotated[
        str | None,
        typer.Option(
            "--is",
            metavar="CLASS",
            callback=words,
            help="What that line is: crack or pattern; or that patch: a colour class, or glare; "
            "withdrawn takes your word back.",
        ),
    ] = None,
    found: Annotated[LineFound | None, typer.Option(help="How you found that line.")] = None,
    how: Annotated[
        str | None,
        typer.Option(metavar="T", callback=words, help="How you checked it: nail, wetting, lamp."),
    ] = None,
    stone: Annotated[
        str | None,
        typer.Option(
            metavar="ID",
            callback=words,
            help="Your own name for the piece, the same on all its photos.",
        ),
    ] = None,
    one_piece: Annotated[
        bool,
        typer.Option(
            "--one-piece",
            help="Each photo shows another face of one piece: the call is on the piece, one stone from now on.",
        ),
    ] = False,
    undo: Annotated[
        bool, typer.Option("--undo", help="Take back the last call on the stone that still holds.")
    ] = False,
    table: Annotated[
        Path | None,
        typer.Option(
            FROM,
            metavar="CALLS.csv",
            help="Take in the calls that a sheet saved; without a file, or with a folder, all new ones in your "
            "download folder, or there.",
        ),
    ] = None,
    photos: PhotosOption = None,
    *,
    terms,
    session,
) -> None:
    """Say what a stone is, or a line or a patch on it. Your word is kept beside the proposal, which stays as it was.

    It stands on the stones and lines that check or batch showed last of that photo; what you say of the photo itself
    (scale, whole and so on) only counts where nothing was shown before.
    """
    photo = _usage_of_photos(stones or [], table, one_piece)
    _usage_of_part(line, patch, says, (grade, scene))
    _usage_of_line(line, found, how)
    _usage_of_patch(patch, (note, stone))
    _usage_of_table(table, photos, (piece, grade, scene, note, line, patch, stone, undo or None))
    _usage_of_stone(photo, undo, line or patch, (grade, scene))
    _usage_of_piece(one_piece, piece, line or patch)
    from grader.calling import call_on
    from grader.files import path_text
    from grader.grading.proposal import Call
    from grader.ledger.store import now
    from grader.report.calls import SAVED_UNNAMED

    session.need_ledger("a call")
    by = by or session.settings.by
    terms = session.with_usual_scale(terms)
    if table:
        _take_tables(table, photos, by, terms, session)
        return
    call = Call(path_text(photo), None, piece, None, grade, scene, by, now(), note, stone=stone)
    if patch:
        _save_patch_word(photo, call, (*_patch_box(patch), says), terms, session)
        return
    if one_piece:
        _on_piece(stones, call, undo, terms, session)
        return
    look, placed = call_on(photo, call, terms, session)
    if undo:
        _take_back(look, placed, session)
        return
    if line is None:
        _save_call(look, placed, session)
    else:
        _save_line_word(look, placed, (line, says, found and found.value, how), session)
    if by is None:
        typer.echo(SAVED_UNNAMED, err=True)


def _save_call(look, placed, session) -> None:
    from grader.calling import save_call
    from grader.report.calls import saved_words

    typer.echo(saved_words(*save_call(look, placed, session)))


def _on_piece(photos: list[Path], call, undo: bool, terms, session) -> None:
    """Save a call on the piece of which each photo shows a face, or take its last one back."""
    from grader.calling import call_on, look_shown
    from grader.piece_calls import save_piece_call, take_back_piece_call
    from grader.report.calls import SAVED_UNNAMED, saved_words, taken_back_words

    first, call = call_on(photos[0], call, terms, session)
    looks = [first, *(look_shown(p, terms, session.profile, session.ledger) for p in photos[1:])]
    if undo:
        typer.echo(taken_back_words(*take_back_piece_call(looks, call, session)))
        return
    typer.echo(saved_words(*save_piece_call(looks, call, session)))
    if call.by is None:
        typer.echo(SAVED_UNNAMED, err=True)


def _save_line_word(look, placed, word, session) -> None:
    """word : number of the line, what it is, how it was found and how it was checked."""
    from grader.calling import save_line_word
    from grader.report.calls import saved_line_words

    _, says, found, _ = word
    done = save_line_word(look, placed, *word, session)
    typer.echo(
        saved_line_words(placed, (done.line, done.facts), says, found, (done.before, done.now))
    )


def _save_patch_word(photo: Path, call, word: tuple, terms, session) -> None:
    """word : x, y, w and h of the patch, and what it is."""
    from dataclasses import replace

    from grader.face.regions.patch_words import PatchWord
    from grader.patching import patch_on, save_patch_word
    from grader.report.calls import SAVED_UNNAMED, enough_patches, saved_patch_words

    look, placed = patch_on(photo, replace(call, patch=PatchWord(*word)), terms, session)
    done = save_patch_word(look, placed, session)
    patch = done.call.patch
    place = f"patch {patch.x},{patch.y},{patch.w},{patch.h}"
    typer.echo(saved_patch_words(done.call, place, done.before, done.now))
    way = "grader colours --out mine.toml"
    if offer := enough_patches(done.patches, done.photos, way):
        typer.echo(offer, err=True)
    if call.by is None:
        typer.echo(SAVED_UNNAMED, err=True)


def _take_back(look, placed, session) -> None:
    from grader.calling import take_back
    from grader.report.calls import taken_back_words

    typer.echo(taken_back_words(placed, *take_back(look, placed, session)))


def _take_tables(place: Path, folders: list[Path] | None, by: str | None, terms, session) -> None:
    """Take in a table, or what sheets saved in a folder, each table once."""
    from grader.downloads import tables_in
    from grader.report.calls import saved_tables_lines

    if not place.is_dir():
        _take_table(place, folders or beside(place), by, terms, session)
        return
    tables = tables_in(place, session)
    for table in tables.new:
        typer.echo(f"{table}: ", nl=False)
        _take_table(table, folders or beside(table), by, terms, session)
    for line in saved_tables_lines(place, len(tables.new), len(tables.known), tables.strange):
        typer.echo(line)


def _take_table(table: Path, folders: list[Path], by: str | None, terms, session) -> None:
    from grader.calling import take_table
    from grader.errors import CallsError
    from grader.grading.calls.calls import remark_lines
    from grader.ledger.store import now
    from grader.report.calls import SAVED_UNNAMED, taken_in_words

    with progress("looking") as on_photo:
        placed, new = take_table(
            table, folders, terms, session, by=by, time=now(), on_photo=on_photo
        )
    for line in remark_lines(table, placed.remarks):
        typer.echo(line, err=True)
    typer.echo(taken_in_words(len(new), len(placed.calls) - len(new)))
    if any(one.by is None for one in new):
        typer.echo(SAVED_UNNAMED, err=True)
    if placed.refused:
        raise CallsError("\n".join(remark_lines(table, placed.refused)))


def _usage_of_photos(photos: list[Path], table: Path | None, one_piece: bool) -> Path | None:
    """Return the photo that is meant, the first of several faces; refuse none, and several of no one piece."""
    if bool(photos) == bool(table):
        raise typer.BadParameter(
            "give a photo, or --from with a table of calls", param_hint="PHOTO"
        )
    if one_piece and len(photos) < 2:
        raise typer.BadParameter("give a photo of each face, two or more", param_hint="--one-piece")
    if len(photos) > 1 and not one_piece:
        words = [str(photo) for photo in photos if not photo.suffix and not photo.exists()]
        if words:
            raise typer.BadParameter(
                f"{words[0]} is no photo; a grade goes behind --grade: --grade {words[0]}",
                param_hint="PHOTO",
            )
        raise typer.BadParameter(
            "give one photo, or --one-piece where each shows a face of one piece",
            param_hint="PHOTO",
        )
    return photos[0] if photos else None


def _usage_of_piece(one_piece: bool, piece: int | None, part: object) -> None:
    """Refuse what speaks of one photo with a call on a piece."""
    if one_piece and (piece is not None or part is not None):
        raise typer.BadParameter(
            "a call on the whole piece; say a word on a line or patch with its own photo",
            param_hint="--one-piece",
        )


def _usage_of_table(table: Path | None, photos: list[Path] | None, of_one: tuple) -> None:
    """Refuse what speaks of one stone with a table, and folders of photos without one."""
    if table and any(value is not None for value in of_one):
        raise typer.BadParameter("with --from, every call stands in the table", param_hint="--from")
    if photos and not table:
        raise typer.BadParameter("goes with --from", param_hint="--photos")


def _usage_of_stone(photo: Path | None, undo: bool, part: object, of_stone: tuple) -> None:
    """Refuse a call that says nothing, and one that takes back and says something; ``part`` is a line or a patch."""
    silent = part is None and all(value is None for value in of_stone)
    if undo and not silent:
        raise typer.BadParameter(
            "--undo says nothing else; call anew after it", param_hint="--undo"
        )
    if photo and silent and not undo:
        raise typer.BadParameter(
            "give --grade, --scene or both, or --line or --patch; --stone, --by and --note only go with them",
            param_hint="--grade",
        )


def _usage_of_part(line: int | None, patch: str | None, says: str | None, of_stone: tuple) -> None:
    """Refuse a word on a line or patch that lacks the part or the word, or that says a grade as well."""
    if line is not None and patch is not None:
        raise typer.BadParameter("give --line or --patch, not both", param_hint="--patch")
    part = "--patch" if patch is not None else "--line"
    if line is None and patch is None:
        if says is not None:
            raise typer.BadParameter(
                "--is speaks of a line or patch; give --line or --patch", param_hint="--is"
            )
    elif says is None:
        what = "a colour class, glare" if patch is not None else "crack, pattern"
        raise typer.BadParameter(
            f"say what that {part[2:]} is: --is {what} or withdrawn", param_hint=part
        )
    elif any(value is not None for value in of_stone):
        raise typer.BadParameter("give a grade or scene in a call of its own", param_hint=part)
    elif line is not None and says not in LINE_CLASSES:
        raise typer.BadParameter(
            f"{says}: a line is crack, pattern or withdrawn", param_hint="--is"
        )


def _usage_of_line(line: int | None, found: LineFound | None, how: str | None) -> None:
    """Refuse what speaks of a line without one."""
    for name, value in (("--found", found), ("--how", how)):
        if line is None and value is not None:
            raise typer.BadParameter(f"{name} speaks of a line; give --line", param_hint=name)


def _usage_of_patch(patch: str | None, of_stone: tuple) -> None:
    """Refuse a note or name with a patch, where they would be lost."""
    if patch is not None and any(value is not None for value in of_stone):
        raise typer.BadParameter(
            "--note and --stone go with a grade or scene, not with a patch", param_hint="--patch"
        )
