"""A listing as one page that needs no network, and as a row of a table."""

import re
from base64 import b64encode
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from grader.errors import harmless
from grader.report.cells import table_text
from grader.report.listing import (
    cabs_words,
    grade_words,
    lines_words,
    listing_rows,
    looked_words,
    photo_words,
    piece_rows,
    place_words,
    state_words,
    title_words,
)
from grader.report.listing_price import price_per
from grader.report.sheet import page_template


@dataclass(frozen=True)
class ShownPicture:
    """A picture of a listing, JPEG, with the words below it."""

    jpeg: bytes
    caption: str


@dataclass(frozen=True)
class Page:
    """What a listing's page is made of. pictures : of a piece.   members : of a lot, a picture of each piece by its
    number, where there is one."""

    record: dict
    pictures: tuple[ShownPicture, ...] = ()
    members: Mapping[str, bytes] = field(default_factory=dict)


def captions(record: dict) -> dict[str, str]:
    """Return the words below each picture of a piece, by its name."""
    view, cabs = record["view"], record["cabs"]
    best = f"Best view, turned upright: {template_words(view)}" if view else ""
    return {
        "face": f"Photo: {photo_words(record)}",
        "lines": "Lines seen: whole for a crack, dashed for what may be one, dotted for healed or a seam",
        "best": best,
        "cuts": cabs and f"Cut plan: {cabs_words(cabs, True)}",
    }


def template_words(view: dict) -> str:
    """Return the name of a template with its size: "30x22 mm", "18 mm round"."""
    name, size = view["template"], view["size_mm"]
    if usual := re.fullmatch(r"([\d.]+(?:x[\d.]+)?)( round)?", name):
        return f"{usual[1]} mm{usual[2] or ''}"
    tells = any(letter.isdigit() for letter in name)
    return f"{name}, {size[0]:.0f} x {size[1]:.0f} mm" if size and not tells else name


def face_caption(record: dict, number: int) -> str:
    """Return the words below the picture of a further face, counted from 1."""
    face = record["faces"][number - 1]
    return f"Face {number} of {len(record['faces'])}, {state_words(face)}: {lines_words([face])}"


def listing_page(page: Page) -> str:
    """Return the page as HTML; what people typed is escaped."""
    record = page.record
    return page_template("listing.html").render(
        title=harmless(title_words(record)),
        rows=[(label, harmless(words)) for label, words in listing_rows(record)],
        pictures=[(_text(one.jpeg), one.caption) for one in page.pictures],
        members=[
            (code, harmless(words), _text(page.members[code]) if code in page.members else None)
            for code, words in piece_rows(record)
        ],
        cautions=record["cautions"],
        listed=record["listed"],
    )


def _text(jpeg: bytes) -> str:
    return b64encode(jpeg).decode()


#: Columns of the table, in their order.
COLUMNS = (
    "number", "kind", "listed", "price", "currency", "price_per", "price_table", "grade", "grade_words", "net_g",
    "length_mm", "width_mm", "thickness_mm", "cabs", "cab_oval", "lines", "looked_for", "colours_set", "photo",
    "treatment", "polish", "depth", "hardness", "returns", "place", "dug", "pieces",
)  # fmt: skip


def listing_csv(records: Iterable[dict]) -> str:
    """Return listings as a table, a row each; what is not known is an empty cell."""
    return table_text(COLUMNS, map(_row, records))


def _row(record: dict) -> Sequence:
    price, size, cabs = record["price"] or {}, record["size"] or {}, record["cabs"]
    table, said = price.get("table"), record["said"]
    return [
        record["code"],
        record["kind"],
        record["listed"],
        price.get("money"),
        price.get("currency"),
        price_per(record["price"]),
        table and f"{table['begins']} {table['version']}",
        record["grade"] and record["grade"]["name"],
        grade_words(record),
        record["net_g"],
        *(size.get(f"{side}_mm") for side in ("length", "width", "thickness")),
        cabs and cabs["count"],
        cabs and f"{cabs['oval_mm'][0]:g}x{cabs['oval_mm'][1]:g}",
        lines_words(record["faces"]) if record["pieces"] is None else None,
        looked_words(record) if record["faces"] else record["looked"],
        "; ".join(record["colours_by"]),
        photo_words(record),
        *(said[name] for name in ("treatment", "polish", "depth", "hardness", "returns")),
        place_words(record),
        record["dug"],
        None if record["pieces"] is None else " ".join(one["code"] for one in record["pieces"]),
    ]
