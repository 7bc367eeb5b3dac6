"""Why a grade is proposed and what would lift it, in plain words: written once, when a record is made."""

from collections.abc import Callable

from grader.grading.features.facts import LineFacts, Position
from grader.grading.features.rules import Condition, Features
from grader.grading.models.familiarity import OTHER_KIND
from grader.grading.proposal import LinesLeftOut, MoreOf, Reason, WhatIf

#: Blue of less chroma is pale, from the second on it is strong. CIELAB C*ab; our setting, no source.
PALE_CHROMA, STRONG_CHROMA = 14, 20
#: Zones that differ less are no pattern to an eye, CIEDE2000; the shipped rules ask as much.
SEEN_CONTRAST = 12
#: So little of a colour is not worth a number, as a share of the face.
HARDLY_ANY_SHARE = 0.005


def reason_words(reason: Reason) -> str:
    """Return "scene 86 of 100 (the stones you called: 45)": what is seen, then the yardstick."""
    yardstick = _YARDSTICKS.get(reason.subject, lambda usual: None)(reason.usual)
    if reason.subject == "room" and not _shows_pattern(reason):
        yardstick = None
    if yardstick is None:
        return _SUBJECT_WORDS[reason.subject](reason)
    whose = "the stones you called" if reason.called else "drawn stones"
    return f"{_SUBJECT_WORDS[reason.subject](reason)} ({whose}: {yardstick} on average)"


def what_if_words(what_if: WhatIf) -> str:
    """Return "to select: losing the line at the left edge; trimming there leaves 80 % of the face", which goes on from
    "would lift it"."""
    change = what_if.change
    if isinstance(change, MoreOf):
        words = _more_words(change)
    elif change.line is None:
        words = f"losing the {len(change.numbers)} lines"
    else:
        words = f"losing the line {line_position_words(change.line)}{_trimmed_words(change)}"
    return f"to {what_if.grade}: {words}"


def unfamiliar_words(why: str) -> str:
    """Return "its grain lies far from theirs": why a face is unlike the stones that a model knows.

    why : as :meth:`~grader.grading.models.familiarity.FamiliarityModel.why_unfamiliar` gives it.
    """
    if why == OTHER_KIND:
        return "it looks more like another stone or surface"
    # Grain is measured at several sizes, which stand behind its name.
    return f"its {_APPEARANCE_WORDS[why.rstrip('1248')]} lies far from theirs"


_APPEARANCE_WORDS = {
    "lightness": "lightness", "redness": "colour", "yellowness": "colour", "chroma": "depth of colour",
    "light_spread": "contrast", "red_spread": "range of colour", "yellow_spread": "range of colour",
    "hue_line": "mixture of colours", "light_line": "mixture of colours", "blue": "share of blue",
    "odd_hue": "colour", "grain": "grain", "colour_grain": "grain of colour", "one_way": "direction of edges",
    "few_edges": "edges",
}  # fmt: skip


def _share_of_usual(name: str) -> Callable[[Features], str | None]:
    return lambda usual: None if usual.get(name) is None else _percent(usual[name])


#: What a subject is held against: one number of the average stone.
_YARDSTICKS: dict[str, Callable[[Features], str | None]] = {
    "pattern": lambda usual: (
        None if usual.get("blue_share") is None else f"blue {_percent(usual['blue_share'])}"
    ),
    "colour": lambda usual: (
        None if usual.get("blue_chroma") is None else f"{usual['blue_chroma']:.0f}"
    ),
    "bands": _share_of_usual("continuity"),
    "room": _share_of_usual("pattern_room_share"),
    "scene": lambda usual: (
        None if usual.get("scene_score") is None else f"{usual['scene_score']:.0f}"
    ),
}


def condition_words(condition: Condition) -> str:
    """Return "cabbing: blue_share at least 0.6"."""
    side = "at most" if condition.at_most else "at least"
    return f"{condition.grade}: {condition.measure} {side} {condition.bound:g}"


