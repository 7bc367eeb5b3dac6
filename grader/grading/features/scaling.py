"""From named features to rows of a design matrix."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.grading.features.rules import Features

#: Beyond this many spreads from the mean a feature counts no further: no single odd number carries
#: a face away.
REACH = 3.0


@dataclass(frozen=True)
class Scaling:
    """How features become columns of mean 0 and spread 1; what is not there counts as 0 of it.

    Attributes
    ----------
    names : features in order, one column each.
    mean, spread : of the training faces (standard deviation).
    """

    names: tuple[str, ...]
    mean: tuple[float, ...]
    spread: tuple[float, ...]

    def design(self, rows: Sequence[Features]) -> NDArray[np.float64]:
        """Return the (n, columns) design matrix of n faces."""
        scaled = (filled_table(rows, self.names) - self.mean) / self.spread
        return np.clip(scaled, -REACH, REACH)


def fit_scaling(rows: Sequence[Features], names: Sequence[str]) -> Scaling:
    """Return the scaling of these training faces; its numbers are rounded so they rebuild alike."""
    values = filled_table(rows, names)
    spread = values.std(axis=0)
    spread[spread < 1e-6] = 1.0
    return Scaling(tuple(names), rounded(values.mean(axis=0)), rounded(spread))


def rounded(values: NDArray) -> tuple[float, ...]:
    """Return (n,) numbers as floats of six places."""
    return tuple(round(float(value), 6) for value in values)


def filled_table(rows: Sequence[Features], names: Sequence[str]) -> NDArray[np.float64]:
    """Return the (n, columns) features, 0 where one is not known."""
    values = [[row.get(name) or 0.0 for name in names] for row in rows]
    return np.array(values, dtype=float).reshape(len(rows), len(names))
