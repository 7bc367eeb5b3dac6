"""``sheet.html``: every stone of a batch on one page that works offline, with a place for the
seller's own call."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from functools import cache

from grader.profile import Profile
from grader.report import headline, one_piece, words
from grader.report.calls import LostCall, lost_words, shown_of
from grader.report.cautions import CAUTIONS
from grader.report.result import NO_SCALE
from grader.report.screen import WOULD_LIFT
from grader.report.stone_pictures import shown_views
from grader.report.views import VIEWS

#: More stones than this are too many for one page on a phone.
PIECES_PER_PAGE = 500


def sheet_pages(
    name: str,
    records: Sequence[dict],
    pictures: Mapping[tuple[str, int], Mapping[str, bytes]],
    profile: Profile,
    lost_calls: Sequence[LostCall] = (),
) -> dict[str, str]:
    """Return the sheet as HTML by file name, above 500 stones as pages linked to each other.

    Parameters
    ----------
    name : of the first page; further ones are called ``sheet-2.html`` and so on.
    records : JSON objects of the photos, with calls joined.
    pictures : what is kept of each stone to be shown (:func:`stone_pictures`), by photo hash and piece id.
    """
    stem, suffix = name.rsplit(".", 1)
    stones = [(record, piece) for record in records for piece in record["pieces"]]
    count = max(1, -(-len(stones) // PIECES_PER_PAGE))
    pages = [name, *(f"{stem}-{n}.{suffix}" for n in range(2, count + 1))]
    template = page_template("sheet.html")
    html = {}
    for number, page in enumerate(pages, start=1):
        part = stones[(number - 1) * PIECES_PER_PAGE : number * PIECES_PER_PAGE]
        html[page] = template.render(
            cards=[_card(record, piece, pictures, profile) for record, piece in part],
            ladder=profile.ladder,
            views=list(VIEWS),
            stones=len(words.stones_once(records)),
            photos=len(records),
            models=words.models_words(records),
            unsettled=words.unsettled_words(records),
            pages=pages,
            number=number,
            left_out=_left_out(records, lost_calls),
            cautions=CAUTIONS,
            table="CALLS.csv" if number == 1 else f"CALLS-{number}.csv",
        )
    return html


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


def _card(
    record: dict,
    piece: dict,
    pictures: Mapping[tuple[str, int], Mapping[str, bytes]],
    profile: Profile,
) -> dict:
    """What the page shows of one stone, in words; ``sort`` holds the numbers that it is sorted
    by."""
    photo, proposal = record["photo"], headline.proposal_of(piece)
    kept = pictures.get((photo["sha256"], piece["id"]))
    warnings = [warning["text"] for warning in piece["warnings"] + _own_warnings(record)]
    return {
        "photo": photo["file"],
        "sha256": photo["sha256"],
        "piece": piece["id"],
        "box": " ".join(str(v) for v in piece["box"]),
        "shows": kept and shown_views(piece, photo, kept, profile),
        **headed(proposal, profile),
        "chances": [
            (name, words.percent(p), round(100 * p)) for name, p in chances(proposal).items()
        ],
        "reasons": proposal["reasons"] if proposal else [],
        "facts": piece_facts(piece) + facts(piece, proposal),
        "warnings": [text for text in dict.fromkeys(warnings) if text != NO_SCALE.text],
        "shown": {k: "" if v is None else v for k, v in asdict(shown_of(piece)).items()},
        "calls": _calls(piece),
        **_house(piece),
        "sort": _sort_keys(piece, proposal and proposal["grade"], profile),
    }


def _house(piece: dict) -> dict:
    """Whose call counts and what it is, whether people call other grades, and whether it is not the one proposed."""
    call, proposal = piece["call"] or {"grade": None, "scene": None}, headline.proposal_of(piece)
    grades = {one["grade"] for one in piece["calls"] if one["grade"]}
    return {
        "counts": words.house_words(piece),
        "called_grade": call["grade"] or "",
        "called_scene": "" if call["scene"] is None else call["scene"],
        "apart": len(grades) > 1,
        "differs": bool(proposal and call["grade"] and proposal["grade"] != call["grade"]),
    }


def _calls(piece: dict) -> list[dict]:
    """What each person said: name, words, and whether the house's grade or scene is from there."""
    house = piece["call"] or {}
    return [
        {
            "by": call["by"] or words.UNNAMED,
            "text": words.call_words(call | {"by": None}),
            "counts": call["by"] in (house["by"], house["scene_by"] or house["by"]),
        }
        for call in piece["calls"]
    ]


