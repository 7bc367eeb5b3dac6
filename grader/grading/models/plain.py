"""Plain weights: proportional odds on a few named measures that know neither the starter nor any simulated seller.

A seller of a mind that nobody thought of is followed by these. Each measure speaks by pieces, so that "enough of it"
and "far too little" may weigh otherwise than what lies between.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from grader.grading.features.features import FEATURES
from grader.grading.models.ordinal import Ordinal, fit_ordinal

#: What is weighed, and what of it a seller may like or dislike: some look for land.
PLAIN = (
    "blue_share", "white_share", "pattern_share", "blue_chroma", "band_contrast", "continuity", "line_density",
    "scene_score",
)  # fmt: skip
EITHER_WAY = ("blue_share", "white_share", "pattern_share")

#: A measure's middle piece reaches so far from its mean, in spreads; how strongly weights are drawn to 0.
MIDDLE, STRENGTH = 0.5, 0.7

#: How strongly cuts are drawn to those that give the grades the seller's own shares.
CUT_STRENGTH = 0.05


#: What a measure's four columns are called.
PIECES = ("whole", "low", "middle", "high")


def plain_columns(names: Sequence[str]) -> tuple[str, ...]:
    """Return the names of the columns of :func:`plain_design`, as "blue_share low"."""
    return tuple(f"{name} {piece}" for piece in PIECES for name in _present(names))


def plain_design(names: Sequence[str], x: NDArray) -> NDArray[np.float64]:
    """Return (n, 4 P) columns of n faces: each plain measure whole, then its low, middle and high piece.

    names : of the columns of ``x``, (n, p), a design matrix; plain measures that are not there are left out.
    """
    z = x[:, [names.index(name) for name in _present(names)]]
    low, high = np.minimum(z + MIDDLE, 0.0), np.maximum(z - MIDDLE, 0.0)
    return np.hstack([z, low, np.clip(z, -MIDDLE, MIDDLE), high])


def fit_plain(
    names: Sequence[str], x: NDArray, rung: NDArray[np.intp], n_grades: int, before: Ordinal | None
) -> Ordinal:
    """Return odds on :func:`plain_design` of n called faces.

    before : odds learned from other calls, which these are drawn to; else weights of 0, and the called shares.
    """
    signs = [0 if name in EITHER_WAY else FEATURES[name].monotone_sign for name in _present(names)]
    return fit_ordinal(
        plain_design(names, x), rung, n_grades, prior=before, strength=STRENGTH, cut_strength=CUT_STRENGTH,
        monotone_signs=len(PIECES) * signs,
    )  # fmt: skip


def _present(names: Sequence[str]) -> list[str]:
    return [name for name in PLAIN if name in names]
