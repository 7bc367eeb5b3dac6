"""A record in plain words: the short table that ``grader check`` prints, and the phrases that the
sheet shares."""

from grader.profile import Profile
from grader.report.cautions import CAUTIONS

NO_LINE = "no line seen on the face photographed"
_LABEL = "  {:<10} {}"


def photo_text(record: dict, profile: Profile) -> str:
    """Return one photo's record as a short table, stone by stone."""
    photo = record["photo"]
    said = f"{scale_words(photo['scale'])}, {colour_words(photo['colour'])}"
    lines = [f"{photo['file']}   {photo['width']} x {photo['height']} px, {said}"]
    lines += [f"  {warning['text']}" for warning in photo["warnings"]]
    told = {warning["code"] for warning in photo["warnings"]}
    for piece in record["pieces"]:
        lines += ["", *_piece_lines(piece, profile, told)]
    return "\n".join(lines) + "\n"


def scale_words(scale: dict) -> str:
    """Return "0.12 mm per px by the card (0.115 to 0.126)", or that the scale is not known."""
    if not scale["mm_per_px"]:
        return "scale not known"
    by = {"hand": "by hand", "card": "by the card"}[scale["source"]]
    said = f"{scale['mm_per_px']:.4g} mm per px {by}"
    # Records from before the card was read hold no interval.
    if scale.get("low") is None or scale["low"] == scale["high"]:
        return said
    return f"{said} ({scale['low']:.3g} to {scale['high']:.3g})"


def colour_words(colour: dict) -> str:
    """Return what the colours are referred to."""
    if colour["source"] == "chart":
        return f"colours by the chart (CIEDE2000 {colour['chart_de00']:.1f} left on it)"
    known = {"card": "the card's paper", "paper": "white paper", "tray": "the neutral tray"}
    if colour["source"] in known:
        return f"colours by {known[colour['source']]}"
    return "colours uncalibrated"


def cautions_text() -> str:
    """Return the cautions with their sources, for the foot of a page of text."""
    lines = [f"- {c.text}" + (f"\n  [{c.source}]" if c.source else "") for c in CAUTIONS]
    return "\n".join(["Take care", *lines])


def meaning(grade: str, profile: Profile) -> str:
    """Return the one-line meaning of a grade; of one that is no longer on the ladder, that."""
    return next(
        (rung.meaning for rung in profile.ladder if rung.grade == grade), "not on this ladder"
    )


def percent(share: float | None) -> str:
    """Return a share as whole percent; "under 1 %" where it is there but small."""
    if share is None:
        return "not known"
    return "under 1 %" if 0 < share < 0.005 else f"{100 * share:.0f} %"


def share_words(name: str, share: dict) -> str:
    """Return "blue 34 % (31 to 38)", a class's kinds behind it."""
    kinds = ", ".join(f"{kind} {percent(v)}" for kind, v in share.get("kinds", {}).items())
    words = (
        f"{name} {percent(share['value'])} ({100 * share['low']:.0f} to {100 * share['high']:.0f})"
    )
    return f"{words}: {kinds}" if kinds else words


def scene_words(scene: dict) -> str:
    """Return "62 of 100 (51 to 73)", and where the picture lies."""
    if scene["score"] is None:
        return "not known"
    score = f"{scene['score']} of 100 ({scene['low']} to {scene['high']})"
    best = scene.get("best")
    return f"{score}, {placement_words(best)}" if best else score


def placement_words(placement: dict) -> str:
    """Return "best as a landscape in a 40x30 oval turned 12°, shore 4.1 mm thick"."""
    turn = round(placement["turn_deg"]) % 360
    where = f"best as a {placement['kind']}: {placement['template']}, turned {turn}°"
    if placement["kind"] == "stream":
        return where
    if placement["shore_mm"] is None:
        return f"{where}, shore {percent(placement['shore_share'])} of its height"
    return f"{where}, shore {placement['shore_mm']:.1f} mm thick"


