"""A folder of photos: every photo graded once, on every core, and taken up again where it was
stopped."""

import hashlib
import json
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from grader.errors import GraderError
from grader.files import write_bytes, write_text
from grader.grade import Graded, grade_photo
from grader.grading.model import Model, load_model
from grader.grading.proposal import Call
from grader.measures import MEASUREMENT_VERSION
from grader.photo.reference import Neutral
from grader.profile import Profile, load_profile
from grader.report.calls import LostCall, with_calls
from grader.report.columns import results_csv
from grader.report.result import failed_record, photo_record, to_json
from grader.report.sheet import write_sheet

SUFFIXES = frozenset((".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"))
RESULTS, TABLE, SHEET, PICTURES = "results.jsonl", "results.csv", "sheet.html", ".pictures"


@dataclass(frozen=True)
class Terms:
    """What a photo is graded by; with the photo's content they settle its record."""

    profile: Profile
    model: Model
    mm_per_px: float | None = None
    whole: bool = False
    state: str | None = None
    height_mm: float | None = None
    neutral: Neutral | None = None
    weight_g: float | None = None
    line_words: tuple[Call, ...] = ()
    dried: bool = False

    @property
    def made_with(self) -> dict:
        """The same terms as plain data: a record made with other ones is not used again."""
        return {
            "profile": self.profile.name,
            "profile_sha256": self.profile.sha256,
            "model": self.model.label,
            "measurements": MEASUREMENT_VERSION,
            "mm_per_px": self.mm_per_px,
            "whole": self.whole,
            "state": self.state,
            "height_mm": self.height_mm,
            "neutral": self.neutral and {"box": list(self.neutral.box), "kind": self.neutral.kind},
            # Only where it is said, so that records of before still hold.
            **({} if self.weight_g is None else {"weight_g": self.weight_g}),
        }

    def made_with_on(self, sha256: str) -> dict:
        """The same with what the seller said of lines in the photo of that content."""
        words = [
            asdict(call.line) | {"box": call.box}
            for call in self.line_words
            if call.sha256 == sha256
        ]
        return self.made_with | ({"line_words": json.loads(json.dumps(words))} if words else {})


@dataclass(frozen=True)
class Batch:
    """What became of a folder.

    records : one JSON object per photo, sorted by file.   reused : how many of them were there
    before.
    duplicates : (file, file that holds the same photo).   lost_calls : calls whose stone is not
    there, with the reason.
    sheet : the first page.
    """

    records: tuple[dict, ...]
    reused: int
    duplicates: tuple[tuple[str, str], ...]
    lost_calls: tuple[LostCall, ...]
    sheet: Path

    @property
    def failed(self) -> tuple[dict, ...]:
        """Records of the photos that could not be read."""
        return tuple(record for record in self.records if "error" in record)


def words_on_lines(calls: Iterable[Call]) -> tuple[Call, ...]:
    """Return the calls that speak of a line."""
    return tuple(call for call in calls if call.line is not None)


def grade_file(
    path: str | Path, file: str, terms: Terms, same_face: Sequence[str | Path] = ()
) -> tuple[dict, Graded | None]:
    """Return the record of one photo and, if it could be read, the graded photo.

    same_face : further photos of the same face, which the record names as they are given.

    Whatever goes wrong with one photo ends in its own record, so that it never stops the others.
    """
    try:
        graded = grade_photo(
            path,
            profile=terms.profile,
            model=terms.model,
            mm_per_px=terms.mm_per_px,
            height_mm=terms.height_mm,
            neutral=terms.neutral,
            whole=terms.whole,
            state=terms.state,
            weight_g=terms.weight_g,
            calls=terms.line_words,
            same_face=same_face,
            dried=terms.dried,
        )
        made_with = terms.made_with_on(graded.photo.sha256)
        return photo_record(graded, file, same_face) | {"made_with": made_with}, graded
    except GraderError as err:
        return failed_record(file, err), None
    except Exception as err:
        return _internal(file, f"{type(err).__name__}: {err}"), None


