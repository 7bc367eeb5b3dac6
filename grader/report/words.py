"""A record in plain words: the phrases that screen, sheet and tables share."""

from collections.abc import Iterable, Sequence

#: A line whose wet and dry photo are so much likelier for an open crack is told to stay dark.
STAYS_DARK = 1.5
#: A place that scores less is no scene: it is not drawn, nor told as the next best. From here on the shipped rules let
#: a scene make a stone select.
WORTH_DRAWING = 30
#: Less host below a picture, as a share of its height, is no shore.
LEAST_SHORE = 0.005
#: Who says what nobody has put a name to.
UNNAMED = "unnamed"


def scale_words(scale: dict) -> str:
    """Return "0.12 mm per px by the card (0.115 to 0.126)", or that the scale is not known."""
    if not scale["mm_per_px"]:
        return "scale not known"
    by = {"hand": "by hand", "card": "by the card"}[scale["source"]]
    scale_text = f"{scale['mm_per_px']:.4g} mm per px {by}"
    if scale["low"] == scale["high"]:
        return scale_text
    return f"{scale_text} ({scale['low']:.3g} to {scale['high']:.3g})"


def colour_words(colour: dict, hint: str = "a card makes it sure") -> str:
    """Return what the colours are referred to. hint : told where the light was only estimated."""
    if colour["source"] == "chart":
        return f"colours by the chart (CIEDE2000 {colour['chart_de00']:.1f} left on it)"
    known = {"card": "the card's paper", "paper": "white paper", "tray": "the neutral tray"}
    if colour["source"] in known:
        return f"colours by {known[colour['source']]}"
    if colour["source"] == "estimated":
        return f"light estimated from the photo; {hint}"
    return "colours as the camera wrote them"


_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def day_words(day: str) -> str:
    """Return an ISO date as people say it: "3 May 2026"."""
    year, month, of_month = day.split("-")
    return f"{int(of_month)} {_MONTHS[int(month) - 1]} {year}"


def percent(share: float | None) -> str:
    """Return a share as whole percent; "under 1 %" where it is there but small."""
    if share is None:
        return "not known"
    return "under 1 %" if 0 < share < 0.005 else f"{100 * share:.0f} %"


def share_words(name: str, share: dict, kinds: bool = True) -> str:
    """Return "blue 34 % (31 to 38)", a class's kinds behind it if wanted."""
    words = (
        f"{name} {percent(share['value'])} ({100 * share['low']:.0f} to {100 * share['high']:.0f})"
    )
    parts = ", ".join(f"{kind} {percent(v)}" for kind, v in share.get("kinds", {}).items())
    return f"{words}: {parts}" if kinds and parts else words


def scene_words(scene: dict) -> str:
    """Return "62 of 100 (51 to 73)", and where the picture lies."""
    if scene["score"] is None:
        return "not known"
    score = score_words(scene)
    best = scene.get("best")
    if scene.get("crossed"):
        # What beside the line is best has a score of its own.
        score = f"{score}, crossed by a line ({scene['without_lines']} without it)"
        return f"{score}; beside it {placement_words(best)}, {best['score']}" if best else score
    if best and scene["score"] < WORTH_DRAWING:
        return f"{score}, no picture to speak of"
    return f"{score}, {placement_words(best)}" if best else score


def picture_words(scene: dict) -> str:
    """Return "62 of 100 (51 to 73), a landscape", without where it lies."""
    if scene["score"] is None:
        return "not known"
    score, best = score_words(scene), scene.get("best")
    if scene.get("crossed"):
        return f"{score}, crossed by a line ({scene['without_lines']} without it)"
    if not best or scene["score"] < WORTH_DRAWING:
        return score
    return f"{score}, {_kind_words(best)}"


def score_words(scene: dict) -> str:
    """Return "62 of 100 (51 to 73)"."""
    return f"{scene['score']} of 100 ({scene['low']} to {scene['high']})"


