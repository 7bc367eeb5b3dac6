"""The tables of what is done with stone: trips, hauls, weights, lots, sales. Views all, as in ``schema``."""

from sqlalchemy import Column, ForeignKey, Index, Table

from grader.ledger.columns import (
    author_and_time,
    json,
    maybe,
    metadata,
    sequence,
    text,
    uid,
    whole,
)  # fmt: skip

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
    maybe("guess", "money that the seller thought it worth, decimal number"),
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

tags = Table(
    "tags",
    metadata,
    *_deed(),
    text("code", "of the haul, as 07, which may not be there yet", index=True),
    whole("first", "number of a tag"),
    whole("last", "number of a tag"),
    comment="tags printed before there were pieces; their numbers go to no other",
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
    whole("number", "of a bin in its haul", nullable=True),
    json("sample", "contents of photos of pieces drawn from it at random"),
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
    whole("part", "1 where only the things in about came back", nullable=True),
    whole("stays", "1 where only money went back", nullable=True),
    comment="sales that came back",
)

from_bin = Table(
    "from_bin",
    metadata,
    text("sale", "it is of", ForeignKey("sale.uid"), primary_key=True),
    text("bin", "it came out of", ForeignKey("rest.uid"), primary_key=True, index=True),
    text("net_g", "g, decimal number"),
    comment="what was sold out of bins",
)

reserved = Table(
    "reserved",
    metadata,
    *_deed(),
    maybe("until", "last day that it counts, ISO date; none where it is free again"),
    maybe("whom", "for, as ledgers of version 0003 kept it"),
    maybe("buyer", "for whom, by an id; the name stands apart", index=True),
    comment="what is held for somebody; the things stand in about",
)

cost = Table(
    "cost",
    metadata,
    *_deed(),
    text("trip", "it was spent on", ForeignKey("trip.uid"), index=True),
    text("money", "decimal number"),
    text("currency", "of the money"),
    maybe("note", "as typed"),
    comment="money spent on trips",
)

seller_limit = Table(
    "seller_limit",
    metadata,
    *_deed(),
    text("name", "by which it is called"),
    text("most_typed", "weight, as typed"),
    text("most_g", "the same in g, decimal number"),
    text("each", "day, trip, year or parcel"),
    text("begins", "ISO date"),
    maybe("note", "as typed"),
    comment="limits that the seller typed",
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
