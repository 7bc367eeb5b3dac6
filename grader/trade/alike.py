"""Which sold pieces are most like one, by what was measured of them."""

from collections.abc import Mapping, Sequence
from math import log, sqrt

import numpy as np

#: What pieces are compared by: names of measures, and "weight_g". Sizes and weights by their ratio.
BY = (
    "blue_share", "white_share", "host_share", "blue_chroma", "white_lightness", "continuity", "pattern_contrast",
    "scene_score", "line_density", "area_cm2", "weight_g",
)  # fmt: skip
_BY_RATIO = ("area_cm2", "weight_g")
#: What is not known of one of two counts as much as between two pieces drawn at random, in squared spreads.
_UNKNOWN = 2.0

Measured = Mapping[str, float | None]


def most_alike(own: Measured, sold: Sequence[Measured], count: int = 5) -> list[tuple[int, float]]:
    """Return the places of the pieces most like one in a list, the likest first, each with how far apart they are.

    Parameters
    ----------
    own, sold : values by the names of :data:`BY`; ``None`` or left out where unknown.

    Returns
    -------
    Distances are root mean squares over the measures, each in standard deviations among the sold ones, 0 and up.
    """
    if not sold:
        return []
    table = np.array([[_value(one, name) for name in BY] for one in sold])
    mine = np.array([_value(own, name) for name in BY])
    # With the piece itself: one sold piece alone has no spread.
    every = np.vstack([table, mine])
    known = np.isfinite(every)
    spread = np.array(
        [
            np.std(column[mask]) if mask.any() else 0
            for column, mask in zip(every.T, known.T, strict=True)
        ]
    )
    tells = spread > 0
    if not tells.any():
        return [(place, 0.0) for place in range(min(count, len(sold)))]
    apart = ((table - mine)[:, tells] / spread[tells]) ** 2
    apart[~np.isfinite(apart)] = _UNKNOWN
    far = apart.mean(axis=1)
    order = sorted(range(len(sold)), key=lambda place: (far[place], place))
    return [(place, sqrt(far[place])) for place in order[:count]]


def _value(one: Measured, name: str) -> float:
    value = one.get(name)
    if value is None:
        return np.nan
    return log(max(value, 1e-9)) if name in _BY_RATIO else float(value)