def runner_up_words(scene: dict) -> str | None:
    """Return where the next best picture lies; ``None`` where none is drawn."""
    other = scene.get("runner_up")
    if not other or other["score"] < WORTH_DRAWING:
        return None
    return f"{placement_words(other, 'next best')}; dashed in the picture"


def placement_words(placement: dict, rank: str = "best") -> str:
    """Return "best as a landscape in a 40x30 oval turned 12°, shore 4.1 mm thick"."""
    turn = round(placement["turn_deg"]) % 360
    where = f"{rank} as {_kind_words(placement)}: {placement['template']}, turned {turn}°"
    if placement["kind"] != "landscape":
        return where
    if placement["shore_share"] < LEAST_SHORE:
        return where
    if placement["shore_mm"] is None:
        return f"{where}, shore {percent(placement['shore_share'])} of its height"
    return f"{where}, shore {placement['shore_mm']:.1f} mm thick"


def _kind_words(placement: dict) -> str:
    """Return "a landscape", "a stream" or "surf"."""
    return placement["kind"] if placement["kind"] == "surf" else f"a {placement['kind']}"


def glare_words(glare: dict) -> str:
    """Return how much of the face is glare, and how much was read from other photos instead."""
    share = f"{percent(glare['value'])} of the face, left out of the shares"
    filled = glare.get("filled")
    return f"{share}; {percent(filled)} filled from the other photos" if filled else share


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
        offsets_words(banding),
    ]
    return ", ".join(part for part in parts if part)


def offsets_words(banding: dict) -> str | None:
    """Return how many bands are offset by faults, and how far; ``None`` where no offset is seen."""
    number, throw_mm = banding["offsets"], banding["throw_mm"]
    if not number:
        return None
    offsets = f"{number} offset by a fault" if number == 1 else f"{number} offset by faults"
    return offsets if throw_mm is None else f"{offsets}, by {throw_mm:.1f} mm"


def no_line_words(states: Sequence[str]) -> str:
    """Return "no line seen on 2 faces, wet and dry" for the states in which faces were seen."""
    faces = "1 face" if len(states) == 1 else f"{len(states)} faces"
    known = [state for state in ("wet", "dry", "patchy") if state in states]
    how = " and ".join(known) if known else "wet or dry not known"
    unknown = sum(state not in known for state in states)
    if known and unknown:
        how += f", {unknown} not known"
    return f"no line seen on {faces}, {how}"


def lines_words(cracks: dict, state: str) -> str:
    """Return how many lines are seen and how long the cracks are; never that a stone is free of
    them.

    state : in which the face was seen, "wet", "dry", "patchy" or "unknown".
    """
    lines = cracks["lines"]
    parts = [_cracks_words(cracks, state)]
    if by_word := sum(line.get("source") == "seller" for line in lines):
        parts.append(f"{counted(by_word, 'line')} named by a person")
    if stay := sum((line["drying_ratio"] or 1.0) > STAYS_DARK for line in lines):
        parts.append(f"{stay} of them stay{'s' if stay == 1 else ''} dark while the surround dries")
    return "; ".join(parts)


def _cracks_words(cracks: dict, state: str) -> str:
    """Return "2 cracks seen, 30 mm in all; 1 contact"."""
    also = _other_lines_words([line["class"] for line in cracks["lines"]])
    if not cracks["count"]:
        return f"{also}; no other line seen" if also else no_line_words([state])
    length = f"{cracks['length_px']:.0f} px"
    if cracks["length_mm"] is not None:
        length = f"{cracks['length_mm']:.0f} mm"
    in_all = " in all" if cracks["count"] > 1 else ""
    text = f"{counted(cracks['count'], 'crack')} seen, {length}{in_all}"
    return f"{text}; {also}" if also else text


def _other_lines_words(classes: Sequence[str]) -> str:
    """Return "1 uncertain, 2 contacts" for the lines that are no cracks."""
    uncertain = classes.count("uncertain")
    parts = [f"{uncertain} uncertain"] if uncertain else []
    if contacts := classes.count("contact"):
        parts.append(counted(contacts, "contact"))
    if healed := classes.count("pattern line"):
        parts.append(healed_words(healed))
    return ", ".join(parts)


