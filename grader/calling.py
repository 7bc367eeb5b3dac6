"""From what the seller says to calls that hold their stone, and to what is measured on it."""

import hashlib
import os
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from grader.batch import RESULTS, find_photos, read_records
from grader.errors import CallsError, GraderError
from grader.face.line_words import LineWord
from grader.grade import measure_photo
from grader.grading.calls import ReadCalls, RowRemark
from grader.grading.features import features
from grader.grading.joining import (
    SAME_BOX,
    StoneFinder,
    Stones,
    box_overlap,
    holding_calls,
    join_calls,
    place_calls,
)
from grader.grading.proposal import Call
from grader.grading.rules import Features
from grader.photo.pieces import find_pieces, whole_photo
from grader.photo.read import read_photo
from grader.photo.reference import find_reference
from grader.profile import Profile
from grader.report.calls import shown_of, stones_of

Rows = list[tuple[int, Call]]


@dataclass(frozen=True)
class MeasuredCalls:
    """Placed calls of each table with the features of their stones, by (photo hash, piece)."""

    reads: tuple[ReadCalls, ...]
    features: dict[tuple[str, int], Features]


def place_in_photos(
    read: ReadCalls, folders: Sequence[Path], profile: Profile, *, whole: bool = False
) -> ReadCalls:
    """Return the calls with hash, number and box of their stone; others are refused by row.

    A call that holds hash and box is kept as it is. For any other the stones are sought in its
    photo, which lies in one of ``folders``; ``whole`` takes each photo for one stone.
    """
    settled, stones, reasons = [], {}, {}
    to_place: Rows = []
    for line, call in _rows(read):
        if call.sha256 and call.box:
            settled.append((line, call))
            continue
        to_place.append((line, call))
        if call.photo not in stones and call.photo not in reasons:
            try:
                stones[call.photo] = _find_stones(call.photo, folders, profile, whole)
            except GraderError as err:
                reasons[call.photo] = str(err)
    return _placed(read, settled, to_place, list(stones.values()), lambda c: reasons.get(c.photo))


def place_on_line(
    call: Call,
    line: int,
    says: str,
    profile: Profile,
    *,
    found: str | None = None,
    how: str | None = None,
    whole: bool = False,
    calls: Sequence[Call] = (),
) -> Call:
    """Return a call placed on its stone, with a word on the line of that number.

    The photo is measured as ``grader check`` does, with ``calls``, so that the numbers are the same.

    Raises
    ------
    GraderError
        The photo cannot be read; it holds no such stone, or the stone no such line.
    """
    photo = read_photo(call.photo, max_megapixels=profile.limits.photo_megapixels, mm_per_px=None)
    measured, _ = measure_photo(
        photo, profile, reference=find_reference(photo), whole=whole, calls=calls
    )
    stones = Stones(call.photo, photo.sha256, {one.piece.id: one.piece.box for one in measured})
    read = place_calls(ReadCalls((call,), (1,)), [stones])
    if read.refused:
        raise CallsError(read.refused[0].text)
    (placed,) = read.calls
    stone = next(one for one in measured if one.piece.id == placed.piece)
    lines = stone.measurements.lines
    if not 1 <= line <= len(lines):
        holds = "no line is seen" if not lines else f"it shows lines 1 to {len(lines)}"
        raise CallsError(
            f"{call.photo}: no line {line} on piece {placed.piece}, {holds}; "
            "`grader check --json` lists them by id"
        )
    points = stone.face.to_photo_px(lines[line - 1].points)
    kept = tuple((int(x), int(y)) for x, y in points)
    return replace(placed, line=LineWord(line, kept, says, found, how))


def measure_called(
    reads: Sequence[ReadCalls],
    folder: str | Path,
    profile: Profile,
    *,
    mm_per_px: float | None = None,
    workers: int | None = None,
) -> MeasuredCalls:
    """Return the calls of some tables placed in the photos below a folder, and what is measured there.

    Only photos that are called are measured, each once, in a process of its own kind; ``workers``
    of 1 works in this one. Calls whose photo or stone is not there are refused by row.
    """
    files = find_photos(Path(folder), Path(folder) / "graded")
    finder = StoneFinder(Stones(file, _content_hash(path), {}) for file, path in files.items())
    wanted: dict[Call, str] = {}
    for call in (call for read in reads for call in read.calls):
        try:
            wanted[call] = finder.photos(call)[0].photo
        except ValueError:
            continue  # The same is found, and told, where the call is placed.
    to_do = [(files[file], file, profile, mm_per_px) for file in dict.fromkeys(wanted.values())]
    done = _measure_all(to_do, workers or os.cpu_count() or 1)
    reasons = {
        file: reason
        for (_, file, *_), reason in zip(to_do, done, strict=True)
        if isinstance(reason, str)
    }
    found = [result for result in done if not isinstance(result, str)]
    stones = [stones for stones, _ in found]
    placed = tuple(
        _placed(read, [], _rows(read), stones, lambda call: reasons.get(wanted.get(call, "")))
        for read in reads
    )
    return MeasuredCalls(placed, {key: row for _, rows in found for key, row in rows.items()})


@dataclass(frozen=True)
class GradedStone:
    """A stone of a graded folder with its record, and the call that stands, ``None`` without one.

    name : the seller's own for the piece, else its key.
    """

    record: dict
    piece: dict
    call: Call | None

    @property
    def file(self) -> str:
        return self.record["photo"]["file"]

    @property
    def key(self) -> str:
        return f"{self.record['photo']['sha256'][:24]}-{self.piece['id']}"

    @property
    def name(self) -> str:
        return (self.call and self.call.stone) or self.key


