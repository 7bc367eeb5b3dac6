"""From scores to the rows of one table, and the table's file.

A row that a run did not measure stays in the file as it was, with its own date and machine.
"""

import datetime
import os
import platform
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import metrics
import numpy as np
from numpy.typing import NDArray
from score import PhotoScore, StoneScore

COLUMNS = (
    "figure",
    "measured on",
    "n",
    "ours",
    "95 % range",
    "floor",
    "yardstick",
    "white from the brightest tenth",
    "date",
    "machine",
)
LIBRARIES = ("numpy", "opencv-python-headless", "scikit-learn")
TITLE = (
    "# Figures\n\nWritten by `python tests/benchmarks/bench.py --write`; "
    "what they mean: [README](README.md).\n"
)
NO_ANSWER = "–"


@dataclass(frozen=True)
class Row:
    """One figure; every entry as it is printed."""

    figure: str
    measured_on: str
    n: str
    ours: str
    range95: str = NO_ANSWER
    floor: str = ""
    yardstick: str = NO_ANSWER
    yardstick_bright: str = NO_ANSWER

    def cells(self) -> list[str]:
        """Return the entries in the order of the columns, with today's date and this machine."""
        return [*vars(self).values(), datetime.date.today().isoformat(), machine()]


@dataclass(frozen=True)
class Figure:
    """How one number is made: ``rows`` of the scores (photos or stones), ``value`` of the rows."""

    name: str
    unit: str
    rows: Callable[[list[PhotoScore]], NDArray]
    value: Callable[[NDArray], float]
    decimals: int = 2
    floor: str = ""


