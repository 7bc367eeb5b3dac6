"""Three really different ways to name the colour regions of a face, compared on the same faces.

``python tests/benchmarks/region_methods.py [--photos N] [--labelled FOLDER]...`` prints one table: an adapted
mixture with the profile as prior; superpixels with a trained classifier on Lab and context; the network that
ships. All are given the true outline, so that only the naming is compared. The two that learn see training
renders alone.
"""

import argparse
from pathlib import Path

import cv2
import metrics
import numpy as np
from labelled import labelled_stones, stone_names
from numpy.typing import NDArray
from skimage.segmentation import slic
from sklearn.ensemble import HistGradientBoostingClassifier

from grader.face.face import Face
from grader.face.regions.regions import find_regions, fit_to_class
from grader.face.sight.glare import find_glare
from grader.measures import UNREADABLE
from grader.photo.colour import lab_from_linear, srgb_curve
from grader.profile import load_profile
from grader.render import HELD_OUT, TRAINING
from grader.train.examples import render_example_photo

PROFILE = load_profile()
FACE_PX = 320


def adapted_mixture(lab: NDArray, mask: NDArray) -> NDArray[np.uint8]:
    """Gaussians, one per class, started from the profile and moved by the stone's own colours."""
    pixels = lab[mask].astype(np.float64)
    fits = (
        np.stack([fit_to_class(lab, c)[mask] for c in PROFILE.colours], 1) ** 2 * (1, 1, 0.35)
        + 1e-4
    )
    # White competes with blue by lightness beside the stone's own range, host by its want of either colour.
    light = (pixels[:, 0] - np.percentile(pixels[:, 0], 5)) / max(
        15, np.ptp(np.percentile(pixels[:, 0], (5, 95)))
    )
    chance = fits * np.stack([1.3 - light, 0.3 + light, np.full(len(light), 0.8)], 1).clip(0.05)
    chance /= chance.sum(1, keepdims=True)
    prior = chance.copy()
    for _ in range(12):
        score = np.empty_like(chance)
        for k in range(3):
            weight = chance[:, k].sum() + 1
            middle = chance[:, k] @ pixels / weight
            deviation = pixels - middle
            spread = (deviation * chance[:, k, None]).T @ deviation / weight + np.diag(
                [40.0, 12, 12]
            )
            score[:, k] = (
                -0.5 * np.einsum("ij,jk,ik->i", deviation, np.linalg.inv(spread), deviation)
                - 0.5 * np.linalg.slogdet(spread)[1]
            )
        score += np.log(prior) + np.log(chance.mean(0) + 1e-3)
        chance = np.exp(score - score.max(1, keepdims=True))
        chance /= chance.sum(1, keepdims=True)
    field = np.zeros((*mask.shape, 3), np.float32)
    field[mask] = chance
    codes = (cv2.GaussianBlur(field, (0, 0), 1.2).argmax(-1) + 1).astype(np.uint8)
    codes[(lab[..., 0] > 93) & (np.hypot(lab[..., 1], lab[..., 2]) < 5)] = UNREADABLE
    return np.where(mask, codes, 0).astype(np.uint8)


def superpixel_features(lab: NDArray, mask: NDArray) -> tuple[NDArray[np.intp], NDArray]:
    """Superpixel labels (1 ... n, 0 off the stone); their colour, spread, surround, place in the stone's range."""
    labels = slic(lab, n_segments=350, compactness=9, mask=mask, channel_axis=-1, start_label=1)
    n = int(labels.max())
    count = np.bincount(labels.ravel(), minlength=n + 1)[1:, None].clip(1)

    def mean(field):
        return (
            np.stack(
                [np.bincount(labels.ravel(), field[..., k].ravel(), n + 1)[1:] for k in range(3)], 1
            )
            / count
        )

    middle = mean(lab)
    spread = np.sqrt((mean(lab**2) - middle**2).clip(0))
    surround = mean(cv2.GaussianBlur(np.where(mask[..., None], lab, lab[mask].mean(0)), (0, 0), 14))
    chroma, hue = np.hypot(middle[:, 1], middle[:, 2]), np.arctan2(middle[:, 2], middle[:, 1])
    low, high = np.percentile(lab[mask], (5, 95), axis=0)
    stone = np.broadcast_to(np.concatenate([np.median(lab[mask], 0), low, high]), (n, 9))
    features = np.column_stack(
        [
            middle,
            chroma,
            np.cos(hue),
            np.sin(hue),
            spread,
            surround,
            middle - surround,
            (middle - low) / (high - low + 8),
            stone,
        ]
    )
    return labels, features


