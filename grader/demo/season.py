"""The invented season made: photos drawn and looked at, and all acts of three trips kept in a ledger of its own."""

import os
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import count
from pathlib import Path

import numpy as np

from grader.calling import place_on, save_calls, with_shown
from grader.deals.breaking import break_piece
from grader.deals.grades import PieceGrade, gradings, known_grades
from grader.deals.hauls import PartOfHaul, new_haul, new_trip, note_part, number_photos
from grader.deals.limits import note_cost
from grader.deals.listing_price import AskedPrice
from grader.deals.listings import describe, for_listing, list_things
from grader.deals.lots import LotRules, keep_lots
from grader.deals.orders import Item, reserve
from grader.deals.parcels import set_boxes
from grader.deals.sales import BackTerms, Terms, sell, set_prices, take_back
from grader.deals.weighing import Weighing, weigh
from grader.demo.clock import SeasonClock
from grader.demo.papers import BOXES, PRICES, SETTINGS, price_table, readme
from grader.demo.stones import MM_PER_PX, DrawnStone, draw_haul
from grader.errors import GraderError
from grader.files import write_text
from grader.grading.proposal import Call
from grader.ledger import stock
from grader.ledger.store import Ledger
from grader.looking import look_at_all
from grader.looks import Look, ask_for, shown
from grader.photo.terms import PhotoTerms
from grader.session import Session
from grader.weight import GRAMS_IN, grams_of
from grader.workers.pool import Pool

#: All people of it are made up.
ADA, BRAM, BUYER = "Ada (invented)", "Bram (invented)", "Cleo (invented)"
INVENTED = "invented"
#: How often a sorter says what is proposed, and else one grade beside it.
AGREES = 0.75
#: Parts of a haul that have no number: what, grade, share of what its pieces weigh.
RESTS = (
    ("waste", None, 1.4), ("sorted", "select", 0.15), ("sorted", "cabbing", 0.5),
    ("sorted", "tumbling", 0.8), ("chips", None, 0.4), ("mud and water", None, 0.1),
)  # fmt: skip
#: What a lot weighs at least, and a bag of chips, as the price table has it.
LOT_G, BAG_G = Decimal(500), 2 * GRAMS_IN["lb"]


@dataclass(frozen=True)
class Dig:
    """A trip of the season and its haul, each act on its day. graded : whether its photos are looked at."""

    haul: str
    name: str
    spot: str
    hours: str
    dug: str
    sorted_: str
    sold: str
    graded: bool = True


DIGS = (
    Dig("07", "Spring dig", "upper ledge", "6", "2025-04-12", "2025-04-19", "2025-05-10"),
    Dig("08", "Summer dig", "gully", "9", "2025-06-14", "2025-06-21", "2025-07-12"),
    Dig("09", "Autumn dig", "lower ledge", "5", "2025-09-06", "2025-09-13", "2025-09-27", False),
)
#: Pieces of each haul. Only those of the first two are looked at, since that takes some seconds a stone: all is to be
#: there within a minute.
PIECES = (14, 4, 102)
TRIES = (
    "grader table                   # sort in the browser",
    "grader haul report 07          # the balance, and what it is worth",
    "grader listing --haul 07 --out listings   # pages for buyers",
    "grader batch photos/09 --haul 09   # grade the stones that wait",
)


@dataclass(frozen=True)
class MadeSeason:
    """What was made. pieces : of all hauls.   graded : of these, looked at.   ledger : its file."""

    folder: Path
    ledger: Path
    pieces: int
    graded: int


@dataclass(frozen=True)
class _Work:
    """What the acts of the season work with."""

    folder: Path
    seed: int
    session: Session
    clock: SeasonClock
    workers: int | None
    on_stone: Callable[[], None]

    def rng(self, *of: int) -> np.random.Generator:
        """Of one purpose each, so that more of one thing changes no other."""
        return np.random.default_rng([self.seed, *of])


