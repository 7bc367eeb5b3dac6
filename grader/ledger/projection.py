"""What each fact says in the view tables: rows that are put in the place of those with the same key."""

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from typing import Any

from sqlalchemy import Table

from grader.ledger import deeds, facts, schema
from grader.ledger.checked import plain, to_text
from grader.ledger.facts import Entry, Fact

Row = tuple[Table, dict[str, Any]]


def rows_of(entry: Entry) -> Iterator[Row]:
    """Yield the rows of one fact, each with its table."""
    return _ROWS[type(entry.fact)](entry)


def way_key(
    terms: dict[str, Any], line_words: Sequence[str], region_words: Sequence[str] = ()
) -> str:
    """Return the name of a way to look at a photo: hash of its terms and of the words on lines and patches that held,
    in order.

    Raises
    ------
    ValueError
        The terms hold a number that is not finite.
    """
    from hashlib import sha256

    way = {"terms": terms, "line_words": list(line_words)}
    # Where nothing is said of patches the name stays what it always was.
    way |= {"region_words": list(region_words)} if region_words else {}
    text = to_text(way, sort_keys=True)
    return sha256(text.encode()).hexdigest()


def _own(entry: Entry, *left_out: str) -> dict[str, Any]:
    """The fact's fields by column, and its sequence."""
    row = {k: v for k, v in plain(entry.fact).items() if k not in left_out}
    return row | {"uid": entry.fact.uid, "sequence": entry.sequence}


def _with_author(entry: Entry) -> dict[str, Any]:
    return _own(entry) | {"author": entry.author, "time": entry.time}


def _row_with_author(table: Table) -> Callable[[Entry], Iterator[Row]]:
    def rows(entry: Entry) -> Iterator[Row]:
        yield table, _with_author(entry)

    return rows


def _as_it_is(table: Table) -> Callable[[Entry], Iterator[Row]]:
    """For facts whose fields are the columns; not every table has the fact's uid."""

    def rows(entry: Entry) -> Iterator[Row]:
        yield table, {k: v for k, v in _own(entry).items() if k in table.c}

    return rows


def _measured(entry: Entry) -> Iterator[Row]:
    fact: facts.Measured = entry.fact
    kept = ("sha256", "measurement_version", "profile", "profile_sha256", "uid")
    yield (
        schema.measured,
        {
            **{name: getattr(fact, name) for name in kept},
            "sequence": entry.sequence,
            "key": way_key(fact.terms, fact.line_words, fact.region_words),
            "time": entry.time,
        },
    )
    boxes = _boxes(fact.record)
    for piece, stone in fact.stones.items():
        row = {"measured": fact.uid, "piece_id": piece, "box": boxes.get(piece), "facts": stone}
        yield schema.stone, row | _size(stone)


def _size(stone: dict[str, Any]) -> dict[str, Any]:
    """How large a face is by the facts of its stone, where they tell it."""
    features = stone.get("features")
    area = features.get("area_cm2") if isinstance(features, dict) else None
    size = stone.get("size_class")
    return {
        "area_cm2": area if isinstance(area, int | float) else None,
        "size_class": size if isinstance(size, str) else None,
    }


def _boxes(record: dict[str, Any]) -> dict[int, list[int]]:
    """Boxes by piece, of a record that tells them."""
    pieces = record.get("pieces")
    records = [p for p in pieces if isinstance(p, dict)] if isinstance(pieces, list) else []
    return {p["id"]: p["box"] for p in records if isinstance(p.get("id"), int) and p.get("box")}


def _comparison(entry: Entry) -> Iterator[Row]:
    row = {k: v for k, v in _with_author(entry).items() if k in schema.comparison.c}
    for side in ("better", "other"):
        place = plain(getattr(entry.fact, side))
        row |= {f"{side}_{name}": value for name, value in place.items()}
    yield schema.comparison, row


def _no_rows(entry: Entry) -> Iterator[Row]:
    """What few facts say is read from the facts themselves."""
    yield from ()


def _undone(entry: Entry) -> Iterator[Row]:
    fact: facts.ResortUndone = entry.fact
    row = {"resort": fact.resort, "stone": fact.stone, "grade": None, "sequence": entry.sequence}
    yield schema.resort_answer, row


