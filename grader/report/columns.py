"""``results.csv``: one row per piece, its columns in an order that readers may rely on by name."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict

from grader.measures import MEASURES
from grader.profile import ColourClass
from grader.report.calls import shown_of
from grader.report.cells import table_text
from grader.report.headline import proposal_of

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
_LAST = (
    "grade_set",
    "rules_grade",
    "would_lift",
    "unfamiliar",
    "called_scene_by",
    "likely",
    "ask_first",
    "same_piece",
    "face_of_piece",
    "number",
)
#: Declared measures keep their names under every profile, since the written rules and models go by
#: them: they tell what a class reads as. A class's own columns carry the profile's word for it.
_MEASURED_AS = {"water": "blue", "sky": "white", "shore": "host"}
_KINDS_OF_HOST = ("rusty_share", "grey_share")


def column_names(classes: Iterable[str]) -> list[str]:
    """Return the columns for a profile's colour classes, in their order; new ones are only ever put
    last."""
    shares = [f"{name}_{part}" for name in classes for part in ("share", "low", "high")]
    first = [*_BEFORE, *shares, *_MEASURED, *_SELLER, *_LATER]
    return first + [measure for measure in MEASURES if measure not in first] + list(_LAST)


def piece_rows(record: dict, colours: Sequence[ColourClass]) -> list[dict]:
    """Return the rows of one photo's record: one per piece, or one with the reason why it could not
    be read."""
    photo = record["photo"]
    if "error" in record:
        return [{"photo": photo["file"], "error": record["error"]["text"]}]
    return [_row(photo, piece, colours) for piece in record["pieces"]]


def results_csv(records: Iterable[dict], colours: Sequence[ColourClass]) -> str:
    """Return the text of ``results.csv``: comma, dot decimals, rows in the order of the records.

    colours : the classes of the profile by which the records were made.

    A file name or note that a spreadsheet would run as a formula has an apostrophe in front, which
    :func:`~grader.files.read_table` takes off again: calls are matched by names.
    """
    names = column_names(colour.name for colour in colours)
    return _table(names, (row for record in records for row in piece_rows(record, colours)))


def _table(names: Sequence[str], rows: Iterable[dict]) -> str:
    return table_text(names, ([row.get(name) for name in names] for row in rows))


def _row(photo: dict, piece: dict, colours: Sequence[ColourClass] = ()) -> dict:
    # Of a face of a piece with several the piece's: one piece has one grade.
    proposal, call = proposal_of(piece) or {}, piece["call"] or {}
    codes = [warning["code"] for warning in photo["warnings"] + piece["warnings"]]
    return {
        "photo": photo["file"],
        "sha256": photo["sha256"],
        "piece": piece["id"],
        "number": piece.get("number"),
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
        "likely": "; ".join(proposal.get("likely") or ()),
        "ask_first": "yes" if proposal.get("ask_first") else None,
        "grade_set": "; ".join((proposal.get("grade_set") or {}).get("grades", ())),
        "rules_grade": (proposal.get("rules") or {}).get("grade"),
        "would_lift": proposal.get("what_if"),
        "unfamiliar": proposal.get("unfamiliar"),
        "called_scene_by": None if call.get("scene") is None else call["scene_by"] or call["by"],
        **_of_piece(photo, piece),
        **_measures(piece, colours),
    }


def _of_piece(photo: dict, stone: dict) -> dict:
    """All faces of a piece, the same on each of its rows, and which this one is: rows that are not the first would
    count it twice."""
    if not stone.get("piece"):
        return {}
    faces = stone["piece"]["faces"]
    places = [(face["sha256"], face["id"]) for face in faces]
    which = places.index((photo["sha256"], stone["id"])) + 1
    return {
        "same_piece": "; ".join(f"{face['file']} {face['id']}" for face in faces),
        "face_of_piece": f"{which} of {len(faces)}",
    }


def calls_table(stones: Iterable[tuple[dict, dict]]) -> str:
    """Return the text of a table of calls to fill in, a row for each (record, piece)."""
    names = ["photo", "sha256", "piece", "box", "grade", "scene", "by", "note", "stone"]
    names += ["shown_grade", "shown_scene", "shown_state", "shown_model"]
    return _table(
        names,
        (
            _row(record["photo"], piece)
            | {f"shown_{key}": value for key, value in asdict(shown_of(piece)).items()}
            for record, piece in stones
        ),
    )


def _measures(piece: dict, colours: Sequence[ColourClass]) -> dict:
    """The declared measures of one piece, each under its own name, and the shares of its classes."""
    banding, cracks = piece["banding"], piece["cracks"]
    sound = piece["sound"] or {}
    room, best = piece.get("room") or {}, piece["scene"].get("best") or {}
    measures = {
        "glare_share": piece["glare"]["value"],
        "area_cm2": piece["area_cm2"],
        "scene_score": piece["scene"]["score"],
        "scene_without_lines": piece["scene"].get("without_lines"),
        "picture_lines": best.get("line_ratio"),
        "picture_short_mm": min(best["size_mm"]) if best.get("size_mm") else None,
        "pattern_contrast": room.get("pattern_contrast"),
        "pattern_room_share": room.get("pattern_share"),
        "colour_room_share": room.get("colour_share"),
        **{f"crack_{key}": cracks[key] for key in ("count", "length_px", "length_mm", "density")},
        "crack_mm_per_cm2": cracks.get("crack_mm_per_cm2"),
        "sound_share": (sound.get("largest") or {}).get("value"),
        "usable_share": (sound.get("usable") or {}).get("value"),
        "clear_share": next((clear["share"] for clear in sound.get("clear", ())), None),
        **{key: banding[key] for key in banding if key in MEASURES},
    }
    measured_as = {c.name: _MEASURED_AS.get(c.reads_as) for c in colours}
    for name, share in piece["shares"].items():
        values = {"share": _share(share["value"]), "low": share["low"], "high": share["high"]}
        if measured_as.get(name, name) != name and name in _MEASURED_AS.values():
            # A class by the name of a declared measure that reads as something else is not that measure.
            del values["share"]
        measures |= {f"{name}_{part}": value for part, value in values.items()}
        measures |= {f"{kind}_share": _share(v) for kind, v in share.get("kinds", {}).items()}
    return measures | _read_as(piece, measured_as)


def _read_as(piece: dict, measured_as: dict[str, str | None]) -> dict:
    """Shares and colours under the names of the declared measures; of several classes that read alike
    the shares add up and the largest has the colour."""
    measures = {}
    for word in _MEASURED_AS.values():
        shares = {k: v for k, v in piece["shares"].items() if measured_as.get(k, k) == word}
        if not shares:
            continue
        measures[f"{word}_share"] = _share(sum(share["value"] for share in shares.values()))
        coloured = [name for name in shares if piece["colour"].get(name)]
        colour = (
            piece["colour"][max(coloured, key=lambda k: shares[k]["value"])] if coloured else {}
        )
        measures |= {
            "blue": {"blue_chroma": colour.get("C")},
            "white": {"white_lightness": colour.get("L")},
        }.get(word, {})
        kinds = [tuple(share["kinds"].values()) for share in shares.values() if share.get("kinds")]
        if word == "host" and kinds:
            sums = [sum(column) for column in zip(*kinds, strict=True)]
            measures |= dict(zip(_KINDS_OF_HOST, map(_share, sums), strict=True))
    return measures


def _share(value: float) -> str:
    # Written out: a spreadsheet may take 1.3e-05 for a word.
    return f"{value:.6f}"