def make_season(
    folder: Path,
    seed: int = 0,
    *,
    pieces: Sequence[int] = PIECES,
    workers: int | None = None,
    on_stone: Callable[[int, int], None] = lambda done, total: None,
) -> MadeSeason:
    """Make the season in a new or empty folder, with a ledger of its own, and return what was made.

    The same seed makes the same facts, but for uids and the time of day.

    Parameters
    ----------
    pieces : how many each of the three hauls has.
    workers : processes that draw and look at photos, as many as there are cores by default.
    on_stone : told how many of how many stones are drawn or looked at.

    Raises
    ------
    GraderError
        The folder holds something, or cannot be written to: one line.
    """
    _refuse_full(folder)
    graded = sum(n for dig, n in zip(DIGS, pieces, strict=True) if dig.graded)
    steps, total = count(1), sum(pieces) + graded
    for name, text in _papers(graded, sum(pieces) - graded).items():
        write_text(folder / name, text)
    clock = SeasonClock(DIGS[0].dug)
    session = Session(folder=folder, clock=clock)
    work = _Work(folder, seed, session, clock, workers, lambda: on_stone(next(steps), total))
    try:
        _tables(work, "prices_spring.toml")
        for number, (dig, n) in enumerate(zip(DIGS, pieces, strict=True), start=1):
            _dig(work, number, dig, n)
    finally:
        session.close()
    return MadeSeason(folder, session.ledger_path, sum(pieces), graded)


def _refuse_full(folder: Path) -> None:
    try:
        if folder.is_dir() and not any(folder.iterdir()):
            return
    except OSError as err:
        raise GraderError(f"{folder}: cannot be read ({err.strerror}); name another") from err
    if os.path.lexists(folder):
        what = "holds something already" if folder.is_dir() else "is a file"
        raise GraderError(f"{folder}: {what}; name a new or empty folder for the invented season")


def _papers(graded: int, waiting: int) -> dict[str, str]:
    return {
        "README.txt": readme(graded, waiting, TRIES),
        "grader.toml": SETTINGS,
        "boxes.toml": BOXES,
        **{name: price_table(name) for name in PRICES},
    }


def _tables(work: _Work, prices: str) -> None:
    ledger = work.session.ledger
    set_prices(ledger, price_table(prices), prices, ADA)
    if prices == next(iter(PRICES)):
        set_boxes(ledger, BOXES, "boxes.toml", ADA)


def _dig(work: _Work, number: int, dig: Dig, pieces: int) -> None:
    """One trip, from the digging to the last sale of its stones."""
    ledger, clock = work.session.ledger, work.clock
    stones = []
    place = work.folder / "photos" / dig.haul
    for stone in draw_haul(work.seed, dig.haul, pieces, place, work.workers):
        stones.append(stone)
        work.on_stone()
    clock.set(dig.dug, 17)
    new_trip(
        ledger, f"{dig.name} ({INVENTED})", dig.dug, ADA, spot=f"{dig.spot} ({INVENTED})",
        hours=Decimal(dig.hours), hands=3, right=f"{INVENTED} permit 12",
        place=f"Fernhollow claim, a place that is {INVENTED}",
    )  # fmt: skip
    note_cost(ledger, number, Decimal(40 + 15 * number), "USD", f"fuel ({INVENTED})", ADA)
    rests = _rests(work, dig, sum(stone.grams for stone in stones))
    whole = sum(stone.grams for stone in stones) + sum(grams_of(w).grams for _, _, w in rests)
    raw = f"{int(whole / GRAMS_IN['lb']) + 2} lb"
    new_haul(ledger, dig.haul, grams_of(raw), number, ADA, Decimal(300))
    clock.set(dig.sorted_)
    looks = _looked_at(work, dig, stones) if dig.graded else []
    rows = [
        Weighing(stock.code_of(dig.haul, one.number), grams_of(f"{one.grams} g"), scale=f"bench ({INVENTED})")
        for one in stones
    ]  # fmt: skip
    weigh(ledger, rows, ADA, number_new=True)
    for what, grade, weight in rests:
        note_part(ledger, dig.haul, PartOfHaul(what, grams_of(weight), grade, note=INVENTED), ADA)
    told = {"treatment": "none (invented)", "returns": "within 14 days (invented)"}
    describe(ledger, dig.haul, told, ADA)
    _call(work, dig, looks)
    clock.set(dig.sold)
    if dig.sold >= PRICES["prices.toml"][0] and number == 2:
        _tables(work, "prices.toml")
    _trade(work, dig)


