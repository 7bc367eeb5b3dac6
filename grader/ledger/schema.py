"""The tables of the ledger: ``fact`` is the truth, every other one is a view that can be dropped and computed anew.

A change here needs a new migration and a new :data:`VERSION`; a test compares the two.
"""

from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, Table

from grader.ledger.columns import (
    author_and_time,
    json,
    maybe,
    metadata,
    sequence,
    sha256,
    stone_place,
    text,
    uid,
    whole,
)

#: Of the tables; the name of the last migration.
VERSION = "0003"
#: By which a ledger is told from another program's database: "SFGL" in ASCII, in the file's header.
APPLICATION_ID = 0x5346474C


def _measured(column=maybe, **kw) -> Column:
    return column(
        "measured", "uid of the measurement that was shown", ForeignKey("measured.uid"), **kw
    )


fact = Table(
    "fact",
    metadata,
    whole("sequence", "order of adding; gaps mean nothing", primary_key=True),
    text("uid", "name of the fact in every ledger, 32 hexadecimal digits", unique=True),
    text("kind", "what kind of fact it is", index=True),
    *author_and_time(),
    text("body", "what it tells, one JSON object"),
    CheckConstraint("json_valid(body)", name="json"),
    # Numbers are never given twice, not even after the last row is gone.
    sqlite_autoincrement=True,
    comment="what happened; rows are only ever added",
)

photo = Table(
    "photo",
    metadata,
    sha256(primary_key=True),
    text("path", "where it lay, from the root on", primary_key=True, index=True),
    text("name", "its file name"),
    whole("width", "px, upright"),
    whole("height", "px, upright"),
    sequence(),
    comment="photos by content and place; the last place seen has the highest sequence",
)

measured = Table(
    "measured",
    metadata,
    uid(),
    sequence(),
    sha256(),
    text("key", "hash of the terms and of the words on lines that held"),
    whole("measurement_version", "of the measuring code"),
    text("profile", "its name"),
    text("profile_sha256", "hash of the profile's settings"),
    text("time", "ISO 8601 with offset"),
    Index("ix_measured_way", "sha256", "key", "measurement_version", "profile_sha256"),
    comment="how photos were measured; the record itself lies in the fact",
)

stone = Table(
    "stone",
    metadata,
    _measured(text, primary_key=True),
    whole("piece_id", "number of the stone on the photo", primary_key=True),
    json("box", "x, y, width and height in px of the photo, as the record has it"),
    json("facts", "what a proposal is made of", nullable=False),
    comment="stones of each measurement",
)

look = Table(
    "look",
    metadata,
    sha256(primary_key=True),
    _measured(text),
    sequence(),
    comment="which measurement of a photo was shown last",
)

piece = Table(
    "piece",
    metadata,
    uid(),
    sequence(),
    maybe("name", "the seller's own for it", index=True),
    whole("number", "of the piece", nullable=True),
    maybe("parent", "piece that it was cut from", ForeignKey("piece.uid")),
    comment="pieces of stone in the hand",
)

face = Table(
    "face",
    metadata,
    uid(),
    sequence(),
    text("piece", "whose face it is", ForeignKey("piece.uid"), index=True),
    sha256(index=True),
    json("box", "x, y, width and height in px of the photo", nullable=False),
    json("outline", "x, y of each point in px of the photo"),
    comment="faces of pieces on photos",
)

call = Table(
    "call",
    metadata,
    uid(),
    sequence(),
    *author_and_time(),
    *stone_place(),
    text("photo", "its name then"),
    _measured(),
    maybe("grade", "as called"),
    whole("scene", "scene score as called, 0 to 100", nullable=True),
    maybe("note", "the seller's own words"),
    maybe("stone", "the seller's own name for the piece", index=True),
    json("shown", "grade, scene, model and state that the tool had said"),
    comment="what the seller said of stones",
)

taken_back = Table(
    "taken_back",
    metadata,
    text(
        "call",
        "uid of the call that does not hold any more",
        ForeignKey("call.uid"),
        primary_key=True,
    ),
    text("uid", "of the fact that takes it back", ForeignKey("fact.uid")),
    sequence(),
    comment="calls taken back; they stay in their table",
)

