"""Every kind of fact by its name, and reading one from its text."""

from grader.errors import LedgerError
from grader.ledger import facts
from grader.ledger.deeds import DEEDS, BuyerErased, Undone
from grader.ledger.facts import Fact

KINDS: dict[str, type[Fact]] = {
    cls.kind: cls
    for cls in (
        facts.PhotoFile, facts.Measured, facts.Look, facts.NamedPiece, facts.FaceOfPiece, facts.SavedCall,
        facts.SavedLineWord, facts.SavedRegionWord, facts.TakenBack, facts.Compared, facts.ComparisonBack,
        facts.ModelUse, facts.ResortBegun, facts.ResortAnswer, facts.ResortUndone, facts.ResortDone, facts.SeasonBegun,
        *DEEDS, Undone, BuyerErased,
    )
}  # fmt: skip


def read_fact(kind: str, body: str, uid: str) -> Fact:
    """Return the fact of that kind and JSON text.

    Raises
    ------
    LedgerError
        The kind is unknown, or the text is none of it.
    """
    if kind not in KINDS:
        raise LedgerError(f"fact {kind!r} is unknown; a newer version of this tool may know it")
    return KINDS[kind].from_body(body, uid)