def line_position_words(line: LineFacts) -> str:
    """Return "across the middle", or at which edge or corner the middle of a line lies."""
    words = position_words(line.position)
    return "across the middle" if words == _MIDDLE and line.is_long else words


_MIDDLE = "in the middle"


def position_words(position: Position) -> str:
    """Return "in the middle", "at the upper edge" or "at the lower left corner"."""
    words = [word for word in (position.level, position.side) if word != "middle"]
    if not words:
        return _MIDDLE
    return f"at the {' '.join(words)} {'corner' if len(words) == 2 else 'edge'}"


def _shows_pattern(reason: Reason) -> bool:
    room, contrast = (
        reason.values.get(name) or 0.0 for name in ("pattern_room_share", "pattern_contrast")
    )
    return room >= HARDLY_ANY_SHARE and contrast >= SEEN_CONTRAST


def _room_words(reason: Reason) -> str:
    pattern, colour = (
        reason.values.get(name) or 0.0 for name in ("pattern_room_share", "colour_room_share")
    )
    if _shows_pattern(reason):
        return f"room for cabs with pattern and no line seen over {_percent(pattern)} of the face"
    if colour >= HARDLY_ANY_SHARE:
        return (
            f"room for cabs in plain blue over {_percent(colour)} of the face, with pattern nowhere"
        )
    return "no room for a cab with pattern or strong colour where no line is seen"


def _pattern_words(reason: Reason) -> str:
    blue, white = (reason.values[name] or 0.0 for name in ("blue_share", "white_share"))
    if blue + white < HARDLY_ANY_SHARE:
        return "host rock alone"
    if white < HARDLY_ANY_SHARE:
        return f"blue {_percent(blue)} of the face, hardly any white"
    return f"blue {_percent(blue)} and white {_percent(white)} of the face"


def _colour_words(reason: Reason) -> str:
    chroma = reason.values["blue_chroma"]
    if chroma is None:
        return "no blue to judge the colour by"
    strength = "medium"
    if chroma < PALE_CHROMA:
        strength = "pale"
    elif chroma >= STRONG_CHROMA:
        strength = "strong"
    return f"{strength} blue, chroma {chroma:.0f}"


def _bands_words(reason: Reason) -> str:
    continuity = reason.values["continuity"]
    if continuity is None:
        return "no bands to follow"
    return f"bands run unbroken over {_percent(continuity)} of the width"


def _lines_words(reason: Reason) -> str:
    if not reason.cracks:
        return "no line seen"
    longest = reason.cracks[0]
    where = f"{line_position_words(longest)}, {longest.width_part:.1f} of the face's width"
    if len(reason.cracks) == 1:
        return f"one line seen {where}"
    return f"{len(reason.cracks)} lines seen, the longest {where}"


def _scene_words(reason: Reason) -> str:
    return f"scene {reason.values['scene_score']:.0f} of 100"


_SUBJECT_WORDS: dict[str, Callable[[Reason], str]] = {
    "pattern": _pattern_words,
    "colour": _colour_words,
    "bands": _bands_words,
    "room": _room_words,
    "lines": _lines_words,
    "scene": _scene_words,
}


def _more_words(change: MoreOf) -> str:
    needed, value = change.needed, change.value
    if change.measure == "scene_score":
        return f"a scene of {needed:.0f} instead of {value:.0f}"
    if change.measure == "blue_chroma":
        return f"a stronger blue (chroma {needed:.0f} instead of {value:.0f})"
    return f"host trimmed until pattern is {_percent(needed)} (now {_percent(value)})"


def _trimmed_words(change: LinesLeftOut) -> str:
    share, weight_g = change.line.leaves_share, change.weight_g
    if share is None:
        return ""
    if weight_g is None:
        return f"; trimming there leaves {100 * share:.0f} % of the face"
    return f"; trimming there leaves {share * weight_g:.0f} g of {weight_g:.0f} g, if evenly thick"


def _percent(share: float) -> str:
    """Whole percent, small shares too: beside other numbers of one line."""
    return f"{share:.0%}".replace("%", " %")
