"""What the ledger holds, read from its view tables: calls, words, measurements, and all else that was said.

All come in the order of adding. Where ``sha256`` chooses photos it is one hash, several, or ``None`` for all.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, Table, func, select
from sqlalchemy.sql.elements import ColumnClause

from grader.grading.proposal import Call, Shown
from grader.ledger import schema
from grader.ledger.checked import Box, to_text
from grader.ledger.facts import (
    Compared,
    ComparisonBack,
    Entry,
    FaceOfPiece,
    FacePlace,
    Measured,
    ModelUse,
    NamedPiece,
    SavedLineWord,
    SavedRegionWord,
    SeasonBegun,
)
from grader.ledger.projection import way_key
from grader.ledger.store import Ledger, entry_of

Hashes = str | Iterable[str] | None


@dataclass(frozen=True)
class Way:
    """One way to look at a photo: a measurement is looked up by all of this.

    terms : plain data.   line_words, region_words : uids of the words on its lines and patches, in the order of saying.
    """

    sha256: str
    terms: Mapping[str, Any]
    line_words: tuple[str, ...]
    measurement_version: int
    profile_sha256: str
    region_words: tuple[str, ...] = ()

    @cached_property
    def key(self) -> str:
        """Hash of the terms and words."""
        return way_key(self.terms, self.line_words, self.region_words)


@dataclass(frozen=True)
class ShownStone:
    """A stone as its photo was measured when it was shown last.

    measured : uid of that measurement.   box : in px of the photo, ``None`` where the record does not tell.
    facts : what a proposal is made of, as JSON.
    """

    sha256: str
    measured: str
    piece_id: int
    box: Box | None
    facts: dict[str, Any]


@dataclass(frozen=True)
class Resort:
    """Stones sorted again, blind: where each was seen, the grade that it had, and the answers that hold, by place."""

    uid: str
    author: str | None
    time: str
    of: str | None
    stones: tuple[FacePlace, ...]
    first: tuple[str, ...]
    answers: dict[int, str]
    done: bool


def counts(ledger: Ledger) -> dict[str, int]:
    """Return how many facts there are, by kind.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    kind = schema.fact.c.kind
    return dict(map(tuple, ledger.rows(select(kind, func.count()).group_by(kind).order_by(kind))))


def calls(
    ledger: Ledger,
    *,
    sha256: Hashes = None,
    by: str | None = None,
    since: date | None = None,
    until: date | None = None,
    also_taken_back: bool = False,
    outlines: bool = False,
) -> tuple[Call, ...]:
    """Return the calls that hold; ``also_taken_back`` adds the others, in their places (see :func:`taken_back`).

    Parameters
    ----------
    by : whose; all by default.
    since, until : first and last day, by the caller's own calendar as the call tells it.
    outlines : the calls' outlines are wanted; ten thousand of them take seconds to read.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    table = schema.call
    day = func.substr(table.c.time, 1, 10)
    columns = [one for one in table.c if outlines or one is not table.c.outline]
    wanted = select(*columns).where(*among(table.c.sha256, sha256)).order_by(table.c.sequence)
    if by is not None:
        wanted = wanted.where(table.c.author == by)
    if since is not None:
        wanted = wanted.where(day >= since.isoformat())
    if until is not None:
        wanted = wanted.where(day <= until.isoformat())
    if not also_taken_back:
        wanted = wanted.where(table.c.uid.not_in(select(schema.taken_back.c.call)))
    return tuple(_call(row, row.outline if outlines else None) for row in ledger.rows(wanted))


def taken_back(ledger: Ledger) -> frozenset[str]:
    """Return the uids of the calls that were taken back.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    return frozenset(row.call for row in ledger.rows(select(schema.taken_back.c.call)))


def line_words(ledger: Ledger, sha256: Hashes = None) -> tuple[Entry[SavedLineWord], ...]:
    """Return what was said of lines, withdrawn words too: which holds is told by where the lines lie.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    return _entries(ledger, schema.line_word, *among(schema.line_word.c.sha256, sha256))


def region_words(ledger: Ledger, sha256: Hashes = None) -> tuple[Entry[SavedRegionWord], ...]:
    """Return what was said of rectangles on faces, withdrawn words too: which holds is told by where they lie.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    return _entries(ledger, schema.region_word, *among(schema.region_word.c.sha256, sha256))


def measured(ledger: Ledger, way: Way) -> Entry[Measured] | None:
    """Return the last measurement of a photo in that very way, ``None`` where there is none.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    uid = measured_uids(ledger, [way]).get(way.sha256)
    return None if uid is None else measured_by_uid(ledger, [uid]).get(uid)


def measured_uids(ledger: Ledger, ways: Iterable[Way]) -> dict[str, str]:
    """Return, by photo, the uid of its last measurement in that way; photos not measured so are left out. A photo
    has one way here.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    wanted = {way.sha256: way for way in ways}
    table = schema.measured
    rows = ledger.rows(
        select(table.c["sha256", "key", "measurement_version", "profile_sha256", "uid"])
        .where(*among(table.c.sha256, wanted))
        .order_by(table.c.sequence)
    )
    found = {}
    for sha256, key, version, profile, uid in rows:
        way = wanted[sha256]
        if (key, version, profile) == (way.key, way.measurement_version, way.profile_sha256):
            found[sha256] = uid
    return found


