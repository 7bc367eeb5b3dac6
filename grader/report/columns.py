"""``results.csv``: one row per piece, its columns in an order that readers may rely on by name."""

import csv
import io
from collections.abc import Iterable

import numpy as np

from grader.grading.features import FEATURES, with_values
from grader.measures import MEASURES
from grader.profile import Profile

_BEFORE = ("photo", "sha256", "piece", "verdict", "proposed_grade", "proposed_scene", "sell_as")
_MEASURED = ("glare_share", "continuity", "crack_count", "crack_length_mm", "mm_per_px")
#: ``grade`` and ``scene`` are left empty for the seller: a filled file is a valid file of calls.
_SELLER = ("warnings", "error", "grade", "scene", "box")
_LATER = (
    "called_grade",
    "called_scene",
    "called_by",
    "called_time",
    "called_note",
    "size_class",
    "state",
)
_LAST = ("grade_set", "rules_grade", "what_if", "stranger")


def column_names(classes: Iterable[str]) -> list[str]:
    """Return the columns for a profile's colour classes, in their order; new ones are only ever put
    last."""
    shares = [f"{name}_{part}" for name in classes for part in ("share", "low", "high")]
    first = [*_BEFORE, *shares, *_MEASURED, *_SELLER, *_LATER]
    return first + [measure for measure in MEASURES if measure not in first] + list(_LAST)


def piece_rows(record: dict) -> list[dict]:
    """Return the rows of one photo's record: one per piece, or one with the reason why it could not
    be read."""
    photo = record["photo"]
    if "error" in record:
        return [{"photo": photo["file"], "error": record["error"]["text"]}]
    return [_row(photo, piece) for piece in record["pieces"]]