line_word = Table(
    "line_word",
    metadata,
    uid(),
    sequence(),
    *author_and_time(),
    *stone_place(),
    text("photo", "its name then"),
    _measured(),
    whole("line", "its number then"),
    json("points", "x, y of each in px of the photo", nullable=False),
    text("says", "crack, pattern, or withdrawn, which takes earlier words on it back"),
    maybe("found", "open, tight, healed or unknown"),
    maybe("how", "how it was checked"),
    maybe("note", "the seller's own words"),
    comment="what the seller said of lines",
)

region_word = Table(
    "region_word",
    metadata,
    uid(),
    sequence(),
    *author_and_time(),
    *stone_place(),
    text("photo", "its name then"),
    whole("x", "px of the photo"),
    whole("y", "px of the photo"),
    whole("w", "px of the photo"),
    whole("h", "px of the photo"),
    text("says", "name of a colour class, or glare"),
    comment="what the seller said of rectangles on a face",
)

comparison = Table(
    "comparison",
    metadata,
    uid(),
    sequence(),
    *author_and_time(),
    *stone_place("better_"),
    *stone_place("other_"),
    comment="of two faces the better one",
)

model_use = Table(
    "model_use",
    metadata,
    uid(),
    sequence(),
    *author_and_time(),
    maybe("folder", "of the model, from the root on; null for the starter"),
    maybe("label", "of the model; null where it could not be read"),
    comment="models taken into use",
)

resort = Table(
    "resort",
    metadata,
    uid(),
    sequence(),
    *author_and_time(),
    maybe("of", "whose calls are sorted again; null for all"),
    json("stones", "where each was seen, in the order of showing", nullable=False),
    json("first", "the grade that each had", nullable=False),
    comment="stones sorted again, blind",
)

resort_answer = Table(
    "resort_answer",
    metadata,
    text("resort", "which it belongs to", ForeignKey("resort.uid"), primary_key=True),
    whole("stone", "place in the list, from 0", primary_key=True),
    maybe("grade", "given this time; null where it was taken back"),
    sequence(),
    comment="answers that hold, of stones sorted again",
)

resort_done = Table(
    "resort_done",
    metadata,
    text("resort", "which is done", ForeignKey("resort.uid"), primary_key=True),
    sequence(),
    comment="sortings that are finished",
)

season = Table(
    "season",
    metadata,
    uid(),
    sequence(),
    text("name", "as typed"),
    text("begins", "ISO date"),
    comment="seasons of calls",
)

deed = Table(
    "deed",
    metadata,
    uid(),
    sequence(),
    *author_and_time(),
    text("kind", "what kind of fact it is"),
    text("act", "of the command that it was done with", index=True),
    Index("ix_deed_author", "author", "sequence"),
    comment="what was done with stone once it was dug",
)

# fmt: off
about = Table(
    "about",
    metadata,
    text("deed", "uid of the deed", ForeignKey("deed.uid"), primary_key=True),
    text("thing", "uid of what it made or was done with", ForeignKey("fact.uid"), primary_key=True, index=True),
    comment="what each deed speaks of",
)
# fmt: on

undone = Table(
    "undone",
    metadata,
    text("act", "that is taken back", primary_key=True),
    text("uid", "of the fact that takes it back", ForeignKey("fact.uid")),
    sequence(),
    comment="acts taken back; their deeds stay in their tables",
)


def _deed() -> list[Column]:
    return [uid(), sequence(), text("act", "of the command that it was done with")]


def _haul() -> Column:
    return text("haul", "which it is of", ForeignKey("haul.uid"), index=True)


trip = Table(
    "trip",
    metadata,
    *_deed(),
    whole("number", "by which it is called", index=True),
    text("name", "as typed"),
    text("begins", "ISO date"),
    maybe("spot", "where on the claim, coarse"),
    maybe("seam", "as typed"),
    maybe("hours", "of digging, decimal number"),
    whole("hands", "people who dug", nullable=True),
    maybe("target_g", "weight to bring home, g, decimal number"),
    maybe("right", "what the seller noted of his right to dig"),
    maybe("place", "the exact place, for the seller alone"),
    comment="trips to dig",
)

haul = Table(
    "haul",
    metadata,
    *_deed(),
    text("code", "by which it is called, as 07", index=True),
    maybe("trip", "that brought it", ForeignKey("trip.uid")),
    text("raw_typed", "weight out of the ground, as typed"),
    text("raw_g", "the same in g, decimal number"),
    comment="what trips brought home",
)

