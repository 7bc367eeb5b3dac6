"""What was measured on called stones: the same numbers that the seller saw beside the proposal, never others."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from grader.batch import find_photos
from grader.calling import place_table
from grader.errors import CallsError, GraderError
from grader.grading.calls.calls import ReadCalls, remark_lines
from grader.grading.calls.calls_csv import read_calls_csv
from grader.grading.calls.comparisons_csv import Stone, paired, read_comparisons_csv
from grader.grading.calls.joining import StoneFinder, Stones, house_call, join_calls
from grader.grading.features.facts import StoneFacts
from grader.grading.features.rules import Features
from grader.grading.models.model import Model
from grader.grading.proposal import Call
from grader.ledger import views
from grader.ledger.store import Ledger
from grader.looking import look_at_all
from grader.looks import Look, asks_again, look_of
from grader.photo.read import content_hash
from grader.photo.terms import PhotoTerms
from grader.profile import Profile

#: Called with how many of how many photos are done.
Progress = Callable[[int, int], None]


def nothing(done: int, total: int) -> None:
    """Tell nobody."""


@dataclass(frozen=True)
class CalledStones:
    """Calls and comparisons with what was measured on their stones.

    calls : each on the piece as its photo was shown last.   features : by (photo hash, piece).
    comparisons : (better stone, other stone).   refused : what cannot be used, a line each.
    """

    calls: tuple[Call, ...]
    features: Mapping[Stone, Features]
    comparisons: tuple[tuple[Stone, Stone], ...] = ()
    refused: tuple[str, ...] = ()

    @property
    def stones(self) -> tuple[Stone, ...]:
        """Each stone that was called or compared, once, the called ones first."""
        called = [(call.sha256, call.piece) for call in self.calls]
        compared = [stone for pair in self.comparisons for stone in pair]
        return tuple(dict.fromkeys([*called, *compared]))


def called_in_ledger(
    ledger: Ledger,
    profile: Profile,
    *,
    by: str | None = None,
    decider: str | None = None,
    on_photo: Progress = nothing,
) -> CalledStones:
    """Return all that was called in the ledger and compared, one call for each stone: of ``by`` alone, else the
    house's."""
    looks = KnownLooks(ledger)
    calls, lost = house_calls(looks, by=by, decider=decider)
    sides, pairs = _compared(looks, by)
    called = measure_called([*calls, *sides], profile, looks, on_photo=on_photo)
    known = called.features
    return CalledStones(
        calls=tuple(
            call for call in called.calls if call.grade is not None or call.scene is not None
        ),
        features=known,
        comparisons=tuple(pair for pair in pairs if pair[0] in known and pair[1] in known),
        refused=(*lost, *called.refused),
    )


def called_in_tables(
    calls: Path | None,
    comparisons: Path | None,
    folders: Sequence[Path],
    terms: PhotoTerms,
    profile: Profile,
    ledger: Ledger | None,
    *,
    time: str,
    on_photo: Progress = nothing,
) -> CalledStones:
    """Return what tables of calls and comparisons say; their photos are taken as they were shown last, else looked for
    in ``folders`` and looked at on these terms.

    Raises
    ------
    CallsError
        A table cannot be read.
    """
    from_calls = read_calls_csv(calls, profile.grades, time) if calls else ReadCalls((), ())
    from_comparisons = read_comparisons_csv(comparisons, time) if comparisons else ReadCalls((), ())
    both = ReadCalls(
        (*from_calls.calls, *from_comparisons.calls),
        tuple(range(len(from_calls) + len(from_comparisons))),
    )
    placed, looks = place_table(both, folders, terms, profile, ledger, on_photo=on_photo)
    on_calls, on_sides = _parted(placed, from_calls, from_comparisons)
    pairs = paired(on_sides)
    features = {
        (sha256, piece["id"]): facts.features
        for sha256, look in looks.items()
        for piece, facts in zip(look.record["pieces"], look.stones, strict=True)
    }
    refused = [
        line
        for table, read in ((calls, on_calls), (comparisons, pairs))
        for line in (*remark_lines(table, read.remarks), *remark_lines(table, read.refused))
    ]
    return CalledStones(on_calls.calls, features, pairs.comparisons, tuple(refused))


