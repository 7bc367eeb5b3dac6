"""What is printed and sent, made at the table: the same files that the commands write, each asked for by its name."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image

from grader.called import nothing
from grader.deals.keeping import keep_or_break
from grader.deals.labels import labels_of, labels_of_haul
from grader.deals.listing_files import plan_all, write_listings
from grader.deals.listing_price import AskedPrice
from grader.deals.listings import for_listing, list_things
from grader.deals.weighing import whole_code
from grader.deals.worth import report_of
from grader.errors import LedgerError
from grader.ledger import listings as kept
from grader.made import marked
from grader.report.cautions import SELL_CAUTIONS, caution_lines
from grader.report.haul import report_csv, report_lines, report_page
from grader.report.keep import keep_lines, plan_cautions
from grader.report.keep_picture import draw_keep
from grader.report.label_sheet import label_sheets
from grader.report.listing import title_words
from grader.report.listing_state import changed_line, lacking_words
from grader.session import Session
from grader.table.here import said_here
from grader.weight import Weight


def labels_pdf(session: Session, haul: str | None, codes: Sequence[str], paper: str) -> bytes:
    """Return sheets of labels as a PDF: of pieces and lots, or of all that is there of a haul.

    Raises
    ------
    LedgerError
        There is no such thing: one line.
    """
    labels = labels_of_haul(session, haul) if haul else labels_of(session, codes)
    return marked(label_sheets(labels, paper, 0))


def haul_report(session: Session, haul: str) -> tuple[list[str], dict[str, bytes]]:
    """Return the report of a haul, in words and as its files by name.

    Raises
    ------
    LedgerError
        No such haul: one line.
    """
    told = report_of(session, haul, session.settings.unit)
    name = f"haul-{told.haul.code}"
    files = {f"{name}.html": report_page(told).encode(), f"{name}.csv": report_csv(told).encode()}
    return report_lines(told), files


@dataclass(frozen=True)
class KeepTold:
    """Keep or break, in words: head, lines and cautions in full; and its picture, a PNG."""

    lines: tuple[str, ...]
    cautions: tuple[str, ...]
    picture: bytes


def keep_told(session: Session, typed: str, parts_of: Weight | None) -> KeepTold:
    """Return what a piece comes to whole and broken.

    Raises
    ------
    GraderError
        It is gone, not weighed, has no photo, no price or no line that parts it: one line.
    """
    unit = session.settings.unit
    plan = keep_or_break(session, whole_code(typed, None), parts_of and parts_of.grams)
    picture = BytesIO()
    Image.fromarray(draw_keep(plan, unit)).save(picture, "PNG")
    # The last one, on the local rules, comes with any others.
    cautions = caution_lines(plan_cautions()[:-1])
    return KeepTold(tuple(keep_lines(plan, unit)), tuple(cautions), picture.getvalue())


@dataclass(frozen=True)
class ListingTold:
    """A listing that is open. lines : what is to be known of it.   cautions : of selling, in full."""

    code: str
    title: str
    lines: tuple[str, ...]
    cautions: tuple[str, ...]


def list_one(session: Session, typed: str, by: str) -> ListingTold:
    """Keep the listing of a piece or lot at what its table asks; one that is open stays as it is.

    Raises
    ------
    LedgerError
        It is gone, or no currency is known: one line.
    """
    ledger = session.need_ledger("a listing")
    thing = for_listing(ledger, whole_code(typed, None))
    asked = AskedPrice(None, session.settings.currency, date.today().isoformat())
    planned = plan_all(ledger, [thing], nothing)
    (made,) = list_things(session, [thing], asked, by, planned=planned)
    snapshot = made.listing.snapshot
    lines = [lacking_words(snapshot), changed_line(snapshot, made.changed)]
    return ListingTold(
        snapshot["code"],
        title_words(snapshot),
        tuple(said_here(line) for line in lines if line),
        tuple(caution_lines(SELL_CAUTIONS)),
    )


class ListingFiles:
    """The files of open listings; those of one are made once."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._made = lru_cache(maxsize=8)(self._make)

    def file(self, code: str, suffix: str) -> bytes:
        """Return one of a listing's files.

        Raises
        ------
        LedgerError
            It has no open listing: one line.
        """
        open_ = kept.open_listings(self._session.need_ledger("a listing")).values()
        one = next((one for one in open_ if one.code == code), None)
        if one is None:
            raise LedgerError(f"{code}: has no open listing; list it first")
        return self._made(one.uid, code)[f"{code}.{suffix}"]

    def _make(self, uid: str, code: str) -> dict[str, bytes]:
        ledger = self._session.need_ledger("a listing")
        listed = kept.listed_fact(ledger, uid).fact
        with TemporaryDirectory() as folder:
            write_listings(ledger, [listed], Path(folder), f"{code}.csv", nothing)
            return {path.name: path.read_bytes() for path in Path(folder).glob(f"{code}.*")}
