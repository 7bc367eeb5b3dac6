"""The colour of the light, estimated from a photo in which nothing of known colour lies.

Statistics that single textbook estimates rest on (the mean, Minkowski norms, edges, the brightest places, the photo's
rim) are read as logarithms of channel ratios, each against one of them, so that a cast moves them all alike. A small
network says how far the light lies from that one, and how sure it is; it learned from renders
(``grader.train.illuminant``). What it says is weighed against the camera's own white balance, and meets the textbook's
estimate part of the way.
"""

import json
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.errors import ModelError
from grader.photo.net import starter_folder

#: Longer side of what is read, px: single sparks and grains are averaged away.
LOOK_PX = 128
#: Norm of the estimate that all else is held against (Finlayson & Trezzi 2004, "Shades of gray and colour constancy").
NORM = 6
#: Linear light above which a channel may be burnt out, and under which its ratio is noise.
BURNT, DARK = 0.92, 0.004
#: How far a camera's white balance may be off, standard deviations of ln(r/g) and ln(b/g): wide, since a lamp that it
#: leaves in costs most; narrow where one face fills the picture and nothing else is there to tell by.
CAMERA_SD, CAMERA_SD_WHOLE = 0.8, 0.1
#: Say of the textbook's estimate beside the network's: the two go wrong on different photos.
TEXTBOOK_SHARE = 0.3
#: Width of the rim, where the ground mostly shows, as a share of each side.
RIM_SHARE = 0.12
_QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
#: Fewer px than this give no statistic of their own.
_LEAST_PX = 12


@dataclass(frozen=True)
class Illuminant:
    """The light of a photo as a grey surface would show it.

    Attributes
    ----------
    colour : (3,) linear sRGB, green at 1.
    sd : (2,) standard deviations of ln(red / green) and ln(blue / green).
    """

    colour: NDArray[np.float64]
    sd: NDArray[np.float64]

    @property
    def sd_deg(self) -> float:
        """How far off the colour may be, degrees between vectors of linear light: one standard deviation."""
        moved = self.colour * [[np.exp(self.sd[0]), 1, 1], [1, 1, np.exp(self.sd[1])]]
        return float(np.hypot(*(angle_deg(light, self.colour) for light in moved)))


def angle_deg(light: NDArray, other: NDArray) -> float:
    """Return the angle between two lights, (3,) linear light each, in degrees: how far apart their colours are.

    Recovery angular error, as in Hordley & Finlayson 2006, J. Opt. Soc. Am. A 23(5):1008-1020 (from memory).
    """
    cosine = np.dot(light, other) / (np.linalg.norm(light) * np.linalg.norm(other))
    return float(np.degrees(np.arccos(np.clip(cosine, -1, 1))))


def shades_of_grey(linear: NDArray, norm: float = NORM) -> NDArray[np.float64]:
    """Return the Minkowski norm of each channel, (3,), green at 1: the textbook's estimate of the light.

    linear : ndarray of shape (..., 3), linear light, 0 and up.   norm : 1 is grey world, large ones near max-RGB.

    References
    ----------
    Finlayson & Trezzi 2004, Color and Imaging Conference 12:37-41.
    """
    flat = np.maximum(np.asarray(linear, np.float64).reshape(-1, 3), 0)
    top = np.maximum(flat.max(axis=0), 1e-9)
    colour = np.maximum(top * np.mean((flat / top) ** norm, axis=0) ** (1 / norm), 1e-6)
    return colour / colour[1]


def estimate_illuminant(linear: NDArray[np.float32], whole: bool = False) -> Illuminant:
    """Return the light of a photo.

    Parameters
    ----------
    linear : ndarray of shape (h, w, 3), linear sRGB of the whole photo, at any size.
    whole : one face fills the picture, so that its rim is no ground.

    Raises
    ------
    ModelError
        The numbers that it was trained to are missing or damaged.
    """
    features, base = illuminant_features(linear, whole)
    moved, sd = _network()(features)
    # Weighed against the camera's own white balance, which is mostly about right: where the photo tells little, and
    # above all where a face fills it, its colour is the stone's and stays.
    own_sd = CAMERA_SD_WHOLE if whole else CAMERA_SD
    ratios = (base + moved) / (1 + (sd / own_sd) ** 2)
    if not whole:
        ratios = (1 - TEXTBOOK_SHARE) * ratios + TEXTBOOK_SHARE * base
    return Illuminant(np.array([np.exp(ratios[0]), 1.0, np.exp(ratios[1])]), sd)


