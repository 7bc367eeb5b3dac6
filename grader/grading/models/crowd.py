"""Makes of simulated sellers: how each comes from what is true of a face to the grades that he calls.

A seller of the real world weighs looks, or goes by the poorest of them, by one alone, by one and then another, by
demands in turn, or never takes what he cannot stand. Nobody knows how many do what: each make has as many in the crowd.
"""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from grader.grading.features.features import FEATURES
from grader.grading.features.rules import Features
from grader.grading.features.scaling import fit_scaling
from grader.grading.models.ordinal import grade_probabilities

#: What sellers judge by, and how much of their weight lies there in the mean, in parts: what the trade speaks of
#: most (common practice, no source), and what a seller of his own mind may add.
CRITERIA = {
    "blue_share": 4.0, "scene_score": 4.0, "crack_density": 3.0, "host_share": 3.0, "blue_chroma": 1.5,
    "continuity": 0.3, "band_contrast": 0.3, "white_share": 0.3, "crack_count": 0.3, "rusty_share": 0.3,
    "fill_share": 0.3,
}  # fmt: skip

#: Of those, what a seller of bands looks at.
BANDS = ("continuity", "band_contrast", "fill_share", "blue_chroma")

#: How evenly a seller's weight is spread (Dirichlet: the smaller, the more often on few criteria alone).
EVENNESS = 0.5

#: How even the shares of the grades are (Dirichlet: the larger, the more even), and the least and greatest share of
#: stones in which a seller repeats himself.
SHARES, REPEATS = 8.0, (0.55, 0.9)

#: Beyond this many spreads nobody tells a poor look from a poorer one.
REACH = 2.0

_WEIGHTS = np.array(list(CRITERIA.values()))
_SPOKEN_OF = _WEIGHTS / _WEIGHTS.sum()
_OPEN = np.array([FEATURES[name].monotone_sign == 0 for name in CRITERIA])
_AT = {name: place for place, name in enumerate(CRITERIA)}


def chances_of_makes(
    true: Sequence[Features],
    n_grades: int,
    rng: np.random.Generator,
    each: int,
    makes: Sequence[str],
) -> NDArray[np.float64]:
    """Return (M, n, K): the chances with which each of the crowd calls n faces of which all is known.

    each : sellers of each make.   makes : of :data:`MAKES`.
    """
    looks = np.clip(fit_scaling(true, tuple(CRITERIA)).design(true), -REACH, REACH)
    looks *= [FEATURES[name].monotone_sign or 1 for name in CRITERIA]
    rules = np.array([face["rules_grade"] for face in true])
    return np.array(
        [
            _chances(_apart(MAKES[make](looks, rules, rng), rng), n_grades, rng)
            for make in makes
            for _ in range(each)
        ]
    )


