"""Small networks, run on the CPU by OpenCV's ONNX reader: weights run no code of their own."""

import hashlib
import json
from functools import cache
from importlib import resources
from pathlib import Path
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.errors import ModelError

#: Sides of what a network reads are multiples of this: it halves its picture this many times over.
SIDE_MULTIPLE_PX = 32
#: A network holds its picture: of two threads at one network, one would get what the other one's shows.
_RUNNING = Lock()


def starter_folder() -> Path:
    """Return the folder of the models that ship: inside the package when installed, beside it in a checkout."""
    installed = Path(str(resources.files("grader"))) / "models" / "starter"
    return installed if installed.is_dir() else Path(__file__).parents[2] / "models" / "starter"


def run_net(name: str, picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return what the shipped network ``name`` says of a picture.

    Parameters
    ----------
    name : "pieces", "glare", "regions" or "cracks".
    picture : ndarray of shape (h, w, channels), float32; h and w of any size, padded here.

    Returns
    -------
    ndarray of shape (h, w, outputs), float32, raw scores (logits).

    Raises
    ------
    ModelError
        The weights are missing or damaged.
    """
    h, w, channels = picture.shape
    planes = np.zeros(
        (1, channels, h + -h % SIDE_MULTIPLE_PX, w + -w % SIDE_MULTIPLE_PX), np.float32
    )
    planes[0, :, :h, :w] = picture.transpose(2, 0, 1)
    net = _load(name)
    with _RUNNING:
        net.setInput(planes)
        scores = net.forward()[0]
    return scores.transpose(1, 2, 0)[:h, :w]


def run_probabilities(name: str, picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the chance of each output of the shipped network ``name`` at each px of a picture.

    Parameters, shape and errors as of ``run_net``; along the last axis the chances add to 1.
    """
    return softmax(run_net(name, picture))


def softmax(scores: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return scores (..., outputs) as chances that add to 1 along the last axis: exp(s) / sum of exp(s)."""
    chances = scores - scores.max(axis=-1, keepdims=True)
    np.exp(chances, out=chances)
    chances /= chances.sum(axis=-1, keepdims=True)
    return chances


def sigmoid(score: NDArray) -> NDArray:
    """Return log-odds as a chance, 0 to 1, in the given float type: 1 / (1 + exp(-s))."""
    return 1 / (1 + np.exp(-score))


@cache
def _load(name: str) -> cv2.dnn.Net:
    """The network, if its weights are those of its card: flipped bits would grade on without a word."""
    path = starter_folder() / f"{name}.onnx"
    try:
        weights = path.read_bytes()
        card = json.loads(path.with_name(f"{name}.training.json").read_bytes())
        if hashlib.sha256(weights).hexdigest() != card["sha256"]:
            raise ValueError("other weights than those of the card")
        return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))
    except (OSError, ValueError, KeyError, TypeError, cv2.error) as err:
        raise ModelError(
            f"{path.name}: the network's weights are missing or damaged; install the tool again, "
            f"or rebuild them with python -m grader.train learn {name}"
        ) from err
