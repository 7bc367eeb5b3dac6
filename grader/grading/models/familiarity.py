"""Whether a face looks like the stones that a model knows: by colours and roughness, without naming regions.

Two limits, both set so that few rendered stones pass them: how far a face lies from rendered stones (Mahalanobis 1936),
and how much nearer it lies to what is none of them, stones of other kinds, walls and floors, than to them: the ratio of
the distances to the nearest few, as densities are compared by nearest neighbours (Loftsgaarden & Quesenberry 1965).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.grading.features.scaling import rounded

#: Longer side of the small picture of which the appearance is taken, px.
APPEARANCE_PX = 160

#: Finer and finer grain: blurs, px of the small picture, between which the grain's strength is taken.
LIGHT_GRAIN_PX, COLOUR_GRAIN_PX = (1, 2, 4, 8), (1, 4)

#: Beyond this many spreads a number counts no further.
REACH = 5.0

#: Share of rendered stones of photos held out that may pass each limit, and in how many parts they are held out.
OTHER_SHARE, FAR_SHARE, FOLDS = 0.03, 0.015, 5

#: Share of rendered stones that are "like" another one.
OWN_SHARE = 0.9

#: So many nearest ones are asked; the covariance's ridge.
NEAREST, RIDGE = 5, 0.1

#: From this logarithm of a ratio on, 20 times as far, a limit is refused: nothing drawn comes near to it.
MOST_LOG_RATIO = 3.0

#: Why a face is unfamiliar that lies nearer to what is none of the stones known.
OTHER_KIND = "other_kind"


@dataclass(frozen=True)
class FamiliarityModel:
    """What the stones that a model knows look like: tells a face that is out of their distribution.

    names, mean, spread : of each number of an appearance, over rendered stones.   inverse_covariance : of these scaled.
    max_squared_distance : Mahalanobis, no unit; beyond it a face is unfamiliar.
    stones, others : (n, numbers) and (m, numbers), scaled: appearances of rendered stones, and of what is none.
    max_log_ratio : natural logarithm of the distance to the nearest stones over that to the nearest others; beyond it
        a face is one of the others.
    own_reach : squared distance within which a face is like one of the seller's own: ``OWN_SHARE`` of the rendered
        stones have one of another photo within it.
    own : (k, numbers), scaled, of stones that the seller called though they are unlike the rendered ones.
    """

    names: tuple[str, ...]
    mean: tuple[float, ...]
    spread: tuple[float, ...]
    inverse_covariance: tuple[tuple[float, ...], ...]
    max_squared_distance: float
    stones: tuple[tuple[float, ...], ...]
    others: tuple[tuple[float, ...], ...]
    max_log_ratio: float
    own_reach: float
    own: tuple[tuple[float, ...], ...] = ()

    def why_unfamiliar(self, appearance: Mapping[str, float]) -> str | None:
        """Return why a face is unlike the stones known, ``None`` where it is not.

        Either :data:`OTHER_KIND`, or the number of its appearance that lies farthest from theirs, by its name in
        :data:`APPEARANCE_NAMES`.
        """
        scaled = self.scaled([appearance])
        if self.own and self.distance(scaled - np.array(self.own)).min() <= self.own_reach:
            return None
        if self.log_ratio(scaled)[0] > self.max_log_ratio:
            return OTHER_KIND
        if self.distance(scaled)[0] > self.max_squared_distance:
            return self.names[int(np.argmax(np.abs(scaled[0])))]
        return None

    def with_own(self, appearances: Sequence[Mapping[str, float]]) -> "FamiliarityModel":
        """Return the same, to which these called stones and others that look like them are known."""
        strange = [one for one in appearances if self.why_unfamiliar(one) is not None]
        rows = [rounded(row) for row in self.scaled(strange)] if strange else []
        return replace(self, own=tuple(dict.fromkeys([*self.own, *rows])))

    def nearest(
        self, appearance: Mapping[str, float], among: Sequence[Mapping[str, float]]
    ) -> list[int]:
        """Return the places of appearances in ``among``, the one that looks most like this one first."""
        if not among:
            return []
        apart = self.distance(self.scaled(among) - self.scaled([appearance]))
        return np.argsort(apart, kind="stable").tolist()

    def scaled(self, appearances: Sequence[Mapping[str, float]]) -> NDArray[np.float64]:
        """Return (n, numbers): appearances in spreads from the mean, at most ``REACH``."""
        values = np.array([[one[name] for name in self.names] for one in appearances], float)
        return np.clip((values - self.mean) / np.array(self.spread), -REACH, REACH)

    def distance(self, scaled: NDArray) -> NDArray[np.float64]:
        """Return the (n,) squared Mahalanobis distances x' S^-1 x of (n, numbers) scaled appearances."""
        return _squared(scaled, self._arrays[2])

    def log_ratio(self, scaled: NDArray) -> NDArray[np.float64]:
        """Return the (n,) natural logarithms of how much farther the nearest stones are than the nearest others."""
        return _log_ratio(scaled, *self._arrays)

    @cached_property
    def _arrays(self) -> tuple[NDArray, NDArray, NDArray]:
        """Stones, others and the inverse as arrays: a folder asks for them again with every stone."""
        return np.array(self.stones), np.array(self.others), np.array(self.inverse_covariance)


