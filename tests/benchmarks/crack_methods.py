"""Two classical detectors of dark lines, each with hysteresis; thresholds found on renders to learn from.

``python tests/benchmarks/crack_methods.py [--photos N]`` tries a grid of thresholds on renders of the training style
and prints the F1 on centre-lines of each; the best at 2 px are set below.
"""

import argparse
import itertools

import cv2
import metrics
import numpy as np
from numpy.typing import NDArray
from skimage.filters import apply_hysteresis_threshold, sato

#: Widths, as sigmas in px, at which ridges are looked for: the best of 1 to 3, as lines are 1.5 to 8 px wide.
SIGMAS_PX = (1.0, 2.0, 3.0)
#: The oriented filters: second derivative of a Gaussian across, a long Gaussian along; turns over half a circle.
ACROSS_PX, ALONG_PX, TURNS = (1.5, 3.0), 7.0, 12
#: Lines shorter than this share of the face's width are dropped, as ours are.
LEAST_LENGTH_SHARE = 0.03
#: Response from which a line starts, and down to which it goes on: the best on the tuning renders.
RIDGE = (15.0, 9.0)
ORIENTED = (28.0, 16.8)


def ridge_lines(lightness: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return dark lines of a face, (h, w): ridge filter (Sato et al. 1998, Med. Image Anal. 2:143) with hysteresis."""
    return lines_of(ridge_response(lightness, mask), mask, RIDGE)


def oriented_lines(lightness: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return dark lines of a face, (h, w): a bank of turned line filters with hysteresis."""
    return lines_of(oriented_response(lightness, mask), mask, ORIENTED)


def ridge_response(lightness: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray:
    """Return how much each px is a dark ridge, in L* per px² at the best sigma, scale-normalised."""
    return sato(_filled(lightness, mask), sigmas=SIGMAS_PX, black_ridges=True)


def oriented_response(lightness: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray:
    """Return the greatest answer, in L*, of the filters at any width and turn."""
    light = _filled(lightness, mask)
    answers = (
        cv2.filter2D(light, cv2.CV_32F, _kernel(across, turn))
        for across in ACROSS_PX
        for turn in np.arange(TURNS) * np.pi / TURNS
    )
    return np.maximum.reduce(list(answers))


def lines_of(
    response: NDArray, mask: NDArray[np.bool_], thresholds: tuple[float, float]
) -> NDArray[np.bool_]:
    """Return what is strong somewhere and long enough, off the face's rim."""
    width = 2 * np.sqrt(mask.sum() / np.pi)
    depth = cv2.distanceTransform(np.pad(mask.astype(np.uint8), 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
    inside = depth > max(0.012 * width, 4)
    lines = apply_hysteresis_threshold(np.where(inside, response, 0), thresholds[1], thresholds[0])
    _, labels, stats, _ = cv2.connectedComponentsWithStats(lines.astype(np.uint8), connectivity=8)
    extent = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1)
    long = extent >= max(LEAST_LENGTH_SHARE * width, 10)
    long[0] = False
    return long[labels]


def _filled(lightness: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """The face's lightness carried on beyond its outline, so that the outline is no line."""
    if mask.all():
        return lightness
    where = cv2.distanceTransformWithLabels(
        (~mask).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )[1]
    values = np.zeros(where.max() + 1, np.float32)
    values[where[mask]] = lightness[mask]
    return values[where]


def _kernel(across_px: float, turn: float) -> NDArray[np.float32]:
    reach = int(np.ceil(3 * max(across_px, ALONG_PX)))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    along = np.cos(turn) * x + np.sin(turn) * y
    across = (np.cos(turn) * y - np.sin(turn) * x) / across_px
    kernel = (across**2 - 1) * np.exp(-(across**2) / 2 - (along / ALONG_PX) ** 2 / 2)
    kernel -= kernel.mean()
    # A dark line as wide as the filter answers with about its depth.
    return (2 * kernel / np.abs(kernel).sum()).astype(np.float32)


def main() -> None:
    from crack_faces import lightness_of_face, training_faces

    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--photos", type=int, default=24)
    faces = training_faces(ask.parse_args().photos)
    for name, response, highs in (
        ("ridge", ridge_response, (4.0, 8.0, 11.0, 15.0, 20.0, 28.0)),
        ("oriented", oriented_response, (4.0, 8.0, 11.0, 15.0, 20.0, 28.0)),
    ):
        responses = [response(lightness_of_face(face), face.mask) for face in faces]
        for high, share in itertools.product(highs, (0.4, 0.6, 0.8)):
            limits = high, share * high
            counts = [
                metrics.line_counts(lines_of(r, face.mask, limits), face.cracks, 2, face.faint)
                for r, face in zip(responses, faces, strict=True)
            ]
            precision, recall, f1 = metrics.precision_recall_f1(counts)
            figures = f"precision {precision:.2f} recall {recall:.2f} F1 {f1:.3f}"
            print(f"{name} from {high:g} down to {limits[1]:g}: {figures}", flush=True)


if __name__ == "__main__":
    main()