class Superpixels:
    """Boosted trees on superpixels."""

    def fit(self, faces) -> "Superpixels":
        rows, names = [], []
        for lab, mask, codes in faces:
            labels, features = superpixel_features(lab, mask)
            for k in range(1, len(features) + 1):
                inside = codes[(labels == k) & mask]
                if len(inside):
                    rows.append(features[k - 1])
                    names.append(np.bincount(inside).argmax())
        self.trees_ = HistGradientBoostingClassifier(max_iter=250, random_state=0).fit(
            np.array(rows), np.array(names)
        )
        return self

    def name(self, lab: NDArray, mask: NDArray) -> NDArray[np.uint8]:
        labels, features = superpixel_features(lab, mask)
        named = np.concatenate([[0], self.trees_.predict(features)]).astype(np.uint8)
        return np.where(mask, named[labels], 0).astype(np.uint8)


def network(lab: NDArray, mask: NDArray, linear: NDArray) -> NDArray[np.uint8]:
    """What ships."""
    face = Face(linear, lab, mask, 1.0, (0.0, 0.0))
    return find_regions(face, find_glare(face), PROFILE).codes


def rendered_faces(style, seed: int, photos: int):
    """Linear light, mask and true codes of every stone of that many renders, each at most ``FACE_PX`` wide."""
    for k in range(photos):
        rng = np.random.default_rng([seed, k])
        shot = render_example_photo(rng, style)
        for stone in shot.stones[:3]:
            x, y, w, h = stone.box
            if min(w, h) < 60:
                continue
            cut = np.s_[y : y + h, x : x + w]
            yield _at_size(
                shot.rgb[cut],
                shot.pieces[cut] == stone.id,
                shot.regions[cut],
                np.ones((h, w), bool),
            )


def labelled_faces(folder: Path):
    """The same of photographs with masks; ``unsure`` pixels are not judged."""
    for name in stone_names(folder):
        stone = labelled_stones(folder, name)
        sure = np.ones(stone.regions.shape, bool) if stone.unsure is None else ~stone.unsure
        y, x = np.nonzero(stone.regions)
        cut = np.s_[y.min() : y.max() + 1, x.min() : x.max() + 1]
        codes = stone.regions[cut]
        yield _at_size(stone.rgb[cut], codes > 0, codes, sure[cut])


def _at_size(rgb, mask, codes, sure):
    factor = min(1.0, FACE_PX / max(mask.shape))
    size = (max(8, round(mask.shape[1] * factor)), max(8, round(mask.shape[0] * factor)))
    linear = srgb_curve()[cv2.resize(np.ascontiguousarray(rgb), size, interpolation=cv2.INTER_AREA)]

    def nearest(layer):
        return cv2.resize(layer.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)

    return linear, nearest(mask) > 0, nearest(codes), nearest(sure) > 0


def judge(method, faces) -> tuple[float, float]:
    """Return the region IoU and the share error in points, as the benchmark has them."""
    counts, found_shares, true_shares = [], [], []
    for linear, mask, truth, sure in faces:
        codes = method(linear, mask)
        counts.append(metrics.region_counts(codes, truth, ~sure))
        found_shares.append(metrics.layer_shares(codes, mask))
        true_shares.append(metrics.layer_shares(truth, mask))
    error = metrics.share_error_points(np.nan_to_num(found_shares), np.array(true_shares))
    return metrics.region_iou(np.array(counts)), error


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--photos", type=int, default=60)
    ask.add_argument(
        "--learn", type=int, default=150, help="training renders for the superpixel classifier"
    )
    ask.add_argument("--labelled", type=Path, action="append", default=[])
    args = ask.parse_args()
    trained = Superpixels().fit(
        (lab_from_linear(f[0]), f[1], f[2]) for f in rendered_faces(TRAINING, 501, args.learn)
    )
    methods = {
        "adapted mixture": lambda linear, mask: adapted_mixture(lab_from_linear(linear), mask),
        "superpixels + trees": lambda linear, mask: trained.name(lab_from_linear(linear), mask),
        "network (ships)": lambda linear, mask: network(lab_from_linear(linear), mask, linear),
    }
    sets = {"held-out styles": list(rendered_faces(HELD_OUT, 502, args.photos))}
    sets |= {
        f"labelled set {k}": list(labelled_faces(folder))
        for k, folder in enumerate(args.labelled, 1)
    }
    print(
        "| method | "
        + " | ".join(f"{name} (n={len(f)}): IoU, share error" for name, f in sets.items())
        + " |"
    )
    print("|---" * (len(sets) + 1) + "|")
    for name, method in methods.items():
        cells = [
            f"{iou:.3f}, {error:.1f}"
            for iou, error in (judge(method, faces) for faces in sets.values())
        ]
        print(f"| {name} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    main()
