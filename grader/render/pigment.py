"""Colours of a stone: the palette drawn in CIELAB, reflectance, and what a film of water does to it."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

#: Reflectance of a water film from outside at normal incidence, and the chance of being thrown
#: back inside it.
#: n = 4/3; Fresnel, and Duntley 1942 for diffuse light inside.
FILM_OUTSIDE, FILM_INSIDE = 0.02037, 0.47488

#: Families of blue: ranges of L*, C*ab, h_ab.
BLUES = {
    "lilac": ((60, 76), (9, 22), (276, 296)),
    "sky": ((56, 76), (9, 26), (250, 276)),
    "violet-blue": ((34, 56), (18, 40), (279, 296)),
    "royal": ((22, 40), (32, 60), (288, 303)),
    "navy": ((8, 25), (9, 34), (274, 300)),
    "steel": ((30, 55), (9, 20), (252, 282)),
    "turquoise": ((48, 74), (18, 40), (205, 232)),
}
WHITES = {
    "clean": ((82, 96), (0, 4), (0, 360)),
    "cream": ((76, 93), (4, 10), (78, 102)),
    "tinted": ((66, 90), (6, 22), (0, 0)),
}
HOSTS = {
    "rusty": ((30, 52), (18, 44), (45, 68)),
    "grey": ((34, 66), (0, 5), (60, 110)),
    "brown": ((22, 44), (10, 24), (50, 75)),
    "black-green": ((12, 32), (3, 12), (120, 170)),
    "cream": ((62, 80), (14, 28), (70, 90)),
    "speckled": ((36, 62), (2, 9), (50, 100)),
    "salmon": ((48, 66), (22, 40), (34, 52)),
}


@dataclass(frozen=True)
class Palette:
    """Base colours (L*, a*, b*) of a stone: two tones per class, between which it wanders, and how much it does."""

    blue: NDArray
    white: NDArray
    host: NDArray
    mottling: tuple[float, float, float]
    blue_name: str
    white_name: str
    host_name: str


def draw_palette(
    rng: np.random.Generator, host: str, blue: str | None = None, white: str | None = None
) -> Palette:
    """Return a palette in which white is lighter and less chromatic than blue."""
    blue = blue or str(rng.choice(list(BLUES), p=[0.17, 0.16, 0.2, 0.13, 0.1, 0.1, 0.14]))
    b = _draw(rng, BLUES[blue])
    white = white or str(rng.choice(list(WHITES), p=[0.4, 0.2, 0.4]))
    w = _draw(rng, WHITES[white])
    if white == "tinted":
        w[2] = b[2] + rng.normal(0, 7)
        w[1] = min(w[1], 22.0, 0.7 * b[1])
    w[1] = min(w[1], max(0.75 * b[1], 4.0))
    w[0] = min(max(w[0], b[0] + rng.uniform(11, 20)), 97)
    b[0] = min(b[0], w[0] - 10)
    h = _draw(rng, HOSTS[host])
    second = _draw(rng, HOSTS["rusty" if host in ("grey", "speckled", "black-green") else host])
    return Palette(
        blue=_two(b, b + rng.normal(0, (4, 0.1 * b[1], 3))),
        white=_two(w, w + rng.normal(0, (2.5, 0.1 * w[1], 3))),
        host=_two(h, second if rng.random() < 0.5 else h + rng.normal(0, (5, 2, 5))),
        mottling=(rng.uniform(1, 4), rng.uniform(0.8, 3), rng.uniform(2.5, 8)),
        blue_name=blue, white_name=white, host_name=host,
    )  # fmt: skip


def _draw(rng: np.random.Generator, ranges) -> NDArray:
    return np.array([rng.uniform(*r) for r in ranges])


def _two(*lch: NDArray) -> NDArray[np.float32]:
    lch = np.array(lch)
    hue = np.radians(lch[:, 2])
    chroma = np.maximum(lch[:, 1], 0)
    return np.stack([lch[:, 0], chroma * np.cos(hue), chroma * np.sin(hue)], 1).astype(np.float32)


def reflectance(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return linear sRGB reflectance of CIELAB (h, w, 3), held between 0.004 and 0.96 as stone is."""
    return np.clip(cv2.cvtColor(lab, cv2.COLOR_Lab2LRGB), 0.004, 0.96)


def lab_of(reflect: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return CIELAB of linear sRGB reflectance (h, w, 3)."""
    return cv2.cvtColor(np.ascontiguousarray(reflect, np.float32), cv2.COLOR_LRGB2Lab)


def wetted(reflect: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the reflectance of the body under a thin film of water.

    Light is thrown back inside the film and meets the stone again: darker and more saturated.

    References
    ----------
    Angstrom 1925; Lekner & Dorf 1988, Appl. Opt. 27:1278-1280, with the inner reflection of
    Duntley 1942.
    """
    r = np.asarray(reflect, np.float32)
    return (
        np.float32((1 - FILM_OUTSIDE) * (1 - FILM_INSIDE)) * r / (1 - np.float32(FILM_INSIDE) * r)
    )
