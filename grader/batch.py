"""A folder of photos: every photo looked at once, on every core, and what came of it as files to use and send."""

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from grader.errors import GraderError, PhotoError
from grader.files import path_text
from grader.grading.models.model import Model
from grader.ledger.pictures import is_pictures_folder
from grader.ledger.stock import NumberedStone, Piece, read_code
from grader.ledger.store import Ledger
from grader.looking import look_at_all
from grader.looks import Ask, Look, ask_for, calls_on, shown, with_words
from grader.outfolder import KeptFile, OutFolder, is_out_folder
from grader.photo.file import CLOSED, SUFFIXES
from grader.photo.photo import Photo
from grader.photo.read import read_photo
from grader.photo.terms import PhotoTerms
from grader.pieces import joined_pieces, numbered_stones, with_numbers, with_pieces
from grader.profile import Profile
from grader.report.calls import LostCall, with_calls
from grader.report.columns import results_csv
from grader.report.json_text import to_json
from grader.report.overlay import cut_picture
from grader.report.result import failed_record
from grader.report.sheet import SheetHead, sheet_pages
from grader.report.tray_map import map_note, noted, tray_map
from grader.settings import Settings
from grader.workers.workers import Workers

RESULTS, TABLE, SHEET = "results.jsonl", "results.csv", "sheet.html"
#: Folders, among the results, of photos with the numbers of their stones drawn in, and of the sheet's large pictures.
MAPS, PICTURES = "maps/", "pictures/"
#: Bytes of large pictures up to which the sheet holds them itself, so that it is one file that a mail takes; ours.
MOST_BYTES_HELD = 14_000_000
_USUAL = Settings()


@dataclass(frozen=True)
class Batch:
    """What became of a folder.

    records : one JSON object per photo, sorted by file, with proposals and calls.
    known : how many photos were measured before.
    duplicates : (file, file that holds the same photo).
    lost_calls : calls whose stone is not there, with the reason.
    sheet : the first page.
    kept_aside : files of the seller's that lay where a result was to be written.
    numbered : pieces with a number that the photos show, by (content of the photo, stone).
    """

    records: tuple[dict, ...]
    known: int
    duplicates: tuple[tuple[str, str], ...]
    lost_calls: tuple[LostCall, ...]
    sheet: Path
    kept_aside: tuple[KeptFile, ...] = ()
    numbered: Mapping[tuple[str, int], Piece] = field(default_factory=dict)

    @property
    def failed(self) -> tuple[dict, ...]:
        """Records of the photos that could not be read."""
        return tuple(record for record in self.records if "error" in record)


@dataclass(frozen=True)
class FolderRun:
    """How the photos of a folder are worked through.

    workers : who measures; by default processes of this computer, one a core.
    anew : measure again what is known.
    on_photo : called with how many of how many photos are done.
    on_looks : called with the records of the photos, without proposals, once they are kept: what it says of their
        stones, as their numbers, stands in the results.
    """

    workers: Workers | None = None
    anew: bool = False
    on_photo: Callable[[int, int], None] = lambda done, total: None
    on_looks: Callable[[Sequence[dict]], None] = lambda records: None


def grade_folder(
    folder: str | Path,
    profile: Profile,
    model: Model,
    ledger: Ledger | None,
    *,
    terms: PhotoTerms,
    out: str | Path | None = None,
    settings: Settings = _USUAL,
    run: FolderRun = FolderRun(),
) -> Batch:
    """Grade every photo below a folder into ``results.jsonl``, ``results.csv`` and ``sheet.html``.

    Only what is new or changed is measured: a photo whose content, terms, words on lines and profile are known is
    graded from the ledger, whatever the file is called now. Each photo is kept there as soon as it is done.

    Parameters
    ----------
    ledger : ``None`` for a dry look, which neither reads nor keeps anything.
    terms : of every photo in the folder.
    out : folder of the results, ``FOLDER/graded`` by default; never graded itself.
    settings : whose calls count where several people called a stone, and the unit of weights on the sheet.
    run : how the photos are worked through.

    Raises
    ------
    GraderError
        No photo below the folder, or a folder for results that holds other ones; nothing is changed then.
    """
    folder = Path(folder)
    out = folder / "graded" if out is None else Path(out)
    _check_place(folder, out)
    found = find_photos(folder, out)
    if not found:
        raise GraderError(_why_none(folder, out), "no_photo")
    OutFolder(out, of=folder).check()
    asks, duplicates, failed = _asks(found, terms, ledger)
    done: dict[str, Look | GraderError] = dict(failed)
    run.on_photo(len(done), len(found) - len(duplicates))
    for number, look in look_at_all(asks, profile, ledger, workers=run.workers, anew=run.anew):
        done[asks[number].file] = look
        run.on_photo(len(done), len(found) - len(duplicates))
    # A copy of a photo that cannot be read says so too, under its own name.
    copies = {file: done[same] for file, same in duplicates if isinstance(done[same], GraderError)}
    duplicates = [pair for pair in duplicates if pair[0] not in copies]
    done = dict(sorted((done | copies).items()))
    looks = [look for look in done.values() if isinstance(look, Look)]
    shown(looks, ledger)
    run.on_looks([look.record for look in looks])
    records = [
        look.graded(profile, model) if isinstance(look, Look) else failed_record(file, look)
        for file, look in done.items()
    ]
    records = [_with_duplicates(record, duplicates) for record in records]
    records, lost = with_calls(records, calls_on(looks, ledger), settings.decider)
    pieces = joined_pieces(looks, ledger)
    records = with_pieces(records, looks, pieces, profile, model, ledger)
    numbered = numbered_stones(looks, ledger)
    records = with_numbers(records, numbered)
    head = _head(folder, numbered.values(), settings.unit)
    # As it is by now: another run may have written there since.
    kept_aside = _write(OutFolder(out, of=folder), records, looks, profile, head, lost)
    known = sum(look.known for look in looks)
    return Batch(
        tuple(records),
        known,
        tuple(duplicates),
        tuple(lost),
        out / SHEET,
        tuple(kept_aside),
        numbered,
    )


