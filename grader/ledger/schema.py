"""The tables of the ledger: ``fact`` is the truth, every other one is a view that can be dropped and computed anew.

A change here needs a new migration and a new :data:`VERSION`; a test compares the two.
"""

from sqlalchemy import (
    JSON,
    CheckConstraint,
    Column,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
)

#: Of the tables; the name of the last migration.
VERSION = "0003"
#: By which a ledger is told from another program's database: "SFGL" in ASCII, in the file's header.
APPLICATION_ID = 0x5346474C

metadata = MetaData(
    # SQLite can only change what has a name.
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _text(name: str, comment: str, *more, **kw) -> Column:
    return Column(name, Text, *more, comment=comment, nullable=kw.pop("nullable", False), **kw)


def _maybe(name: str, comment: str, *more, **kw) -> Column:
    return _text(name, comment, *more, nullable=True, **kw)


def _whole(name: str, comment: str, **kw) -> Column:
    return Column(name, Integer, comment=comment, nullable=kw.pop("nullable", False), **kw)


def _json(name: str, comment: str, *, nullable: bool = True) -> Column:
    return Column(name, JSON(none_as_null=True), comment=comment, nullable=nullable)


def _sequence() -> Column:
    return _whole("sequence", "of the fact, which is the order of all that counts")


def _uid() -> Column:
    return _text("uid", "of the fact", ForeignKey("fact.uid"), primary_key=True)


def _author_and_time() -> list[Column]:
    """Who said it and when, as with the fact."""
    return [_maybe("author", "who said it, name as typed"), _text("time", "ISO 8601 with offset")]


def _sha256(**kw) -> Column:
    return _text("sha256", "hash of the photo's content", **kw)


def _measured(column=_maybe, **kw) -> Column:
    return column(
        "measured", "uid of the measurement that was shown", ForeignKey("measured.uid"), **kw
    )


def _stone_place(prefix: str = "", *, index: bool = True) -> list[Column]:
    """Where a stone was seen: its photo, its number there then, box and outline in px of that photo."""
    return [
        _text(f"{prefix}sha256", "hash of the photo's content", index=index),
        _whole(f"{prefix}piece_id", "number of the stone on that photo then"),
        _json(f"{prefix}box", "x, y, width and height in px of the photo", nullable=False),
        _json(f"{prefix}outline", "x, y of each point in px of the photo"),
    ]


fact = Table(
    "fact",
    metadata,
    _whole("sequence", "order of adding; gaps mean nothing", primary_key=True),
    _text("uid", "name of the fact in every ledger, 32 hexadecimal digits", unique=True),
    _text("kind", "what kind of fact it is", index=True),
    *_author_and_time(),
    _text("body", "what it tells, one JSON object"),
    CheckConstraint("json_valid(body)", name="json"),
    # Numbers are never given twice, not even after the last row is gone.
    sqlite_autoincrement=True,
    comment="what happened; rows are only ever added",
)

photo = Table(
    "photo",
    metadata,
    _sha256(primary_key=True),
    _text("path", "where it lay, from the root on", primary_key=True, index=True),
    _text("name", "its file name"),
    _whole("width", "px, upright"),
    _whole("height", "px, upright"),
    _sequence(),
    comment="photos by content and place; the last place seen has the highest sequence",
)

measured = Table(
    "measured",
    metadata,
    _uid(),
    _sequence(),
    _sha256(),
    _text("key", "hash of the terms and of the words on lines that held"),
    _whole("measurement_version", "of the measuring code"),
    _text("profile", "its name"),
    _text("profile_sha256", "hash of the profile's settings"),
    _text("time", "ISO 8601 with offset"),
    Index("ix_measured_way", "sha256", "key", "measurement_version", "profile_sha256"),
    comment="how photos were measured; the record itself lies in the fact",
)

stone = Table(
    "stone",
    metadata,
    _measured(_text, primary_key=True),
    _whole("piece_id", "number of the stone on the photo", primary_key=True),
    _json("box", "x, y, width and height in px of the photo, as the record has it"),
    _json("facts", "what a proposal is made of", nullable=False),
    comment="stones of each measurement",
)

look = Table(
    "look",
    metadata,
    _sha256(primary_key=True),
    _measured(_text),
    _sequence(),
    comment="which measurement of a photo was shown last",
)

piece = Table(
    "piece",
    metadata,
    _uid(),
    _sequence(),
    _maybe("name", "the seller's own for it", index=True),
    _whole("number", "of the piece", nullable=True),
    _maybe("parent", "piece that it was cut from", ForeignKey("piece.uid")),
    comment="pieces of stone in the hand",
)

face = Table(
    "face",
    metadata,
    _uid(),
    _sequence(),
    _text("piece", "whose face it is", ForeignKey("piece.uid"), index=True),
    _sha256(index=True),
    _json("box", "x, y, width and height in px of the photo", nullable=False),
    _json("outline", "x, y of each point in px of the photo"),
    comment="faces of pieces on photos",
)

call = Table(
    "call",
    metadata,
    _uid(),
    _sequence(),
    *_author_and_time(),
    *_stone_place(),
    _text("photo", "its name then"),
    _measured(),
    _maybe("grade", "as called"),
    _whole("scene", "scene score as called, 0 to 100", nullable=True),
    _maybe("note", "the seller's own words"),
    _maybe("stone", "the seller's own name for the piece", index=True),
    _json("shown", "grade, scene, model and state that the tool had said"),
    comment="what the seller said of stones",
)

taken_back = Table(
    "taken_back",
    metadata,
    _text(
        "call",
        "uid of the call that does not hold any more",
        ForeignKey("call.uid"),
        primary_key=True,
    ),
    _text("uid", "of the fact that takes it back", ForeignKey("fact.uid")),
    _sequence(),
    comment="calls taken back; they stay in their table",
)

line_word = Table(
    "line_word",
    metadata,
    _uid(),
    _sequence(),
    *_author_and_time(),
    *_stone_place(),
    _text("photo", "its name then"),
    _measured(),
    _whole("line", "its number then"),
    _json("points", "x, y of each in px of the photo", nullable=False),
    _text("says", "crack, pattern, or withdrawn, which takes earlier words on it back"),
    _maybe("found", "open, tight, healed or unknown"),
    _maybe("how", "how it was checked"),
    _maybe("note", "the seller's own words"),
    comment="what the seller said of lines",
)

region_word = Table(
    "region_word",
    metadata,
    _uid(),
    _sequence(),
    *_author_and_time(),
    *_stone_place(),
    _text("photo", "its name then"),
    _whole("x", "px of the photo"),
    _whole("y", "px of the photo"),
    _whole("w", "px of the photo"),
    _whole("h", "px of the photo"),
    _text("says", "name of a colour class, or glare"),
    comment="what the seller said of rectangles on a face",
)

comparison = Table(
    "comparison",
    metadata,
    _uid(),
    _sequence(),
    *_author_and_time(),
    *_stone_place("better_"),
    *_stone_place("other_"),
    comment="of two faces the better one",
)

model_use = Table(
    "model_use",
    metadata,
    _uid(),
    _sequence(),
    *_author_and_time(),
    _maybe("folder", "of the model, from the root on; null for the starter"),
    _maybe("label", "of the model; null where it could not be read"),
    comment="models taken into use",
)

resort = Table(
    "resort",
    metadata,
    _uid(),
    _sequence(),
    *_author_and_time(),
    _maybe("of", "whose calls are sorted again; null for all"),
    _json("stones", "where each was seen, in the order of showing", nullable=False),
    _json("first", "the grade that each had", nullable=False),
    comment="stones sorted again, blind",
)

resort_answer = Table(
    "resort_answer",
    metadata,
    _text("resort", "which it belongs to", ForeignKey("resort.uid"), primary_key=True),
    _whole("stone", "place in the list, from 0", primary_key=True),
    _maybe("grade", "given this time; null where it was taken back"),
    _sequence(),
    comment="answers that hold, of stones sorted again",
)

resort_done = Table(
    "resort_done",
    metadata,
    _text("resort", "which is done", ForeignKey("resort.uid"), primary_key=True),
    _sequence(),
    comment="sortings that are finished",
)

season = Table(
    "season",
    metadata,
    _uid(),
    _sequence(),
    _text("name", "as typed"),
    _text("begins", "ISO date"),
    comment="seasons of calls",
)

deed = Table(
    "deed",
    metadata,
    _uid(),
    _sequence(),
    *_author_and_time(),
    _text("kind", "what kind of fact it is"),
    _text("act", "of the command that it was done with", index=True),
    Index("ix_deed_author", "author", "sequence"),
    comment="what was done with stone once it was dug",
)

# fmt: off
about = Table(
    "about",
    metadata,
    _text("deed", "uid of the deed", ForeignKey("deed.uid"), primary_key=True),
    _text("thing", "uid of what it made or was done with", ForeignKey("fact.uid"), primary_key=True, index=True),
    comment="what each deed speaks of",
)
# fmt: on

undone = Table(
    "undone",
    metadata,
    _text("act", "that is taken back", primary_key=True),
    _text("uid", "of the fact that takes it back", ForeignKey("fact.uid")),
    _sequence(),
    comment="acts taken back; their deeds stay in their tables",
)


def _deed() -> list[Column]:
    return [_uid(), _sequence(), _text("act", "of the command that it was done with")]


def _haul() -> Column:
    return _text("haul", "which it is of", ForeignKey("haul.uid"), index=True)


trip = Table(
    "trip",
    metadata,
    *_deed(),
    _whole("number", "by which it is called", index=True),
    _text("name", "as typed"),
    _text("begins", "ISO date"),
    _maybe("spot", "where on the claim, coarse"),
    _maybe("seam", "as typed"),
    _maybe("hours", "of digging, decimal number"),
    _whole("hands", "people who dug", nullable=True),
    _maybe("target_g", "weight to bring home, g, decimal number"),
    _maybe("right", "what the seller noted of his right to dig"),
    _maybe("place", "the exact place, for the seller alone"),
    comment="trips to dig",
)

haul = Table(
    "haul",
    metadata,
    *_deed(),
    _text("code", "by which it is called, as 07", index=True),
    _maybe("trip", "that brought it", ForeignKey("trip.uid")),
    _text("raw_typed", "weight out of the ground, as typed"),
    _text("raw_g", "the same in g, decimal number"),
    comment="what trips brought home",
)

numbered = Table(
    "numbered",
    metadata,
    *_deed(),
    _text("piece", "that bears the number", ForeignKey("piece.uid"), index=True),
    _text("haul", "which it is of", ForeignKey("haul.uid")),
    _whole("number", "in its haul"),
    Index("ix_numbered_code", "haul", "number"),
    comment="numbers of pieces; one is never given twice",
)

tags = Table(
    "tags",
    metadata,
    *_deed(),
    _text("code", "of the haul, as 07, which may not be there yet", index=True),
    _whole("first", "number of a tag"),
    _whole("last", "number of a tag"),
    comment="tags printed before there were pieces; their numbers go to no other",
)

weighed = Table(
    "weighed",
    metadata,
    *_deed(),
    _text("thing", "uid of the piece or lot", ForeignKey("fact.uid"), index=True),
    _text("typed", "weight as typed"),
    _text("net_g", "the same less the container, g, decimal number"),
    _whole("wet", "1 for wet stone"),
    _whole("guessed", "1 for a guess"),
    comment="what pieces and lots weigh; the last one counts",
)

rest = Table(
    "rest",
    metadata,
    *_deed(),
    _haul(),
    _text("what", "waste, chips, sorted stone and so on"),
    _maybe("grade", "of sorted stone"),
    _text("typed", "weight as typed"),
    _text("net_g", "the same in g, decimal number"),
    _whole("guessed", "1 for a guess"),
    _maybe("piece", "numbered one that it was", ForeignKey("piece.uid"), index=True),
    comment="parts of hauls that are no pieces for sale",
)

sellers_table = Table(
    "sellers_table",
    metadata,
    *_deed(),
    _text("what", "prices or boxes"),
    _text("begins", "day from which it holds, ISO date"),
    comment="tables of the seller's own, each from its day on",
)

lot = Table(
    "lot",
    metadata,
    *_deed(),
    _haul(),
    _whole("number", "in its haul"),
    _maybe("grade", "of its pieces"),
    _text("size_g", "least weight that was asked for, g, decimal number"),
    comment="lots made up; their pieces stand in about",
)

sale = Table(
    "sale",
    metadata,
    *_deed(),
    _text("price", "of all together, decimal number"),
    _text("currency", "of the price"),
    _maybe("price_table", "that held then", ForeignKey("fact.uid")),
    _json("snapshot", "what was told of each thing then", nullable=False),
    comment="sales; what was sold stands in about",
)

returned = Table(
    "returned",
    metadata,
    *_deed(),
    _text("sale", "that came back", ForeignKey("sale.uid"), index=True),
    _text("refund", "money given back, decimal number"),
    _maybe("why", "as typed"),
    comment="sales that came back",
)

broken = Table(
    "broken",
    metadata,
    *_deed(),
    _text("piece", "that was broken", ForeignKey("piece.uid"), index=True),
    _maybe("loss_g", "what was lost by it, g, decimal number"),
    comment="pieces broken; the parts have them as parents",
)

#: What replay drops and computes anew, each after the tables that it points to.
VIEW_TABLES: tuple[Table, ...] = tuple(t for t in metadata.sorted_tables if t is not fact)