numbered = Table(
    "numbered",
    metadata,
    *_deed(),
    text("piece", "that bears the number", ForeignKey("piece.uid"), index=True),
    text("haul", "which it is of", ForeignKey("haul.uid")),
    whole("number", "in its haul"),
    Index("ix_numbered_code", "haul", "number"),
    comment="numbers of pieces; one is never given twice",
)

weighed = Table(
    "weighed",
    metadata,
    *_deed(),
    text("thing", "uid of the piece or lot", ForeignKey("fact.uid"), index=True),
    text("typed", "weight as typed"),
    text("net_g", "the same less the container, g, decimal number"),
    whole("wet", "1 for wet stone"),
    whole("guessed", "1 for a guess"),
    comment="what pieces and lots weigh; the last one counts",
)

rest = Table(
    "rest",
    metadata,
    *_deed(),
    _haul(),
    text("what", "waste, chips, sorted stone and so on"),
    maybe("grade", "of sorted stone"),
    text("typed", "weight as typed"),
    text("net_g", "the same in g, decimal number"),
    whole("guessed", "1 for a guess"),
    maybe("piece", "numbered one that it was", ForeignKey("piece.uid"), index=True),
    comment="parts of hauls that are no pieces for sale",
)

sellers_table = Table(
    "sellers_table",
    metadata,
    *_deed(),
    text("what", "prices or boxes"),
    text("begins", "day from which it holds, ISO date"),
    comment="tables of the seller's own, each from its day on",
)

lot = Table(
    "lot",
    metadata,
    *_deed(),
    _haul(),
    whole("number", "in its haul"),
    maybe("grade", "of its pieces"),
    text("size_g", "least weight that was asked for, g, decimal number"),
    comment="lots made up; their pieces stand in about",
)

sale = Table(
    "sale",
    metadata,
    *_deed(),
    text("price", "of all together, decimal number"),
    text("currency", "of the price"),
    maybe("price_table", "that held then", ForeignKey("fact.uid")),
    json("snapshot", "what was told of each thing then", nullable=False),
    maybe("buyer", "who bought, by an id; the name stands apart", index=True),
    comment="sales; what was sold stands in about",
)

returned = Table(
    "returned",
    metadata,
    *_deed(),
    text("sale", "that came back", ForeignKey("sale.uid"), index=True),
    text("refund", "money given back, decimal number"),
    maybe("why", "as typed"),
    comment="sales that came back",
)

broken = Table(
    "broken",
    metadata,
    *_deed(),
    text("piece", "that was broken", ForeignKey("piece.uid"), index=True),
    maybe("loss_g", "what was lost by it, g, decimal number"),
    comment="pieces broken; the parts have them as parents",
)

described = Table(
    "described",
    metadata,
    *_deed(),
    text("thing", "uid of the piece, lot or haul", ForeignKey("fact.uid"), index=True),
    text("what", "treatment, polish and so on"),
    maybe("says", "the seller's own words; null takes them back"),
    comment="what the seller says that no photo shows; the last word counts",
)

listing = Table(
    "listing",
    metadata,
    *_deed(),
    text("thing", "uid of the piece or lot", ForeignKey("fact.uid"), index=True),
    maybe("price", "asked then, decimal number"),
    maybe("currency", "of the price"),
    maybe("price_table", "that held then", ForeignKey("fact.uid")),
    json("snapshot", "all that was told of it then", nullable=False),
    comment="listings; the last one of a thing counts",
)

withdrawn = Table(
    "withdrawn",
    metadata,
    *_deed(),
    text("listing", "that is taken down", ForeignKey("listing.uid"), index=True),
    comment="listings taken down",
)

erased_buyer = Table(
    "erased_buyer",
    metadata,
    uid(),
    sequence(),
    text("buyer", "id of the buyer whose name is gone", index=True),
    comment="buyers whose names were erased",
)

#: No view, and no fact either: a name can be erased here, while what is in a fact stays for ever.
buyer_name = Table(
    "buyer_name",
    metadata,
    text("buyer", "id of the buyer", primary_key=True),
    text("name", "as typed"),
    comment="names of buyers, kept apart from facts so that they can be erased",
)

#: What replay drops and computes anew, each after the tables that it points to.
VIEW_TABLES: tuple[Table, ...] = tuple(
    t for t in metadata.sorted_tables if t not in (fact, buyer_name)
)
