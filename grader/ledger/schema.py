"""The tables of the ledger: ``fact`` is the truth, every other one is a view that can be dropped and computed anew.

A change here needs a new migration and a new :data:`VERSION`; a test compares the two.
"""

from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, Table

from grader.ledger.columns import (
    author_and_time,
    json,
    maybe,
    metadata,
    real,
    sequence,
    sha256,
    stone_place,
    text,
    uid,
    whole,
)  # fmt: skip
from grader.ledger.deed_tables import about as about
from grader.ledger.deed_tables import broken as broken
from grader.ledger.deed_tables import cost as cost
from grader.ledger.deed_tables import deed as deed
from grader.ledger.deed_tables import described as described
from grader.ledger.deed_tables import erased_buyer as erased_buyer
from grader.ledger.deed_tables import from_bin as from_bin
from grader.ledger.deed_tables import haul as haul
from grader.ledger.deed_tables import listing as listing
from grader.ledger.deed_tables import lot as lot
from grader.ledger.deed_tables import numbered as numbered
from grader.ledger.deed_tables import reserved as reserved
from grader.ledger.deed_tables import rest as rest
from grader.ledger.deed_tables import returned as returned
from grader.ledger.deed_tables import sale as sale
from grader.ledger.deed_tables import seller_limit as seller_limit
from grader.ledger.deed_tables import sellers_table as sellers_table
from grader.ledger.deed_tables import tags as tags
from grader.ledger.deed_tables import trip as trip
from grader.ledger.deed_tables import undone as undone
from grader.ledger.deed_tables import weighed as weighed
from grader.ledger.deed_tables import withdrawn as withdrawn

#: Of the tables; the name of the last migration.
VERSION = "0005"
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
    real("area_cm2", "of the facts: ten thousand of them take long to read"),
    maybe("size_class", "of the facts"),
    json("facts", "what a proposal is made of", nullable=False),
    Index("ix_stone_size", "measured", "area_cm2", "size_class", "box"),
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
    # Outlines are long: what a list asks for is found without reading a row.
    Index("ix_face_place", "piece", "sha256", "box"),
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
    Index("ix_call_heard", "sha256", "sequence", "author", "time", "grade", "box", "uid"),
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
