"""What was measured on called stones: the same numbers that the seller saw beside the proposal, never others."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path

from grader.batch import find_photos
from grader.calling import place_table
from grader.errors import CallsError, GraderError
from grader.grading.calls.calls import ReadCalls, remark_lines
from grader.grading.calls.calls_csv import read_calls_csv
from grader.grading.calls.comparisons_csv import Stone, paired, read_comparisons_csv
from grader.grading.calls.joining import StoneFinder, Stones, house_call, join_calls
from grader.grading.disagreement import agreed_call
from grader.grading.features.facts import StoneFacts
from grader.grading.features.rules import Features
from grader.grading.features.several_faces import piece_facts
from grader.grading.models.model import Model
from grader.grading.proposal import Call
from grader.ledger import views
from grader.ledger.joint import (
    calls_on_faces,
    joint_pieces,
    later_faces,
    on_other_faces,
    piece_at,
)
from grader.ledger.store import Ledger
from grader.looking import look_at_all
from grader.looks import Look, asks_again, look_of
from grader.photo.file import content_hash
from grader.photo.terms import PhotoTerms
from grader.pieces import faces_seen, joined_pieces, with_pieces
from grader.profile import Profile
from grader.workers.pool import Pool

#: Called with how many of how many photos are done.
Progress = Callable[[int, int], None]


def nothing(done: int, total: int) -> None:
    """Tell nobody."""


@dataclass(frozen=True)
class CalledStones:
    """Calls and comparisons with what was measured on their stones.

    calls : each on the piece as its photo was shown last.   features : by (photo hash, piece).
    appearances : what each called face looks like, the same way; of a piece with several faces one of them.
    comparisons : (better stone, other stone).   refused : what cannot be used, a line each.
    """

    calls: tuple[Call, ...]
    features: Mapping[Stone, Features]
    appearances: Mapping[Stone, Mapping[str, float]] = field(default_factory=dict)
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
    agreed: bool = False,
    on_photo: Progress = nothing,
) -> CalledStones:
    """Return all that was called in the ledger and compared, one call for each stone: of ``by`` alone, else the
    house's; or what two or more people ``agreed`` on, without comparisons, since each of those is one person's."""
    looks = KnownLooks(ledger)
    calls, lost = house_calls(looks, by=by, decider=decider, agreed=agreed)
    sides, pairs = ([], []) if agreed else compared_stones(looks, by)
    called = measure_called([*calls, *sides], profile, looks, on_photo=on_photo)
    known = called.features
    return CalledStones(
        calls=tuple(call for call in called.calls if _says(call)),
        features=known,
        appearances=called.appearances,
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
    facts = {
        (sha256, piece["id"]): facts
        for sha256, look in looks.items()
        for piece, facts in zip(look.record["pieces"], look.stones, strict=True)
    }
    features = {stone: of.features for stone, of in facts.items()}
    appearances = {stone: of.appearance for stone, of in facts.items()}
    refused = [
        line
        for table, read in ((calls, on_calls), (comparisons, pairs))
        for line in (*remark_lines(table, read.remarks), *remark_lines(table, read.refused))
    ]
    said = _on_pieces(on_calls.calls, features, list(looks.values()), profile, ledger)
    return CalledStones(said, features, appearances, pairs.comparisons, tuple(refused))


def _on_pieces(
    calls: Sequence[Call],
    features: dict[Stone, Features],
    looks: Sequence[Look],
    profile: Profile,
    ledger: Ledger | None,
) -> tuple[Call, ...]:
    """The calls, those on faces of one piece all on its first face, which gets the features of the piece."""
    first: dict[Stone, tuple[Stone, str]] = {}
    for piece in joined_pieces(looks, ledger):
        places, faces = faces_seen(piece, looks, ledger)
        if len(faces) > 1:
            features[places[0]] = piece_facts([face.facts for face in faces], profile).features
            first |= dict.fromkeys(places, (places[0], piece.uid))
    said = []
    for call in calls:
        place = call.sha256, call.piece
        (sha256, piece), name = first.get(place, (place, None))
        said.append(replace(call, sha256=sha256, piece=piece, stone=call.stone or name))
    return tuple(said)


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


def compared_stones(
    looks: "KnownLooks", by: str | None, of: str = "scene"
) -> tuple[list[Call], list[tuple[Stone, Stone]]]:
    """Return the sides of all comparisons as calls that say nothing, on the pieces as their photos were shown last, and
    the pairs of them, the better one first.

    by : whose, ``None`` for everybody's.   of : by what, "scene" or "grade".
    """
    entries = [entry for entry in views.comparisons(looks.ledger, of) if by in (None, entry.author)]
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
    looks: "KnownLooks",
    *,
    by: str | None = None,
    decider: str | None = None,
    agreed: bool = False,
) -> tuple[list[Call], list[str]]:
    """Return one word for each called stone, on the piece as its photo was shown last, of ``by`` alone or else the
    house's, or what two or more people ``agreed`` on; and the calls whose stone is not found, a line each. Of a piece
    with several faces the first one has it."""
    called = {call.sha256 for call in views.calls(looks.ledger, by=by)}
    pieces = joint_pieces(looks.ledger)
    last = looks.last({*called, *(face.sha256 for piece in pieces for face in piece.faces)})
    photos = {sha256: _by_content(look) for sha256, look in last.items()}
    calls = calls_on_faces(looks.ledger, called.union(last), by=by)
    joined = join_calls(photos.values(), calls)
    names = {place: piece.uid for piece in pieces for place in piece.places(photos)}
    later = later_faces(pieces, photos)
    house = [
        replace(call, sha256=place[0], piece=place[1], stone=call.stone or names.get(place))
        for place, people in joined.by_person.items()
        if place not in later
        and (call := agreed_call(people) if agreed else house_call(people, decider))
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
    """Return the calls with the features of their stones; of a piece with several faces those of the piece.

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
    pieces = joint_pieces(looks.ledger)
    faces = [on_other_faces(c, p) if _says(c) and (p := piece_at(c, pieces)) else [] for c in calls]
    sides = [face for of_piece in faces for face in of_piece]
    shown = _shown_with([*calls, *sides], looks)
    # One photo may have been called on two sets of terms.
    by_uid = {look.uid: look for look in shown if look is not None}
    asks = asks_again(list(by_uid.values()), looks.ledger)
    uids, again = list(by_uid), {}
    for number, done in look_at_all(asks, profile, looks.ledger, workers=Pool(workers)):
        again[uids[number]] = done
        on_photo(len(again), len(asks))
    done = [look and again[look.uid] for look in shown]
    facts = [_facts_at(*one) for one in zip([*calls, *sides], done, strict=True)]
    of_sides = iter(facts[len(calls) :])
    features: dict[Stone, Features] = {}
    appearances: dict[Stone, Mapping[str, float]] = {}
    refused = []
    for call, others, look, own in zip(calls, faces, done, facts, strict=False):
        further = list(islice(of_sides, len(others)))
        if own is None:
            why = look if isinstance(look, GraderError) else "its stone is not found; call it again"
            refused.append(f"{call.photo}: {why}")
            continue
        if None in further:
            refused.append(
                f"{call.photo}: another face of the piece is not found; taken without it"
            )
        known = [own, *(one for one in further if one is not None)]
        features[call.sha256, call.piece] = piece_facts(known, profile).features
        appearances[call.sha256, call.piece] = own.appearance
    used = tuple(call for call in calls if (call.sha256, call.piece) in features)
    return CalledStones(used, features, appearances, refused=tuple(refused))


