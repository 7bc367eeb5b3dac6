"""Ledgers and facts made up for tests: no real photo, seller or path is in them."""

import shutil

import pytest
from hypothesis import strategies as st
from sqlalchemy import select

from grader.grading.proposal import Shown
from grader.ledger import deeds, facts
from grader.ledger.facts import FacePlace
from grader.ledger.schema import VIEW_TABLES
from grader.ledger.store import open_ledger

LAKE, SHORE = "a" * 64, "b" * 64
#: Of a face whose size is known.
LARGE = {"features": {"area_cm2": 12.5}, "size_class": "palm"}
BOX, OUTLINE = (10, 20, 300, 200), ((10, 20), (310, 25), (300, 220))
PROFILE = "c" * 64
TIME, BUYER = "2025-03-01T09:30:00+01:00", "e" * 32


@pytest.fixture
def path(tmp_path):
    return tmp_path / "kept" / "ledger.sqlite"


@pytest.fixture(scope="session")
def empty(tmp_path_factory):
    """A ledger without facts, to copy: making one takes a good tenth of a second."""
    path = tmp_path_factory.mktemp("empty") / "ledger.sqlite"
    open_ledger(path).close()
    return path


@pytest.fixture
def ledger(path, empty):
    path.parent.mkdir()
    shutil.copy(empty, path)
    with open_ledger(path) as opened:
        yield opened


def call(sha256=LAKE, **fields):
    return facts.SavedCall(sha256, "lake.jpg", 1, BOX, **({"grade": "select"} | fields))


def measured(sha256=LAKE, terms=None, words=(), version=6):
    record = {"schema": 1, "pieces": [{"id": 1, "box": list(BOX)}, {"id": 2, "box": [0, 0, 9, 9]}]}
    stones = {1: {"blue_share": 0.4, **LARGE}, 2: {"blue_share": None}}
    terms = {"mm_per_px": 0.1} if terms is None else terms
    pictures = {1: {"sheet": "d" * 64 + ".jpg"}}
    return facts.Measured(
        sha256, terms, words, version, "banded", PROFILE, record, stones, pictures
    )


def every_kind():
    """A fact of each kind, in an order in which each names only earlier ones."""
    lake, shore = FacePlace(LAKE, 1, BOX, OUTLINE), FacePlace(SHORE, 2, (0, 0, 9, 9))
    word = facts.SavedLineWord(
        LAKE, "lake.jpg", 1, BOX, 3, ((1, 2), (3, 4)), "crack", OUTLINE, found="open", how="nail"
    )
    look = measured(words=(word.uid,))
    shown = Shown("prime", 61, "starter 0f0f", "wet")
    called = call(
        outline=OUTLINE, measured=look.uid, scene=70, note="moss", stone="A7", shown=shown
    )
    whole = facts.NamedPiece("A7", 7)
    half = facts.NamedPiece(parent=whole.uid)
    compared = facts.Compared(lake, shore)
    resort = facts.ResortBegun((lake, shore), ("select", "prime"), "Ann")
    return (
        facts.PhotoFile(LAKE, "lake.jpg", "/photos/lake.jpg", 4000, 3000),
        word,
        facts.SavedRegionWord(LAKE, "lake.jpg", 1, BOX, 15, 25, 40, 30, "glare"),
        look,
        facts.Look(LAKE, look.uid),
        whole,
        half,
        facts.FaceOfPiece(half.uid, LAKE, BOX, OUTLINE),
        called,
        facts.TakenBack(called.uid),
        compared,
        facts.ComparisonBack(compared.uid),
        facts.Compared(shore, lake),
        facts.Compared(lake, shore, "grade"),
        facts.ModelUse("/models/spring", "spring 1234"),
        resort,
        facts.ResortAnswer(resort.uid, 0, "prime"),
        facts.ResortAnswer(resort.uid, 1, "prime"),
        facts.ResortUndone(resort.uid, 1),
        facts.ResortDone(resort.uid),
        facts.SeasonBegun("spring", "2025-03-01"),
        *every_deed(whole, half),
    )


def weight(typed, grams):
    return deeds.TypedWeight(typed, grams)


def every_deed(piece, other):
    """A deed of each kind on two pieces that are there."""
    trip = deeds.TripBegun(
        1, "North bench", "2025-03-01", "upper seam", "blue", "6.5", 3,
        weight("120 lb", "54431.0844"), "permit 12, invented", "behind the third fence",
    )  # fmt: skip
    haul = deeds.HaulBrought("07", weight("120lb", "54431.0844"), trip.uid, "1500")
    lot = deeds.LotMade(haul.uid, 1, "500", (piece.uid,), "select")
    prices = deeds.TableSet("prices", "2025-03-01", 'currency = "USD"')
    sold = deeds.Sold(
        (lot.uid,), "38.00", "USD", {"things": []}, prices.uid, "at the fair", buyer=BUYER
    )
    bin = deeds.RestNoted(
        haul.uid, "unsorted", weight("30lb", "13607.7711"), number=1, sample=(LAKE, SHORE)
    )
    of_bin = deeds.Sold(
        (bin.uid, lot.uid), "50", "USD", {"things": []}, from_bins=(deeds.FromBin(bin.uid, "900"),)
    )
    seen = deeds.SeenFace("f" * 32, 1)
    listing = deeds.Listed(
        lot.uid, {"code": "07-L1"}, "38", "USD", prices.uid, (seen,), {"templates": []}
    )
    last = deeds.Weighed(piece.uid, weight("1.35 lb", "612.3496995"), wet=True)
    return (
        trip,
        haul,
        deeds.Numbered(piece.uid, haul.uid, 1),
        deeds.TagsPrinted("07", 1, 1200),
        deeds.Weighed(piece.uid, weight("700", "700"), weight("90 g", "90"), scale="bench"),
        last,
        deeds.RestNoted(haul.uid, "waste", weight("36lb", "16329.32532"), guessed=True),
        deeds.RestNoted(haul.uid, "gifts", weight("500", "500"), piece=other.uid, note="to Bo"),
        prices,
        lot,
        sold,
        deeds.CameBack(sold.uid, "38", "too small"),
        bin,
        of_bin,
        deeds.CameBack(of_bin.uid, "5", things_back=(lot.uid,), stays=True),
        deeds.Reserved((piece.uid,), "2025-04-01", buyer=BUYER),
        deeds.CostNoted(trip.uid, "85.50", "USD", "fuel"),
        deeds.LimitNoted("permit 12", weight("250lb", "113398.0925"), "day", "2025-03-01"),
        deeds.Broken(piece.uid, (other.uid,), weight("12", "12")),
        deeds.Described(haul.uid, "treatment", "none"),
        listing,
        deeds.Withdrawn(listing.uid, lot.uid),
        deeds.BuyerErased(BUYER),
        deeds.Undone(last.act),
    )