def check_familiarity(model: FamiliarityModel) -> None:
    """Refuse a description of stones that cannot be one.

    Raises
    ------
    ValueError
        The inverse is of no covariance, or a limit lies where no appearance can pass it, so that every wall would do
        for a stone: one line.
    """
    inverse = np.array(model.inverse_covariance)
    stretch = np.linalg.eigvalsh(inverse)
    if not np.allclose(inverse, inverse.T, atol=1e-4) or stretch[0] <= 0:
        raise ValueError("the inverse is of no covariance")
    if min(len(model.stones), len(model.others)) < NEAREST:
        raise ValueError(f"fewer than {NEAREST} stones or others to lie near to")
    n = len(model.names)
    far = model.max_squared_distance >= stretch[-1] * n * REACH**2
    if far or model.max_log_ratio >= MOST_LOG_RATIO:
        raise ValueError("a limit lies so far out that no face can pass it")


def appearance_features(lab: NDArray, mask: NDArray[np.bool_]) -> dict[str, float]:
    """Return the appearance of a face, as named numbers.

    Parameters
    ----------
    lab : ndarray of shape (h, w, 3), float32, CIELAB.   mask : ndarray of shape (h, w), bool.
    """
    small, inside = _small(lab, mask)
    light, a, b = small[inside].astype(float).T
    chroma, hue = np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360
    blue = (chroma > 7) & (hue > 195) & (hue < 325)
    odd = (chroma > 14) & ~blue & ((hue > 110) | (hue < 25))
    appearance = {
        "lightness": light.mean(), "redness": a.mean(), "yellowness": b.mean(), "chroma": chroma.mean(),
        "light_spread": np.log(light.std() + 0.5), "red_spread": np.log(a.std() + 0.5),
        "yellow_spread": np.log(b.std() + 0.5), "hue_line": _correlation(a, b), "light_line": _correlation(light, b),
        "blue": blue.mean(), "odd_hue": odd.mean(),
    }  # fmt: skip
    appearance |= _grain(small[..., 0], inside, LIGHT_GRAIN_PX, "grain")
    appearance |= _grain(small[..., 2], inside, COLOUR_GRAIN_PX, "colour_grain")
    appearance |= _edges(small[..., 0], inside)
    return {name: float(value) for name, value in appearance.items()}


def fit_familiarity(
    stones: Sequence[Mapping[str, float]],
    others: Sequence[Mapping[str, float]],
    photos: Sequence[int],
) -> FamiliarityModel:
    """Return what stones look like, from appearances of rendered stones and of what is none of them.

    photos : number of each stone's photo; the limits are set on stones of photos held out.
    """
    names = tuple(stones[0])
    values = np.array([[one[name] for name in names] for one in stones], float)
    mean, spread = values.mean(axis=0), np.maximum(values.std(axis=0), 1e-6)
    model = FamiliarityModel(names, rounded(mean), rounded(spread), (), np.inf, (), (), np.inf, 0.0)
    stone, other = model.scaled(stones).round(3), model.scaled(others).round(3)
    fold = np.unique(np.asarray(photos), return_inverse=True)[1] % FOLDS
    ratio, far, near = np.zeros((3, len(stone)))
    for k in np.unique(fold):
        here, rest = stone[fold == k], stone[fold != k]
        inverse = _inverse(rest)
        ratio[fold == k] = _log_ratio(here, rest, other, inverse)
        far[fold == k] = _squared(here, inverse)
        near[fold == k] = _nearest(here, rest, inverse, 1)
    return replace(
        model,
        inverse_covariance=tuple(rounded(row) for row in _inverse(stone)),
        max_squared_distance=round(float(np.quantile(far, 1 - FAR_SHARE)), 6),
        stones=tuple(rounded(row) for row in stone),
        others=tuple(rounded(row) for row in other),
        max_log_ratio=round(float(np.quantile(ratio, 1 - OTHER_SHARE)), 6),
        own_reach=round(float(np.quantile(near, OWN_SHARE)), 6),
    )


