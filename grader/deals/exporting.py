"""The ledger handed out as tables, with pieces and lots by their numbers."""

from collections.abc import Iterator

from grader.deals.grades import called_grades
from grader.ledger import stock
from grader.ledger.export import Exported, exported
from grader.report.stock import number_text, piece_record
from grader.session import Session

_PIECES = {
    "piece": "its number", "net_g": "as weighed last, g", "typed": "the same as typed", "wet": "weighed wet",
    "guessed": "a guess", "grade": "as called", "called": "by a person", "parent": "piece that it was broken from",
    "lot": "that it lies in", "state": "there, sold, broken and so on",
}  # fmt: skip
_LOTS = {
    "lot": "its number", "grade": "of its pieces", "size_g": "least weight asked for, g",
    "net_g": "of the finished lot, g", "sold": "whether it is", "pieces": "numbers of its pieces",
}  # fmt: skip


def all_tables(session: Session, *, private: bool) -> Iterator[Exported]:
    """Yield all tables to hand out, pieces and lots by number first."""
    ledger = session.need_ledger("an export")
    pieces, lots = stock.pieces(ledger), stock.lots(ledger)
    codes = {uid: one.code for uid, one in {**pieces, **lots}.items()}
    grades = called_grades(session, pieces) if pieces else {}
    records = [
        piece_record(one, grades[uid].grade if uid in grades else None, uid in grades, codes)
        for uid, one in pieces.items()
    ]
    yield Exported("pieces", _PIECES, [tuple(row[name] for name in _PIECES) for row in records])
    yield Exported(
        "lots",
        _LOTS,
        [
            (
                one.code,
                one.grade,
                number_text(one.size_g),
                number_text(one.net_g),
                one.sold,
                " ".join(codes[uid] for uid in one.pieces if uid in codes),
            )
            for one in lots.values()
        ],
    )
    yield from exported(ledger, private=private)
