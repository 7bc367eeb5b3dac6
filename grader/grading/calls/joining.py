"""Which stone a call is about, by photo and then by outline; and of what several people say, whose word counts."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import PurePosixPath
from typing import NamedTuple

from grader.face.words import StoneWords
from grader.grading.calls.calls import ReadCalls, RowRemark
from grader.grading.proposal import Call

#: A call follows the piece whose outline overlaps the call's by this much (intersection over union): two stones that
#: lie side by side never both do.
SAME_STONE = 0.5
#: Outlines are compared on a grid whose longer side has so many px: their overlap is then right to about 0.01.
GRID_PX = 200

Box = tuple[int, int, int, int]
Outline = Sequence[Sequence[int]]
#: A stone among many photos: path of the photo, and its piece there.
Place = tuple[str, int]


@dataclass(frozen=True)
class Stones:
    """The pieces found in one photo: what a call is joined to.

    photo : its path with ``/``.   boxes, outlines : x, y, w, h and x, y of each point by piece, px of the photo.
    """

    photo: str
    sha256: str
    boxes: dict[int, Box]
    outlines: dict[int, Outline] = field(default_factory=dict)


@dataclass(frozen=True)
class JoinedCalls:
    """What people say of each stone.

    Attributes
    ----------
    by_person : by (photo path, piece id), one word of each person: the last grade, scene and name of the piece that
        they said, with time and note of their last call; who spoke last is last.
    without_stone : calls that meet no stone, each with the reason in one line.
    """

    by_person: dict[Place, tuple[Call, ...]]
    without_stone: tuple[tuple[Call, str], ...]


def box_overlap(first: Box, second: Box) -> float:
    """Return intersection over union of two boxes x, y, w, h; 0 where they lie apart."""
    width = min(first[0] + first[2], second[0] + second[2]) - max(first[0], second[0])
    height = min(first[1] + first[3], second[1] + second[3]) - max(first[1], second[1])
    if width <= 0 or height <= 0:
        return 0.0
    both = width * height
    return both / (first[2] * first[3] + second[2] * second[3] - both)


def outline_overlap(first: Outline, second: Outline) -> float:
    """Return intersection over union of two outlines, (n, 2) x, y each; 0 where they lie apart."""
    # Loads OpenCV, which a weight or a sale need not wait for: boxes tell most stones apart.
    import numpy as np

    from grader.face.sight.cut import fill_outline

    first, second = np.asarray(first, float), np.asarray(second, float)
    low = np.minimum(first.min(axis=0), second.min(axis=0))
    size = np.maximum(first.max(axis=0), second.max(axis=0)) - low
    factor = GRID_PX / max(size.max(), 1.0)
    shape = tuple(int(side) + 1 for side in np.ceil(size[::-1] * factor))
    one, other = (fill_outline((points - low) * factor, shape) for points in (first, second))
    union = np.count_nonzero(one | other)
    return float(np.count_nonzero(one & other) / union) if union else 0.0


class StoneFinder:
    """Finds the stone that a call is about among the pieces of many photos."""

    def __init__(self, photos: Iterable[Stones]) -> None:
        self._by_hash: dict[str, list[Stones]] = defaultdict(list)
        self._by_path: dict[str, Stones] = {}
        for photo in photos:
            self._by_hash[photo.sha256].append(photo)
            self._by_path[photo.photo] = photo

    @cached_property
    def _by_name(self) -> dict[str, list[Stones]]:
        """Only where neither content nor path leads anywhere: names of ten thousand photos take a while."""
        named: dict[str, list[Stones]] = defaultdict(list)
        for photo in self._by_path.values():
            named[PurePosixPath(photo.photo).name].append(photo)
        return named

    def photos(self, call: Call) -> list[Stones]:
        """Return the photos that a call means: by content (all copies), else path, else a file name
        that only one has.

        Raises
        ------
        ValueError
            None of them is meant, or several of one name: one line.
        """
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
        """Return the piece that a call means: by outline or box, where it has one, else by number, else the
        only one.

        Raises
        ------
        ValueError
            No stone there is meant, or it is not said which: one line.
        """
        if call.box is not None:
            overlaps = {piece: _overlap(call, photo, piece) for piece in photo.boxes}
            best = max(overlaps, key=overlaps.__getitem__, default=None)
            if best is None or overlaps[best] < SAME_STONE:
                raise ValueError(
                    f"{photo.photo}: no stone overlaps the called one by half or more; call it again"
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


def _overlap(call: Call, photo: Stones, piece: int) -> float:
    """How far a called stone and a piece are the same, 0 to 1; by their boxes where an outline is not known."""
    of_boxes = box_overlap(call.box, photo.boxes[piece])
    if of_boxes == 0.0 or not call.outline or piece not in photo.outlines:
        return of_boxes
    return outline_overlap(call.outline, photo.outlines[piece])


def same_stone(first: Call, second: Call) -> bool:
    """Whether two placed calls on one photo are about one stone."""
    stone = Stones(second.photo, second.sha256, {0: second.box}, {})
    if second.outline:
        stone = replace(stone, outlines={0: second.outline})
    return first.sha256 == second.sha256 and _overlap(first, stone, 0) >= SAME_STONE


def place_calls(read: ReadCalls, photos: Sequence[Stones]) -> ReadCalls:
    """Return the calls of a table with hash, piece, box and outline of the stone that each is about, others
    refused by row.

    Where a later row of the same person says another grade or scene of the same stone, that is told: the later one
    counts.
    """
    finder = StoneFinder(photos)
    calls, lines, refused, remarks = [], [], list(read.refused), list(read.remarks)
    last: dict[tuple[str, int, str | None], tuple[int, Call]] = {}
    for line, call in zip(read.lines, read.calls, strict=True):
        try:
            photo = finder.photos(call)[0]
            piece = finder.piece(call, photo)
        except ValueError as err:
            refused.append(RowRemark(line, str(err)))
            continue
        placed = replace(
            call,
            sha256=photo.sha256,
            piece=piece,
            box=photo.boxes[piece],
            outline=_whole_points(photo.outlines.get(piece)),
        )
        earlier = last.get((photo.sha256, piece, call.by))
        if earlier is not None and _contradict(earlier[1], placed):
            stone = f"{call.photo} piece {piece}"
            text = f"{stone}: line {earlier[0]} says otherwise; line {line} counts"
            remarks.append(RowRemark(line, text))
        last[photo.sha256, piece, call.by] = (line, placed)
        calls.append(placed)
        lines.append(line)
    in_order = sorted(refused, key=lambda remark: remark.line)
    return ReadCalls(tuple(calls), tuple(lines), tuple(in_order), tuple(remarks))


def join_calls(photos: Iterable[Stones], calls: Iterable[Call]) -> JoinedCalls:
    """Return what people say of each stone in these photos.

    A photo is found by content, then path, then a name that only one has; the stone by the call's outline: the
    piece that overlaps it by half or more (intersection over union). A call that meets none stays listed as a call
    without a stone: it is never dropped and never moved to another.

    calls : that hold, in the order in which they were made; words on lines and patches are left alone.
    """
    finder = StoneFinder(photos)
    heard: dict[Place, dict[str | None, list[Call]]] = defaultdict(lambda: defaultdict(list))
    without: list[tuple[Call, str]] = []
    for call in calls:
        if call.on_part:
            continue
        try:
            found = [(photo.photo, finder.piece(call, photo)) for photo in finder.photos(call)]
        except ValueError as err:
            without.append((call, str(err)))
            continue
        for stone in found:
            of_one = heard[stone].pop(call.by, [])
            heard[stone][call.by] = [*of_one, call]
    by_person = {
        stone: tuple(standing_call(spoken) for spoken in people.values())
        for stone, people in heard.items()
    }
    return JoinedCalls(by_person, tuple(without))


def house_call(people: Sequence[Call], decider: str | None = None) -> Call | None:
    """Return the word that counts of what several people say of a stone; ``None`` where nobody says a thing.

    The grade is the decider's, the scene too; where he has said none, that of whoever said one last.

    people : one word of each, who spoke last is last, as :class:`JoinedCalls` holds them.
    """
    if not people:
        return None
    # The decider's word as if it were the last.
    order = sorted(people, key=lambda call: decider is not None and call.by == decider)
    grade = next((call for call in reversed(order) if call.grade is not None), None)
    scene = next((call for call in reversed(order) if call.scene is not None), None)
    stone = next((call.stone for call in reversed(order) if call.stone), None)
    base = grade or scene or order[-1]
    if scene is None and (base.scene, base.scene_by, base.stone) == (None, None, stone):
        return base
    return replace(base, scene=scene and scene.scene, scene_by=scene and scene.by, stone=stone)


class Word(NamedTuple):
    """What a call says of a stone's grade. order : of making.   photo : its content.   shown : grade proposed then."""

    order: int
    photo: str
    by: str | None
    time: str
    grade: str | None
    shown: str | None


