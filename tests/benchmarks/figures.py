"""From scores to rows of the figures; their files are the business of ``tables.py``."""

from collections.abc import Callable
from dataclasses import dataclass

import metrics
import numpy as np
from numpy.typing import NDArray
from score import PhotoScore, StoneScore
from tables import NO_ANSWER, Row

#: Longer side, px of the photo, under which a stone counts as small.
SMALL_PX = 120
#: Share of an absent class that is no longer a slip of a few pixels.
ABSENT_SHARE = 0.02
#: Shares of glare: of a stone that has none, of one that has much, of photos that show it.
NO_GLARE, GLARING, GLARE_BETWEEN = 0.002, 0.02, (0.02, 0.30)


@dataclass(frozen=True)
class Figure:
    """How one number is made: ``rows`` of the scores (photos or stones), ``value`` of the rows.

    compared : whether the yardstick has an answer to it.
    """

    name: str
    unit: str
    rows: Callable[[list[PhotoScore]], NDArray]
    value: Callable[[NDArray], float]
    decimals: int = 2
    floor: str = ""
    compared: bool = True


def measured(
    figure: Figure, measured_on: str, answers: dict[str, list[PhotoScore]], rng: np.random.Generator
) -> Row | None:
    """Return the row of one figure; ``None`` where nothing can be measured.

    ``answers`` holds the scores under "ours", "grey world" and "brightest tenth".
    """
    rows = figure.rows(answers["ours"])
    if not len(rows):
        return None
    by_photo = [figure.rows([photo]) for photo in answers["ours"]]
    low, high = metrics.resampled_range([r for r in by_photo if len(r)], figure.value, rng)
    others = [figure.rows(answers[name]) for name in ("grey world", "brightest tenth")]
    rows_measured = [
        _number(figure.value(r), figure.decimals) if figure.compared and len(r) else NO_ANSWER
        for r in others
    ]
    return Row(
        figure.name,
        measured_on,
        f"{len(rows)} {figure.unit}",
        _number(figure.value(rows), figure.decimals),
        f"{_number(low, figure.decimals)} to {_number(high, figure.decimals)}",
        figure.floor,
        *rows_measured,
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


def share_figure(
    name: str, of_stone: Callable[[StoneScore], tuple | None], floor: str = ""
) -> Figure:
    """Share error over the stones that give (said, true) or (said, true, lowest, highest)."""
    return stone_figure(
        name, of_stone, lambda r: metrics.share_error_points(*r.swapaxes(0, 1)), 1, floor
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
    compared: bool = True,
) -> Figure:
    """Any number made from one entry per true stone; stones without an entry are left out."""
    return Figure(
        name,
        "stones",
        lambda scores: np.array([r for r in map(of_stone, stones(scores)) if r is not None]),
        value,
        decimals,
        floor,
        compared,
    )


def stones(scores: list[PhotoScore]) -> list[StoneScore]:
    """Return every true stone of every photo."""
    return [stone for s in scores for stone in s.stones]


def only(
    belongs: Callable[[StoneScore], bool], of_stone: Callable[[StoneScore], tuple | float | None]
) -> Callable[[StoneScore], tuple | float | None]:
    """Return ``of_stone`` for the stones that belong, without an entry for the others."""
    return lambda stone: of_stone(stone) if belongs(stone) else None


def found(stone: StoneScore) -> bool:
    """Return whether the answer holds that stone."""
    return stone.outline_iou > 0


def lacks_a_class(stone: StoneScore) -> bool:
    """Return whether blue, white or host is truly absent."""
    return bool(np.any(stone.truth.shares == 0))


def glare_share(stone: StoneScore) -> float:
    """Return the true share of glare, 0 to 1."""
    return metrics.glare_shares(stone.glare)[1]


def shares(stone: StoneScore) -> tuple[NDArray, NDArray]:
    """Return (said, true), (3,) each."""
    return stone.answered, stone.truth.shares


def shares_in_bounds(stone: StoneScore) -> tuple[NDArray, ...]:
    """Return (said, true, lowest that may be true, highest), (3,) each."""
    return *shares(stone), stone.truth.low, stone.truth.high


def interval(stone: StoneScore) -> tuple | None:
    """Return (low, high, true) of a stone whose shares came with an interval."""
    return None if stone.low is None else (stone.low, stone.high, stone.truth.shares)


def both_bands(kind: str) -> Callable[[StoneScore], tuple | None]:
    """Return what gives (said, true) of "direction_deg" or "continuity" for one stone."""
    return lambda stone: getattr(stone, kind)


def coverage_figure(
    name: str, of_stone: Callable[[StoneScore], tuple | None], floor: str
) -> Figure:
    """Share of the intervals that hold the true share, of stones that give (low, high, true)."""
    return stone_figure(
        name, of_stone, lambda r: metrics.coverage(r[:, 0], r[:, 1], r[:, 2]), floor=floor
    )


def stone_figures(
    outline: str, outline_found: str, wrong: str, holds: str, width: str, share_found: str = ""
) -> list[Figure]:
    """Return what is told of the stones of any set; every argument is the floor of one of them."""
    return [
        share_figure("share error, points", shares),
        share_figure(
            "share error of the stones found, points", only(found, shares), share_found
        ),
        coverage_figure("interval of the shares holds the true share", interval, holds),
        stone_figure(
            "width of that interval, points", interval,
            lambda r: metrics.width_points(r[:, 0], r[:, 1]), decimals=1, floor=width,
        ),
        stone_figure(
            "outline IoU, missed stones count 0", lambda s: s.outline_iou, np.mean,
            decimals=3, floor=outline,
        ),
        stone_figure(
            "outline IoU of the stones found", only(found, lambda s: s.outline_iou), np.mean,
            decimals=3, floor=outline_found,
        ),
        stone_figure("stones missed", lambda s: float(not found(s)), np.sum, decimals=0),
        Figure(
            "stones invented or missed, in 100 stones", "photos", _wrong_stones,
            metrics.in_100, decimals=1, floor=wrong,
        ),
    ]  # fmt: skip


def _wrong_stones(scores: list[PhotoScore]) -> NDArray:
    """Return the (n, 2) counts, by photo, of stones invented or missed and of true stones."""
    missed = [sum(not found(stone) for stone in s.stones) for s in scores]
    return np.array([(s.invented + m, len(s.stones)) for s, m in zip(scores, missed, strict=True)])


def kind_figures() -> list[Figure]:
    """Return how shares and their intervals fare by kind, state, size and glare of the stones."""
    groups = {
        "glare": lambda s: glare_share(s) > GLARING,
        "dry": lambda s: s.truth.state == "dry",
        "small stone": lambda s: s.truth.long_side_px < SMALL_PX,
        "cab": lambda s: s.truth.kind == "cab",
        "chunk": lambda s: s.truth.kind == "chunk",
    }
    return [
        *(
            share_figure(
                f"share error of {words}, points",
                only(lambda s, kind=kind: found(s) and s.truth.kind == kind, shares), "aim ≤ 4",
            )
            for words, kind in (("rough broken faces", "chunk"), ("domed cabs", "cab"))
        ),
        *(
            coverage_figure(
                f"interval holds the true share: {name}", only(belongs, interval), "aim ≥ 0.85"
            )
            for name, belongs in groups.items()
        ),
    ]  # fmt: skip


def absent_figures() -> list[Figure]:
    """Return how often a class is said that is not there, and how many photos can tell."""
    return [
        stone_figure(
            "absent class said above 2 %, share of cases",
            only(lambda s: found(s) and lacks_a_class(s), shares),
            lambda r: metrics.absent_class_answered(r[:, 0], r[:, 1], ABSENT_SHARE),
            floor="aim ≤ 0.05",
        ),
        Figure(
            "photos with a stone that lacks a class, share",
            "photos",
            lambda scores: np.array([any(map(lacks_a_class, s.stones)) for s in scores]),
            np.mean,
            floor="aim ≥ 0.33",
            compared=False,
        ),
    ]


def glare_figures() -> list[Figure]:
    """Return how glare is seen where there is some of it, and said where there is none."""
    return [
        Figure(
            "glare IoU, photos with 2 to 30 % of it", "photos", _glaring_photos,
            metrics.glare_iou, floor="aim ≥ 0.8", compared=False,
        ),
        Figure(
            "glare share error, points", "photos", _glaring_photos,
            lambda r: metrics.share_error_points(*metrics.glare_shares(r).T), decimals=1,
            floor="aim ≤ 1", compared=False,
        ),
        stone_figure(
            "glare said on dry stones without any, above 0.2 %, share of stones",
            only(
                lambda s: found(s) and s.truth.state == "dry" and glare_share(s) < NO_GLARE,
                lambda s: metrics.glare_shares(s.glare)[0] > NO_GLARE,
            ),
            np.mean, floor="aim 0", compared=False,
        ),
    ]  # fmt: skip


def _glaring_photos(scores: list[PhotoScore]) -> NDArray:
    """Return the (n, 4) counts of glare, by photo, where its stones have some but can be read."""
    by_photo = [np.sum([stone.glare for stone in s.stones], axis=0) for s in scores if s.stones]
    counts = np.array(by_photo).reshape(-1, 4)
    true = metrics.glare_shares(counts)[:, 1]
    return counts[(true >= GLARE_BETWEEN[0]) & (true <= GLARE_BETWEEN[1])]


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
        stone_figure("bands seen, of the stones that have them", lambda s: s.bands_found, np.mean),
        stone_figure(
            "band direction, median error, degrees", both_bands("direction_deg"),
            lambda r: float(np.median(metrics.axial_error_deg(r[:, 0], r[:, 1]))), decimals=1,
        ),
        stone_figure(
            "continuity, rank correlation with the truth", both_bands("continuity"),
            lambda r: metrics.rank_correlation(r[:, 0], r[:, 1]),
        ),
    ]  # fmt: skip


def _number(value: float, decimals: int) -> str:
    return NO_ANSWER if np.isnan(value) else f"{value:.{decimals}f}"