def _shown_with(calls: Sequence[Call], looks: KnownLooks) -> list[Look | None]:
    """For each call the look that it stands beside: the one that was shown, else the last one at its photo."""
    last = looks.last({call.sha256 for call in calls})
    shown = looks.of(call.measured for call in calls if call.measured)
    return [shown.get(call.measured) or last.get(call.sha256) for call in calls]


def _says(call: Call) -> bool:
    return call.grade is not None or call.scene is not None


def _facts_at(call: Call, look: Look | GraderError | None) -> StoneFacts | None:
    """What the stone is graded by that a call is on, ``None`` where it is not found in a look."""
    if not isinstance(look, Look):
        return None
    try:
        piece = StoneFinder([_by_content(look)]).piece(call, look.on_photo)
    except ValueError:
        return None
    row = next(i for i, p in enumerate(look.record["pieces"]) if p["id"] == piece)
    return look.stones[row]


@dataclass(frozen=True)
class GradedStone:
    """A stone of a folder as it was shown last, and what a model says of it now.

    file : its photo, below the folder.   piece : its record, with the proposal.   call : whose word counts, ``None``
    where nobody called it.   facts : of a face of a piece those of the piece.   of_piece : uid of the piece, where
    several faces of it are known.
    """

    file: str
    look: Look
    piece: dict
    facts: StoneFacts
    call: Call | None
    of_piece: str | None = None

    @property
    def name(self) -> str:
        """The seller's own name for the piece, else one of all its faces, else one of its photo and number."""
        alone = f"{self.look.ask.sha256}-{self.piece['id']}"
        return (self.call and self.call.stone) or self.of_piece or alone


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
    stones = graded_on(photos, profile, model, ledger, by=by, decider=decider)
    if stones is None:
        raise CallsError(f"{folder}: not graded yet; grade it first: grader batch {folder}")
    return stones


def graded_on(
    photos: Mapping[str, str],
    profile: Profile,
    model: Model,
    ledger: Ledger,
    *,
    by: str | None = None,
    decider: str | None = None,
) -> list[GradedStone] | None:
    """Return the stones of photos, given as content and name, each with the call that counts; ``None`` where none of
    them was graded yet.

    by : whose calls; the house's by default.
    """
    looks = KnownLooks(ledger).last(photos)
    if not looks:
        return None
    joined = join_calls(
        [_by_content(look) for look in looks.values()], calls_on_faces(ledger, set(looks), by=by)
    )
    of_piece: dict[Stone, tuple[str, StoneFacts]] = {}
    pieces = joined_pieces(looks.values(), ledger)
    for one in pieces:
        places, faces = faces_seen(one, list(looks.values()), ledger)
        if len(faces) > 1:
            facts = piece_facts([face.facts for face in faces], profile)
            of_piece |= dict.fromkeys(places, (one.uid, facts))
    here = {sha256: looks[sha256] for sha256 in photos if sha256 in looks}
    records = [look.graded(profile, model) for look in here.values()]
    records = with_pieces(records, list(here.values()), pieces, profile, model, ledger)
    stones = []
    for (sha256, look), record in zip(here.items(), records, strict=True):
        for piece, facts in zip(record["pieces"], look.stones, strict=True):
            place = sha256, piece["id"]
            uid, facts = of_piece.get(place, (None, facts))
            call = house_call(joined.by_person.get(place, ()), decider)
            call = call and replace(call, stone=call.stone or uid)
            stones.append(GradedStone(photos[sha256], look, piece, facts, call, uid))
    return stones
