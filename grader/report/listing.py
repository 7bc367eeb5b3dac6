"""A listing: what a buyer is told of a piece, lot or bin, as plain data and in words; from recorded facts alone."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

import cv2
import numpy as np

from grader.grading.features.facts import StoneFacts
from grader.photo.terms import PhotoTerms
from grader.profile import Profile
from grader.report.cautions import LISTING_CAUTIONS, caution_lines
from grader.report.headline import meaning
from grader.report.listing_price import break_lines, price_words
from grader.report.weights import both_weights
from grader.report.words import colour_words, counted, no_line_words, share_words
from grader.trade.sizes import MM_IN, sides_mm_of

SCHEMA = 1
NOT_RECORDED = "not recorded"
UNSEEN = f"{NOT_RECORDED}: no photo"
#: What follows every word on lines.
NO_HIDDEN = "a photo shows no hidden ones"
#: Of colours whose light was only estimated, for a buyer.
IN_THE_HAND = "in the hand they may look a little different"
#: A line of each class, as a buyer is told it.
_LINES = {
    "crack": "crack",
    "uncertain": "line that may be a crack",
    "contact": "border that may part",
    "pattern line": "pattern line (healed or a seam)",
}
#: What the seller may say, with its label, in the order of telling.
_SAID = {
    "treatment": "treatment",
    "polish": "polish",
    "depth": "depth of the pattern",
    "hardness": "hardness",
    "returns": "returns",
}
#: What a bin holds, in its title and in full.
_BINS = {
    "sorted": ("loose stone", "loose stone of one grade, sold by weight"),
    "chips": ("chips", "chips, sold by weight or in bags of set net weight"),
    "unsorted": (
        "unsorted stone",
        "unsorted stone, sold by weight: any grade may be in it",
    ),
}


@dataclass(frozen=True)
class OfferedFace:
    """A face of what is offered. photo, stone : its records.   terms : on which it was looked at."""

    photo: dict
    stone: dict
    terms: PhotoTerms
    facts: StoneFacts


@dataclass(frozen=True)
class Offer:
    """What is known of a piece, lot or bin that is offered.

    net_g : as it was weighed dry, ``None`` before; ``unweighed`` says why.   called : the grade by a person.
    said : what the seller said, by its name.   place, dug : coarse place and day of the trip.
    faces : the best first.   cuts : of the best face.   price : as :func:`price_record` has it.
    pieces : of a lot, each as plain data; ``None`` else.   holds : of a bin, what is in it.
    """

    code: str
    day: str
    net_g: Decimal | None
    unweighed: str | None
    grade: str | None
    called: bool
    faces: tuple[OfferedFace, ...] = ()
    said: Mapping[str, str] = field(default_factory=dict)
    place: str | None = None
    dug: str | None = None
    cuts: dict | None = None
    price: dict | None = None
    pieces: tuple[dict, ...] | None = None
    holds: str | None = None


def listing_record(offer: Offer, profile: Profile) -> dict:
    """Return a listing as plain data, the same that is kept: no path, no person, no exact place is in it."""
    said = dict(offer.said)
    best = offer.faces[0] if offer.faces else None
    return {
        "schema": SCHEMA,
        "code": offer.code,
        "kind": "bin" if offer.holds else "piece" if offer.pieces is None else "lot",
        "holds": offer.holds,
        "listed": offer.day,
        "grade": offer.grade
        and {
            "name": offer.grade,
            "meaning": meaning(offer.grade, profile),
            "by": "seller" if offer.called else "tool",
        },
        "net_g": offer.net_g and f"{offer.net_g:f}",
        "unweighed": offer.unweighed,
        "size": size_record(offer.faces, said),
        "cabs": offer.cuts
        and {
            "oval_mm": offer.cuts["oval_mm"],
            "margin_mm": offer.cuts["margin_mm"],
            "count": len(offer.cuts["templates"]),
        },
        "faces": [_face_record(face) for face in offer.faces],
        "shares": best and best.stone["shares"],
        "view": best and _view_record(best.stone["scene"]["best"]),
        "colours_by": list(
            dict.fromkeys(colour_words(f.photo["colour"], IN_THE_HAND) for f in offer.faces)
        ),
        "shown": _shown(offer),
        "looked": said.pop("looked", None),
        "said": {name: said.get(name) for name in _SAID},
        "place": said.get("place") or offer.place,
        "dug": offer.dug,
        "price": offer.price,
        "pieces": None if offer.pieces is None else list(offer.pieces),
        "cautions": caution_lines(LISTING_CAUTIONS),
    }


def _shown(offer: Offer) -> str | None:
    if offer.holds:
        return offer.said.get("shown")
    return offer.said.get("shown", "exact") if offer.faces or offer.pieces else None


def size_record(faces: Sequence[OfferedFace], said: dict[str, str]) -> dict | None:
    """Return length, width and thickness in mm, by hand where the seller measured, else from the photo with the
    largest face; ``None`` where neither is known."""
    sides = [float(side) for side in sides_mm_of(said["size"])] if "size" in said else []
    thick = float(sides_mm_of(said["thickness"])[0]) if "thickness" in said else None
    if len(sides) >= 2:
        length, width = sorted(sides[:2], reverse=True)
        return _size(length, width, sides[2] if len(sides) == 3 else thick, "hand", None)
    known = [face for face in faces if face.stone["scale"]["mm_per_px"]]
    seen = [(_rectangle_mm(face.stone), face.stone["scale"]) for face in known]
    if not seen:
        return _size(None, None, thick, "hand", None) if thick else None
    (length, width), scale = max(seen, key=lambda one: one[0][0] * one[0][1])
    off = (scale["high"] - scale["low"]) / 2 / scale["mm_per_px"]
    return _size(length, width, thick, "photo", off)


def _size(length, width, thick, by: str, off: float | None) -> dict:
    mm = lambda side: None if side is None else round(side, 1)  # noqa: E731
    return {
        "length_mm": mm(length),
        "width_mm": mm(width),
        "thickness_mm": mm(thick),
        "by": by,
        "off_share": None if off is None else round(off, 3),
    }


def _rectangle_mm(stone: dict) -> tuple[float, float]:
    """Long and short side of the least rectangle around a face."""
    _, sides, _ = cv2.minAreaRect(np.array(stone["outline"], np.float32))
    return max(sides) * stone["scale"]["mm_per_px"], min(sides) * stone["scale"]["mm_per_px"]


def _face_record(face: OfferedFace) -> dict:
    classes = [
        line["class"]
        for line in face.stone["cracks"]["lines"]
        if line["class"] != "contact" or (line["parting_chance"] or 0) >= 0.1
    ]
    return {
        "state": face.stone["state"]["value"],
        "verdict": face.stone["verdict"],
        "lines": {kind: classes.count(kind) for kind in _LINES},
        "cracks_mm": face.stone["cracks"]["length_mm"],
        "photos": 1 + len(face.terms.same_face),
        "dried": face.terms.dried,
    }


def _view_record(best: dict | None) -> dict | None:
    return best and {key: best[key] for key in ("template", "kind", "size_mm")}


def listing_rows(record: dict) -> list[tuple[str, str]]:
    """Return a listing as rows of a label and its words; what nobody recorded says so."""
    rows = [
        ("price", price_words(record["price"])),
        *(("", line) for line in break_lines(record["price"])),
        *([("what it is", holds_words(record))] if is_bin(record) else []),
        ("grade", grade_words(record)),
        ("net weight", weight_words(record)),
    ]
    if is_bin(record):
        rows += [
            ("size of pieces", seen_size_words(record)),
            ("lines", f"{UNSEEN}; {NO_HIDDEN}"),
            ("looked for", looked_words(record)),
            ("photo", photo_words(record)),
        ]
    elif record["pieces"] is None:
        faces = record["faces"]
        rows += [
            ("size", seen_size_words(record)),
            ("cabs that fit", cabs_words(record["cabs"], bool(faces))),
            ("lines", lines_words(faces)),
            ("looked for", looked_words(record)),
            *_labelled("colours", colour_rows(record["shares"])),
            ("colours set", "; ".join(record["colours_by"]) or NOT_RECORDED),
            ("photo", photo_words(record)),
        ]
    else:
        rows += [("pieces", f"{len(record['pieces'])}: each is told below")]
        rows += [("photo", photo_words(record))]
        rows += [("looked for", record["looked"])] if record["looked"] else []
    rows += [(label, record["said"][name] or NOT_RECORDED) for name, label in _SAID.items()]
    return [*rows, ("from", place_words(record))]


def piece_rows(record: dict) -> list[tuple[str, str]]:
    """Return the pieces of a lot, a row each."""
    return [(one["code"], piece_words(one)) for one in record["pieces"] or ()]


def piece_words(one: dict) -> str:
    """Return weight, size and lines of a piece of a lot in a line."""
    weight = "not weighed" if one["net_g"] is None else both_weights(Decimal(one["net_g"]))
    size = size_words(one["size"]) if one["size"] else "size not recorded"
    return "; ".join((weight, size, lines_words(one["faces"])))


def grade_words(record: dict) -> str:
    """Return the grade, who says it and what it stands for in general; where that speaks of lines, and some are seen on
    this very stone, that too."""
    grade = record["grade"]
    if grade is None:
        return "not graded piece by piece" if is_bin(record) else "not graded yet"
    by = "called by the seller" if grade["by"] == "seller" else "proposed from the photo"
    told = f"{grade['name']}, {by}; in general this grade means: {grade['meaning']}"
    faces = [face for one in (record, *(record["pieces"] or ())) for face in one["faces"]]
    seen = any(face["lines"][kind] for face in faces for kind in ("crack", "uncertain", "contact"))
    if not seen or "line" not in grade["meaning"]:
        return told
    return f"{told}; lines are seen here all the same: look at what is told of them"


def weight_words(record: dict) -> str:
    """Return the net weight as it was weighed; a guess is never told."""
    if record["net_g"] is None:
        return f"{NOT_RECORDED}: {record['unweighed'] or 'not weighed yet'}"
    net_g = Decimal(record["net_g"])
    if not is_bin(record):
        return both_weights(net_g)
    told = f"{both_weights(net_g)} is there"
    bags = (record["price"] or {}).get("bags")
    if not bags:
        return told
    bag_g = Decimal(bags[0]["net_g"])
    number, over_g = divmod(net_g, bag_g)
    over = f", {both_weights(over_g)} over" if over_g else ""
    return f"{told}: {counted(int(number), 'bag')} of {both_weights(bag_g)}{over}"


def is_bin(record: dict) -> bool:
    """Return whether it is of a bin, from which is sold by weight."""
    return record["kind"] == "bin"


def holds_words(record: dict) -> str:
    """Return what is in a bin."""
    return _BINS[record["holds"]][1]


def seen_size_words(record: dict) -> str:
    """Return the size, or that no photo tells one."""
    return size_words(record["size"]) if record["faces"] or record["size"] else UNSEEN


def size_words(size: dict | None) -> str:
    """Return "92 x 61 x 34 mm (3.6 x 2.4 x 1.3 in), measured by hand", as far as it is known."""
    if size is None:
        return f"{NOT_RECORDED}: no scale in the photo"
    sides = [size[f"{side}_mm"] for side in ("length", "width", "thickness")]
    thick = "" if sides[2] is not None else "; thickness not recorded"
    if sides[0] is None:
        return f"{sides[2]:.0f} mm ({_inches(sides[2])} in) thick; length and width not recorded"
    known = [side for side in sides if side is not None]
    mm = " x ".join(f"{side:.0f}" for side in known)
    inches = " x ".join(map(_inches, known))
    off = f", give or take {max(1, round(100 * size['off_share']))} %" if size["off_share"] else ""
    by = "measured by hand" if size["by"] == "hand" else f"from the photo{off}"
    return f"{mm} mm ({inches} in), {by}{thick}"


def _inches(mm: float) -> str:
    return f"{mm / float(MM_IN['in']):.1f}"


def cabs_words(cabs: dict | None, photographed: bool) -> str:
    """Return how many cabs fit by the plan."""
    if cabs is None:
        return f"{NOT_RECORDED}: {'no scale in the photo' if photographed else 'no photo'}"
    long, short = cabs["oval_mm"]
    oval = f"{long:g}x{short:g} mm"
    if not cabs["count"]:
        return f"none of {oval} without a line seen in it"
    return (
        f"{cabs['count']} of {oval} by the plan, {cabs['margin_mm']:g} mm kept for the saw, no line seen in them on "
        "this face; what lies deeper a photo does not show"
    )


def lines_words(faces: Sequence[dict]) -> str:
    """Return "2 cracks seen on 1 of 2 faces", or on how many faces no line is seen; never that there are none."""
    if not faces:
        return UNSEEN
    totals = {kind: sum(face["lines"][kind] for face in faces) for kind in _LINES}
    told = [counted_lines(number, _LINES[kind]) for kind, number in totals.items() if number]
    parting = sum(number for kind, number in totals.items() if kind != "pattern line")
    if not told:
        return f"{no_line_words([face['state'] for face in faces])}; {NO_HIDDEN}"
    on = sum(any(face["lines"].values()) for face in faces)
    where = "the face shown" if len(faces) == 1 else f"{on} of {len(faces)} faces"
    length = sum(face["cracks_mm"] or 0 for face in faces)
    mm = f", cracks {length:.0f} mm long in all" if totals["crack"] and length else ""
    other = "" if parting else "; no other line seen"
    return f"{', '.join(told)} seen on {where}{mm}{other}; {NO_HIDDEN}"


def counted_lines(number: int, noun: str) -> str:
    """Return "1 crack", "2 lines that may be a crack"."""
    head, _, rest = noun.partition(" that ")
    if rest:
        return f"{counted(number, head)} that {rest}"
    head, _, rest = noun.partition(" (")
    return counted(number, head) + (f" ({rest}" if rest else "")


def looked_words(record: dict) -> str:
    """Return how lines were looked for: the states and photos of the faces, and what the seller did by hand."""
    told = []
    faces = record["faces"]
    for state in ("wet", "dry", "patchy", "unknown"):
        of = [face for face in faces if face["state"] == state]
        if of:
            how = state_words(of[0])
            photos = {face["photos"] for face in of}
            each = " each" if len(of) > 1 else ""
            number = (
                f"{counted(max(photos), 'photo')}{each}" if len(photos) == 1 else "several photos"
            )
            told.append(f"{counted(len(of), 'face')} {how}, {number}")
    if any(face["dried"] for face in faces):
        told.append("wetted and seen drying")
    told.append(f"by hand: {record['looked']}" if record["looked"] else "by hand: not recorded")
    return "; ".join(told)


def colour_rows(shares: dict | None) -> list[str]:
    """Return the shares of the best face, the host's kinds behind it, a line each."""
    if not shares:
        return [UNSEEN]
    return [share_words(name, share) for name, share in shares.items()]