def healed_words(count: int) -> str:
    """Return "1 healed line or seam", "2 healed lines or seams": what pattern lines are."""
    return f"{counted(count, 'healed line')} or seam{_s(count)}"


def counted(count: int, noun: str) -> str:
    """Return "1 stone" or "2 stones"."""
    return f"{count} {noun}{_s(count)}"


def _s(count: int) -> str:
    """The ending of a noun of which there are so many."""
    return "" if count == 1 else "s"


def sound_words(sound: dict) -> list[str]:
    """Return what the lines leave, a line each: the largest part, room for ovals, weight."""
    parts = [percent(part["share"]) for part in sound["parts"]]
    split = f"; parts {', '.join(parts)}" if len(parts) > 1 else ""
    whole = len(parts) < 2 and round(100 * sound["largest"]["low"]) == 100
    parted = (
        f"if it parts along its lines: largest part {_range_words(sound['largest'])} of the face"
    )
    lines = ["no line seen parts it" if whole else f"{parted}{split}"]
    if not sound["clear"]:
        return lines
    rooms = [
        f"{clear['oval']} mm on {percent(clear['share'])}"
        for clear in sound["clear"]
        if clear["share"] > 0
    ]
    lines.append(
        f"room for ovals with no line seen in them: {', '.join(rooms)} of the face"
        if rooms
        else f"too small, or no room beside its lines, for an oval of {sound['clear'][0]['oval']} mm"
    )
    usable = f"parts that take the smallest oval: {_range_words(sound['usable'])} of the face"
    if sound["usable_g"]:
        low, value, high = (sound["usable_g"][key] for key in ("low", "value", "high"))
        spread = "" if high - low < 1 else f" ({low:.0f} to {high:.0f})"
        whole = f"{value:.0f} g{spread} of {sound['weight_g']:.0f} g, if evenly thick"
        usable = f"parts that take the smallest oval: {whole}"
        grams = ", ".join(f"{part['weight_g']:.0f}" for part in sound["parts"])
        usable += f"; all parts {grams} g" if len(parts) > 1 else ""
    return [*lines, usable]


def _range_words(share: dict) -> str:
    """Return "62 % (50 to 100)", the range only where there is one."""
    low, high = (round(100 * share[end]) for end in ("low", "high"))
    return percent(share["value"]) + (f" ({low} to {high})" if high > low else "")


def size_words(piece: dict) -> str:
    """Return the size class with the area, or that it is not known."""
    if piece["size_class"] is None:
        return NO_SCALE_WORDS
    size = f"{piece['size_class']} mm oval, {piece['area_cm2']:.1f} cm²"
    scale = piece.get("scale")
    if not scale or scale["low"] == scale["high"]:
        return size
    low, high = (
        piece["area_cm2"] * (scale[end] / scale["mm_per_px"]) ** 2 for end in ("low", "high")
    )
    return f"{size} ({low:.1f} to {high:.1f})"


def state_words(state: dict) -> str:
    """Return "dry", "wet", "patchy", or that it cannot be told."""
    return "wet or dry not known" if state["value"] == "unknown" else state["value"]


#: Where the scale is not known, told once of a stone.
NO_SCALE_WORDS = "not known without a scale, nor room for ovals, nor how to sell it"


def call_words(call: dict, why: str | None = None) -> str:
    """Return a person's call: "select, scene 70 by Nell, 2025-03-01", with the note; ``why`` it counts stands behind
    the name."""
    words = grade_and_scene_words(call) or ("" if call["note"] else "a name for the stone")
    if why:
        words = f"{words} by {call['by'] or UNNAMED}, {why}".lstrip()
    elif call["by"]:
        words = f"{words} by {call['by']}".lstrip()
    return ", ".join(part for part in (words, call["time"][:10], call["note"]) if part)


