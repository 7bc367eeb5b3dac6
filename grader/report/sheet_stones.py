"""The stones of a sheet: faces of one piece put together, numbered on, and what the page knows of each."""

from base64 import b64encode
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from grader.profile import Profile
from grader.report import headline, words
from grader.report.best import best_place
from grader.report.calls import shown_of
from grader.report.overlay import stone_window
from grader.report.result import NO_SCALE
from grader.report.stone_pictures import shown_views
from grader.report.stone_words import chances, facts, headed, piece_facts, short_words
from grader.report.weights import weight_text

#: What is kept of stones to be shown, by photo hash and stone.
KeptPictures = Mapping[tuple[str, int], Mapping[str, bytes]]
#: Their large pictures: as the page holds them, or named as they lie beside it.
LargePictures = Mapping[tuple[str, int], bytes | str]


@dataclass(frozen=True)
class SheetStone:
    """A stone of the sheet.

    running : its number on the sheet, from 1.   faces : the record of each photo that shows it here, and its record
    there; first the one that speaks for it.   net_g : of the piece, g, where it was weighed.
    """

    running: int
    faces: tuple[tuple[dict, dict], ...]
    net_g: Decimal | None = None

    @property
    def piece(self) -> dict:
        """Its record on the photo that speaks for it."""
        return self.faces[0][1]

    @property
    def code(self) -> str | None:
        """Its number in a haul."""
        return self.piece.get("number")

    @property
    def name(self) -> str:
        """What it is called: its number in the haul, else its running number on the sheet."""
        return self.code or str(self.running)


def sheet_stones(
    records: Iterable[dict], net_g: Mapping[str, Decimal] | None = None
) -> list[SheetStone]:
    """Return the stones of photos as the sheet shows them, in the order of the photos.

    Faces that were put together as one piece are one stone, and so are photos that show the same number.

    net_g : weights by number.
    """
    groups: dict[Any, list[tuple[dict, dict]]] = {}
    for record in records:
        for piece in record["pieces"]:
            groups.setdefault(_piece_key(record, piece), []).append((record, piece))
    stones = []
    for running, faces in enumerate(groups.values(), start=1):
        # A photo that is to be taken again does not speak where another shows the stone.
        faces.sort(key=lambda face: face[1]["verdict"] == "retake")
        piece = faces[0][1]
        weighed = (net_g or {}).get(piece.get("number"))
        if weighed is None and piece.get("sound") and piece["sound"]["weight_g"]:
            weighed = Decimal(str(piece["sound"]["weight_g"]))
        stones.append(SheetStone(running, tuple(faces), weighed))
    return stones


def _piece_key(record: dict, piece: dict) -> Any:
    if piece.get("number"):
        return piece["number"]
    if piece.get("piece"):
        return tuple((face["sha256"], face["id"]) for face in piece["piece"]["faces"])
    return record["photo"]["sha256"], piece["id"]


def row(stone: SheetStone, profile: Profile, unit: str) -> dict[str, Any]:
    """Return what the page chooses, sorts, counts and saves a stone by, and the words below its small picture."""
    record, piece = stone.faces[0]
    proposal = headline.proposal_of(piece)
    told = proposal is not None and not proposal.get("unfamiliar")
    house = piece["call"] or {"grade": None, "scene": None}
    grades = {call["grade"] for call in piece["calls"] if call["grade"]}
    weight = [] if stone.net_g is None else [weight_text(stone.net_g, unit)]
    return {
        "n": stone.running,
        "name": stone.name,
        "find": f"{stone.running} {stone.code or ''} {_files(stone)}".casefold(),
        "saved": {
            "photo": record["photo"]["file"],
            "sha256": record["photo"]["sha256"],
            "piece": piece["id"],
            "box": " ".join(str(v) for v in piece["box"]),
        },
        "shown": {f"shown_{k}": "" if v is None else v for k, v in asdict(shown_of(piece)).items()},
        "label": headline.label_words(proposal),
        "likely": list(proposal["likely"]) if told else [],
        "stranger": bool(proposal and not told),
        "retake": proposal is None,
        "grade": house["grade"],
        "scene": house["scene"],
        "people": [
            {key: call[key] for key in ("by", "grade", "scene", "time")} for call in piece["calls"]
        ],
        "apart": len(grades) > 1,
        "grams": None if stone.net_g is None else float(stone.net_g),
        "below": [
            *short_words(piece),
            *weight,
            *([words.counted(len(stone.faces), "face")] if len(stone.faces) > 1 else []),
        ],
        "sort": _sort_keys(piece, proposal if told else None, stone.net_g),
    }