def photo_words(record: dict) -> str:
    """Return whether the photo shows this very piece, and in which state."""
    if record["shown"] is None:
        return "no photo"
    if is_bin(record):
        which = {"exact": "this very stone", "typical": "typical pieces, not the very ones"}
        which = which.get(record["shown"], record["shown"])
        return f"no photo here; of one that the seller shows elsewhere he says: {which}"
    which = {"exact": "the exact piece", "typical": "a typical piece, not this one"}
    which = which.get(record["shown"], record["shown"])
    if record["pieces"] is not None:
        lacking = sum(not one["faces"] for one in record["pieces"])
        which = which.replace("piece", "pieces") if record["shown"] == "exact" else which
        return which + (
            f"; {lacking} of {len(record['pieces'])} without a photo" if lacking else ""
        )
    return f"{which}, {state_words(record['faces'][0])}; as the camera took it"


def state_words(face: dict) -> str:
    """Return how a face was photographed."""
    state = face["state"]
    return {"unknown": "wet or dry not known", "patchy": "half dried"}.get(state, state)


def place_words(record: dict) -> str:
    """Return the coarse place and the day of digging, as far as they are known."""
    place = record["place"] or f"place {NOT_RECORDED}"
    return place + (f"; dug {record['dug']}" if record["dug"] else "")


def _labelled(label: str, lines: Sequence[str]) -> list[tuple[str, str]]:
    return [("" if number else label, line) for number, line in enumerate(lines)]


def title_words(record: dict) -> str:
    """Return the head of a listing: "07-113, cabbing, 612 g (1.35 lb)"."""
    grade = record["grade"] and record["grade"]["name"]
    weight = record["net_g"] and both_weights(Decimal(record["net_g"]))
    lot = record["pieces"] is not None and f"lot of {counted(len(record['pieces']), 'piece')}"
    holds = is_bin(record) and _BINS[record["holds"]][0]
    return ", ".join(part for part in (record["code"], lot or holds, grade, weight) if part)


def changed_words(kept: dict, now: dict) -> list[str]:
    """Return the labels of what is known otherwise now than when it was listed."""
    before, after = ({}, {})
    for record, rows in ((kept, before), (now, after)):
        label = ""
        for name, words in listing_rows(record):
            label = name or label
            rows[label] = f"{rows.get(label, '')}\n{words}"
    if piece_rows(kept) != piece_rows(now):
        after["pieces"] = "changed"
    return [label for label in after if before.get(label) != after[label]]