def _deed(
    table: Table, columns: Callable[[Any], dict[str, Any]] = lambda fact: {}
) -> Callable[[Entry], Iterator[Row]]:
    """For deeds: who did it, what it speaks of, and its own table, whose columns are fields or told by ``columns``."""

    def rows(entry: Entry) -> Iterator[Row]:
        deed: deeds.Deed = entry.fact
        own = _own(entry)
        said = {name: own[name] for name in ("uid", "sequence", "act")}
        yield (
            schema.deed,
            said | {"author": entry.author, "time": entry.time, "kind": deed.kind},
        )
        for thing in deed.things:
            yield schema.about, {"deed": deed.uid, "thing": thing}
        row = {name: value for name, value in own.items() if name in table.c} | columns(deed)
        yield table, {name: _column(value) for name, value in row.items()}

    return rows


def _sold(entry: Entry) -> Iterator[Row]:
    sold: deeds.Sold = entry.fact
    yield from _deed(schema.sale, lambda s: {"price_table": s.table})(entry)
    for part in sold.from_bins or ():
        yield (
            schema.from_bin,
            {"sale": sold.uid, "bin": part.bin, "net_g": _column(part.grams)},
        )


def _column(value: Any) -> Any:
    # Exact as text; SQLite has no decimal numbers.
    return f"{value:f}" if isinstance(value, Decimal) else value


def _undone_act(entry: Entry) -> Iterator[Row]:
    fact: deeds.Undone = entry.fact
    yield schema.undone, {"act": fact.of, "uid": fact.uid, "sequence": entry.sequence}


_ROWS: dict[type[Fact], Callable[[Entry], Iterator[Row]]] = {
    facts.PhotoFile: _as_it_is(schema.photo),
    facts.Measured: _measured,
    facts.Look: _as_it_is(schema.look),
    facts.NamedPiece: _as_it_is(schema.piece),
    facts.FaceOfPiece: _as_it_is(schema.face),
    facts.SavedCall: _row_with_author(schema.call),
    facts.SavedLineWord: _row_with_author(schema.line_word),
    facts.SavedRegionWord: _row_with_author(schema.region_word),
    facts.TakenBack: _as_it_is(schema.taken_back),
    facts.Compared: _comparison,
    facts.ComparisonBack: _no_rows,
    facts.ModelUse: _row_with_author(schema.model_use),
    facts.ResortBegun: _row_with_author(schema.resort),
    facts.ResortAnswer: _as_it_is(schema.resort_answer),
    facts.ResortUndone: _undone,
    facts.ResortDone: _as_it_is(schema.resort_done),
    facts.SeasonBegun: _as_it_is(schema.season),
    deeds.TripBegun: _deed(schema.trip, lambda t: {"target_g": t.target and t.target.grams}),
    deeds.HaulBrought: _deed(
        schema.haul, lambda h: {"raw_typed": h.raw.typed, "raw_g": h.raw.grams}
    ),
    deeds.Numbered: _deed(schema.numbered),
    deeds.TagsPrinted: _deed(schema.tags),
    deeds.Weighed: _deed(schema.weighed, lambda w: {"typed": w.weight.typed, "net_g": w.net_g}),
    deeds.RestNoted: _deed(
        schema.rest, lambda r: {"typed": r.weight.typed, "net_g": r.weight.grams}
    ),
    deeds.TableSet: _deed(schema.sellers_table),
    deeds.LotMade: _deed(schema.lot),
    deeds.Sold: _sold,
    deeds.CameBack: _deed(
        schema.returned, lambda b: {"part": None if b.things_back is None else 1}
    ),
    deeds.Broken: _deed(schema.broken, lambda b: {"loss_g": b.loss and b.loss.grams}),
    deeds.Reserved: _deed(schema.reserved),
    deeds.CostNoted: _deed(schema.cost),
    deeds.LimitNoted: _deed(
        schema.seller_limit, lambda x: {"most_typed": x.most.typed, "most_g": x.most.grams}
    ),
    deeds.Described: _deed(schema.described),
    deeds.Listed: _deed(schema.listing, lambda one: {"price_table": one.table}),
    deeds.Withdrawn: _deed(schema.withdrawn),
    deeds.BuyerErased: _as_it_is(schema.erased_buyer),
    deeds.Undone: _undone_act,
}