def results_csv(records: Iterable[dict], classes: Iterable[str]) -> str:
    """Return the text of ``results.csv``: comma, dot decimals, rows in the order of the records.

    File names and notes are kept exactly as they are: calls are matched by them. A spreadsheet
    may take one that begins with = + - or @ for a formula.
    """
    names = column_names(classes)
    text = io.StringIO()
    writer = csv.DictWriter(text, names, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(row for record in records for row in piece_rows(record))
    return text.getvalue()


def _row(photo: dict, piece: dict) -> dict:
    proposal, call = piece["proposal"] or {}, piece["call"] or {}
    codes = [warning["code"] for warning in photo["warnings"] + piece["warnings"]]
    return {
        "photo": photo["file"],
        "sha256": photo["sha256"],
        "piece": piece["id"],
        "verdict": piece["verdict"],
        "proposed_grade": proposal.get("grade"),
        "proposed_scene": proposal.get("scene"),
        "sell_as": proposal.get("sell_as"),
        "mm_per_px": piece["scale"]["mm_per_px"],
        "warnings": " ".join(dict.fromkeys(codes)),
        "box": " ".join(str(v) for v in piece["box"]),
        **{f"called_{key}": call.get(key) for key in ("grade", "scene", "by", "time", "note")},
        "size_class": piece["size_class"],
        "state": piece["state"]["value"],
        # Records of before hold neither.
        "grade_set": "; ".join((proposal.get("set") or {}).get("grades", ())),
        "rules_grade": (proposal.get("rules") or {}).get("grade"),
        "what_if": proposal.get("what_if"),
        "stranger": proposal.get("stranger"),
        **_measures(piece),
    }


def calls_table(stones: Iterable[tuple[dict, dict]]) -> str:
    """Return the text of a table of calls to fill in, a row for each (record, piece)."""
    names = ["photo", "sha256", "piece", "box", "grade", "scene", "by", "note", "stone"]
    names += ["shown_grade", "shown_scene", "shown_state", "shown_model"]
    text = io.StringIO()
    writer = csv.DictWriter(text, names, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(_row(record["photo"], piece) | _shown(piece) for record, piece in stones)
    return text.getvalue()


def _shown(piece: dict) -> dict:
    """What the tool says of the stone, to be kept with the call."""
    proposal = piece["proposal"] or {}
    return {
        "shown_grade": proposal.get("grade"),
        "shown_scene": piece["scene"]["score"],
        "shown_state": piece["state"]["value"],
        "shown_model": proposal.get("model"),
    }


def measured_row(piece: dict) -> dict[str, float | None]:
    """Return the declared measures of one piece as numbers, by name."""
    measures = {name: value for name, value in _measures(piece).items() if name in MEASURES}
    return {name: None if value is None else float(value) for name, value in measures.items()}


def seen_row(piece: dict, profile: Profile) -> dict[str, float | None]:
    """Return the features of one piece of a record as the grade head sees them, but for the scene's part scores, which
    speak through the scene score; nearly so: numbers in a record are rounded, and the face's area is its outline's."""
    shares, colours, kinds = piece["shares"], piece["colour"], {}
    by_reading = {
        reading: [c.name for c in profile.colours if c.reads_as == reading]
        for reading in ("water", "sky", "shore")
    }
    share = {
        reading: sum(shares[name]["value"] for name in names if name in shares)
        for reading, names in by_reading.items()
    }
    for name in by_reading["shore"]:
        for place, value in enumerate((shares.get(name) or {}).get("kinds", {}).values()):
            kinds[place] = kinds.get(place, 0.0) + value

    def colour(reading: str, part: str) -> float | None:
        seen = [name for name in by_reading[reading] if colours.get(name)]
        most = max(seen, key=lambda name: shares[name]["value"], default=None)
        return most and colours[most][part]

    outline = np.array(piece["outline"], float)
    x, y = outline.T
    side_px = max(abs(x @ np.roll(y, 1) - y @ np.roll(x, 1)) / 2, 1.0) ** 0.5
    values = dict.fromkeys(FEATURES) | {
        **{name: value for name, value in measured_row(piece).items() if name in FEATURES},
        "pattern_share": share["water"] + share["sky"],
        "blue_share": share["water"],
        "white_share": share["sky"],
        "host_share": share["shore"],
        "rusty_share": kinds.get(0),
        "grey_share": kinds.get(1),
        "blue_chroma": colour("water", "C"),
        "white_lightness": colour("sky", "L"),
        "line_density": sum(
            line["length_px"] * (line["probability"] or 0.0) for line in piece["cracks"]["lines"]
        )
        / side_px,
    }
    return with_values(values, profile)


def _measures(piece: dict) -> dict:
    """The declared measures of one piece, each under its own name."""
    banding, cracks, colour = piece["banding"], piece["cracks"], piece["colour"]
    # Records of before hold no sound stone.
    sound = piece.get("sound") or {}
    measures = {
        "glare_share": piece["glare"]["value"],
        "area_cm2": piece["area_cm2"],
        "scene_score": piece["scene"]["score"],
        **{f"crack_{key}": cracks[key] for key in ("count", "length_px", "length_mm", "density")},
        "crack_mm_per_cm2": cracks.get("crack_mm_per_cm2"),
        "sound_share": (sound.get("largest") or {}).get("value"),
        "usable_share": (sound.get("usable") or {}).get("value"),
        "clear_share": next((clear["share"] for clear in sound.get("clear", ())), None),
        **{key: banding[key] for key in banding if key in MEASURES},
        "blue_chroma": (colour.get("blue") or {}).get("C"),
        "white_lightness": (colour.get("white") or {}).get("L"),
    }
    for name, share in piece["shares"].items():
        measures |= {
            f"{name}_share": _share(share["value"]),
            f"{name}_low": share["low"],
            f"{name}_high": share["high"],
        }
        measures |= {f"{kind}_share": _share(v) for kind, v in share.get("kinds", {}).items()}
    return measures


def _share(value: float) -> str:
    # Written out: a spreadsheet may take 1.3e-05 for a word.
    return f"{value:.6f}"
