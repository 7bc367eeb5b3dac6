"""Gradient-boosted trees for grades in order: for each border of the ladder one model of the chance to lie above it.

The split of a ladder into "better than k" follows Frank & Hall 2001, ECML, doi 10.1007/3-540-44795-4_13 (from memory).
scikit-learn grows the trees; what is kept are plain numbers, and numpy alone reads them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from grader.grading.features.rules import Features
from grader.grading.models.ordinal import grade_probabilities, log_odds

#: Small trees, few of them: a seller has some hundred calls. Found on simulated sellers of ours.
GROW = {
    "max_iter": 60, "learning_rate": 0.1, "max_leaf_nodes": 6, "min_samples_leaf": 8,
    "l2_regularization": 2.0, "early_stopping": False, "random_state": 0,
}  # fmt: skip

#: Half a face is added on both sides of every border: no chance is ever 0 or 1 for want of faces.
HALF = 0.5


@dataclass(frozen=True)
class Tree:
    """One tree as columns, node 0 its root.

    feature : column asked at each node, -1 at a leaf.   at_most : the left branch takes values up to this.
    unknown_left : whether an unknown value goes left.   left, right : node numbers.   value : of a leaf, in log-odds.
    """

    feature: tuple[int, ...]
    at_most: tuple[float, ...]
    unknown_left: tuple[bool, ...]
    left: tuple[int, ...]
    right: tuple[int, ...]
    value: tuple[float, ...]


@dataclass(frozen=True)
class Boosted:
    """Trees whose values add up, from ``base``, to the log-odds of lying above one border."""

    base: float
    trees: tuple[Tree, ...]

    def log_odds(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the (n,) log-odds of n faces."""
        if not self.trees:
            return np.full(len(x), self.base)
        nodes = self._nodes
        at, rows = np.tile(nodes.roots[:, None], len(x)), np.arange(len(x))
        for _ in range(nodes.depth):
            value = x[rows, nodes.feature[at]]
            goes_left = (value <= nodes.at_most[at]) | (np.isnan(value) & nodes.unknown_left[at])
            at = np.where(goes_left, nodes.left[at], nodes.right[at])
        # One tree after the other, so that a face's odds do not hang on how many others are asked about.
        return self.base + np.cumsum(nodes.value[at], axis=0)[-1]

    @cached_property
    def _nodes(self) -> "_Nodes":
        return _Nodes.of(self.trees)


@dataclass(frozen=True)
class Trees:
    """One boosted model for each of the K - 1 borders, lowest first, on features of these names."""

    names: tuple[str, ...]
    borders: tuple[Boosted, ...]

    def log_odds(self, rows: Sequence[Features]) -> NDArray[np.float64]:
        """Return (n, K - 1) log-odds of lying above each border; where those of a border exceed those of a lower one,
        the lower ones hold."""
        x = table(rows, self.names)
        odds = np.stack([border.log_odds(x) for border in self.borders], axis=1)
        return np.minimum.accumulate(odds, axis=1)

    def probabilities(self, rows: Sequence[Features]) -> NDArray[np.float64]:
        """Return (n, K) probabilities, lowest grade first."""
        return grade_probabilities(0.0, -self.log_odds(rows))

    def times(self, factor: float) -> "Trees":
        """Return the trees with all log-odds that many times as large."""
        borders = []
        for border in self.borders:
            grown = tuple(
                replace(tree, value=tuple(factor * value for value in tree.value))
                for tree in border.trees
            )
            borders.append(Boosted(factor * border.base, grown))
        return Trees(self.names, tuple(borders))


