"""From named features to rows of a design matrix, and back to names."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.grading.rules import NEEDS_SCALE, Features

#: Beyond this many spreads from the mean a feature counts no further: no single odd number carries
#: a face away.
REACH = 3.0

#: A feature missing in at least this share of the training faces (and not in all) is told to the
#: model as such.
MISSING_SHARE = 0.03


@dataclass(frozen=True)
class Scaling:
    """How features become columns: missing ones filled, standardised, then one column per feature
    that is told when missing.

    Attributes
    ----------
    names : features in order.
    fill : value of a missing feature.
    mean, spread : of the known training values (standard deviation).
    told_missing : features with a column of their own that is 1 where the feature is missing.
    """

    names: tuple[str, ...]
    fill: tuple[float, ...]
    mean: tuple[float, ...]
    spread: tuple[float, ...]
    told_missing: tuple[str, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns of :meth:`design`."""
        return (*self.names, *(f"{name} missing" for name in self.told_missing))

    def design(self, rows: Sequence[Features]) -> NDArray[np.float64]:
        """Return the (n, columns) design matrix of n faces."""
        values = _table(rows, self.names)
        missing = np.isnan(values)
        filled = np.where(missing, self.fill, values)
        scaled = np.clip((filled - self.mean) / self.spread, -REACH, REACH)
        flags = missing[:, [self.names.index(name) for name in self.told_missing]]
        return np.hstack([scaled, flags.astype(float)])

    def means(self) -> dict[str, float]:
        """Return the training mean of each feature."""
        return dict(zip(self.names, self.mean, strict=True))


def fit_scaling(rows: Sequence[Features], names: Sequence[str]) -> Scaling:
    """Return the scaling of these training faces, its numbers rounded so that they rebuild alike.

    What is missing because there is nothing there counts as 0 of it; what is missing for want of a
    scale counts as the training median. Mean and spread are those of the known values.
    """
    values = _table(rows, names)
    missing = np.isnan(values)
    fill, mean, spread = np.zeros(len(names)), np.zeros(len(names)), np.ones(len(names))
    for column in np.flatnonzero(~missing.all(axis=0)):
        known = values[~missing[:, column], column]
        fill[column] = np.median(known) if names[column] in NEEDS_SCALE else 0.0
        mean[column] = known.mean()
        spread[column] = max(known.std(), 1e-6) if np.ptp(known) > 0 else 1.0
    share = missing.mean(axis=0)
    told = [n for n, s in zip(names, share, strict=True) if MISSING_SHARE <= s <= 1 - MISSING_SHARE]
    return Scaling(tuple(names), rounded(fill), rounded(mean), rounded(spread), tuple(told))


def rounded(values: NDArray) -> tuple[float, ...]:
    """Return the numbers as floats of six places."""
    return tuple(round(float(value), 6) for value in values)


def _table(rows: Sequence[Features], names: Sequence[str]) -> NDArray[np.float64]:
    values = [[np.nan if row.get(name) is None else row[name] for name in names] for row in rows]
    return np.array(values, dtype=float).reshape(len(rows), len(names))
