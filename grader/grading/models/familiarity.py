"""Whether a face looks like the stones that a model knows: by colours and roughness, without naming regions.

Two limits, both set so that few rendered stones pass them: how far a face lies from rendered stones (Mahalanobis 1936),
and how much likelier it is another surface than a stone (logistic regression on rendered stones and rendered walls,
floors and rocks).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

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

#: Share of rendered stones that may pass each limit; how far beyond that share's distance "far" begins.
LIKELIER_SHARE, FAR_SHARE, FAR_TIMES = 0.03, 0.005, 1.25

#: How strongly the logistic regression is held back (inverse, as in scikit-learn); the covariance's ridge.
SURFACE_FREEDOM, RIDGE = 0.3, 0.1

#: Why a face is unfamiliar that is likelier a wall or a floor than a stone.
OTHER_SURFACE = "other_surface"


@dataclass(frozen=True)
class FamiliarityModel:
    """What the stones that a model knows look like: tells a face that is out of their distribution.

    names, mean, spread : of each number of an appearance, over rendered stones.   inverse_covariance : of these scaled.
    max_squared_distance : beyond it a face is unfamiliar.
    surface_weights : of the scaled numbers, of their squares and of 1: the log-odds of another surface than a stone.
    max_surface_log_odds : beyond them a face is taken for another surface.
    """

    names: tuple[str, ...]
    mean: tuple[float, ...]
    spread: tuple[float, ...]
    inverse_covariance: tuple[tuple[float, ...], ...]
    max_squared_distance: float
    surface_weights: tuple[float, ...]
    max_surface_log_odds: float

    def why_unfamiliar(self, appearance: Mapping[str, float]) -> str | None:
        """Return why a face is unlike the stones known, ``None`` where it is not.

        Either :data:`OTHER_SURFACE`, or the number of its appearance that lies farthest from theirs, by its name in
        :data:`APPEARANCE_NAMES`.
        """
        scaled = self.scaled([appearance])
        if self.other_surface(scaled)[0] > self.max_surface_log_odds:
            return OTHER_SURFACE
        if self.distance(scaled)[0] > self.max_squared_distance:
            return self.names[int(np.argmax(np.abs(scaled[0])))]
        return None

    def scaled(self, appearances: Sequence[Mapping[str, float]]) -> NDArray[np.float64]:
        """Return (n, numbers): appearances in spreads from the mean, at most ``REACH``."""
        values = np.array([[one[name] for name in self.names] for one in appearances], float)
        return np.clip((values - self.mean) / np.array(self.spread), -REACH, REACH)

    def distance(self, scaled: NDArray) -> NDArray[np.float64]:
        """Return the (n,) squared Mahalanobis distances x' S^-1 x of (n, numbers) scaled appearances."""
        return np.einsum("ij,jk,ik->i", scaled, np.array(self.inverse_covariance), scaled)

    def other_surface(self, scaled: NDArray) -> NDArray[np.float64]:
        """Return the (n,) log-odds of another surface."""
        return _columns(scaled) @ np.array(self.surface_weights)


def check_familiarity(model: FamiliarityModel) -> None:
    """Refuse a description of stones that cannot be one.

    Raises
    ------
    ValueError
        The inverse is of no covariance, or a limit lies where no appearance can pass it, so that every wall would do
        for a stone: one line.
    """
    inverse, weights = np.array(model.inverse_covariance), np.array(model.surface_weights)
    stretch = np.linalg.eigvalsh(inverse)
    if not np.allclose(inverse, inverse.T, atol=1e-4) or stretch[0] <= 0:
        raise ValueError("the inverse is of no covariance")
    n = len(model.names)
    reach = np.repeat([REACH, REACH**2, 1.0], [n, n, 1])
    far = model.max_squared_distance >= stretch[-1] * n * REACH**2
    if far or model.max_surface_log_odds >= np.abs(weights) @ reach:
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
    surfaces: Sequence[Mapping[str, float]],
    photos: Sequence[int],
) -> FamiliarityModel:
    """Return what stones look like, from appearances of rendered stones and of other rendered surfaces.

    photos : of each stone; the limit of the odds is set on stones of photos held out.
    """
    names = tuple(stones[0])
    values = np.array([[one[name] for name in names] for one in stones], float)
    mean, spread = values.mean(axis=0), np.maximum(values.std(axis=0), 1e-6)
    model = FamiliarityModel(names, rounded(mean), rounded(spread), (), np.inf, (), np.inf)
    stone, surface = model.scaled(stones), model.scaled(surfaces)
    inverse = np.linalg.inv(np.cov(stone.T) + RIDGE * np.eye(len(names)))
    fold = np.unique(np.asarray(photos), return_inverse=True)[1] % 5
    odds = np.zeros(len(stone))
    for k in np.unique(fold):
        odds[fold == k] = _columns(stone[fold == k]) @ _weights(stone[fold != k], surface)
    model = replace(
        model,
        inverse_covariance=tuple(rounded(row) for row in inverse),
        surface_weights=rounded(_weights(stone, surface)),
        max_surface_log_odds=round(float(np.quantile(odds, 1 - LIKELIER_SHARE)), 6),
    )
    far = FAR_TIMES * np.quantile(model.distance(stone), 1 - FAR_SHARE)
    return replace(model, max_squared_distance=round(float(far), 6))


def _weights(stone: NDArray, surface: NDArray) -> NDArray:
    from sklearn.linear_model import LogisticRegression

    columns = _columns(np.vstack([stone, surface]))[:, :-1]
    other = np.repeat([0, 1], [len(stone), len(surface)])
    fit = LogisticRegression(C=SURFACE_FREEDOM, max_iter=5000).fit(columns, other)
    return np.append(fit.coef_[0], fit.intercept_[0])


def _columns(scaled: NDArray) -> NDArray:
    return np.hstack([scaled, scaled**2, np.ones((len(scaled), 1))])


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
