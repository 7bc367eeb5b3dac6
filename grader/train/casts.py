"""The colours that lamps and daylight leave in phone photos."""

import numpy as np
from numpy.typing import NDArray

from grader.photo.colour import XYZ_FROM_LINEAR_SRGB

#: Chances, and shares of a light's colour that the phone leaves in the photo: nearly none, some, or all of it and more.
#: Strong casts come up more often than with sellers, since there an error costs most.
LEFT = ((0.3, (0.0, 0.1)), (0.3, (0.0, 0.5)), (0.4, (0.5, 1.2)))
KELVIN = (2300.0, 25000.0)
#: Standard deviations of ln(r/g) and ln(b/g): of lamps off the daylight locus, and of what a phone gets wrong.
OFF_LOCUS, PHONE = 0.09, 0.03


def daylight_or_lamp(kelvin: float) -> NDArray[np.float64]:
    """Return the colour, (3,) linear sRGB with green at 1, of daylight (from 4000 K on) or of a glowing body.

    CIE 15 for daylight; Kim et al. 2002 for Planck's locus (US patent 7024034, from memory).
    """
    t = 1000 / kelvin
    if kelvin >= 4000:
        terms = (0.244063, 0.09911, 2.9678, -4.6070)
        terms = terms if kelvin <= 7000 else (0.237040, 0.24748, 1.9018, -2.0064)
        x = np.polyval(terms[::-1], t)
        y = np.polyval((-3.0, 2.87, -0.275), x)
    else:
        x = np.polyval((-0.2661239, -0.2343589, 0.8776956, 0.179910), t)
        y = np.polyval((-0.9549476, -1.37418593, 2.09137015, -0.16748867), x)
    xyz = np.array([x / y, 1.0, (1 - x - y) / y])
    linear = np.maximum(np.linalg.solve(XYZ_FROM_LINEAR_SRGB.astype(np.float64), xyz), 0.02)
    return linear / linear[1]


def draw_cast(rng: np.random.Generator) -> NDArray[np.float64]:
    """Return the colour, (3,), that a phone leaves of a light: of a grey surface, green near 1."""
    # Even in reciprocal temperature, in which equal steps look alike.
    light = daylight_or_lamp(1 / rng.uniform(1 / KELVIN[1], 1 / KELVIN[0]))
    light = light * np.exp([rng.normal(0, OFF_LOCUS), 0, rng.normal(0, OFF_LOCUS)])
    low, high = LEFT[rng.choice(len(LEFT), p=[chance for chance, _ in LEFT])][1]
    return light ** rng.uniform(low, high) * np.exp(rng.normal(0, PHONE, 3))