def _files(stone: SheetStone) -> str:
    return " ".join(record["photo"]["file"] for record, _ in stone.faces)


def told(
    stone: SheetStone, kept: KeptPictures, large: LargePictures, profile: Profile, unit: str
) -> dict[str, Any]:
    """Return all that the page shows of a stone that is enlarged, in words and pictures."""
    record, piece = stone.faces[0]
    proposal = headline.proposal_of(piece)
    own = {warning["code"] for warning in piece["warnings"]}
    remarks = [w["text"] for w in piece["warnings"] + own_warnings(record)]
    weight = [("weight", weight_text(stone.net_g, unit))] if stone.net_g is not None else []
    return {
        **headed(proposal, profile),
        "chances": [
            [name, words.percent(p), round(100 * p)] for name, p in chances(proposal).items()
        ],
        "reasons": proposal["reasons"] if proposal else [],
        "facts": piece_facts(piece) + weight + facts(piece, proposal),
        "verdict": piece["verdict"] if own - {NO_SCALE.code} else "",
        "remarks": [text for text in dict.fromkeys(remarks) if text != NO_SCALE.text],
        "calls": _calls(piece),
        "counts": words.house_words(piece),
        "faces": [_face(*face, kept, large, profile) for face in stone.faces],
    }


def _calls(piece: dict) -> list[list]:
    """What each person said: name, words, and whether the house's grade or scene is from there."""
    house = piece["call"] or {}
    return [
        [
            call["by"] or words.UNNAMED,
            words.call_words(call | {"by": None}),
            call["by"] in (house["by"], house["scene_by"] or house["by"]),
        ]
        for call in piece["calls"]
    ]


def _face(
    record: dict, piece: dict, kept: KeptPictures, large: LargePictures, profile: Profile
) -> dict[str, Any]:
    """The pictures of one face, and what is laid over them, in px of the photo."""
    photo = record["photo"]
    place = photo["sha256"], piece["id"]
    left, top, right, bottom = stone_window(tuple(piece["box"]), photo["width"], photo["height"])
    views = shown_views(piece, photo, kept[place], profile) if kept.get(place) else {}
    whole = large.get(place)
    best = best_place(piece)
    return {
        "photo": photo["file"],
        "piece": piece["id"],
        "state": words.state_words(piece["state"]),
        "small": views.get("photo") or views.get("lines"),
        "large": b64encode(whole).decode() if isinstance(whole, bytes) else None,
        "beside": whole if isinstance(whole, str) else None,
        "regions": views.get("regions"),
        "counted": views.get("counted", []),
        "best": None if best is None else best.outline_px(48).round().astype(int).tolist(),
        "best_words": views.get("words", []),
        "window": [left, top, right - left, bottom - top],
        "outline": piece["outline"],
        "lines": [
            {"id": line["id"], "class": line["class"], "points": line["points"]}
            for line in piece["cracks"]["lines"]
        ],
    }


def _sort_keys(piece: dict, proposal: dict | None, net_g: Decimal | None) -> dict[str, float]:
    """The numbers that stones are sorted by, the smallest first."""
    return {
        "sure": max(proposal["probabilities"].values()) if proposal else 0.0,
        "scene": -((piece.get("piece") or piece)["scene"]["score"] or 0),
        "lines": -piece["cracks"]["length_px"] if piece["cracks"]["count"] else 0,
        "size": -(piece["area_cm2"] or 0),
        "weight": -float(net_g or 0),
        **{name: -share["value"] for name, share in piece["shares"].items()},
    }


def own_warnings(record: dict) -> Sequence[dict]:
    """Return what is told of a photo itself; the rest is listed at the foot of the sheet."""
    listed = ("duplicate", "call_without_stone")
    return [w for w in record["photo"]["warnings"] if w["code"] not in listed]