def view_rows(ledger):
    """All rows of all view tables, in an order of their own."""
    return {table.name: sorted(map(repr, ledger.rows(select(table)))) for table in VIEW_TABLES}


@st.composite
def histories(draw):
    """Facts as they may come: some twice, calls taken back once or more, answers undone or never given."""
    made: list[facts.Fact] = []

    def earlier(kind):
        of_kind = [one for one in made if isinstance(one, kind)]
        return draw(st.sampled_from(of_kind)) if of_kind else None

    for _ in range(draw(st.integers(0, 25))):
        sha256 = draw(st.sampled_from([LAKE, SHORE]))
        what = draw(st.integers(0, 19))
        one = None
        if what == 0:
            where = draw(st.sampled_from(["/photos/a.jpg", "/photos/b.jpg"]))
            one = facts.PhotoFile(sha256, where[-5:], where, 4, 3)
        elif what == 1:
            one = measured(sha256, {"mm_per_px": draw(st.sampled_from([0.1, 0.2]))})
        elif what == 2 and (look := earlier(facts.Measured)):
            one = facts.Look(look.sha256, look.uid)
        elif what == 3:
            parent = earlier(facts.NamedPiece)
            one = facts.NamedPiece(draw(st.sampled_from(["A", None])), None, parent and parent.uid)
        elif what == 4 and (piece := earlier(facts.NamedPiece)):
            one = facts.FaceOfPiece(piece.uid, sha256, BOX)
        elif what in (5, 6):
            look = earlier(facts.Measured)
            one = call(sha256, scene=draw(st.integers(0, 100)), measured=look and look.uid)
        elif what in (7, 8) and (called := earlier(facts.SavedCall)):
            one = facts.TakenBack(called.uid)
        elif what == 9:
            says = draw(st.sampled_from(facts.SAYS))
            one = facts.SavedLineWord(sha256, "p.jpg", 1, BOX, 1, ((1, 2), (3, 4)), says)
        elif what == 10:
            one = facts.SavedRegionWord(sha256, "p.jpg", 1, BOX, 1, 2, 3, 4, "glare")
        elif what == 11:
            one = facts.Compared(FacePlace(sha256, 1, BOX), FacePlace(SHORE, 2, BOX, OUTLINE))
        elif what == 12:
            one = facts.ResortBegun((FacePlace(sha256, 1, BOX),) * 3, ("prime",) * 3)
        elif what == 13 and (resort := earlier(facts.ResortBegun)):
            stone = draw(st.integers(0, 2))
            after = draw(st.sampled_from(["answer", "undone", "done"]))
            if after == "answer":
                one = facts.ResortAnswer(
                    resort.uid, stone, draw(st.sampled_from(["prime", "fine"]))
                )
            elif after == "undone":
                one = facts.ResortUndone(resort.uid, stone)
            else:
                one = facts.ResortDone(resort.uid)
        elif what == 14:
            one = draw(
                st.sampled_from([facts.ModelUse(None, None), facts.SeasonBegun("s", "2025-03-01")])
            )
        elif what == 15 and made:
            one = draw(st.sampled_from(made))  # Added a second time.
        elif what == 16:
            one = deeds.HaulBrought(draw(st.sampled_from(["07", "08"])), weight("9", "9"))
        elif what in (17, 18) and (piece := earlier(facts.NamedPiece)):
            haul = earlier(deeds.HaulBrought)
            kinds = [deeds.Weighed(piece.uid, weight("5", draw(st.sampled_from(["5", "5.10"]))))]
            if haul:
                kinds.append(deeds.Numbered(piece.uid, haul.uid, draw(st.integers(1, 5))))
                kinds.append(deeds.LotMade(haul.uid, 1, "5", (piece.uid,)))
            one = draw(st.sampled_from(kinds))
        elif what == 19 and (deed := earlier(deeds.Deed)):
            one = deeds.Undone(deed.act)
        if one is not None:
            made.append(one)
    return made


@pytest.fixture(scope="session")
def made():
    """What the tests of this folder make facts with: they cannot import each other."""

    class Made:
        pass

    for name in ("LAKE", "SHORE", "LARGE", "BOX", "OUTLINE", "PROFILE", "TIME"):
        setattr(Made, name, globals()[name])
    for one in (call, measured, every_kind, view_rows, histories):
        setattr(Made, one.__name__, staticmethod(one))
    return Made
