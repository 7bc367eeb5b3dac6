"""From what the seller says to calls that hold their stone: the photo's hash and the piece's box."""

from collections.abc import Sequence
from pathlib import Path

from grader.errors import GraderError
from grader.grading.calls import ReadCalls, RowRemark
from grader.grading.features import features
from grader.grading.joining import StoneFinder, Stones, place_calls
from grader.grading.proposal import Call
from grader.photo.photo import Photo
from grader.photo.pieces import find_pieces, whole_photo
from grader.photo.read import read_photo
from grader.profile import Profile


def place_in_photos(
    read: ReadCalls, folders: Sequence[Path], profile: Profile, *, whole: bool = False
) -> ReadCalls:
    """Return the calls with hash, number and box of their stone; what cannot be placed is refused by row.

    A call that holds hash and box is kept as it is. For any other the stones are sought in its photo, which lies
    in one of ``folders``.
    """
    rows = list(zip(read.lines, read.calls, strict=True))
    settled = [(line, call) for line, call in rows if call.sha256 and call.box]
    stones, to_place, refused = {}, [], list(read.refused)
    for line, call in rows:
        if call.sha256 and call.box:
            continue
        try:
            stones[call.photo] = stones.get(call.photo) or _stones(
                call.photo, folders, profile, whole
            )
            to_place.append((line, call))
        except GraderError as err:
            refused.append(RowRemark(line, str(err)))
    placed = place_calls(ReadCalls(*_columns(to_place)), list(stones.values()))
    settled += zip(placed.lines, placed.calls, strict=True)
    return ReadCalls(
        *_columns(sorted(settled, key=lambda row: row[0])),
        tuple(sorted((*refused, *placed.refused), key=lambda remark: remark.line)),
        placed.told,
    )


def not_there(calls: Sequence[Call], there: Sequence[Call]) -> list[Call]:
    """Return the calls that say something new: a table that is taken in twice adds nothing the second time."""
    last = {(call.sha256, call.box): _said(call) for call in there}
    new = []
    for call in calls:
        if last.get((call.sha256, call.box)) != _said(call):
            new.append(call)
            last[call.sha256, call.box] = _said(call)
    return new


def _said(call: Call) -> tuple:
    return call.grade, call.scene, call.by, call.note


def _stones(file: str, folders: Sequence[Path], profile: Profile, whole: bool) -> Stones:
    path = next((folder / file for folder in folders if (folder / file).is_file()), Path(file))
    photo: Photo = read_photo(path, max_megapixels=profile.limits.photo_megapixels, mm_per_px=None)
    pieces, _ = whole_photo(photo) if whole else find_pieces(photo)
    return Stones(file, photo.sha256, {piece.id: piece.box for piece in pieces})


def _columns(rows: list[tuple[int, Call]]) -> tuple[tuple[Call, ...], tuple[int, ...]]:
    return tuple(call for _, call in rows), tuple(line for line, _ in rows)