def _chances(value: NDArray, n_grades: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """The (n, K) chances of one who cuts his values into shares of grades of his own."""
    cuts = np.quantile(value, np.cumsum(rng.dirichlet(np.full(n_grades, SHARES)))[:-1])
    return _wavering(value, cuts, rng.uniform(*REPEATS))


def _wavering(value: NDArray, cuts: NDArray, repeats: float) -> NDArray[np.float64]:
    """Chances of the grades where a seller wavers so much that he repeats himself in that share of the faces."""
    low, high = 0.0, 5.0 * float(value.std())
    for _ in range(30):
        wavers = 0.5 * (low + high)
        chances = grade_probabilities(value / wavers, cuts / wavers)
        often = float((chances**2).sum(axis=1).mean())
        low, high = (wavers, high) if often > repeats else (low, wavers)
    return chances


def _weighs(looks: NDArray, rules: NDArray, rng: np.random.Generator) -> NDArray:
    """All that the trade speaks of, each as much as he likes."""
    return looks @ (rng.dirichlet(EVENNESS * _WEIGHTS) * _signs(rng))


def _own_mind(looks: NDArray, rules: NDArray, rng: np.random.Generator) -> NDArray:
    """Whatever can be looked at, whether the trade speaks of it or not."""
    return looks @ (rng.dirichlet(np.full(len(_WEIGHTS), 0.6)) * _signs(rng))


def _leans_to_rules(looks: NDArray, rules: NDArray, rng: np.random.Generator) -> NDArray:
    """The written rules, more or less."""
    lean = rng.random()
    return (1 - lean) * _spread_1(_weighs(looks, rules, rng)) + lean * _spread_1(rules)


def _poorest(looks: NDArray, rules: NDArray, rng: np.random.Generator) -> NDArray:
    """The poorest of a few looks, each moved by how much he asks of it; the rest says a little."""
    at = _some(rng, rng.integers(2, 5))
    poorest = (looks[:, at] - rng.normal(0, 0.4, len(at))).min(axis=1)
    lean = rng.uniform(0.4, 1)
    return lean * _spread_1(poorest) + (1 - lean) * _spread_1(_weighs(looks, rules, rng))


def _one_look(looks: NDArray, rules: NDArray, rng: np.random.Generator) -> NDArray:
    """One look alone, as likely one as the other; some like land."""
    at = rng.integers(len(_WEIGHTS))
    likes_land = at == _AT["host_share"] and rng.random() < 0.4
    return looks[:, at] * (-1 if likes_land else _signs(rng)[at])


def _one_then_another(looks: NDArray, rules: NDArray, rng: np.random.Generator) -> NDArray:
    """A few steps of one look; within a step another one decides (lexicographic)."""
    first, second = (looks * _signs(rng))[:, _some(rng, 2)].T
    steps = rng.normal(0, 0.7, rng.integers(1, 4))
    return rng.uniform(1, 3) * (first[:, None] > steps).sum(axis=1) + 0.5 * second


def _thresholds(looks: NDArray, rules: NDArray, rng: np.random.Generator) -> NDArray:
    """So many demands as are met, one after the other or whichever."""
    asked = (looks * _signs(rng))[:, _some(rng, rng.integers(2, 6))]
    met = asked > rng.normal(-0.2, 0.5, asked.shape[1])
    in_turn = rng.random() < 0.5
    count = np.cumprod(met, axis=1).sum(axis=1) if in_turn else met.sum(axis=1)
    return count + rng.uniform(0, 0.6) * _spread_1(_weighs(looks, rules, rng))


def _never(looks: NDArray, rules: NDArray, rng: np.random.Generator) -> NDArray:
    """Weighs, but too much host, or too little of something else, is for nothing."""
    at = _AT["host_share"] if rng.random() < 0.6 else _some(rng, 1)[0]
    for_nothing = looks[:, at] < rng.normal(-0.3, 0.5)
    return _spread_1(_weighs(looks, rules, rng)) - rng.uniform(2, 5) * for_nothing


def _bands(looks: NDArray, rules: NDArray, rng: np.random.Generator) -> NDArray:
    """Bands alone: how they run, stand out and fill the face."""
    return looks[:, [_AT[name] for name in BANDS]] @ rng.dirichlet([1, 1, 1, 0.3])


#: (n, criteria) looks and (n,) places by the rules to (n,) inner values, higher is better.
Make = Callable[[NDArray, NDArray, np.random.Generator], NDArray]

MAKES: dict[str, Make] = {
    "weighs": _weighs, "own mind": _own_mind, "rules": _leans_to_rules, "poorest": _poorest, "one look": _one_look,
    "one then another": _one_then_another, "thresholds": _thresholds, "never host": _never, "wide bands": _bands,
}  # fmt: skip


def _signs(rng: np.random.Generator) -> NDArray:
    """Of what may be liked or not, which way he sees it."""
    return np.where(_OPEN, rng.choice([-1, 1], len(_WEIGHTS)), 1)


def _some(rng: np.random.Generator, count: int) -> NDArray[np.intp]:
    """So many criteria, what the trade speaks of most the likeliest."""
    return rng.choice(len(_WEIGHTS), count, replace=False, p=_SPOKEN_OF)


def _apart(values: NDArray, rng: np.random.Generator) -> NDArray:
    """No two stones quite alike, so that cuts fall between them: who sees no difference draws lots."""
    return _spread_1(values + 1e-6 * rng.normal(size=len(values)))


def _spread_1(values: NDArray) -> NDArray:
    return (values - values.mean()) / max(float(values.std()), 1e-9)
