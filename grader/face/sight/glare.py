"""Glare: where the surface mirrors a lamp, a pane, the sky or the ground so strongly that the stone cannot be read.

A small network looks at the whole face, so that it sees what is bright beside this stone: a white band is not, however
white. It has learned from drawn stones of all hues that mirror drawn surrounds by Fresnel's law.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.face import LOOK_PX, Face
from grader.face.lines.cracks import cracks_input
from grader.photo.net import run_probabilities

#: The network's outputs, in their order.
NAMES = ("stone", "glare")


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
    h, w = face.mask.shape
    lab, cover = face.small if max(h, w) > LOOK_PX else (face.lab, face.mask)
    chances = run_probabilities("glare", cracks_input(lab, cover > 0.5))
    glare = np.ascontiguousarray(chances[..., NAMES.index("glare")])
    return cv2.resize(glare, (w, h), interpolation=cv2.INTER_LINEAR)