@dataclass(frozen=True)
class _Nodes:
    """The nodes of many trees in one row of columns, as of :class:`Tree`; a leaf leads to itself, so that all trees can
    be gone down together, ``depth`` steps."""

    roots: NDArray[np.intp]
    feature: NDArray[np.intp]
    at_most: NDArray[np.float64]
    unknown_left: NDArray[np.bool_]
    left: NDArray[np.intp]
    right: NDArray[np.intp]
    value: NDArray[np.float64]
    depth: int

    @classmethod
    def of(cls, trees: Sequence[Tree]) -> "_Nodes":
        sizes = [len(tree.feature) for tree in trees]
        roots = np.cumsum([0, *sizes[:-1]])
        joined = {f.name: np.concatenate([getattr(t, f.name) for t in trees]) for f in fields(Tree)}
        here, leaf = np.arange(sum(sizes)), joined["feature"] < 0
        for side in ("left", "right"):
            joined[side] = np.where(leaf, here, joined[side] + np.repeat(roots, sizes))
        joined["feature"] = np.where(leaf, 0, joined["feature"])
        joined["unknown_left"] = joined["unknown_left"].astype(bool)
        return cls(roots, **joined, depth=max(_depth(tree) for tree in trees))


def _depth(tree: Tree) -> int:
    """How many questions the longest way through a tree asks; a node leads only to later ones."""
    below = [0] * len(tree.feature)
    for node in reversed(range(len(tree.feature))):
        if tree.feature[node] >= 0:
            below[node] = 1 + max(below[tree.left[node]], below[tree.right[node]])
    return below[0]


def table(rows: Sequence[Features], names: Sequence[str]) -> NDArray[np.float64]:
    """Return the (n, columns) features, nan where one is not known."""
    values = [[np.nan if row.get(name) is None else row[name] for name in names] for row in rows]
    return np.array(values, dtype=float).reshape(len(rows), len(names))


def fit_trees(
    rows: Sequence[Features],
    rung: NDArray[np.intp],
    n_grades: int,
    names: Sequence[str],
    monotone_signs: Sequence[int],
) -> Trees:
    """Return trees grown on n graded faces.

    Parameters
    ----------
    rung : ndarray of shape (n,), int, 0 the lowest grade to ``n_grades`` - 1.
    monotone_signs : +1, -1 or 0 for each name: the direction from which the chances must not turn.
    """
    x, rung = table(rows, names), np.asarray(rung)
    borders = [_grow(x, rung > k, monotone_signs) for k in range(n_grades - 1)]
    return Trees(tuple(names), tuple(borders))


def _grow(x: NDArray, above: NDArray[np.bool_], monotone_signs: Sequence[int]) -> Boosted:
    from sklearn.ensemble import HistGradientBoostingClassifier

    if above.all() or not above.any():
        share = (above.sum() + HALF) / (len(above) + 2 * HALF)
        return Boosted(float(log_odds(share)), ())
    grown = HistGradientBoostingClassifier(monotonic_cst=list(monotone_signs), **GROW).fit(x, above)
    # Private attributes hold the fitted numbers, so pyproject bounds scikit-learn from above: `_baseline_prediction`,
    # `_predictors` and, of each step's tree, the fields of `nodes` that `_kept` reads. A test holds this reading to
    # scikit-learn's own.
    base = float(np.ravel(grown._baseline_prediction)[0])
    return Boosted(base, _kept([step[0].nodes for step in grown._predictors]))


def _kept(grown: Sequence[NDArray]) -> tuple[Tree, ...]:
    """The trees as columns; those of all trees at once, for each of them is small."""
    nodes = np.concatenate(grown)
    leaf = nodes["is_leaf"].astype(bool)
    asked = np.where(leaf, -1, nodes["feature_idx"].astype(int))
    # A split into known and unknown has an infinite threshold there, which JSON cannot hold.
    threshold = np.minimum(nodes["num_threshold"], np.finfo(float).max)
    columns = [
        asked.tolist(),
        np.where(leaf, 0.0, threshold).tolist(),
        nodes["missing_go_to_left"].astype(bool).tolist(),
        np.where(leaf, 0, nodes["left"]).tolist(),
        np.where(leaf, 0, nodes["right"]).tolist(),
        np.where(leaf, nodes["value"], 0.0).tolist(),
    ]
    ends = np.cumsum([len(tree) for tree in grown]).tolist()
    return tuple(
        Tree(*(tuple(column[start:end]) for column in columns))
        for start, end in zip([0, *ends], ends, strict=False)
    )
