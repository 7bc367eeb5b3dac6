"""How far a share may be off: a half width from the doubt of its pixels and from how well the light is known.

Two numbers are fitted on renders in many lights, so that 95 of 100 shares lie within (``grader.train.intervals``).
"""

import json
from functools import cache

from grader.errors import ModelError
from grader.photo.net import starter_folder

#: What one white leaves open, of a* and b* together. A light known better narrows nothing further: the fit met none.
LEAST_LIGHT_SD = 6.4


def lit_doubt(doubt: float, light_sd: float) -> float:
    """Return the doubt of a share, 0 and up, with that of the photo's light in it.

    doubt : mean chance, 0 to 1, that a pixel's yes or no to the class is wrong.
    light_sd : of a* and b* together, what the photo's white leaves open.
    """
    return doubt * max(1.0, light_sd / LEAST_LIGHT_SD)


def half_width(doubt: float, light_sd: float) -> float:
    """Return by how much, 0 to 1, a share of the readable face may be off at 95 %; arguments as of ``lit_doubt``.

    Raises
    ------
    ModelError
        The fitted numbers are missing or damaged.
    """
    base, slope = _coefficients()
    return base + slope * lit_doubt(doubt, light_sd)


@cache
def _coefficients() -> tuple[float, float]:
    path = starter_folder() / "regions.json"
    try:
        fitted = json.loads(path.read_text("utf-8"))
        return float(fitted["half_width_base"]), float(fitted["half_width_per_doubt"])
    except (OSError, ValueError, KeyError, TypeError) as err:
        raise ModelError(
            f"{path.name}: missing or damaged; install the tool again, or run python -m grader.train.intervals"
        ) from err
