"""Which stone a call is about: by photo, then by the call's box."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from grader.face.line_words import LineWord
from grader.grading.calls import ReadCalls, RowRemark
from grader.grading.proposal import Call

#: A call follows the piece whose box overlaps the call's box by this much (intersection over
#: union): two stones that lie side by side never both do.
SAME_BOX = 0.5

Box = tuple[int, int, int, int]


@dataclass(frozen=True)
class Stones:
    """The pieces found in one photo: what a call is joined to. ``photo`` is its path with ``/``."""

    photo: str
    sha256: str
    boxes: dict[int, Box]


@dataclass(frozen=True)
class JoinedCalls:
    """What the seller says of each stone.

    Attributes
    ----------
    standing : by (photo path, piece id), the word that stands: the last grade, scene and name of the
        piece said, with sayer, time and note of the last call.
    history : by the same, all calls in the order in which they were made.
    without_stone : calls that meet no stone, each with the reason in one line.
    """

    standing: dict[tuple[str, int], Call]
    history: dict[tuple[str, int], tuple[Call, ...]]
    without_stone: tuple[tuple[Call, str], ...]


def box_overlap(first: Box, second: Box) -> float:
    """Return intersection over union of two boxes x, y, w, h; 0 where they lie apart."""
    width = min(first[0] + first[2], second[0] + second[2]) - max(first[0], second[0])
    height = min(first[1] + first[3], second[1] + second[3]) - max(first[1], second[1])
    if width <= 0 or height <= 0:
        return 0.0
    both = width * height
    return both / (first[2] * first[3] + second[2] * second[3] - both)


class StoneFinder:
    """Finds the stone that a call is about among the pieces of many photos."""

    def __init__(self, photos: Iterable[Stones]) -> None:
        self._by_hash: dict[str, list[Stones]] = defaultdict(list)
        self._by_path: dict[str, Stones] = {}
        self._by_name: dict[str, list[Stones]] = defaultdict(list)
        for photo in photos:
            self._by_hash[photo.sha256].append(photo)
            self._by_path[photo.photo] = photo
            self._by_name[PurePosixPath(photo.photo).name].append(photo)

    def photos(self, call: Call) -> list[Stones]:
        """Return the photos that a call means: by content (all copies), else path, else a file name
        that only one has."""
        if call.sha256 and call.sha256 in self._by_hash:
            return self._by_hash[call.sha256]
        if call.photo in self._by_path:
            return [self._by_path[call.photo]]
        named = self._by_name.get(PurePosixPath(call.photo).name, [])
        if len(named) > 1:
            raise ValueError(
                f"{len(named)} photos are named {PurePosixPath(call.photo).name}; give the path"
            )
        if not named:
            raise ValueError(
                f"photo {call.photo} is not among these photos; put it back or give its new place"
            )
        return named

    def piece(self, call: Call, photo: Stones) -> int:
        """Return the piece that a call means: by box, where it has one, else by number, else the
        only one."""
        if call.box is not None:
            overlaps = {piece: box_overlap(call.box, box) for piece, box in photo.boxes.items()}
            best = max(overlaps, key=overlaps.__getitem__, default=None)
            if best is None or overlaps[best] < SAME_BOX:
                raise ValueError(
                    f"{photo.photo}: no stone overlaps the call's box by half or more; "
                    "call it again"
                )
            return best
        if call.piece is not None:
            if call.piece not in photo.boxes:
                raise ValueError(
                    f"{photo.photo}: no piece {call.piece}, it holds {_pieces(photo)}; "
                    "give another number"
                )
            return call.piece
        if len(photo.boxes) != 1:
            raise ValueError(
                f"{photo.photo}: no piece named and it holds {_pieces(photo)}; give the number"
            )
        return next(iter(photo.boxes))


def place_calls(read: ReadCalls, photos: Sequence[Stones]) -> ReadCalls:
    """Return the calls of a table with hash, piece and box of the stone that each is about, others
    refused by row.

    Where a later row says another grade or scene of the same stone, that is told: the later one
    counts.
    """
    finder = StoneFinder(photos)
    calls, lines, refused, told = [], [], list(read.refused), list(read.told)
    last: dict[tuple[str, int], tuple[int, Call]] = {}
    for line, call in zip(read.lines, read.calls, strict=True):
        try:
            photo = finder.photos(call)[0]
            piece = finder.piece(call, photo)
        except ValueError as err:
            refused.append(RowRemark(line, str(err)))
            continue
        placed = replace(call, sha256=photo.sha256, piece=piece, box=photo.boxes[piece])
        earlier = last.get((photo.sha256, piece))
        if earlier is not None and _contradict(earlier[1], placed):
            stone = f"{call.photo} piece {piece}"
            text = f"{stone}: line {earlier[0]} says otherwise; line {line} counts"
            told.append(RowRemark(line, text))
        last[photo.sha256, piece] = (line, placed)
        calls.append(placed)
        lines.append(line)
    in_order = sorted(refused, key=lambda remark: remark.line)
    return ReadCalls(tuple(calls), tuple(lines), tuple(in_order), tuple(told))


def join_calls(photos: Iterable[Stones], calls: Iterable[Call]) -> JoinedCalls:
    """Return what the seller says of each stone in these photos.

    A photo is found by content, then path, then a name that only one has; the stone by the call's
    box: the
    piece that overlaps it by half or more (intersection over union of the boxes). A call that meets
    none
    stays listed as a call without a stone: it is never dropped and never moved to another.
    """
    finder = StoneFinder(photos)
    history: dict[tuple[str, int], list[Call]] = defaultdict(list)
    without: list[tuple[Call, str]] = []
    for call in calls:
        try:
            found = [(photo.photo, finder.piece(call, photo)) for photo in finder.photos(call)]
        except ValueError as err:
            without.append((call, str(err)))
            continue
        for stone in found:
            history[stone].append(call)
    # A word on a line is no word on the stone.
    of_stone = {stone: [c for c in said if c.line is None] for stone, said in history.items()}
    holding = {stone: holding_calls(said) for stone, said in of_stone.items()}
    standing = {stone: standing_call(said) for stone, said in holding.items() if said}
    return JoinedCalls(
        standing, {stone: tuple(said) for stone, said in history.items()}, tuple(without)
    )


def line_words(photo: Stones, calls: Iterable[Call]) -> dict[int, tuple[LineWord, ...]]:
    """Return what the seller says of lines, by piece, in the order of saying.

    Only calls on this very photo count: in another of the same name the points lie elsewhere.
    """
    here = [call for call in calls if call.line is not None and call.sha256 == photo.sha256]
    history = join_calls([photo], here).history
    return {piece: tuple(call.line for call in said) for (_, piece), said in history.items()}


def holding_calls(calls: Iterable[Call]) -> list[Call]:
    """Return the calls on one stone that no later entry takes back."""
    holding: list[Call] = []
    for call in calls:
        if not call.undo:
            holding.append(call)
        elif holding:
            holding.pop()
    return holding


def standing_call(calls: Sequence[Call]) -> Call:
    """Return the word that stands after these calls on one stone: the last grade, the last scene and
    the last name of the piece that were said."""
    grade = next((call.grade for call in reversed(calls) if call.grade is not None), None)
    scene = next((call.scene for call in reversed(calls) if call.scene is not None), None)
    stone = next((call.stone for call in reversed(calls) if call.stone), None)
    return replace(calls[-1], grade=grade, scene=scene, stone=stone)


def _contradict(first: Call, second: Call) -> bool:
    pairs = ((first.grade, second.grade), (first.scene, second.scene))
    return any(None not in pair and pair[0] != pair[1] for pair in pairs)


def _pieces(photo: Stones) -> str:
    n = len(photo.boxes)
    return "no stone" if n == 0 else "one stone" if n == 1 else f"{n} stones"