def grade_folder(
    folder: str | Path,
    *,
    out: str | Path | None = None,
    profile: str | Path | Profile = "banded",
    model: str | Path | Model | None = None,
    mm_per_px: float | None = None,
    height_mm: float | None = None,
    whole: bool = False,
    state: str | None = None,
    workers: int | None = None,
    calls: Iterable[Call] = (),
    on_photo: Callable[[int, int], None] = lambda done, total: None,
) -> Batch:
    """Grade every photo below a folder into ``results.jsonl``, ``results.csv`` and ``sheet.html``.

    Only what is new or changed is graded: a record is used again where the photo's content and the
    terms are the same,
    whatever the file is called now. Each record is on the disk as soon as its photo is done.

    Parameters
    ----------
    out : folder of the results, ``FOLDER/graded`` by default; never graded itself.
    workers : processes, as many as there are cores by default; 1 works in this process.
    calls : the seller's calls, joined anew each time.
    on_photo : told how many of how many photos are done.

    Raises
    ------
    GraderError
        No photo below the folder; results of before stay as they are.
    """
    folder = Path(folder)
    out = folder / "graded" if out is None else Path(out)
    calls = tuple(calls)
    terms = Terms(
        profile if isinstance(profile, Profile) else load_profile(profile),
        model if isinstance(model, Model) else load_model(model),
        mm_per_px,
        whole,
        state,
        height_mm,
        line_words=words_on_lines(calls),
    )
    found = find_photos(folder, out)
    if not found:
        raise GraderError(_why_none(folder, out), "no_photo")
    photos, duplicates = _distinct(found)
    records = _kept(out, photos, terms)
    reused = len(records)
    write_text(out / RESULTS, _lines(records.values()))
    on_photo(reused, len(photos))
    workers = workers or os.cpu_count() or 1
    for record in _grade_into(out, [f for f in photos if f not in records], found, terms, workers):
        records[record["photo"]["file"]] = record
        on_photo(len(records), len(photos))
    # Copies of a photo that cannot be read say so too, each under its own name.
    copies = [file for file, same in duplicates if "error" in records[same]]
    duplicates = [pair for pair in duplicates if pair[0] not in copies]
    for record in _grade_into(out, copies, found, terms, 1):
        records[record["photo"]["file"]] = record
    records = [records[file] for file in sorted(records)]
    return _finish(out, terms, records, reused, duplicates, calls)


def find_photos(folder: Path, out: Path) -> dict[str, Path]:
    """Return every photo below a folder, sorted, by its path below it with ``/``.

    Left out: hidden files and folders, ``out``, and any folder that holds results of an earlier
    batch.
    """
    photos = {}
    for here, folders, files in os.walk(folder):
        if RESULTS in files or Path(here).resolve() == out.resolve():
            folders.clear()
            continue
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in files:
            path = Path(here, name)
            if path.suffix.lower() in SUFFIXES and not name.startswith("."):
                file = path.relative_to(folder).as_posix()
                # A name that is not UTF-8 cannot be written into a table as it is.
                photos[file.encode("utf-8", "backslashreplace").decode()] = path
    return dict(sorted(photos.items()))


def _why_none(folder: Path, out: Path) -> str:
    if folder.resolve() == out.resolve():
        return f"{folder}: photos and results would lie in one folder; choose another for --out"
    if (folder / RESULTS).exists():
        return f"{folder}: holds results of a batch; name the folder of the photos"
    return (
        f"{folder}: no photo in it (JPEG, PNG, TIFF, WebP or HEIC); name the folder of the photos"
    )


def _distinct(
    photos: dict[str, Path],
) -> tuple[dict[str, tuple[Path, str | None]], list[tuple[str, str]]]:
    """Photos by file with path and hash, each content once; and which files hold the same photo as
    which."""
    first: dict[str, str] = {}
    distinct, duplicates = {}, []
    for file, path in photos.items():
        try:
            with open(path, "rb") as stream:
                sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
        except OSError:
            sha256 = None  # Reading it will say why.
        if sha256 in first:
            duplicates.append((file, first[sha256]))
            continue
        if sha256 is not None:
            first[sha256] = file
        distinct[file] = (path, sha256)
    return distinct, duplicates


def _kept(out: Path, photos: dict[str, tuple[Path, str | None]], terms: Terms) -> dict[str, dict]:
    """Records of an earlier run that still hold, under the names that the photos have now."""
    old = {
        record["photo"]["sha256"]: record
        for record in read_records(out / RESULTS)
        if record.get("made_with") == terms.made_with_on(record["photo"]["sha256"])
        and all(picture_path(out, record, piece["id"]).exists() for piece in record["pieces"])
    }
    kept = {}
    for file, (_, sha256) in photos.items():
        if sha256 in old:
            record = old[sha256]
            warnings = [w for w in record["photo"]["warnings"] if w["code"] != "duplicate"]
            kept[file] = record | {"photo": record["photo"] | {"file": file, "warnings": warnings}}
    return kept


