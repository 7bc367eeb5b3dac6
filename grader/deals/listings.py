"""Pieces, lots and bins listed: what is known of each is put together, kept with its price, and taken down again."""

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from grader.deals.grades import PieceGrade, session_grades
from grader.deals.hauls import open_piece
from grader.deals.listing_cuts import kept_cuts, planned_as_now
from grader.deals.listing_price import AskedPrice, Thing, net_told, price_asked
from grader.deals.sales import HeldTable, held_prices
from grader.errors import LedgerError
from grader.grading.calls.joining import SAME_STONE, box_overlap
from grader.grading.features.several_faces import best_face
from grader.ledger import listings as kept
from grader.ledger import stock, views
from grader.ledger.deeds import TOLD, Described, Listed, SeenFace, Withdrawn
from grader.ledger.facts import Measured, new_uid
from grader.ledger.joint import standing_faces
from grader.ledger.piece_faces import faces_of
from grader.ledger.store import Ledger
from grader.looks import Look, content_of, look_of
from grader.report.listing import (
    Offer,
    OfferedFace,
    changed_words,
    lines_words,
    listing_record,
    size_record,
)
from grader.session import Session
from grader.trade.sizes import sides_mm_of


@dataclass(frozen=True)
class SeenStone:
    """A face of a piece as its photo was shown last: the look, and the stone's place in its record."""

    look: Look
    row: int

    @property
    def stone(self) -> dict:
        return self.look.record["pieces"][self.row]

    @property
    def pictures(self) -> Mapping:
        """What is kept of it, by name."""
        return self.look.pictures[self.stone["id"]]

    @property
    def offered(self) -> OfferedFace:
        look = self.look
        return OfferedFace(look.record["photo"], self.stone, look.ask.terms, look.stones[self.row])

    @property
    def seen(self) -> SeenFace:
        return SeenFace(self.look.uid, self.stone["id"])


@dataclass(frozen=True)
class Made:
    """A listing made or found. new : kept now.   changed : labels of what is known otherwise since it was listed."""

    listing: Listed
    new: bool
    changed: tuple[str, ...] = ()


class Knowledge:
    """What is known of pieces, lots and bins, read at once for all of them."""

    def __init__(self, session: Session, things: Sequence[Thing], day: str) -> None:
        ledger = self.ledger = session.need_ledger("a listing")
        self.profile, self.unit, self.day = session.profile, session.settings.unit, day
        members = [uid for one in things if isinstance(one, stock.StockLot) for uid in one.pieces]
        self.pieces = stock.pieces(ledger, uids=members) if members else {}
        self.pieces |= {one.uid: one for one in things if isinstance(one, stock.Piece)}
        self.grades = session_grades(session, self.pieces)
        self.faces = seen_stones(ledger, self.pieces)
        self.held = held_prices(ledger, day)
        hauls = {one.haul for one in things}
        self.said = kept.described(ledger, [*hauls, *self.pieces, *(one.uid for one in things)])
        self.places = {uid: kept.haul_place(ledger, uid) for uid in hauls}

    def of(self, thing: Thing, cuts: dict | None, price: dict | None) -> dict:
        """Return the record of a listing of one of them."""
        place, dug = self.places[thing.haul]
        said = self.said.get(thing.haul, {}) | self.said.get(thing.uid, {})
        net_g, why = net_told(thing)
        offer = Offer(
            thing.code, self.day, net_g, why, *self._grade(thing),
            tuple(face.offered for face in self.faces.get(thing.uid, ())), said, place, dug, cuts, price,
        )  # fmt: skip
        if isinstance(thing, stock.StockLot):
            offer = replace(offer, pieces=tuple(self._member(uid) for uid in thing.pieces))
        if isinstance(thing, stock.Rest):
            offer = replace(offer, holds=thing.what)
        return listing_record(offer, self.profile)

    def price(self, thing: Thing, asked: AskedPrice) -> dict | None:
        """Return what is asked for one of them, as :func:`price_asked` has it."""
        grade = self.grades.get(thing.uid, PieceGrade(None, False))
        return price_asked(thing, grade, self.held and self.held.table, asked, self.unit)

    def _grade(self, thing: Thing) -> tuple[str | None, bool]:
        if not isinstance(thing, stock.Piece):
            return thing.grade, True
        of = self.grades.get(thing.uid)
        return (None, False) if of is None or of.unfamiliar else (of.grade, of.called)

    def _member(self, uid: str) -> dict:
        piece, faces = self.pieces[uid], [face.offered for face in self.faces.get(uid, ())]
        record = self.of(piece, None, None)
        net_g, _ = net_told(piece)
        return {
            "code": piece.code,
            "net_g": net_g and f"{net_g:f}",
            "size": size_record(faces, self.said.get(uid, {})),
            "lines": lines_words(record["faces"]),
            "faces": record["faces"],
        }


