"""``sheet.html``: every stone of a batch on one page that works offline, a contact sheet whose stones are enlarged by a
click, with a place for the seller's own call."""

import re
from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from hashlib import sha256
from importlib import resources

from grader.files import FORMULA_BEGINS
from grader.profile import Profile
from grader.report import words
from grader.report.calls import LostCall, lost_words
from grader.report.cautions import CARE_SHORT, CAUTIONS
from grader.report.keys import grade_keys
from grader.report.result import NO_SCALE
from grader.report.sheet_stones import (
    KeptPictures,
    LargePictures,
    own_warnings,
    row,
    sheet_stones,
    told,
)
from grader.report.weights import DECIMALS
from grader.weight import GRAMS_IN

#: More stones than this are too many for one page on a phone.
PIECES_PER_PAGE = 500
#: So many stones fit on a sheet of paper, four a row.
PIECES_PER_PAPER = 20
#: What the page consists of beside its text, in this order.
_STYLE, _SCRIPTS = "sheet.css", ("sheet_words.js", "sheet_picture.js", "sheet.js")


@dataclass(frozen=True)
class SheetHead:
    """What a sheet is of.

    name : of haul or folder, as "Haul 07".   day : on which it was graded, ISO.
    net_g : weights of numbered pieces, g, by their numbers.   unit : in which they are shown.
    """

    name: str
    day: str
    net_g: Mapping[str, Decimal] = field(default_factory=dict)
    unit: str = "g"

    @property
    def file_name(self) -> str:
        """The name as a part of a file's, the same on any system: "haul-07"."""
        return re.sub(r"[^\w.]+|^\.+", "-", self.name.lower()).strip("-.")[:60] or "stones"


def sheet_pages(
    name: str,
    records: Sequence[dict],
    pictures: KeptPictures,
    large: LargePictures,
    profile: Profile,
    head: SheetHead,
    lost_calls: Sequence[LostCall] = (),
) -> dict[str, str]:
    """Return the sheet as HTML by file name, above 500 stones as pages linked to each other.

    Parameters
    ----------
    name : of the first page; further ones are called ``sheet-2.html`` and so on.
    records : JSON objects of the photos, with calls joined.
    pictures : what is kept of each stone to be shown (:func:`stone_pictures`).   large : larger ones, where there are.
    """
    stem, suffix = name.rsplit(".", 1)
    stones = sheet_stones(records, head.net_g)
    count = max(1, -(-len(stones) // PIECES_PER_PAGE))
    pages = [name, *(f"{stem}-{n}.{suffix}" for n in range(2, count + 1))]
    template, style, scripts = (
        page_template("sheet.html"),
        _part(_STYLE),
        list(map(_part, _SCRIPTS)),
    )
    html = {}
    for number, page in enumerate(pages, start=1):
        part = stones[(number - 1) * PIECES_PER_PAGE : number * PIECES_PER_PAGE]
        rows = [row(stone, profile, head.unit) for stone in part]
        shown = [told(stone, pictures, large, profile, head.unit) for stone in part]
        # The small picture that speaks for a stone stands on the page already.
        small = [one["faces"][0].pop("small") for one in shown]
        papers = [
            list(zip(rows, small, shown, strict=True))[n : n + PIECES_PER_PAPER]
            for n in range(0, len(rows), PIECES_PER_PAPER)
        ]
        html[page] = template.render(
            head=head,
            papers=papers,
            stones=words.counted(len(stones), "stone"),
            photos=words.counted(len(records), "photo"),
            colours=[colour.name for colour in profile.colours],
            ladder=profile.ladder,
            keys=grade_keys(profile.grades),
            beside=any(isinstance(one, str) for one in large.values()),
            models=words.models_words(records),
            unsettled=words.unsettled_words(records),
            pages=pages,
            number=number,
            left_out=_left_out(records, lost_calls),
            care=CARE_SHORT,
            cautions=CAUTIONS,
            style=style,
            scripts=scripts,
            hashes=[_hash(text) for text in (style, *scripts)],
            known=_known(head, number if count > 1 else None, rows, profile),
        )
    return html


def _known(head: SheetHead, page: int | None, rows: list[dict], profile: Profile) -> dict:
    """What the page's script begins with."""
    saved = f"calls-{head.file_name}" + (f"-page-{page}" if page else "")
    return {
        "id": head.file_name,
        "title": head.name,
        "day": head.day,
        "saved": saved,
        "grades": list(profile.grades),
        "meanings": {rung.grade: rung.meaning for rung in profile.ladder},
        "keys": {key: grade for grade, key in grade_keys(profile.grades).items() if key},
        "unit": {
            "name": head.unit,
            "grams": float(GRAMS_IN[head.unit]),
            "decimals": DECIMALS[head.unit],
        },
        "paper": PIECES_PER_PAPER,
        "formulas": FORMULA_BEGINS,
        "stones": rows,
    }


@cache
def _part(name: str) -> str:
    """A part of the page that is the same on each: its style, or a script."""
    return (resources.files("grader.report") / "templates" / name).read_text("utf-8")


def _hash(text: str) -> str:
    """The name under which a page's policy lets a part of it run, and nothing else."""
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"


@cache
def page_template(name: str):
    """Return a page's template: text put into it is escaped, what it lacks is an error."""
    # Here, so that checking one photo does not wait for it.
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("grader.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name)


def _left_out(records: Sequence[dict], lost_calls: Sequence[LostCall]) -> list[str]:
    """What the page cannot show as a stone, a line each."""
    lines = [f"Not read: {record['error']['text']}" for record in records if "error" in record]
    lines += [
        f"{record['photo']['file']}: " + ("; ".join(_why_no_stone(record)) or "no stone found")
        for record in records
        if not record["pieces"] and "error" not in record
    ]
    lines += [
        f"{record['photo']['file']}: {warning['text']}"
        for record in records
        if "error" not in record
        for warning in record["photo"]["warnings"]
        if warning["code"] == "duplicate"
    ]
    return lines + [f"{line[0].upper()}{line[1:]}" for line in lost_words(records, lost_calls)]


def _why_no_stone(record: dict) -> list[str]:
    return [w["text"] for w in own_warnings(record) if w["code"] != NO_SCALE.code]