def _rests(work: _Work, dig: Dig, pieces_g: int) -> list[tuple[str, str | None, str]]:
    """What, grade and weight of what has no number, as typed."""
    rng = work.rng(int(dig.haul), 1)
    weights = [
        pieces_g * share * rng.uniform(0.8, 1.2) / float(GRAMS_IN["lb"]) for _, _, share in RESTS
    ]
    return [
        (what, grade, f"{max(weight, 0.1):.1f} lb")
        for (what, grade, _), weight in zip(RESTS, weights, strict=True)
    ]


def _looked_at(work: _Work, dig: Dig, stones: Sequence[DrawnStone]) -> list[Look]:
    """The looks at the photos of a haul, in its order. A photo on which the tool does not find its stone alone is left
    out: that stone has its number and weight, as it goes with real ones."""
    session, terms = work.session, PhotoTerms(mm_per_px=MM_PER_PX, tags=True)
    asks = [ask_for(one.photo, terms, session.ledger, one.photo.name) for one in stones]
    looks = {}
    for n, look in look_at_all(asks, session.profile, session.ledger, workers=Pool(work.workers)):
        looks[n] = look
        work.on_stone()
    found = [looks[n] for n in sorted(looks)]
    alone = [one for one in found if isinstance(one, Look) and len(one.stones) == 1]
    shown(alone, session.ledger)
    photos = {one.ask.sha256: one.ask.file for one in alone}
    number_photos(session.ledger, dig.haul, photos, ADA)
    return alone


def _call(work: _Work, dig: Dig, looks: Sequence[Look]) -> None:
    """Two sorters say what the stones are: mostly what is proposed, now and then a grade beside it."""
    session, rng = work.session, work.rng(int(dig.haul), 2)
    ladder, calls = list(session.profile.grades), []
    model = session.model() if looks else None
    for look in looks:
        record = look.graded(session.profile, model)
        for who, says in ((ADA, 0.9), (BRAM, 0.4)):
            speaks, agrees, step = rng.random() < says, rng.random() < AGREES, rng.choice((-1, 1))
            said = Call(
                look.ask.file, look.ask.sha256, None, None, None, None, who, work.clock(), INVENTED
            )
            placed = with_shown(place_on(look, said), record)
            if not speaks or placed.shown is None or placed.shown.grade is None:
                continue
            at = ladder.index(placed.shown.grade) + (0 if agrees else int(step))
            calls.append(replace(placed, grade=ladder[min(max(at, 0), len(ladder) - 1)]))
    save_calls(calls, session.ledger)