def seen_stones(ledger: Ledger, uids: Collection[str]) -> dict[str, tuple[SeenStone, ...]]:
    """Return the faces of pieces as their photos were shown last, by uid, the best face first; a further photo of the
    same face is no face more."""
    photos = {face.sha256 for face in faces_of(ledger, uids)}
    last = views.last_looks(ledger, list(photos))
    facts = views.measured_by_uid(ledger, list(last.values())) if last else {}
    looks = {entry.fact.sha256: look_of(entry.fact, ledger) for entry in facts.values()}
    found: dict[str, list[SeenStone]] = {}
    own: set[tuple[str, str]] = set()
    standing = standing_faces(ledger, photos) if photos else []
    for face in sorted(standing, key=lambda face: face.again_of is not None):
        look = looks.get(face.sha256)
        if face.piece not in uids or look is None or (face.piece, face.again_of) in own:
            continue
        own.add((face.piece, face.sha256))
        for row, stone in enumerate(look.record["pieces"]):
            if box_overlap(tuple(stone["box"]), face.box) >= SAME_STONE:
                found.setdefault(face.piece, []).append(SeenStone(look, row))
    return {uid: _best_first(faces) for uid, faces in found.items()}


def _best_first(faces: Sequence[SeenStone]) -> tuple[SeenStone, ...]:
    best = best_face([face.look.stones[face.row] for face in faces])
    return (faces[best], *(face for n, face in enumerate(faces) if n != best))


def for_listing(reads: stock.Reads, code: str) -> Thing:
    """Return a piece, lot or bin that may be listed.

    Raises
    ------
    LedgerError
        It is not there any more, lies in a lot, or a piece of the lot is gone: one line.
    """
    thing = stock.thing(reads, code)
    if isinstance(thing, stock.Piece):
        return open_piece(reads, code)
    if isinstance(thing, stock.Rest):
        if thing.net_g <= 0:
            raise LedgerError(f"{code}: is sold out; grader return brings back what was sold of it")
        return thing
    if thing.sold:
        raise LedgerError(f"{code}: is sold; grader return brings it back")
    for piece in stock.pieces(reads, uids=thing.pieces).values():
        if piece.fate:
            raise LedgerError(
                f"{code}: its piece {piece.code} is {piece.fate}; take the lot back and make it again"
            )
    return thing


def open_things(reads: stock.Reads, haul: str) -> list[Thing]:
    """Return the pieces, lots and bins of a haul that may be listed, by their numbers; bins whose weight is known."""
    uid = stock.haul(reads, haul).uid
    pieces = stock.pieces(reads, haul=uid)
    lots = stock.lots(reads, haul=uid).values()
    whole = [
        one
        for one in lots
        if not one.sold and not any(pieces[p].fate for p in one.pieces if p in pieces)
    ]
    bins = [
        one for one in stock.rests(reads, uid) if one.code and one.net_g > 0 and not one.guessed
    ]
    loose = [one for one in pieces.values() if one.fate is None and one.lot is None]
    return [*loose, *whole, *bins]


def unphotographed(reads: stock.Reads, things: Iterable[Thing]) -> list[stock.Piece]:
    """Return the pieces that no photo shows, so that nobody can have graded them; one that is listed already is not
    among them."""
    pieces = [one for one in things if isinstance(one, stock.Piece)]
    uids = [one.uid for one in pieces]
    told = {face.piece for face in faces_of(reads, uids, outlines=False)} if uids else set()
    told |= set(kept.open_listings(reads, uids)) if uids else set()
    return [one for one in pieces if one.uid not in told]


def preview(session: Session, things: Sequence[Thing], asked: AskedPrice) -> list[dict]:
    """Return what listings would tell today; the open ones as they are kept."""
    ledger = session.need_ledger("a listing")
    known = Knowledge(session, things, asked.day)
    open_ = kept.open_listings(ledger, [one.uid for one in things])
    plans = known_plans(ledger, known.faces)
    return [
        open_[one.uid].snapshot
        if one.uid in open_
        else known.of(one, _plan_in(plans, one, known), known.price(one, asked))
        for one in things
    ]


def list_things(
    session: Session,
    things: Sequence[Thing],
    asked: AskedPrice,
    author: str | None,
    *,
    anew: bool = False,
    planned: Mapping[str, dict | None] | None = None,
) -> list[Made]:
    """Keep listings of pieces and lots, all or none, and return them; one that is open already stays as it is, unless
    ``anew`` or another price is asked.

    planned : cut plans that were made before, by uid of the piece.

    Raises
    ------
    LedgerError
        One is gone or was dealt with meanwhile, or no currency is known: one line.
    """
    ledger = session.need_ledger("a listing")
    known = Knowledge(session, things, asked.day)
    plans = known_plans(ledger, known.faces) if planned is None else planned
    plans = {one.uid: _plan_in(plans, one, known) for one in things}
    made: list[Made] = []

    def decide(reads):
        made.clear()
        act, new = new_uid(), []
        open_ = kept.open_listings(reads, [one.uid for one in things])
        now = _as_now(reads, things)
        for one in things:
            if now.get(one.uid) != one:
                for_listing(reads, one.code)
                raise LedgerError(f"{one.code}: was dealt with just now; list it again")
            price = known.price(one, asked)
            fact = _listed(known, one, plans[one.uid], price, act)
            had = open_.get(one.uid)
            if had and not anew and asked.money in (None, had.price):
                before = kept.listed_fact(reads, had.uid).fact
                made.append(
                    Made(before, False, tuple(changed_words(before.snapshot, fact.snapshot)))
                )
                continue
            new.append(fact)
            made.append(Made(fact, True))
        return new

    ledger.act(decide, author=author)
    return made