def find_photos(folder: Path, out: Path) -> dict[str, Path]:
    """Return every photo below a folder, sorted, by its path below it with ``/``.

    Left out: hidden files and folders, ``out``, any folder that holds results of an earlier batch, and what a ledger
    keeps of photos. A folder that cannot be opened stands among the photos, so that whoever reads them tells it.

    Raises
    ------
    GraderError
        The folder itself cannot be opened.
    """
    photos: dict[str, Path] = {}

    def add(path: Path) -> None:
        name = path_text(path.relative_to(folder))
        while name in photos:  # One that is no UTF-8 is written like another one's name.
            name = f"{name} (another)"
        photos[name] = path

    def closed(err: OSError) -> None:
        if Path(err.filename) == folder:
            raise GraderError(f"{folder}: {CLOSED}", "no_photo")
        add(Path(err.filename))

    for here, folders, files in os.walk(folder, onerror=closed):
        try:
            own = is_out_folder(here) or is_pictures_folder(Path(here))
        except OSError as err:  # It may be listed and not entered.
            folders.clear()
            closed(OSError(err.errno, err.strerror, here))
            continue
        if own or Path(here).resolve() == out.resolve():
            folders.clear()
            continue
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in sorted(files):
            path = Path(here, name)
            if path.suffix.lower() in SUFFIXES and not name.startswith("."):
                add(path)
    return dict(sorted(photos.items()))


def _check_place(folder: Path, out: Path) -> None:
    """Refuse a place for results where photos lie: they would be taken for results, and not graded from then on."""
    if is_out_folder(out) or not out.is_dir() or folder.resolve() not in out.resolve().parents:
        return
    if found := find_photos(out, out / "graded"):
        name = next(iter(found))
        raise GraderError(
            f"{out}: photos lie there ({name}), which would not be graded among results; "
            "choose another folder for --out",
            "output",
        )


def _why_none(folder: Path, out: Path) -> str:
    if folder.resolve() == out.resolve():
        return f"{folder}: photos and results would lie in one folder; choose another for --out"
    if is_out_folder(folder):
        return f"{folder}: holds results of a batch; name the folder of the photos"
    return (
        f"{folder}: no photo in it (JPEG, PNG, TIFF, WebP or HEIC); name the folder of the photos"
    )


def _asks(
    found: dict[str, Path], terms: PhotoTerms, ledger: Ledger | None
) -> tuple[list[Ask], list[tuple[str, str]], dict[str, GraderError]]:
    """What to look at, each content once; which files hold the same photo as which; and what cannot be read."""
    first: dict[str, str] = {}
    asks, duplicates, failed = [], [], {}
    for file, path in found.items():
        try:
            # Words on lines are looked up for all at once.
            ask = ask_for(path, terms, None, file)
        except PhotoError as err:
            failed[file] = err
            continue
        if ask.sha256 in first:
            duplicates.append((file, first[ask.sha256]))
        else:
            first[ask.sha256] = file
            asks.append(ask)
    return with_words(asks, ledger), duplicates, failed


def _with_duplicates(record: dict, duplicates: Sequence[tuple[str, str]]) -> dict:
    """The record with a remark for each other file that holds the same photo."""
    also = [file for file, same in duplicates if same == record["photo"]["file"]]
    if not also:
        return record
    remarks = [
        {"code": "duplicate", "text": f"{file} holds the same photo; graded once"} for file in also
    ]
    photo = record["photo"]
    return record | {"photo": photo | {"warnings": [*photo["warnings"], *remarks]}}