def house_grade(words: Iterable[Word], decider: str | None = None) -> str | None:
    """Return the grade that counts of what is said of a piece on several photos, as :func:`house_call` has it: of each
    person the last one on a photo, with the time of his last word there; ``None`` where nobody says one.

    words : in the order of making.
    """
    standing: dict[tuple[str, str | None], tuple[bool, str, int, str]] = {}
    for word in words:
        who = word.photo, word.by
        grade = word.grade or (standing[who][3] if who in standing else "")
        standing[who] = decider is not None and word.by == decider, word.time, word.order, grade
    graded = [one for one in standing.values() if one[3]]
    return max(graded)[3] if graded else None


def stone_words(photo: Stones, calls: Iterable[Call]) -> dict[int, StoneWords]:
    """Return what the seller says of lines and patches, by piece, in the order of saying.

    Only calls on this very photo count: in another of the same name the points lie elsewhere.
    """
    finder = StoneFinder([photo])
    words: dict[int, list[Call]] = defaultdict(list)
    for call in calls:
        if not call.on_part or call.sha256 != photo.sha256:
            continue
        try:
            words[finder.piece(call, photo)].append(call)
        except ValueError:
            continue  # Its stone is not found any more: listed with the calls, not measured.
    return {
        piece: StoneWords(
            tuple(call.line for call in spoken if call.line is not None),
            tuple(call.patch for call in spoken if call.patch is not None),
        )
        for piece, spoken in words.items()
    }


