"""Every measure declared once: name, unit, range, meaning.

The name is the same in the core, in results, in the columns of ``results.csv`` and on the page;
tests hold each of those against this table.
"""

from dataclasses import dataclass

#: Raised by whoever changes what any measurement returns; models of another version are refused.
MEASUREMENT_VERSION = 7

#: Codes in a regions layer that are not colour classes.
BACKGROUND, UNREADABLE = 0, 9


@dataclass(frozen=True)
class Measure:
    """One measured quantity.

    Attributes
    ----------
    name : as used everywhere.
    unit : "share" (0 to 1), "px", "mm", "cm2", "deg", "Lab", "count", "score", "mm/cm2", "" for a ratio.
    low, high : range in that unit; ``None`` is unbounded.
    meaning : one line for people.
    """

    name: str
    unit: str
    low: float | None
    high: float | None
    meaning: str


@dataclass(frozen=True)
class Interval:
    """A number, and the interval within which it lies: low <= value <= high; ``None`` where it is not defined."""

    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Remark:
    """A fact about a photo or a piece that a person should know: a stable code and one plain line."""

    code: str
    text: str


MEASURES: dict[str, Measure] = {
    m.name: m
    for m in (
        Measure("blue_share", "share", 0, 1, "blue, of the readable face"),
        Measure("white_share", "share", 0, 1, "white, of the readable face"),
        Measure("host_share", "share", 0, 1, "host rock, of the readable face"),
        Measure("rusty_share", "share", 0, 1, "rusty host rock, of the readable face"),
        Measure("grey_share", "share", 0, 1, "fresh grey host rock, of the readable face"),
        Measure("glare_share", "share", 0, 1, "unreadable for glare, of the whole face"),
        Measure("blue_chroma", "Lab", 0, None, "median C*ab of the blue"),
        Measure("white_lightness", "Lab", 0, 100, "median L* of the white"),
        Measure("band_contrast", "Lab", 0, None, "CIEDE2000 between the blue and the white"),
        Measure(
            "continuity",
            "share",
            0,
            1,
            "mean unbroken run of the band middle lines / face width in band direction",
        ),
        Measure("fill_share", "share", 0, 1, "banded length present / chord"),
        Measure("bands", "count", 0, None, "bands crossed by a line square to them"),
        Measure(
            "direction_deg", "deg", 0, 180, "direction of the bands, 0 level, counter-clockwise"
        ),
        Measure(
            "thickness_px",
            "px",
            0,
            None,
            "mean band thickness along the runs, px of the full-size photo",
        ),
        Measure("thickness_mm", "mm", 0, None, "mean band thickness along the runs"),
        Measure(
            "thickness_spread_px",
            "px",
            0,
            None,
            "standard deviation of the band thickness along the runs, px of the full-size photo",
        ),
        Measure(
            "thickness_spread_mm",
            "mm",
            0,
            None,
            "standard deviation of the band thickness along the runs",
        ),
        Measure(
            "direction_spread_deg",
            "deg",
            0,
            None,
            "axial standard deviation of the direction along the runs",
        ),
        Measure(
            "border_width_px",
            "px",
            0,
            None,
            "width over which the colour goes from 10 to 90 % from blue to white, px of the full-size photo",
        ),
        Measure(
            "border_width_mm",
            "mm",
            0,
            None,
            "width over which the colour goes from 10 to 90 % from blue to white",
        ),
        Measure(
            "waviness",
            "",
            0,
            None,
            "departure of the borders from their own course (root mean square) / band thickness",
        ),
        Measure(
            "offsets",
            "count",
            0,
            None,
            "bands offset by faults, by 35 % of their thickness or more",
        ),
        Measure(
            "throw_px", "px", 0, None, "median throw of the offsets, px of the full-size photo"
        ),
        Measure("throw_mm", "mm", 0, None, "median throw of the offsets"),
        Measure("crack_count", "count", 0, None, "lines of class crack"),
        Measure(
            "crack_length_px",
            "px",
            0,
            None,
            "length of the lines of class crack, px of the full-size photo",
        ),
        Measure("crack_length_mm", "mm", 0, None, "length of the lines of class crack"),
        Measure(
            "crack_density",
            "",
            0,
            None,
            "length of the lines of class crack / square root of the face's area",
        ),
        Measure(
            "crack_mm_per_cm2", "mm/cm2", 0, None, "length of the lines of class crack / area (P21)"
        ),
        Measure(
            "sound_share", "share", 0, 1, "expected share of the largest part that lines leave"
        ),
        Measure(
            "usable_share",
            "share",
            0,
            1,
            "expected share of the parts that take the smallest oval with no line seen in it",
        ),
        Measure(
            "clear_share",
            "share",
            0,
            1,
            "face that the smallest oval can cover with no line seen in it",
        ),
        Measure("area_cm2", "cm2", 0, None, "area inside the outline"),
        Measure("scene_score", "score", 0, 100, "how much of a landscape the face holds"),
    )
}
