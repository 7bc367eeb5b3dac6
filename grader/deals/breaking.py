"""A piece broken: it is closed, and its parts are new pieces with numbers of their own."""

from grader.deals.hauls import open_piece, typed
from grader.errors import LedgerError
from grader.ledger import stock
from grader.ledger.deeds import Broken, Numbered
from grader.ledger.facts import NamedPiece, new_uid
from grader.ledger.store import Ledger
from grader.report.weights import weight_text
from grader.weight import Weight


def break_piece(
    ledger: Ledger, code: str, into: int, loss: Weight | None, author: str | None
) -> list[str]:
    """Close a piece and number its parts, and return their codes; they have no grade and no weight yet.

    Raises
    ------
    LedgerError
        There is no such piece, it is gone, or it lies in a lot, or more is lost than it weighs: one line.
    """
    codes: list[str] = []

    def decide(reads):
        codes.clear()
        parent, act = open_piece(reads, code), new_uid()
        if loss and parent.net_g is not None and loss.grams >= parent.net_g:
            raise LedgerError(
                f"{parent.code}: weighed {weight_text(parent.net_g)}, so {loss.typed} cannot be lost; "
                "say what chips and dust weigh"
            )
        haul = parent.code.rpartition("-")[0]
        first = stock.last_number(reads, haul) + 1
        parts = [NamedPiece(parent=parent.uid) for _ in range(into)]
        numbers = range(first, first + into)
        codes.extend(stock.code_of(haul, number) for number in numbers)
        return [
            *parts,
            *(
                Numbered(p.uid, parent.haul, n, act=act)
                for p, n in zip(parts, numbers, strict=True)
            ),
            Broken(parent.uid, tuple(p.uid for p in parts), loss and typed(loss), act=act),
        ]

    ledger.act(decide, author=author)
    return codes