def _inverse(stone: NDArray) -> NDArray:
    """The inverse covariance (numbers, numbers) of scaled stones, with a ridge."""
    return np.linalg.inv(np.cov(stone.T) + RIDGE * np.eye(stone.shape[1]))


def _squared(scaled: NDArray, inverse: NDArray) -> NDArray[np.float64]:
    """x' S^-1 x of each row."""
    return ((scaled @ inverse) * scaled).sum(axis=-1)


def _nearest(scaled: NDArray, among: NDArray, inverse: NDArray, count: int) -> NDArray[np.float64]:
    """The (n,) means of the squared distances to the ``count`` nearest of ``among``."""
    apart = np.array([_squared(among - one, inverse) for one in scaled])
    return np.partition(apart, count - 1, axis=1)[:, :count].mean(axis=1)


def _log_ratio(
    scaled: NDArray, stones: NDArray, others: NDArray, inverse: NDArray
) -> NDArray[np.float64]:
    """The (n,) logarithms of the ratio of distances; half that of the squared ones."""
    to_stones, to_others = (
        _nearest(scaled, among, inverse, NEAREST) + 1e-9 for among in (stones, others)
    )
    return 0.5 * np.log(to_stones / to_others)


def _small(lab: NDArray, mask: NDArray[np.bool_]) -> tuple[NDArray, NDArray[np.bool_]]:
    """The face made small, and its px a little within the outline."""
    height, width = mask.shape
    factor = APPEARANCE_PX / max(height, width)
    size = (max(8, round(width * factor)), max(8, round(height * factor)))
    small = cv2.resize(lab.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    whole = cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    inside = cv2.erode(whole, np.ones((3, 3), np.uint8)) > 0
    if inside.sum() < 50:
        inside = whole > 0
    return small, inside if inside.any() else np.ones_like(inside)


def _correlation(first: NDArray, second: NDArray) -> float:
    """Correlation of two channels, 0 where one of them is flat."""
    flat = first.std() < 0.3 or second.std() < 0.3
    return 0.0 if flat else float(np.corrcoef(first, second)[0, 1])


def _grain(channel: NDArray, inside: NDArray[np.bool_], sizes: Sequence[int], name: str) -> dict:
    """Logarithm of the strength of each size of grain."""
    weight = inside.astype(np.float32)
    before = np.where(inside, channel, channel[inside].mean()).astype(np.float32)
    grain = {}
    for size in sizes:
        over = cv2.GaussianBlur(weight, (0, 0), size) + 1e-3
        after = cv2.GaussianBlur(before * weight, (0, 0), size) / over
        grain[f"{name}{size}"] = np.log((before - after)[inside].std() + 0.05)
        before = after
    return grain


def _edges(light: NDArray, inside: NDArray[np.bool_]) -> dict[str, float]:
    """Whether edges of light run one way (0 to 1), and how few and sharp they are (logarithm of their kurtosis)."""
    soft = cv2.GaussianBlur(
        np.where(inside, light, light[inside].mean()).astype(np.float32), (0, 0), 1.5
    )
    x, y = (cv2.Sobel(soft, cv2.CV_32F, *axis)[inside].astype(float) for axis in ((1, 0), (0, 1)))
    xx, xy, yy = (x * x).mean(), (x * y).mean(), (y * y).mean()
    square = x * x + y * y
    return {
        "one_way": np.hypot(xx - yy, 2 * xy) / (xx + yy + 1e-6),
        "few_edges": np.log(((square**2).mean() + 1e-9) / (square.mean() ** 2 + 1e-9)),
    }


#: The numbers of an appearance, as :func:`appearance_features` names them.
APPEARANCE_NAMES = (
    "lightness", "redness", "yellowness", "chroma", "light_spread", "red_spread", "yellow_spread", "hue_line",
    "light_line", "blue", "odd_hue", "one_way", "few_edges",
    *(f"grain{size}" for size in LIGHT_GRAIN_PX),
    *(f"colour_grain{size}" for size in COLOUR_GRAIN_PX),
)  # fmt: skip