def illuminant_features(
    linear: NDArray[np.float32], whole: bool = False
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Return what the network reads, (n,), and the logarithms of r/g and b/g, (2,), of the estimate it starts from."""
    small = _small(linear)
    light = np.maximum(small.reshape(-1, 3), 0)
    base = channel_ratios(shades_of_grey(light))
    sound = (light.max(axis=1) < BURNT) & (light.min(axis=1) > DARK)
    pixels = light[sound] if sound.sum() >= _LEAST_PX else np.maximum(light, DARK)
    chroma = channel_ratios(pixels)
    level = np.log(pixels.mean(axis=1))
    parts = [channel_ratios(shades_of_grey(light, norm)) - base for norm in (1, 2, 12)]
    parts += [_edges(small, norm) - base for norm in (1, 6)]
    parts += [_of(chroma, level >= np.quantile(level, share)) - base for share in (0.95, 0.8, 0.5)]
    parts += [_of(chroma, level <= np.quantile(level, share)) - base for share in (0.1, 0.5)]
    rim = _rim(small.shape[:2]).reshape(-1)[sound] if len(pixels) == sound.sum() else None
    plain = base + 0 * base if rim is None or whole else None
    parts += [
        (plain if plain is not None else _of(chroma, rim)) - base,
        (plain if plain is not None else _of(chroma, ~rim)) - base,
    ]
    quantiles = np.quantile(chroma, _QUANTILES, axis=0) - base
    spread = np.cov((chroma - base).T)
    # The least coloured places lie where a line through many colours bends: near them, about the light.
    near = _of(chroma, _nearest(chroma, np.zeros(2))) - base
    extra = [spread[0, 0], spread[1, 1], spread[0, 1], np.mean(level), np.std(level)]
    extra += [1 - sound.mean(), float(whole)]
    features = np.concatenate([*parts, near, quantiles.ravel(), base, extra])
    return features.astype(np.float32), base


def _small(linear: NDArray) -> NDArray[np.float32]:
    h, w = linear.shape[:2]
    factor = LOOK_PX / max(h, w)
    if factor >= 1:
        return np.asarray(linear, np.float32)
    size = (max(1, round(w * factor)), max(1, round(h * factor)))
    return cv2.resize(np.asarray(linear, np.float32), size, interpolation=cv2.INTER_AREA)


def channel_ratios(light: NDArray) -> NDArray[np.float64]:
    """Logarithms of r/g and b/g, (..., 2)."""
    log = np.log(np.maximum(np.asarray(light, np.float64), 1e-6))
    return np.stack([log[..., 0] - log[..., 1], log[..., 2] - log[..., 1]], axis=-1)


def _of(chroma: NDArray, chosen: NDArray[np.bool_]) -> NDArray[np.float64]:
    return np.median(chroma[chosen] if chosen.sum() >= _LEAST_PX else chroma, axis=0)


def _nearest(chroma: NDArray, point: NDArray) -> NDArray[np.bool_]:
    """The tenth of the px whose ratios lie nearest to a point: neutral as the camera has it."""
    distance = np.linalg.norm(chroma - point, axis=1)
    return distance <= np.quantile(distance, 0.1)


def _edges(small: NDArray, norm: float) -> NDArray[np.float64]:
    """The grey-edge estimate (van de Weijer, Gevers & Gijsenij 2007, IEEE TIP 16(9):2207-2214), as ratios."""
    soft = cv2.GaussianBlur(small, (0, 0), 1.0)
    steps = np.hypot(np.gradient(soft, axis=0), np.gradient(soft, axis=1))
    # A picture of one plain colour has no edges: it says what its colour says.
    return channel_ratios(shades_of_grey(steps if steps.max() > 1e-3 else soft, norm))


def _rim(shape: tuple[int, int]) -> NDArray[np.bool_]:
    rim = np.ones(shape, bool)
    h, w = (max(1, round(side * RIM_SHARE)) for side in shape)
    rim[h:-h, w:-w] = False
    return rim


@dataclass(frozen=True)
class IlluminantNetwork:
    """Two layers of tanh between scaled features and (dx, dy, ln sd x, ln sd y).

    middle, spread : (n,) of the features.   layers : weights (in, out) and offsets (out,), from the first on.
    """

    middle: NDArray
    spread: NDArray
    layers: tuple[tuple[NDArray, NDArray], ...]

    def __call__(self, features: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return how far the light's ratios lie from the first estimate's, (2,), and their standard deviations."""
        # Beyond what was met in training nothing more is made of it.
        x = np.clip((features - self.middle) / self.spread, -4, 4)
        for weights, offsets in self.layers[:-1]:
            x = np.tanh(x @ weights + offsets)
        weights, offsets = self.layers[-1]
        out = x @ weights + offsets
        return out[:2], np.exp(np.clip(out[2:], -5, 1))


@cache
def _network() -> IlluminantNetwork:
    path = starter_folder() / "illuminant.json"
    try:
        kept = json.loads(path.read_text("utf-8"))
        layers = tuple(
            (np.array(layer["weights"]), np.array(layer["offsets"])) for layer in kept["layers"]
        )
        return IlluminantNetwork(np.array(kept["middle"]), np.array(kept["spread"]), layers)
    except (OSError, ValueError, KeyError, TypeError) as err:
        raise ModelError(
            f"{path.name}: missing or damaged; install the tool again, or run python -m grader.train.illuminant"
        ) from err