def grade_and_scene_words(call: dict) -> str:
    """Return "select, scene 70": grade and scene of a call, as far as it says them."""
    scene = None if call["scene"] is None else f"scene {call['scene']}"
    return ", ".join(part for part in (call["grade"], scene) if part)


def calls_words(piece: dict) -> str | None:
    """Return whose word counts, with what it is, and what the others say; ``None`` where nobody called the stone."""
    house = piece["call"]
    if house is None:
        return None
    others = [call for call in piece["calls"] if call["by"] != house["by"]]
    if not others:
        return call_words(house)
    # Another's scene is told with that other's words.
    own = house | {"scene": None} if house["scene_by"] else house
    rest = (_other_words(call, house) for call in others)
    return "; ".join((call_words(own, counts_words(piece)), *rest))


def counts_words(piece: dict) -> str | None:
    """Return why the house's word on a called stone counts; ``None`` where one person alone called it."""
    house, people = piece["call"], piece["calls"]
    if house["decided"] == "alone":
        return None
    if house["decided"] == "decider":
        return "who decides"
    return "who spoke last" if people[-1]["by"] == house["by"] else "who graded last"


def house_words(piece: dict) -> str | None:
    """Return "select by Nell, who decides; scene 70 by Ole"; ``None`` where nobody, or one person alone, called it."""
    house = piece["call"]
    if house is None or (why := counts_words(piece)) is None:
        return None
    own = house | {"scene": None} if house["scene_by"] else house
    words = f"{grade_and_scene_words(own) or 'the call'} by {house['by'] or UNNAMED}, {why}"
    return f"{words}; scene {house['scene']} by {house['scene_by']}" if house["scene_by"] else words


def _other_words(call: dict, house: dict) -> str:
    words = grade_and_scene_words(call) or "a note"
    counts = " (this scene counts)" if house["scene_by"] and call["by"] == house["scene_by"] else ""
    return f"{call['by'] or UNNAMED}: {words}{counts}"


def unsettled_words(records: Iterable[dict]) -> str | None:
    """Return on how many stones people call other grades and none decides, with what settles it; ``None`` where there
    is none. To be told once, however many photos there are."""
    count = sum(
        len({call["grade"] for call in piece["calls"] if call["grade"]}) > 1
        and piece["call"]["decided"] == "last"
        for piece in stones_once(records)
        if piece["call"]
    )
    if not count:
        return None
    stones = "1 stone" if count == 1 else f"{count} stones"
    return (
        f"people called {stones} differently, and the last call counts: "
        "set decider in grader.toml to settle it"
    )


def nearest_words(nearest: Iterable[dict]) -> str | None:
    """Return the called stones that look most like one, "of those called: tub.jpg stone 2, wet.jpg stone 1"; ``None``
    where there is none."""
    told = ", ".join(f"{one['file']} stone {one['piece']}" for one in nearest)
    return f"of those called: {told}" if told else None


def faces_words(piece: dict) -> str:
    """Return "one of 2 faces: A.jpg, B.jpg" for a stone that is a face of this piece."""
    files = [face["file"] for face in piece["faces"]]
    return f"one of {len(files)} faces: {', '.join(files)}"


def stones_once(records: Iterable[dict]) -> list[dict]:
    """Return the stones of photos; of a piece with several faces the first that is there."""
    stones, told = [], []
    for stone in (stone for record in records for stone in record["pieces"]):
        faces = stone.get("piece") and stone["piece"]["faces"]
        if faces and faces in told:
            continue
        stones.append(stone)
        told += [faces] if faces else []
    return stones


def models_words(records: Iterable[dict]) -> str | None:
    """Return "proposed by starter 52fa0e35", the models behind all proposals; ``None`` where there is none."""
    proposals = (piece["proposal"] for record in records for piece in record["pieces"])
    labels = list(dict.fromkeys(proposal["model"] for proposal in proposals if proposal))
    return f"proposed by {' and '.join(labels)}" if labels else None
