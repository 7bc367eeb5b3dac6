"""Glare: where the surface mirrors a light so strongly that the stone below cannot be read.

A small network looks at full working size, where single sparks show. It has learned glare beside cracks and pattern
lines, so that it does not take one for the other.
"""

import numpy as np
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.lines.cracks import cracks_input
from grader.photo.net import run_probabilities

#: The network's outputs, in their order.
NAMES = ("none", "crack", "pattern line", "glare")


def find_glare(face: Face) -> NDArray[np.float32]:
    """Return the chance of each pixel of a face to lie under glare, 0 to 1.

    Parameters
    ----------
    face : of any working size.

    Returns
    -------
    ndarray of shape (h, w), float32; off the stone it means nothing.

    Raises
    ------
    ModelError
        The network's weights are missing or damaged.
    """
    chances = run_probabilities("glare", cracks_input(face.lab, face.mask))
    return chances[..., NAMES.index("glare")]