def machine() -> str:
    """Return cores, Python and library versions; nothing that names the machine."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    python = platform.python_version()
    return f"{os.cpu_count()} cores, {platform.machine()}, Python {python}, {libraries}"


def measured(
    figure: Figure, measured_on: str, answers: dict[str, list[PhotoScore]], rng: np.random.Generator
) -> Row | None:
    """Return the row of one figure; ``None`` where nothing can be measured.

    ``answers`` holds the scores under "ours", "grey world" and "brightest tenth".
    """
    rows = figure.rows(answers["ours"])
    if not len(rows):
        return None
    low, high = metrics.resampled_range(rows, figure.value, rng)
    others = [figure.rows(answers[name]) for name in ("grey world", "brightest tenth")]
    told = [_number(figure.value(r), figure.decimals) if len(r) else NO_ANSWER for r in others]
    return Row(
        figure.name,
        measured_on,
        f"{len(rows)} {figure.unit}",
        _number(figure.value(rows), figure.decimals),
        f"{_number(low, figure.decimals)} to {_number(high, figure.decimals)}",
        figure.floor,
        *told,
    )


def region_figure(name: str, counts: str = "regions", floor: str = "") -> Figure:
    """Region IoU from that kind of counts."""
    return Figure(
        name,
        "photos",
        lambda scores: np.array([getattr(s, counts) for s in scores]),
        metrics.region_iou,
        floor=floor,
    )


def share_figure(name: str, bounds: bool = False) -> Figure:
    """Share error over all true stones, plain or beyond the bounds of what is true."""

    def rows(scores: list[PhotoScore]) -> NDArray:
        return np.array(
            [
                (s.said, s.true, *((s.true_low, s.true_high) if bounds else (s.true, s.true)))
                for s in stones(scores)
            ]
        )

    return Figure(
        name,
        "stones",
        rows,
        lambda r: metrics.share_error_points(r[:, 0], r[:, 1], r[:, 2], r[:, 3]),
        decimals=1,
    )


def crack_figure(name: str, tolerance_px: int, part: int, floor: str = "", every: bool = False):
    """Precision, recall or F1 (``part`` 0, 1, 2), of photos with a crack or of every photo."""
    return Figure(
        name,
        "photos",
        lambda scores: np.array([s.lines[tolerance_px] for s in scores if every or s.has_cracks]),
        lambda r: metrics.precision_recall_f1(r)[part],
        floor=floor,
    )


def stone_figure(
    name: str,
    of_stone: Callable[[StoneScore], tuple | float | bool | None],
    value: Callable[[NDArray], float],
    decimals: int = 2,
    floor: str = "",
) -> Figure:
    """Any number made from one entry per true stone; stones without an entry are left out."""
    return Figure(
        name,
        "stones",
        lambda scores: np.array([r for r in map(of_stone, stones(scores)) if r is not None]),
        value,
        decimals,
        floor,
    )


def stones(scores: list[PhotoScore]) -> list[StoneScore]:
    """Return every true stone of every photo."""
    return [stone for s in scores for stone in s.stones]


def interval(stone: StoneScore) -> tuple | None:
    """Return (low, high, true) of a stone whose shares came with an interval."""
    return None if stone.low is None else (stone.low, stone.high, stone.true)


def both_bands(kind: str) -> Callable[[StoneScore], tuple | None]:
    """Return what gives (said, true) of "direction_deg" or "continuity" for one stone."""
    return lambda stone: getattr(stone, kind)


def stone_figures(outline_floor: str) -> list[Figure]:
    """Return what is told of the stones of any set."""
    return [
        share_figure("share error, points"),
        stone_figure(
            "interval of the shares holds the true share", interval,
            lambda r: metrics.coverage(r[:, 0], r[:, 1], r[:, 2]),
        ),
        stone_figure(
            "width of that interval, points", interval,
            lambda r: metrics.width_points(r[:, 0], r[:, 1]), decimals=1,
        ),
        stone_figure(
            "outline IoU, missed stones count 0", lambda s: s.outline_iou, np.mean,
            decimals=3, floor=outline_floor,
        ),
        stone_figure("stones missed", lambda s: float(s.outline_iou == 0), np.sum, decimals=0),
    ]  # fmt: skip


def invented_figure(floor: str = "") -> Figure:
    """Stones said beyond the true ones, for every 40 photos."""
    return Figure(
        "stones invented, in 40 photos",
        "photos",
        lambda scores: np.array([s.invented for s in scores]),
        lambda r: 40 * float(np.mean(r)),
        decimals=1,
        floor=floor,
    )


def band_figures() -> list[Figure]:
    """Return how many bands are seen; of the rest, where both answer and truth have them."""
    return [
        stone_figure("bands seen, of the stones that have them", lambda s: s.bands_seen, np.mean),
        stone_figure(
            "band direction, median error, degrees", both_bands("direction_deg"),
            lambda r: float(np.median(metrics.axial_error_deg(r[:, 0], r[:, 1]))), decimals=1,
        ),
        stone_figure(
            "continuity, rank correlation with the truth", both_bands("continuity"),
            lambda r: metrics.rank_correlation(r[:, 0], r[:, 1]),
        ),
    ]  # fmt: skip


def as_table(rows: list[list[str]]) -> str:
    """Return the table in Markdown."""
    lines = [COLUMNS, ["---"] * len(COLUMNS), *rows]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines) + "\n"


def write_table(path: Path, rows: list[list[str]]) -> None:
    """Write the table; rows that this run did not measure stay."""
    fresh = {tuple(row[:2]) for row in rows}
    kept = [row for row in read_table(path) if tuple(row[:2]) not in fresh]
    path.write_text(TITLE + "\n" + as_table(rows + kept), "utf-8")


def read_table(path: Path) -> list[list[str]]:
    """Return the rows of a table written earlier; none where there is no file."""
    lines = path.read_text("utf-8").splitlines() if path.exists() else []
    rows = [[c.strip() for c in ln.strip("|").split("|")] for ln in lines if ln.startswith("|")]
    return [row for row in rows[2:] if len(row) == len(COLUMNS)]


def _number(value: float, decimals: int) -> str:
    return NO_ANSWER if np.isnan(value) else f"{value:.{decimals}f}"