def _parted(
    placed: ReadCalls, from_calls: ReadCalls, from_comparisons: ReadCalls
) -> tuple[ReadCalls, ReadCalls]:
    """Two tables that were placed as one, each with its own lines again."""
    lines = (*from_calls.lines, *from_comparisons.lines)
    parts = []
    for table, first, last in (
        (from_calls, 0, len(from_calls)),
        (from_comparisons, len(from_calls), len(lines)),
    ):
        here = range(first, last)
        rows = [(n, c) for n, c in zip(placed.lines, placed.calls, strict=True) if n in here]
        refused, remarks = (
            tuple(
                replace(remark, line=lines[remark.line]) for remark in rows if remark.line in here
            )
            for rows in (placed.refused, placed.remarks)
        )
        parts.append(
            ReadCalls(
                tuple(call for _, call in rows),
                tuple(lines[n] for n, _ in rows),
                (*table.refused, *refused),
                (*table.remarks, *remarks),
            )
        )
    return parts[0], parts[1]


def _compared(looks: "KnownLooks", by: str | None) -> tuple[list[Call], list[tuple[Stone, Stone]]]:
    """The sides of all comparisons as calls that say nothing, on the pieces as their photos were shown last, and the
    pairs of them."""
    entries = [entry for entry in views.comparisons(looks.ledger) if by in (None, entry.author)]
    places = [place for entry in entries for place in (entry.fact.better, entry.fact.other)]
    last = looks.last({place.sha256 for place in places})
    finder = StoneFinder([_by_content(look) for look in last.values()])
    sides, pairs = [], []
    for entry in entries:
        pair = []
        for place in (entry.fact.better, entry.fact.other):
            call = Call(
                place.sha256, place.sha256, place.piece_id, place.box, None, None, entry.author,
                entry.time, None, outline=place.outline,
            )  # fmt: skip
            try:
                piece = finder.piece(call, finder.photos(call)[0])
            except ValueError:
                break
            pair.append(replace(call, piece=piece))
        if len(pair) == 2:
            sides += pair
            pairs.append(tuple((side.sha256, side.piece) for side in pair))
    return sides, pairs


def house_calls(
    looks: "KnownLooks", *, by: str | None = None, decider: str | None = None
) -> tuple[list[Call], list[str]]:
    """Return one word for each called stone, on the piece as its photo was shown last, of ``by`` alone or else the
    house's; and the calls whose stone is not found, a line each."""
    calls = views.calls(looks.ledger, by=by, outlines=True)
    last = looks.last({call.sha256 for call in calls})
    joined = join_calls([_by_content(look) for look in last.values()], calls)
    house = [
        replace(call, sha256=sha256, piece=piece)
        for (sha256, piece), people in joined.by_person.items()
        if (call := house_call(people, decider))
    ]
    return house, [f"{call.photo}: {why}" for call, why in joined.without_stone]


class KnownLooks:
    """Looks that a ledger holds, each read once however often it is asked for: a fact never changes."""

    def __init__(self, ledger: Ledger) -> None:
        self.ledger = ledger
        self._by_uid: dict[str, Look | None] = {}

    def of(self, uids: Iterable[str]) -> dict[str, Look]:
        """Return looks by the uid of their measurement; those of which something is gone are left out."""
        wanted = list(dict.fromkeys(uids))
        new = [uid for uid in wanted if uid not in self._by_uid]
        for uid, entry in views.measured_by_uid(self.ledger, new).items():
            self._by_uid[uid] = look_of(entry.fact, self.ledger)
        return {uid: look for uid in wanted if (look := self._by_uid.get(uid)) is not None}

    def last(self, photos: Iterable[str]) -> dict[str, Look]:
        """Return, by content, the looks at these photos that were shown last."""
        uids = views.last_looks(self.ledger, list(photos))
        looks = self.of(uids.values())
        return {sha256: looks[uid] for sha256, uid in uids.items() if uid in looks}


def _by_content(look: Look) -> Stones:
    # Two folders may hold photos of one name.
    return replace(look.on_photo, photo=look.ask.sha256)


