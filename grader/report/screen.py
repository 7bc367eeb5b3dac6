"""What is shown of a photo on a screen: what is wanted beside the tub, or with ``more`` all that was measured."""

from collections.abc import Iterable

from grader.ledger.reads import is_piece_code
from grader.profile import Profile
from grader.report import words
from grader.report.headline import (
    headed_words,
    headline_words,
    line_care_words,
    proposal_of,
    rules_words,
    set_words,
)

LABEL = "  {:<13} {}"
#: What the smallest change for a better grade is called.
WOULD_LIFT = "would lift it"


def photo_text(record: dict, profile: Profile, more: bool = False) -> str:
    """Return one photo's record as a table, stone by stone: short, or with ``more`` all of it."""
    photo = record["photo"]
    lines = [_photo_line(photo, more)]
    if used := [other["file"] for other in record["photos"][1:] if other["used"]]:
        lines.append(f"  the same face: {', '.join(used)}")
    if tag := _tag_line(record):
        lines.append(f"  {tag}")
    if more and (proposed := words.models_words([record])):
        lines.append(f"  {proposed}")
    lines += [f"  {warning['text']}" for warning in photo["warnings"]]
    codes = {warning["code"] for warning in photo["warnings"]}
    facts_of = _all_facts if more else _short_facts
    for piece in record["pieces"]:
        head = f"Stone {piece['id']}   {headed_words(proposal_of(piece), profile)}"
        lines += ["", table(head, facts_of(piece, codes))]
    return "\n".join(lines) + "\n"


def _tag_line(record: dict) -> str | None:
    """What the tags in a photo and in further ones of the same face say; a check numbers nothing, so it is told what
    would."""
    photos = {photo["file"]: _tags_of(photo) for photo in (record["photo"], *record["photos"][1:])}
    said = list(dict.fromkeys(text for texts in photos.values() for text in texts))
    if not said:
        return None
    file = record["photo"]["file"]
    found = [f"{', '.join(texts)} in {name}" for name, texts in photos.items() if texts]
    if len(record["pieces"]) == 1 and min(len(said), len(found)) > 1:
        return f"tag {' and '.join(found)}: two tags for one face; see which is right: grader haul photo NUMBER {file}"
    line = f"tag {', '.join(said)}"
    if len(said) > 1 or not is_piece_code(said[0]):
        return line
    return f"{line}; grader haul photo {said[0]} {file} says that it shows that piece"


def _tags_of(photo: dict) -> list[str]:
    return [tag["text"] for tag in photo.get("tags", ()) if tag["text"]]


def table(head: str, facts: Iterable[tuple[str, str | None]]) -> str:
    """Return a head and below it each fact behind its name; what is not known is left out."""
    return "\n".join([head, *(LABEL.format(name, text) for name, text in facts if text)])


def block(name: str, lines: Iterable[str]) -> list[tuple[str, str]]:
    """Return lines under one name, which stands before the first."""
    return [("" if number else name, line) for number, line in enumerate(lines)]


def proposal_facts(proposal: dict | None, more: bool) -> list[tuple[str, str | None]]:
    """Return what stands below the words over a stone, each line with its name; nothing where a photo is to be taken
    again."""
    if not proposal:
        return []
    # Of an unfamiliar stone no chance is told: the number would be an invention.
    likely = None if proposal["unfamiliar"] else set_words(proposal)
    if not more:
        first = next(iter(proposal["reasons"]), None)
        return [("why", first), ("may be", likely), ("sell as", proposal["sell_as"])]
    chances = ", ".join(
        f"{grade} {words.percent(p)}" for grade, p in proposal["probabilities"].items()
    )
    return [
        ("may be", likely),
        ("chances", None if proposal["unfamiliar"] else chances),
        ("sell as", proposal["sell_as"]),
        *block("why", proposal["reasons"]),
        (WOULD_LIFT, proposal.get("what_if")),
        ("rules", rules_words(proposal)),
    ]


def _photo_line(photo: dict, more: bool) -> str:
    """The file and what its sizes and colours are by; that there is no scale has a line of its own below."""
    scale, colour = words.scale_words(photo["scale"]), words.colour_words(photo["colour"])
    if more:
        size = f"{photo['width']} x {photo['height']} px"
        return f"{photo['file']}   {size}, {scale}, {colour}"
    return f"{photo['file']}   " + ", ".join(
        [scale, colour] if photo["scale"]["mm_per_px"] else [colour]
    )


def _short_facts(piece: dict, shown_codes: set[str]) -> list[tuple[str, str | None]]:
    """What is wanted beside the tub."""
    ranges = ", ".join(words.share_words(*item, kinds=False) for item in piece["shares"].items())
    sized = piece["size_class"] is not None
    state = piece["state"]["value"]
    return [
        ("call", words.calls_words(piece)),
        *([] if piece.get("piece") else proposal_facts(piece["proposal"], more=False)),
        ("colour", ranges),
        ("lines", words.lines_words(piece["cracks"], state)),
        ("size", words.size_words(piece) if sized else None),
        ("scene", words.picture_words(piece["scene"])),
        *_alone(piece),
        ("photo", _verdict_words(piece, shown_codes) if _wants_care(piece, shown_codes) else None),
    ]


def _all_facts(piece: dict, shown_codes: set[str]) -> list[tuple[str, str | None]]:
    """All that was measured; warnings whose codes are shown for the whole photo are left out."""
    return [
        ("piece", piece.get("piece") and words.faces_words(piece["piece"])),
        ("call", words.calls_words(piece) or "none yet"),
        ("photo", _verdict_words(piece, shown_codes)),
        ("scene", words.scene_words(piece["scene"])),
        ("", words.runner_up_words(piece["scene"])),
        *block("colour", (words.share_words(*item) for item in piece["shares"].items())),
        ("glare", words.glare_words(piece["glare"])),
        ("bands", words.bands_words(piece["banding"])),
        ("lines", words.lines_words(piece["cracks"], piece["state"]["value"])),
        *block("sound", words.sound_words(piece["sound"]) if piece["sound"] else ()),
        ("size", words.size_words(piece)),
        *([] if piece.get("piece") else proposal_facts(piece["proposal"], more=True)),
        *_alone(piece),
        ("nearest", words.nearest_words(piece.get("nearest", ()))),
    ]


def _alone(piece: dict) -> list[tuple[str, str | None]]:
    """The caution about a line; of one face of a piece what it would be alone, for the rest is told with the piece."""
    if piece.get("piece"):
        return [("alone", f"this face: {headline_words(piece['proposal'])}")]
    return [("care", line_care_words(piece))]


def _wants_care(piece: dict, shown_codes: set[str]) -> bool:
    told = [warning for warning in piece["warnings"] if warning["code"] not in shown_codes]
    return bool(told) or piece["verdict"] != "usable"


def _verdict_words(piece: dict, shown_codes: set[str]) -> str:
    texts = [warning["text"] for warning in piece["warnings"] if warning["code"] not in shown_codes]
    return "; ".join([f"{piece['verdict']}, {words.state_words(piece['state'])}", *texts])