def _as_now(reads: stock.Reads, things: Sequence[Thing]) -> dict[str, Thing]:
    uids = [one.uid for one in things]
    bins = {one.uid: one for one in stock.rests(reads, uids=uids)}
    return {**stock.pieces(reads, uids=uids), **stock.lots(reads, uids=uids), **bins}


def _listed(known: Knowledge, one: Thing, cuts, price: dict | None, act: str) -> Listed:
    if isinstance(one, stock.StockLot):
        faces = [known.faces[uid][0] for uid in one.pieces if known.faces.get(uid)]
    else:
        faces = known.faces.get(one.uid, ())
    held: HeldTable | None = known.held if price and price["table"] else None
    return Listed(
        one.uid,
        known.of(one, cuts, price),
        price and price["money"],
        price and price["currency"],
        held and held.uid,
        tuple(face.seen for face in faces),
        cuts,
        act=act,
    )


def known_plans(ledger: Ledger, faces: Mapping[str, Sequence[SeenStone]]) -> dict[str, dict | None]:
    """Return the cut plans that an earlier listing kept of the very face that is the best one now, by uid of the piece:
    a plan takes a second."""
    return {
        uid: cuts
        for uid, (face, cuts) in kept.listed_cuts(ledger, faces).items()
        if face == faces[uid][0].seen and planned_as_now(cuts)
    }


def _plan_in(plans: Mapping[str, dict | None], one: Thing, known: Knowledge) -> dict | None:
    return plans[one.uid] if one.uid in plans else plan_of(known.faces.get(one.uid, ()))


def plan_of(faces: Sequence[SeenStone]) -> dict | None:
    """Return the cut plan of the best face, ``None`` without a photo or a scale."""
    if not faces:
        return None
    best = faces[0]
    regions = best.pictures.get("regions")
    return kept_cuts(best.stone, best.look.record["photo"], regions and content_of(regions))


def shown_stones(ledger: Ledger, listed: Iterable[Listed]) -> dict[str, tuple[SeenStone, ...]]:
    """Return the stones that listings show, by uid of the listing, as they were when it was made; those of which what
    was kept is gone are left out."""
    listed = list(listed)
    uids = {face.measured for one in listed for face in one.faces}
    facts = views.measured_by_uid(ledger, list(uids)) if uids else {}
    looks = {uid: _look(entry.fact, ledger) for uid, entry in facts.items()}
    return {
        one.uid: tuple(
            SeenStone(look, row)
            for face in one.faces
            if (look := looks.get(face.measured))
            for row, stone in enumerate(look.record["pieces"])
            if stone["id"] == face.stone
        )
        for one in listed
    }


def _look(fact: Measured, ledger: Ledger) -> Look | None:
    return look_of(fact, ledger)


def withdraw(ledger: Ledger, code: str, author: str | None) -> kept.Listing:
    """Keep that a listing is taken down, and return it.

    Raises
    ------
    LedgerError
        None is open: one line.
    """
    found: list[kept.Listing] = []

    def decide(reads):
        thing = stock.thing(reads, code)
        open_ = kept.open_listings(reads, [thing.uid])
        if not open_:
            raise LedgerError(f"{code}: has no open listing; grader listing --open shows them")
        found[:] = [open_[thing.uid]]
        return [Withdrawn(found[0].uid, thing.uid)]

    ledger.act(decide, author=author)
    return found[0]


def describe(
    ledger: Ledger, code: str, said: Mapping[str, str | None], author: str | None
) -> list[Described]:
    """Keep what the seller says of a piece, a lot or a whole haul, by its name; ``None`` takes it back.

    Raises
    ------
    LedgerError
        No such thing, or a size that is none: one line.
    """
    for name, (least, most) in {"size": (2, 3), "thickness": (1, 1)}.items():
        if said.get(name):
            try:
                sides_mm_of(said[name], least, most)
            except ValueError as err:
                raise LedgerError(f"{code}: --{name}: {err}") from err

    def decide(reads):
        act = new_uid()
        uid = (stock.thing if "-" in code else stock.haul)(reads, code).uid
        return [Described(uid, name, said[name], act=act) for name in TOLD if name in said]

    return ledger.act(decide, author=author)


def record_text(snapshot: dict) -> str:
    """Return a listing as JSON text for a file, in an order that stays."""
    return json.dumps(snapshot, ensure_ascii=False, indent=1, sort_keys=True) + "\n"