def stone_at(photo: Stones, x: float, y: float) -> int | None:
    """Return the piece on which a point of the photo lies, px; ``None`` where it lies on none."""
    import cv2
    import numpy as np

    for piece, outline in photo.outlines.items():
        points = np.asarray(outline, np.float32).reshape(-1, 1, 2)
        if cv2.pointPolygonTest(points, (float(x), float(y)), False) >= 0:
            return piece
    return None


def standing_call(calls: Sequence[Call]) -> Call:
    """Return the word that stands after these calls on one stone: the last grade, the last scene and
    the last name of the piece that were said."""
    if len(calls) == 1:
        return calls[0]
    grade = next((call.grade for call in reversed(calls) if call.grade is not None), None)
    scene = next((call.scene for call in reversed(calls) if call.scene is not None), None)
    stone = next((call.stone for call in reversed(calls) if call.stone), None)
    return replace(calls[-1], grade=grade, scene=scene, stone=stone)


def _whole_points(outline: Outline | None) -> tuple[tuple[int, int], ...] | None:
    return None if outline is None else tuple((int(x), int(y)) for x, y in outline)


def _contradict(first: Call, second: Call) -> bool:
    pairs = ((first.grade, second.grade), (first.scene, second.scene))
    return any(None not in pair and pair[0] != pair[1] for pair in pairs)


def _pieces(photo: Stones) -> str:
    n = len(photo.boxes)
    return "no stone" if n == 0 else "one stone" if n == 1 else f"{n} stones"