def measured_by_uid(ledger: Ledger, uids: Iterable[str]) -> dict[str, Entry[Measured]]:
    """Return measurements by uid; those not there are left out.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    found = _entries(ledger, schema.measured, *among(schema.measured.c.uid, uids))
    return {entry.fact.uid: entry for entry in found}


def last_looks(ledger: Ledger, sha256: Hashes = None) -> dict[str, str]:
    """Return, by photo, the uid of the measurement that was shown last.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    table = schema.look
    wanted = select(table.c.sha256, table.c.measured).where(*among(table.c.sha256, sha256))
    return {row.sha256: row.measured for row in ledger.rows(wanted.order_by(table.c.sequence))}


def last_look(ledger: Ledger, sha256: str) -> Entry[Measured] | None:
    """Return the measurement of a photo that was shown last, ``None`` where none was.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    uid = last_looks(ledger, sha256).get(sha256)
    return None if uid is None else measured_by_uid(ledger, [uid])[uid]


def stones(ledger: Ledger, sha256: Hashes = None) -> tuple[ShownStone, ...]:
    """Return the stones of photos as they were shown last.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    wanted = _last_stones(sha256, schema.stone)
    return tuple(
        ShownStone(row.sha256, row.measured, row.piece_id, row.box and tuple(row.box), row.facts)
        for row in ledger.rows(wanted)
    )


def boxes(ledger: Ledger, sha256: Hashes = None) -> dict[str, dict[int, Box]]:
    """Return, by photo, the boxes of its stones by number, as it was shown last; without what is known of them, which
    takes long to read. One whose record does not tell its box is left out.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    wanted = _last_stones(sha256, schema.stone.c.piece_id, schema.stone.c.box)
    found: dict[str, dict[int, Box]] = {}
    for photo, piece_id, box in ledger.rows(wanted):
        found.setdefault(photo, {})
        if box:
            found[photo][piece_id] = tuple(box)
    return found


def pieces(ledger: Ledger) -> tuple[Entry[NamedPiece], ...]:
    """Return the pieces of stone.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    return _entries(ledger, schema.piece)


def faces(ledger: Ledger, sha256: Hashes = None) -> tuple[Entry[FaceOfPiece], ...]:
    """Return the faces of pieces.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    return _entries(ledger, schema.face, *among(schema.face.c.sha256, sha256))


def comparisons(ledger: Ledger, of: str | None = "scene") -> tuple[Entry[Compared], ...]:
    """Return which of two faces is the better one, each time it was said and holds; ``of`` any where ``None``.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    f = schema.fact
    backs = select(f).where(f.c.kind == ComparisonBack.kind)
    gone = {entry_of(row).fact.comparison for row in ledger.rows(backs)}
    held = (e for e in _entries(ledger, schema.comparison) if e.fact.uid not in gone)
    return tuple(entry for entry in held if of in (None, entry.fact.of))


def model_uses(ledger: Ledger) -> tuple[Entry[ModelUse], ...]:
    """Return the models taken into use; the last one is in use.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    return _entries(ledger, schema.model_use)


def seasons(ledger: Ledger) -> tuple[Entry[SeasonBegun], ...]:
    """Return the seasons begun.

    Raises
    ------
    LedgerError
        The file cannot be read, or holds what is no fact.
    """
    return _entries(ledger, schema.season)


def resorts(ledger: Ledger) -> tuple[Resort, ...]:
    """Return the blind sortings with the answers that hold.

    Raises
    ------
    LedgerError
        The file cannot be read.
    """
    answers: dict[str, dict[int, str]] = {}
    table = schema.resort_answer
    held = select(table).where(table.c.grade.is_not(None)).order_by(table.c.sequence)
    for row in ledger.rows(held):
        answers.setdefault(row.resort, {})[row.stone] = row.grade
    done = {row.resort for row in ledger.rows(select(schema.resort_done.c.resort))}
    return tuple(
        Resort(
            row.uid,
            row.author,
            row.time,
            row.of,
            tuple(FacePlace(**place) for place in row.stones),
            tuple(row.first),
            answers.get(row.uid, {}),
            row.uid in done,
        )
        for row in ledger.rows(select(schema.resort).order_by(schema.resort.c.sequence))
    )


def _last_stones(sha256: Hashes, *columns: ColumnClause | Table) -> Select:
    """The hash of the photo and these columns, of the stones of photos as they were shown last."""
    look, table = schema.look, schema.stone
    return (
        select(look.c.sha256, *columns)
        .join(table, table.c.measured == look.c.measured)
        .where(*among(look.c.sha256, sha256))
        .order_by(look.c.sequence, table.c.piece_id)
    )


def among(column: ColumnClause, values: Hashes) -> list[ColumnElement[bool]]:
    """The condition that a column holds one of these, none where all are meant."""
    if values is None:
        return []
    if isinstance(values, str):
        return [column == values]
    # One parameter however many there are: SQLite bounds their number.
    return [column.in_(select(func.json_each(to_text(list(values))).table_valued("value").c.value))]


def _entries(ledger: Ledger, table: Table, *where: ColumnElement[bool]) -> tuple[Entry, ...]:
    """The facts behind the rows of a view table."""
    wanted: Select = select(schema.fact).join(table, table.c.uid == schema.fact.c.uid).where(*where)
    return tuple(map(entry_of, ledger.rows(wanted.order_by(schema.fact.c.sequence))))


def _call(row: Row, outline: list | None) -> Call:
    return Call(
        photo=row.photo,
        sha256=row.sha256,
        piece=row.piece_id,
        box=tuple(row.box),
        grade=row.grade,
        scene=row.scene,
        by=row.author,
        time=row.time,
        note=row.note,
        shown=None if row.shown is None else Shown(**row.shown),
        stone=row.stone,
        uid=row.uid,
        outline=None if outline is None else tuple(map(tuple, outline)),
        measured=row.measured,
    )