def write_maps(
    folder: str | Path, out: str | Path, records: Iterable[dict], stones: Iterable[NumberedStone]
) -> list[Path]:
    """Write, for each photo of several stones, a picture of it with the numbers that they bear, and return them. One
    that is there already and would show the same is left as it is.

    folder, out : of the photos and of their results.   records : of the photos.
    """
    results, codes = OutFolder(out, of=folder), {}
    for stone in stones:
        codes.setdefault(stone.photo, {})[stone.stone] = stone.code
    made = []
    for record in records:
        file = record["photo"]["file"]
        if len(record["pieces"]) < 2 or file not in codes:
            continue
        outlines = {stone["id"]: stone["outline"] for stone in record["pieces"]}
        name = MAPS + str(Path(file).with_suffix(".jpg")).replace(os.sep, " ")
        path, note = results.path / name, map_note(record["photo"]["sha256"], outlines, codes[file])
        if not (results.holds(name) and note.encode() in path.read_bytes()):
            photo = _same_photo(Path(folder, file), record["photo"]["sha256"])
            if photo is None:
                continue  # Its stones have their numbers.
            results.write(name, noted(tray_map(photo, outlines, codes[file]), note))
        made.append(path)
    return made


def _same_photo(path: Path, sha256: str) -> Photo | None:
    """The photo in a file, ``None`` where it was taken away or changed since it was looked at."""
    try:
        photo = read_photo(path)
    except PhotoError:
        return None
    return photo if photo.sha256 == sha256 else None


def _head(folder: Path, numbered: Iterable[Piece], unit: str) -> SheetHead:
    """What the sheet is of: the hauls of its numbered stones, else the folder."""
    net_g = {piece.code: piece.net_g for piece in numbered if piece.net_g is not None}
    hauls = sorted({read_code(piece.code)[0] for piece in numbered})
    name = f"Haul {' and '.join(hauls)}" if hauls else path_text(folder.resolve().name) or "stones"
    return SheetHead(name, date.today().isoformat(), net_g, unit)


def _large_pictures(results: OutFolder, looks: Sequence[Look]) -> dict[tuple[str, int], str]:
    """Cut a large picture of each stone from its photo, where it does not lie among the results already, and return
    their names; a photo that was taken away or changed since has none."""
    names: dict[tuple[str, int], str] = {}
    for look in looks:
        sha256, photo = look.ask.sha256, None
        for piece in look.record["pieces"]:
            box = "-".join(map(str, piece["box"]))
            name = f"{PICTURES}{sha256[:16]}-{box}.jpg"
            if not results.holds(name):
                photo = photo or _same_photo(look.ask.path, sha256)
                if photo is None:
                    break
                results.write(name, cut_picture(photo, piece["box"]))
            names[sha256, piece["id"]] = name
    return names


def _held_or_beside(
    results: OutFolder, names: Mapping[tuple[str, int], str]
) -> dict[tuple[str, int], bytes | str]:
    """The large pictures as the sheet has them: all in itself, or where they are too many, by their names beside it."""
    paths = {place: results.path / name for place, name in names.items()}
    try:
        if sum(path.stat().st_size for path in paths.values()) > MOST_BYTES_HELD:
            return dict(names)
        return {place: path.read_bytes() for place, path in paths.items()}
    except OSError as err:
        raise GraderError(
            f"{results.path}: a picture in it cannot be read again ({err.strerror}); run this again",
            "output",
        ) from err


def _write(
    results: OutFolder,
    records: Sequence[dict],
    looks: Sequence[Look],
    profile: Profile,
    head: SheetHead,
    lost: Sequence[LostCall],
) -> list[KeptFile]:
    """Write the files of a graded folder; what of the seller's stood in their way is kept aside."""
    pictures = {
        (look.record["photo"]["sha256"], piece["id"]): look.stone_pictures(piece["id"])
        for look in looks
        for piece in look.record["pieces"]
    }
    names = _large_pictures(results, looks)
    large = _held_or_beside(results, names)
    files = {
        RESULTS: _lines(records),
        TABLE: results_csv(records, profile.colours),
        **sheet_pages(SHEET, records, pictures, large, profile, head, lost),
    }
    kept = [results.write(name, text.encode()) for name, text in files.items()]
    maps = [name for name in results.names if name.startswith(MAPS) and results.holds(name)]
    results.keep_only([*files, *names.values(), *maps])
    return [file for file in kept if file is not None]


def _lines(records: Iterable[dict]) -> str:
    return "".join(to_json(record) + "\n" for record in records)
