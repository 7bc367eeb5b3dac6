"""A piece beside one's own sales of pieces most like it, with their prices; and pictures of pieces."""

from collections.abc import Collection
from decimal import Decimal

from grader.deals.grades import measured_facts
from grader.errors import LedgerError
from grader.grading.calls.joining import SAME_STONE, box_overlap
from grader.grading.features.several_faces import piece_facts
from grader.ledger import stock, views
from grader.ledger.piece_faces import faces_of
from grader.ledger.store import Ledger
from grader.report.alike import AlikeSale
from grader.session import Session
from grader.trade.alike import most_alike

ALIKE = 5


def alike_sales(session: Session, code: str, count: int = ALIKE) -> list[AlikeSale]:
    """Return the own sales of single pieces most like one, the likest first.

    Raises
    ------
    LedgerError
        There is no such piece: one line.
    """
    ledger = session.need_ledger("own sales")
    piece = stock.thing(ledger, code)
    if not isinstance(piece, stock.Piece):
        raise LedgerError(f"{code}: is no single piece; name one, as 07-113")
    sold = {
        uid: sale
        for sale in stock.sales(ledger)
        for uid in sale.sold
        if sale.told(uid).get("what", "piece") == "piece" and uid != piece.uid
    }
    pieces = stock.pieces(ledger, uids=[piece.uid, *sold])
    measured = _measured(session, ledger, pieces)
    uids = [uid for uid in sold if uid in pieces]
    found = most_alike(measured[piece.uid], [measured[uid] for uid in uids], count)
    alike = []
    for place, apart in found:
        uid = uids[place]
        sale, told = sold[uid], sold[uid].told(uid)
        grams = told["net_g"] and Decimal(told["net_g"])
        alike.append(
            AlikeSale(
                pieces[uid].code,
                uid,
                sale.time[:10],
                sale.share(uid),
                sale.currency,
                grams,
                told["grade"],
                apart,
            )
        )
    return alike


def _measured(
    session: Session, ledger: Ledger, pieces: dict[str, stock.Piece]
) -> dict[str, dict[str, float | None]]:
    facts = measured_facts(ledger, pieces)
    told = {}
    for uid, piece in pieces.items():
        of = dict(piece_facts(facts[uid], session.profile).features) if uid in facts else {}
        told[uid] = of | {"weight_g": piece.net_g and float(piece.net_g)}
    return told


def pictures_of(ledger: Ledger, uids: Collection[str]) -> dict[str, bytes]:
    """Return a picture of each piece, JPEG of the face seen first, by uid; pieces without one are left out.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    faces = {face.piece: face for face in reversed(faces_of(ledger, uids))}
    shown = views.stones(ledger, [face.sha256 for face in faces.values()])
    found = {}
    for uid, face in faces.items():
        for stone in shown:
            here = stone.sha256 == face.sha256 and stone.box
            if here and box_overlap(stone.box, face.box) >= SAME_STONE:
                found[uid] = stone.measured, stone.piece_id
    measured = views.measured_by_uid(ledger, [uid for uid, _ in found.values()])
    pictures = {}
    for uid, (of, piece_id) in found.items():
        name = measured[of].fact.pictures.get(piece_id, {}).get("photo")
        try:
            pictures[uid] = ledger.pictures.get(name) if name else b""
        except LedgerError:
            # A report goes without a picture that is gone.
            continue
    return {uid: jpeg for uid, jpeg in pictures.items() if jpeg}
