"""The last act of a person taken back, by an entry against it; and all that was done with a piece or lot."""

from collections.abc import Iterable

from grader.errors import LedgerError
from grader.grading.calls.joining import SAME_STONE, box_overlap
from grader.ledger import buyers, history, stock
from grader.ledger.deeds import Deed, Undone
from grader.ledger.facts import Entry, FaceOfPiece, Fact, SavedCall
from grader.ledger.store import Ledger


def undo(ledger: Ledger, author: str | None) -> tuple[tuple[Entry[Deed], ...], dict[str, str]]:
    """Take back the last act of that person that holds; return its deeds, and codes of what they speak of.

    Raises
    ------
    LedgerError
        There is none, or somebody built on it since: one line.
    """
    taken: list[Entry[Deed]] = []
    codes: dict[str, str] = {}

    def decide(reads):
        taken[:] = history.last_act(reads, author)
        if not taken:
            whose = f"{author} has" if author else "nobody unnamed has"
            raise LedgerError(
                f"nothing to take back: {whose} done nothing here that holds; --by names another, "
                "and a call goes back with grader call PHOTO --undo"
            )
        if later := history.built_on(reads, taken):
            by = later[-1].author or "somebody"
            raise LedgerError(
                f"{by} has dealt with it since ({later[-1].fact.kind}, {later[-1].time}); take that back first"
            )
        # Before it is taken back: then a number given in it is no more.
        codes.update(codes_of(reads, taken))
        return [Undone(taken[0].fact.act)]

    ledger.act(decide, author=author)
    return tuple(taken), codes


def codes_of(reads: stock.Reads, entries: Iterable[Entry[Fact]]) -> dict[str, str]:
    """Return the codes of the pieces, lots and bins that deeds speak of, by uid, and names of buyers by id."""
    uids = {uid for entry in entries if isinstance(entry.fact, Deed) for uid in entry.fact.things}
    found = {**stock.pieces(reads, uids=uids), **stock.lots(reads, uids=uids)}
    codes = {uid: one.code for uid, one in found.items()}
    codes |= {one.uid: one.code for one in stock.rests(reads, uids=uids) if one.code}
    return codes | buyers.names(reads)


def history_of(ledger: Ledger, code: str) -> tuple[history.HistoryLine, ...]:
    """Return all that was done with a piece or lot, in order, also what was taken back: with the lot that a piece lies
    in, what was done with that; the photos that show it, and the calls on it that hold.

    Raises
    ------
    LedgerError
        Nothing bears that code: one line.
    """
    thing = stock.thing(ledger, code)
    lines = {line.entry.sequence: line for line in history.history(ledger, thing.uid)}
    # A lot that it lay in was weighed and sold, and a sale came back.
    for kind in ("lot", "sold"):
        for uid in [one.entry.fact.uid for one in lines.values() if one.entry.fact.kind == kind]:
            lines |= {line.entry.sequence: line for line in history.history(ledger, uid)}
    faces = history.seen(ledger, thing.uid)
    names = history.photo_names(ledger, [face.fact.sha256 for face in faces])
    lines |= {f.sequence: history.HistoryLine(f, photo=names.get(f.fact.sha256)) for f in faces}
    for call in history.called_on(ledger, [face.fact.sha256 for face in faces]):
        if any(_same_place(call.fact, face.fact) for face in faces):
            lines[call.sequence] = history.HistoryLine(call)
    return tuple(line for _, line in sorted(lines.items()))


def _same_place(call: SavedCall, face: FaceOfPiece) -> bool:
    return call.sha256 == face.sha256 and box_overlap(call.box, face.box) >= SAME_STONE
