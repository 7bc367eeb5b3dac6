"""Whether a face was photographed wet or dry, as far as one photo can tell."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

STATES = ("wet", "dry", "patchy", "unknown")

# Settings, found on 120 drawn stones under lamps of many kinds: of those called wet none was a dry
# rough one (polished ones look wet), of those called dry none was wet; a third stayed unknown, and
# patchy ones got any of the three.
#: Share of the face that mirrors a light, from which it is wet, and below which it may be dry.
WET_GLOSS_SHARE, DRY_GLOSS_SHARE = 0.004, 0.00005
#: Median C*ab / L* below which a face without gloss is dry: water makes colours deeper.
DRY_DEPTH = 0.35
#: A mirrored light is whiter than the stone beside it by this factor, in its weakest channel.
MIRROR_FACTOR = 1.5
#: Medians are taken over about so many px each way.
MEDIAN_PX = 256


@dataclass(frozen=True)
class State:
    """wet, dry, patchy or unknown, and who says so: "seller" or "photo".

    Wet means wet-looking: a photo cannot tell wet, oiled and polished apart.
    """

    value: str
    source: str


def read_state(
    linear: NDArray[np.float32],
    lab: NDArray[np.float32],
    mask: NDArray[np.bool_],
    glare: NDArray[np.bool_],
    given: str | None = None,
) -> State:
    """Return the state of a face: the seller's word, else what gloss and depth of colour say.

    "patchy" is the seller's word only: a drying patch and a paler part of the pattern look alike.

    Parameters
    ----------
    linear : ndarray of shape (h, w, 3), linear sRGB.
    lab : ndarray of shape (h, w, 3), CIELAB.
    mask, glare : ndarray of shape (h, w), the stone, and what of it is unreadable for glare.
    given : one of ``STATES``, where the seller says so.

    References
    ----------
    Shafer 1985, Color Res. Appl. 10:210-218: light mirrored by a surface adds the lamp's own
    colour to all channels (from memory).
    """
    if given is not None:
        if given not in STATES:
            raise ValueError(f"state is {given!r}; one of {', '.join(STATES)}")
        return State(given, "seller")
    # Medians do not need every px.
    step = max(1, max(mask.shape) // MEDIAN_PX)
    few = (slice(None, None, step),) * 2
    readable = mask[few] & ~glare[few]
    if not readable.any():
        return State("unknown", "photo")
    usual = np.median(linear[few][readable].min(axis=1))
    shining = mask & glare
    mirrors = linear[shining].min(axis=1) > MIRROR_FACTOR * usual
    if mirrors.sum() > WET_GLOSS_SHARE * mask.sum():
        return State("wet", "photo")
    lightness, a, b = lab[few][readable].T
    # Near black C*ab / L* is noise.
    depth = np.median(np.hypot(a, b) / np.maximum(lightness, 5))
    if shining.sum() <= DRY_GLOSS_SHARE * mask.sum() and depth < DRY_DEPTH:
        return State("dry", "photo")
    return State("unknown", "photo")