def results_folder(folder: Path) -> Path:
    """Return where the results of a graded folder lie: in it, or in its folder ``graded``.

    Raises
    ------
    CallsError
        The folder was not graded.
    """
    for where in (folder, folder / "graded"):
        if (where / RESULTS).is_file():
            return where
    raise CallsError(f"{folder}: not graded yet; grade it first: grader batch {folder}")


def graded_stones(folder: Path, calls: Sequence[Call]) -> list[GradedStone]:
    """Return the stones of a graded folder, each with the call that stands."""
    records = [r for r in read_records(results_folder(folder) / RESULTS) if "error" not in r]
    standing = join_calls([stones_of(r) for r in records], calls).standing
    return [
        GradedStone(r, piece, standing.get((r["photo"]["file"], piece["id"])))
        for r in records
        for piece in r["pieces"]
    ]


def with_shown(calls: Sequence[Call], records: Sequence[dict]) -> list[Call]:
    """Return the calls with what the tool had said of their stones, where a record of the photo holds it."""
    by_hash = {r["photo"]["sha256"]: r for r in records if "error" not in r}
    return [
        call
        if call.shown or call.sha256 not in by_hash
        else _with_shown(call, by_hash[call.sha256])
        for call in calls
    ]


def _with_shown(call: Call, record: dict) -> Call:
    overlaps = [(box_overlap(call.box, tuple(piece["box"])), piece) for piece in record["pieces"]]
    overlap, piece = max(overlaps, key=lambda pair: pair[0], default=(0.0, None))
    return call if overlap < SAME_BOX else replace(call, shown=shown_of(piece))


def say_new(calls: Sequence[Call], there: Sequence[Call], *, by_hand: bool) -> list[Call]:
    """Return the calls that say something new: what holds already is not said again.

    A table taken in twice adds nothing the second time, nor what was taken back since; a call
    made ``by_hand`` says it anew.
    """
    holding: dict[tuple, list[tuple]] = defaultdict(list)
    taken_back: dict[tuple, list[tuple]] = defaultdict(list)
    new = []

    def note(call: Call) -> None:
        about = _about(call)
        if not call.undo:
            holding[about].append(_said(call))
            taken_back[about].clear()
        elif holding[about]:
            taken_back[about].append(holding[about].pop())

    for call in there:
        note(call)
    for call in calls:
        old = holding[_about(call)][-1:] + ([] if by_hand else taken_back[_about(call)])
        if call.undo or _said(call) not in old:
            new.append(call)
            note(call)
    return new


def taken_back(undo: Call, there: Sequence[Call]) -> Call | None:
    """Return the call that a placed ``undo`` takes back, ``None`` where none holds on its stone."""
    stone = Stones(undo.photo, undo.sha256, {undo.piece: undo.box})
    said = join_calls([stone], there).history.get((undo.photo, undo.piece), ())
    holding = holding_calls(call for call in said if call.line is None)
    return holding[-1] if holding else None


def _about(call: Call) -> tuple:
    return call.sha256, call.box, call.line and call.line.points


def _said(call: Call) -> tuple:
    return call.grade, call.scene, call.by, call.note, call.line, call.stone


def _rows(read: ReadCalls) -> Rows:
    return list(zip(read.lines, read.calls, strict=True))


def _placed(
    read: ReadCalls,
    settled: Rows,
    to_place: Rows,
    stones: list[Stones],
    reason: Callable[[Call], str | None],
) -> ReadCalls:
    """Settled calls and placed ones in the order of their rows; ``reason`` says why a photo could
    not be read."""
    refused = [RowRemark(line, reason(call)) for line, call in to_place if reason(call)]
    to_place = [(line, call) for line, call in to_place if not reason(call)]
    placed = place_calls(ReadCalls(*_columns(to_place)), stones)
    both = sorted([*settled, *_rows(placed)], key=lambda row: row[0])
    refused = sorted((*read.refused, *refused, *placed.refused), key=lambda remark: remark.line)
    return ReadCalls(*_columns(both), tuple(refused), (*read.told, *placed.told))


def _columns(rows: Rows) -> tuple[tuple[Call, ...], tuple[int, ...]]:
    return tuple(call for _, call in rows), tuple(line for line, _ in rows)


def _find_stones(file: str, folders: Sequence[Path], profile: Profile, whole: bool) -> Stones:
    path = next((folder / file for folder in folders if (folder / file).is_file()), Path(file))
    photo = read_photo(path, max_megapixels=profile.limits.photo_megapixels, mm_per_px=None)
    pieces, _ = whole_photo(photo) if whole else find_pieces(photo)
    return Stones(file, photo.sha256, {piece.id: piece.box for piece in pieces})


def _measure_all(to_do: list[tuple], workers: int) -> list:
    if min(workers, len(to_do)) <= 1:
        return [_measure(*photo) for photo in to_do]
    from joblib import Parallel, delayed

    return Parallel(n_jobs=min(workers, len(to_do)))(delayed(_measure)(*photo) for photo in to_do)


def _measure(path: Path, file: str, profile: Profile, mm_per_px: float | None):
    """The stones of one photo with their features, or in one line why there are none."""
    import cv2

    cv2.setNumThreads(1)
    try:
        photo = read_photo(
            path, max_megapixels=profile.limits.photo_megapixels, mm_per_px=mm_per_px
        )
        measured, _ = measure_photo(photo, profile)
    except GraderError as err:
        return str(err)
    boxes = {m.piece.id: m.piece.box for m in measured}
    rows = {(photo.sha256, m.piece.id): features(m.measurements, profile) for m in measured}
    return Stones(file, photo.sha256, boxes), rows


def _content_hash(path: Path) -> str:
    try:
        with open(path, "rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return ""  # Reading it will say why.