def read_records(path: Path) -> Iterator[dict]:
    """Yield the records of a results file that hold a photo; the last line may have been cut off with the power."""
    try:
        lines = path.read_text("utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return
    for line in lines:
        try:
            record = json.loads(line)
        except json.JSONDecodeError:
            continue
        if isinstance(record, dict) and "sha256" in record.get("photo", {}):
            yield record


def _grade_into(
    out: Path, files: list[str], paths: dict[str, Path], terms: Terms, workers: int
) -> Iterator[dict]:
    """Records of these files, each on the disk, pictures first, before it is handed on."""
    with open(out / RESULTS, "a", encoding="utf-8") as results:
        for record, pictures in _grade([(paths[file], file) for file in files], terms, workers):
            for piece, picture in pictures.items():
                write_bytes(picture_path(out, record, piece), picture)
            results.write(to_json(record) + "\n")
            results.flush()
            os.fsync(results.fileno())
            yield record


def _grade(
    to_do: list[tuple[Path, str]], terms: Terms, workers: int
) -> Iterator[tuple[dict, dict]]:
    """Records and pictures in the order in which they are done."""
    workers = min(workers, len(to_do))
    if workers <= 1:
        yield from (_work(path, file, terms) for path, file in to_do)
        return
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import BrokenProcessPool

    left = dict.fromkeys(file for _, file in to_do)
    pool = Parallel(n_jobs=workers, return_as="generator_unordered", pre_dispatch="2*n_jobs")
    try:
        for record, pictures in pool(delayed(_work)(path, file, terms) for path, file in to_do):
            del left[record["photo"]["file"]]
            yield record, pictures
    except BrokenProcessPool:
        # One photo brought its process down, and the pool with it: the rest one by one, each in its
        # own process.
        for path, file in to_do:
            if file in left:
                yield _work_apart(path, file, terms)


def _work(path: Path, file: str, terms: Terms) -> tuple[dict, dict[int, bytes]]:
    import cv2

    from grader.report.overlay import piece_picture

    cv2.setNumThreads(1)  # One photo per core; threads inside would only fight.
    record, graded = grade_file(path, file, terms)
    if graded is None:
        return record, {}
    try:
        return record, {p.measured.piece.id: piece_picture(graded, p) for p in graded.pieces}
    except Exception as err:
        return _internal(file, f"{type(err).__name__}: {err}"), {}


def _work_apart(path: Path, file: str, terms: Terms) -> tuple[dict, dict[int, bytes]]:
    from joblib.externals.loky import get_reusable_executor
    from joblib.externals.loky.process_executor import BrokenProcessPool

    try:
        return get_reusable_executor(max_workers=1).submit(_work, path, file, terms).result()
    except BrokenProcessPool:
        return _internal(file, "the process ended, perhaps for lack of memory"), {}


def _internal(file: str, what: str) -> dict:
    line = " ".join(what.split())
    return failed_record(
        file,
        GraderError(
            f"{file}: could not be graded ({line}); the others are not touched", "internal"
        ),
    )


def _finish(out, terms, records, reused, duplicates, calls) -> Batch:
    by_file = {record["photo"]["file"]: record for record in records}
    for file, same in duplicates:
        text = f"{file} holds the same photo; graded once"
        by_file[same]["photo"]["warnings"].append({"code": "duplicate", "text": text})
    records, lost = with_calls(records, calls)
    write_text(out / RESULTS, _lines(records))
    write_text(out / TABLE, results_csv(records, terms.profile.colours))
    pictures = {
        (record["photo"]["sha256"], piece["id"]): picture_path(out, record, piece["id"])
        for record in records
        for piece in record["pieces"]
    }
    for path in set((out / PICTURES).glob("*.jpg")) - set(pictures.values()):
        path.unlink(missing_ok=True)
    write_sheet(out / SHEET, records, pictures, terms.profile, lost)
    return Batch(tuple(records), reused, tuple(duplicates), tuple(lost), out / SHEET)


def _lines(records: Iterable[dict]) -> str:
    return "".join(to_json(record) + "\n" for record in records)


def picture_path(out: Path, record: dict, piece: int) -> Path:
    """Return where the picture of a stone lies."""
    return out / PICTURES / f"{record['photo']['sha256'][:24]}-{piece}.jpg"