def _trade(work: _Work, dig: Dig) -> None:
    """Lots, listings, sales, a return, a broken piece, a gift and one held: as far as there are stones for it."""
    session, ledger, haul = work.session, work.session.ledger, dig.haul
    grades = known_grades(session, haul)
    _lots(work, haul, grades)
    loose = [
        one
        for one in _loose(ledger, haul)
        if (grade := grades.get(one.uid)) and grade.grade != "waste"
    ]
    best = sorted(loose, key=lambda one: (grades[one.uid].grade != "select", one.number))
    if best:
        things = [for_listing(ledger, one.code) for one in best[:3]]
        list_things(session, things, AskedPrice(None, "USD", work.clock.day), ADA)
    _sell(work, [Item(one.code) for one in best[:2]], f"at the {INVENTED} show", BUYER)
    _sell(
        work,
        [Item(one.code) for one in list(stock.lots(ledger, haul=_uid(ledger, haul)).values())[:1]],
    )
    _sell(work, _of_bins(ledger, haul))
    if len(best) > 1:
        why = BackTerms(None, f"bluer than on the photo ({INVENTED})", only=True)
        take_back(ledger, best[1].code, why, ADA)
    spare = [one for one in _loose(ledger, haul) if one.code not in {b.code for b in best[:3]}]
    heavy = sorted(spare, key=lambda one: (-(one.net_g or 0), one.number))
    if len(heavy) > 2:
        _break(work, heavy[0])
        note_part(ledger, haul, PartOfHaul("gifts", None, piece=heavy[1].code, note=INVENTED), ADA)
        until = f"{dig.sold[:8]}28"
        reserve(ledger, [Item(heavy[2].code)], until, f"the Tuesday man ({INVENTED})", ADA)


def _of_bins(ledger: Ledger, haul: str) -> list[Item]:
    """A third of the sorted stone for cabs, and of the chips half the bags that they fill."""
    cabbing, chips = (stock.thing(ledger, f"{haul}-{code}") for code in ("B2", "B4"))
    bags = int(chips.net_g / BAG_G) // 2
    items = [Item(cabbing.code, cabbing.net_g.quantize(Decimal(1)) // 3)]
    return [*items, Item(chips.code, BAG_G, bags)] if bags else items


def _lots(work: _Work, haul: str, grades: Mapping[str, PieceGrade]) -> None:
    """Lots of the grade of which most stones are loose; the finished lot is put on the scale."""
    ledger = work.session.ledger
    loose = {one.uid: one for one in _loose(ledger, haul)}
    of = Counter(
        grades[uid].grade for uid in loose if uid in grades and grades[uid].grade != "waste"
    )
    if not of:
        return
    grade = of.most_common(1)[0][0]
    uids = [uid for uid in loose if uid in grades and grades[uid].grade == grade][::2]
    if sum(loose[uid].net_g for uid in uids) < LOT_G:
        return
    kept = keep_lots(ledger, haul, grade, uids, LotRules(LOT_G), ADA)
    rows = []
    for code in kept.codes:
        lot = stock.thing(ledger, code)
        grams = sum(loose[uid].net_g for uid in lot.pieces)
        rows.append(Weighing(code, grams_of(f"{grams} g"), scale=f"bench ({INVENTED})"))
    weigh(ledger, rows, ADA)


def _sell(
    work: _Work, items: Sequence[Item], note: str | None = None, buyer: str | None = None
) -> None:
    if not items:
        return
    session, codes = work.session, [item.code for item in items]
    terms = Terms(None, "USD", work.clock.day, note or INVENTED, buyer=buyer)
    sell(session.ledger, items, gradings(session, codes), terms, ADA)


def _break(work: _Work, piece: stock.Piece) -> None:
    """A piece parts in two, and both are weighed: a hundredth is lost."""
    ledger, grams = work.session.ledger, int(piece.net_g)
    loss = max(1, grams // 100)
    first = (grams - loss) * 3 // 5
    codes = break_piece(ledger, piece.code, 2, grams_of(f"{loss} g"), ADA)
    weights = zip(codes, (first, grams - loss - first), strict=True)
    weigh(ledger, [Weighing(code, grams_of(f"{part} g")) for code, part in weights], ADA)


def _uid(ledger: Ledger, haul: str) -> str:
    return stock.haul(ledger, haul).uid


def _loose(ledger: Ledger, haul: str) -> list[stock.Piece]:
    """The pieces of a haul that are there, in no lot, by number."""
    pieces = stock.pieces(ledger, haul=_uid(ledger, haul)).values()
    there = [one for one in pieces if one.fate is None and one.lot is None]
    return sorted(there, key=lambda one: one.number)