def chances(proposal: dict | None) -> dict[str, float]:
    """Return the chances that are told: none of an unfamiliar stone."""
    return {} if not proposal or proposal.get("unfamiliar") else proposal["probabilities"]


def headed(proposal: dict | None, profile: Profile) -> dict[str, str]:
    """Return the words over a stone and what they mean: an unfamiliar stone has no grade over it."""
    if proposal and proposal.get("unfamiliar"):
        return {"grade": headline.UNFAMILIAR, "meaning": headline.headline_words(proposal)}
    return {
        "grade": headline.headline_words(proposal),
        "meaning": headline.meaning_words(proposal, profile),
    }


def piece_facts(piece: dict) -> list[tuple[str, str]]:
    """Return that it is one face of a piece, and what is taken from which."""
    if not piece.get("piece"):
        return []
    own = headline.headline_words(piece["proposal"])
    told = words.faces_words(piece["piece"]), one_piece.from_words(piece["piece"])
    return [("piece", told[0]), ("", told[1]), ("alone", f"this face: {own}")]


def facts(piece: dict, proposal: dict | None) -> list[tuple[str, str]]:
    """Return what is told of a stone below its grade, name and words, in the order of telling; a line without a name
    goes on with the one before."""
    told = [("scene", words.scene_words(piece["scene"]))]
    told += [
        ("" if i else "colour", words.share_words(*item))
        for i, item in enumerate(piece["shares"].items())
    ]
    told += [
        ("glare", words.glare_words(piece["glare"])),
        ("bands", words.bands_words(piece["banding"])),
        ("lines", words.lines_words(piece["cracks"], piece["state"]["value"])),
        *(
            ("" if i else "sound", text)
            for i, text in enumerate(
                words.sound_words(piece["sound"]) if piece.get("sound") else ()
            )
        ),
        ("size", words.size_words(piece)),
    ]
    if proposal:
        others = (
            ("may be", headline.set_words(proposal)),
            ("sell as", proposal["sell_as"]),
            (WOULD_LIFT, proposal.get("what_if")),
            ("rules", headline.rules_words(proposal)),
            ("care", headline.line_care_words(piece)),
        )
        told += [(name, text) for name, text in others if text]
    told.append(("photo", f"{piece['verdict']}, {words.state_words(piece['state'])}"))
    # A number and its sign stay on one line.
    return [(name, text.replace(" %", "\u00a0%")) for name, text in told]


def _sort_keys(piece: dict, grade: str | None, profile: Profile) -> dict[str, float]:
    grades = list(profile.grades)
    return {
        "grade": -grades.index(grade) if grade in grades else 1,
        "scene": -(piece["scene"]["score"] or 0),
        "lines": -piece["cracks"]["length_px"] if piece["cracks"]["count"] else 0,
        "size": -(piece["area_cm2"] or 0),
        **{name: -share["value"] for name, share in piece["shares"].items()},
    }


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
    return [w["text"] for w in _own_warnings(record) if w["code"] != NO_SCALE.code]


def _own_warnings(record: dict) -> list[dict]:
    """What is told of the photo itself; the rest is listed at the foot."""
    listed = ("duplicate", "call_without_stone")
    return [w for w in record["photo"]["warnings"] if w["code"] not in listed]
