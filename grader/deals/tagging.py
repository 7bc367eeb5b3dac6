"""Which stone of a photo each tag belongs to, and what number it gives it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from grader.errors import LedgerError
from grader.ledger import stock

if TYPE_CHECKING:
    import numpy as np

#: A tag belongs to its stone where the next one without a tag is so many times as far away, and this much (in sides of
#: the code) farther.
TIMES_FARTHER, FARTHER = 1.5, 0.25


@dataclass(frozen=True)
class TaggedPhoto:
    """What the tags of one photo say of its stones.

    numbers : by stone.   unnumbered : stones that get no number now, since their tag does not tell it.
    seen : numbers of the haul that its tags say, also where no stone got them.   remarks : a line each, for the seller.
    """

    numbers: Mapping[int, int] = field(default_factory=dict)
    unnumbered: frozenset[int] = frozenset()
    remarks: tuple[str, ...] = ()
    seen: frozenset[int] = frozenset()


NO_TAGS = TaggedPhoto()


def tagged_photo(record: dict, haul: str) -> TaggedPhoto:
    """Return what the tags of a photo say, by its record.

    Each tag belongs to one stone, so that all distances together are least. A tag that lies between two stones, is of
    another haul, or cannot be read gives its stone no number, and no other number is made up for it.
    """
    # They load OpenCV, which a weight or a sale need not wait for.
    import numpy as np

    from grader.photo.tags import distances

    file, tags = record["photo"]["file"], record["photo"].get("tags", ())
    stones = {stone["id"]: np.array(stone["outline"]) for stone in record["pieces"]}
    numbered, remarks = [], []
    for tag in tags:
        said = _said(tag["text"])
        if isinstance(said, str):
            remarks.append(f"{file}: {said}")
        else:
            numbered.append((tag, said))
    seen = frozenset(said[1] for _, said in numbered if said and said[0] == haul)
    if any(_is_of_several(tag["text"]) for tag in tags):
        return TaggedPhoto(unnumbered=frozenset(stones), remarks=tuple(remarks), seen=seen)
    if not numbered or not stones:
        return TaggedPhoto(remarks=tuple(remarks), seen=seen)
    far = np.array([[*distances(tag["code"], stones).values()] for tag, _ in numbered])
    ids, of = list(stones), _matched(far)
    numbers: dict[int, int] = {}
    without: set[int] = set()
    for n, (tag, code) in enumerate(numbered):
        text = tag["text"]
        if n not in of:
            told = f"tag {text}" if text else "a tag that cannot be read"
            remarks.append(f"{file}: {told} has no stone of its own; lay one tag to each stone")
            continue
        stone = ids[of[n]]
        why = _why_not(n, of, far, ids, code, haul, numbers)
        if why:
            without |= {stone, *(ids[s] for s in _doubted(n, of, far))}
            told = f"tag {text}" if text else "a tag"
            remarks.append(f"{file}: {told} {why}; stone {stone} got no number by it")
        else:
            numbers[stone] = code[1]
    return TaggedPhoto(numbers, frozenset(without - set(numbers)), tuple(remarks), seen)


def _said(text: str | None) -> tuple[str, int] | str | None:
    """Haul and number that a code says; ``None`` where it cannot be read; a line where it is no tag of a piece."""
    if text is None:
        return None
    try:
        haul, kind, number = stock.read_code(text)
    except LedgerError:
        shown = text if len(text) <= 30 else text[:30] + "..."
        return f"a QR code in it says {shown!r}, which is no number of a piece; left aside"
    if kind:
        return f"{text} is the label of a {stock.KINDS[kind]}; its stones get no new numbers"
    return haul, number


def _is_of_several(text: str | None) -> bool:
    """Whether it is the label of a lot or a bin."""
    try:
        return text is not None and bool(stock.read_code(text)[1])
    except LedgerError:
        return False


def _matched(far: "np.ndarray") -> dict[int, int]:
    """The stone of each tag, by their rows and columns in a table of distances."""
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    return dict(zip(*map(np.ndarray.tolist, linear_sum_assignment(far)), strict=True))


def _doubted(n: int, of: Mapping[int, int], far: "np.ndarray") -> list[int]:
    """Stones without a tag that a tag might as well belong to."""
    own = far[n, of[n]]
    free = [s for s in range(far.shape[1]) if s not in of.values()]
    return [s for s in free if far[n, s] < max(TIMES_FARTHER * own, own + FARTHER)]


def _why_not(
    n: int,
    of: Mapping[int, int],
    far: "np.ndarray",
    ids: Sequence[int],
    code: tuple[str, int] | None,
    haul: str,
    numbers: Mapping[int, int],
) -> str | None:
    """Why a tag gives its stone no number; ``None`` where it does."""
    if code is None:
        return "cannot be read: take it larger and sharper, or name the photo after the piece, as 07-113.jpg"
    if code[0] != haul:
        return f"is of haul {code[0]}: grade it with --haul {code[0]}"
    if code[1] in numbers.values():
        return "shows twice in one photo"
    if doubted := _doubted(n, of, far):
        between = " and ".join(str(ids[s]) for s in [of[n], *doubted[:1]])
        return f"lies between stones {between}: lay it nearer to its own"
    rivals = [m for m in range(len(far)) if m not in of and far[m, of[n]] < far[n, of[n]] + FARTHER]
    return "lies there with another tag: lay one tag to each stone" if rivals else None