def measure_called(
    calls: Sequence[Call],
    profile: Profile,
    looks: KnownLooks,
    *,
    workers: int | None = None,
    on_photo: Progress = nothing,
) -> CalledStones:
    """Return the calls with the features of their stones.

    A stone is measured on the terms with which it was called, with today's words on its lines. That is known in the
    ledger unless measuring, profile or words have changed since; then the photo is measured again or, where it is gone,
    what was kept of it.

    Parameters
    ----------
    calls : placed ones, (photo hash, piece) as the photo was shown last.
    looks : of the ledger in which they are known.
    workers : processes, as many as there are cores by default.
    on_photo : told how many of how many photos are done.
    """
    shown = _shown_with(calls, looks)
    # One photo may have been called on two sets of terms.
    by_uid = {look.uid: look for look in shown if look is not None}
    asks = asks_again(list(by_uid.values()), looks.ledger)
    uids, again = list(by_uid), {}
    for number, done in look_at_all(asks, profile, looks.ledger, workers=workers):
        again[uids[number]] = done
        on_photo(len(again), len(asks))
    features: dict[Stone, Features] = {}
    refused = []
    for call, look_shown in zip(calls, shown, strict=True):
        look = look_shown and again[look_shown.uid]
        if isinstance(look, Look) and (row := _row(look, call)) is not None:
            features[call.sha256, call.piece] = look.stones[row].features
        else:
            why = look if isinstance(look, GraderError) else "its stone is not found; call it again"
            refused.append(f"{call.photo}: {why}")
    used = tuple(call for call in calls if (call.sha256, call.piece) in features)
    return CalledStones(used, features, refused=tuple(refused))


def _shown_with(calls: Sequence[Call], looks: KnownLooks) -> list[Look | None]:
    """For each call the look that it stands beside: the one that was shown, else the last one at its photo."""
    last = looks.last({call.sha256 for call in calls})
    shown = looks.of(call.measured for call in calls if call.measured)
    return [shown.get(call.measured) or last.get(call.sha256) for call in calls]


def _row(look: Look, call: Call) -> int | None:
    """Which of the look's stones a call is on."""
    try:
        piece = StoneFinder([_by_content(look)]).piece(call, look.on_photo)
    except ValueError:
        return None
    return next(i for i, p in enumerate(look.record["pieces"]) if p["id"] == piece)


@dataclass(frozen=True)
class GradedStone:
    """A stone of a folder as it was shown last, and what a model says of it now.

    file : its photo, below the folder.   piece : its record, with the proposal.   call : whose word counts, ``None``
    where nobody called it.
    """

    file: str
    look: Look
    piece: dict
    facts: StoneFacts
    call: Call | None

    @property
    def name(self) -> str:
        """The seller's own name for the piece, else one of its photo and number."""
        return (self.call and self.call.stone) or f"{self.look.ask.sha256}-{self.piece['id']}"


def graded_stones(
    folder: Path,
    profile: Profile,
    model: Model,
    ledger: Ledger,
    *,
    by: str | None = None,
    decider: str | None = None,
) -> list[GradedStone]:
    """Return the stones of a folder of photos that were graded before, each with the call that counts.

    by : whose calls; the house's by default.

    Raises
    ------
    CallsError
        None of its photos was graded yet.
    """
    photos = {}
    for file, path in find_photos(folder, folder / "graded").items():
        try:
            photos.setdefault(content_hash(path), file)
        except GraderError:
            continue  # What cannot be read was told by batch.
    looks = KnownLooks(ledger).last(photos)
    if not looks:
        raise CallsError(f"{folder}: not graded yet; grade it first: grader batch {folder}")
    calls = views.calls(ledger, sha256=list(looks), by=by, outlines=True)
    joined = join_calls([_by_content(look) for look in looks.values()], calls)
    stones = []
    for sha256, file in photos.items():
        if sha256 not in looks:
            continue
        look = looks[sha256]
        for piece, facts in zip(look.graded(profile, model)["pieces"], look.stones, strict=True):
            people = joined.by_person.get((sha256, piece["id"]), ())
            stones.append(GradedStone(file, look, piece, facts, house_call(people, decider)))
    return stones