def bands_words(banding: dict) -> str:
    """Return number, direction, thickness and continuity of the bands."""
    if banding["continuity"] is None:
        return "none seen"
    parts = [
        f"{banding['bands']} across" if banding["bands"] is not None else None,
        f"direction {banding['direction_deg']:.0f}°"
        if banding["direction_deg"] is not None
        else None,
        f"{banding['thickness_mm']:.1f} mm thick" if banding["thickness_mm"] is not None else None,
        f"unbroken over {percent(banding['continuity'])} of the width",
    ]
    return ", ".join(part for part in parts if part)


def lines_words(cracks: dict) -> str:
    """Return how many lines are seen and how long the cracks are; never that a stone is free of
    them."""
    kinds = [line["class"] for line in cracks["lines"]]
    told = [f"{kinds.count('uncertain')} uncertain"] if "uncertain" in kinds else []
    if pattern := kinds.count("pattern line"):
        told.append(f"{pattern} pattern line{'s' if pattern > 1 else ''}, healed or a seam")
    also = ", ".join(told)
    if not cracks["count"]:
        return f"{also}; no other line seen" if also else NO_LINE
    length = (
        f"{cracks['length_px']:.0f} px"
        if cracks["length_mm"] is None
        else f"{cracks['length_mm']:.0f} mm"
    )
    seen = f"{cracks['count']} crack{'s' if cracks['count'] > 1 else ''} seen, {length} in all"
    return f"{seen}; {also}" if also else seen


def size_words(piece: dict) -> str:
    """Return the size class with the area, or that it is not known."""
    if piece["size_class"] is None:
        return "not known without a scale"
    said = f"{piece['size_class']} mm oval, {piece['area_cm2']:.1f} cm²"
    scale = piece.get("scale")
    if not scale or scale["low"] == scale["high"]:
        return said
    low, high = (
        piece["area_cm2"] * (scale[end] / scale["mm_per_px"]) ** 2 for end in ("low", "high")
    )
    return f"{said} ({low:.1f} to {high:.1f})"


def state_words(state: dict) -> str:
    """Return "dry", "wet", "patchy", or that it cannot be told."""
    return "wet or dry not known" if state["value"] == "unknown" else state["value"]


def call_words(call: dict | None) -> str:
    """Return the seller's own call: grade, scene, who and when."""
    if call is None:
        return "none yet"
    scene = None if call["scene"] is None else f"scene {call['scene']}"
    by = f"by {call['by']}" if call["by"] else None
    return ", ".join(
        part for part in (call["grade"], scene, by, call["time"][:10], call["note"]) if part
    )


def _piece_lines(piece: dict, profile: Profile, told: set[str]) -> list[str]:
    proposal = piece["proposal"]
    if proposal:
        head = f"Stone {piece['id']}   {proposal['grade']}: {meaning(proposal['grade'], profile)}"
    else:
        head = f"Stone {piece['id']}   retake: no grade is proposed from this photo"
    facts = [
        ("your call", call_words(piece["call"])),
        ("photo", _verdict_words(piece, told)),
        ("scene", scene_words(piece["scene"])),
        *(
            ("" if i else "colour", share_words(*item))
            for i, item in enumerate(piece["shares"].items())
        ),
        ("glare", f"{percent(piece['glare']['value'])} of the face, not counted above"),
        ("bands", bands_words(piece["banding"])),
        ("lines", lines_words(piece["cracks"])),
        ("size", size_words(piece)),
    ]
    if proposal:
        chances = ", ".join(
            f"{grade} {percent(p)}" for grade, p in proposal["probabilities"].items()
        )
        facts += [
            ("chances", chances),
            ("sell as", proposal["sell_as"] or "not known without a scale"),
        ]
        facts += [("" if i else "why", reason) for i, reason in enumerate(proposal["reasons"])]
    return [head, *(_LABEL.format(*fact) for fact in facts)]


def _verdict_words(piece: dict, told: set[str]) -> str:
    texts = [warning["text"] for warning in piece["warnings"] if warning["code"] not in told]
    return "; ".join([f"{piece['verdict']}, {state_words(piece['state'])}", *texts])
