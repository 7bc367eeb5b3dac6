"""Ways to find what a stone mirrors, on the same faces within the true outline: five really different ones.

``python tests/benchmarks/glare_methods.py [--labelled FOLDER] [--stones N]`` prints one table. Held-out surrounds are
drawn with lamps, reliefs, patterns and a camera that no network learned from (``grader.train.reflections``).
"""

import argparse
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from labelled import labelled_stones, stone_names
from numpy.typing import NDArray

from grader.face.face import Face
from grader.face.regions.regions import find_regions
from grader.face.sight.glare import find_glare
from grader.measures import UNREADABLE
from grader.photo.colour import chroma_hue, lab_from_linear, srgb_curve
from grader.photo.illuminant import estimate_illuminant
from grader.profile import load_profile
from grader.render import HELD_OUT, Style
from grader.train.reflections import draw_reflections

PROFILE = load_profile()
WHITE = 1 + next(k for k, c in enumerate(PROFILE.colours) if c.reads_as == "sky")
#: Seed of the held-out surrounds; training draws with others.
SEED = 9100
#: Px so near a reflection are not counted as stone beside it: its veil ends nowhere.
VEIL_PX = 4
#: The stone around a px is the median over this share of the face to each side; how far an added light may be off the
#: estimated light's colour, degrees between vectors of linear light.
AROUND_SHARE, LIGHT_DEG = 0.08, 10.0
LUMINANCE = np.float32([0.2126, 0.7152, 0.0722])


@dataclass(frozen=True)
class Case:
    """A face, where it truly is hidden, and which of its px are judged."""

    face: Face
    hidden: NDArray[np.bool_]
    judged: NDArray[np.bool_]


def threshold(face: Face) -> NDArray[np.bool_]:
    """The textbook: nearly as bright as the brightest of the face, and nearly without colour."""
    luminance = face.linear @ LUMINANCE
    chroma, _ = chroma_hue(face.lab)
    bright = luminance > 0.75 * np.percentile(luminance[face.mask], 99.9)
    return bright & (chroma < 15) & face.mask


def dichromatic(face: Face) -> NDArray[np.bool_]:
    """Two parts of each colour (Shafer 1985): where more than 62 % is grey light beyond what this stone usually has.

    The usual share of the weakest channel is the median over the stone; a white stone has nothing else.
    """
    weakest, strongest = face.linear.min(axis=-1), face.linear.max(axis=-1)
    usual = np.median(weakest[face.mask] / np.maximum(strongest[face.mask], 1e-3))
    added = np.clip((weakest - usual * strongest) / max(1 - usual, 0.05), 0, None)
    full = weakest > 0.97
    return ((added > 0.62 * (face.linear @ LUMINANCE)) & (added > 0.02) | full) & face.mask


def lamps_colour(face: Face) -> NDArray[np.bool_]:
    """Light added to the stone around it, of the colour of the light (as estimated), and more than half of all.

    A white band in a blue stone lies beyond that blue by yellow, a lamp's mirror by the lamp's own colour.
    """
    light = estimate_illuminant(face.linear * face.mask[..., None], whole=True).colour
    side = 2 * max(2, round(AROUND_SHARE * max(face.mask.shape))) + 1
    # Medians are taken on 8-bit roots: so dark stones keep their steps.
    roots = np.uint8(255 * np.sqrt(np.clip(face.linear, 0, 1)))
    around = (cv2.medianBlur(roots, side) / np.float32(255)) ** 2
    added = np.maximum(face.linear - around, 0)
    cosine = (added @ light) / np.maximum(
        np.linalg.norm(added, axis=-1) * np.linalg.norm(light), 1e-6
    )
    of_its_colour = cosine > np.cos(np.radians(LIGHT_DEG))
    most = added @ LUMINANCE > 0.5 * (face.linear @ LUMINANCE)
    return of_its_colour & most & (added @ LUMINANCE > 0.07) & face.mask


def network(face: Face) -> NDArray[np.bool_]:
    """The glare network alone."""
    return (find_glare(face) > 0.5) & face.mask


def network_and_light(face: Face) -> NDArray[np.bool_]:
    """The network, less each patch whose weakest channel is no lighter than the stone just around it.

    A mirrored light adds to all channels, so a patch of it must be lighter.
    """
    said = network(face).astype(np.uint8)
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(said)
    weakest = face.linear.min(axis=-1)
    for number in range(1, count):
        x, y, w, h, _ = boxes[number]
        cut = np.s_[max(0, y - 6) : y + h + 6, max(0, x - 6) : x + w + 6]
        own = labels[cut] == number
        ring = cv2.dilate(own.astype(np.uint8), np.ones((11, 11))) > 0
        ring &= (said[cut] == 0) & face.mask[cut]
        if ring.sum() >= 8 and np.median(weakest[cut][own]) < 1.1 * np.median(weakest[cut][ring]):
            said[labels == number] = 0
    return said > 0


def shipped(face: Face) -> NDArray[np.bool_]:
    """What a check says: the regions, with the glare they are given."""
    return find_regions(face, find_glare(face), PROFILE).codes == UNREADABLE


METHODS: dict[str, Callable[[Face], NDArray[np.bool_]]] = {
    "fixed threshold": threshold,
    "two parts of colour": dichromatic,
    "light added, of the lamp's colour": lamps_colour,
    "network": network,
    "network, patches no lighter than their surround left out": network_and_light,
    "regions of a check (ships)": shipped,
}


def labelled_cases(folder: Path) -> Iterator[Case]:
    """Photographs with what cannot be read marked by eye; unsure px are not judged."""
    for name in stone_names(folder):
        stone = labelled_stones(folder, name)
        y, x = np.nonzero(stone.regions)
        cut = np.s_[y.min() : y.max() + 1, x.min() : x.max() + 1]
        codes = stone.regions[cut]
        sure = np.ones(codes.shape, bool) if stone.unsure is None else ~stone.unsure[cut]
        yield Case(_face(stone.rgb[cut], codes > 0), codes == UNREADABLE, sure & (codes > 0))


def drawn_cases(stones: int, style: Style = HELD_OUT, seed: int = SEED) -> Iterator[Case]:
    """Drawn stones under drawn lamps, or under none that they mirror."""
    for number in range(stones):
        for drawn in draw_reflections(np.random.default_rng([seed, number]), style):
            yield Case(_face(drawn.rgb, drawn.mask), drawn.hidden, drawn.mask & ~drawn.veiled)


def _face(rgb: NDArray[np.uint8], mask: NDArray[np.bool_]) -> Face:
    linear = srgb_curve()[rgb]
    return Face(linear, lab_from_linear(linear), mask, 1.0, (0.0, 0.0))


def f1(said: NDArray[np.bool_], case: Case) -> float:
    """F1 of the judged px; 1 where nothing is hidden and nothing said."""
    said, true = said & case.judged, case.hidden & case.judged
    return float((2 * (said & true).sum() + 1e-9) / (said.sum() + true.sum() + 1e-9))


def called_wrongly(said: NDArray[np.bool_], case: Case) -> float:
    """Share of the stone, away from all that is hidden, that is called a reflection."""
    side = 2 * VEIL_PX + 1
    away = cv2.dilate(case.hidden.astype(np.uint8), np.ones((side, side))) == 0
    stone = case.judged & away
    return float((said & stone).sum() / max(1, stone.sum()))


def is_pale(case: Case) -> bool:
    """Whether most of the readable stone is white or cream to the eye: L* over 70, C*ab under 20."""
    seen = case.face.lab[case.judged & ~case.hidden]
    chroma, _ = chroma_hue(seen)
    return bool(len(seen)) and bool(np.mean((seen[:, 0] > 70) & (chroma < 20)) > 0.5)


def judge(method: Callable[[Face], NDArray[np.bool_]], cases: list[Case]) -> dict[str, float]:
    """Return the means over the photos, by what they are asked about."""
    said = [method(case.face) for case in cases]
    # A spot of a few px is scored by its border alone.
    mirror = [
        k for k, c in enumerate(cases) if (c.hidden & c.judged).sum() > 0.002 * c.judged.sum()
    ]
    plain = [k for k, c in enumerate(cases) if not c.hidden.any()]
    pale = [k for k, c in enumerate(cases) if is_pale(c)]

    def mean(which, score):
        return float(np.mean([score(said[k], cases[k]) for k in which])) if which else np.nan

    return {
        "F1 a photo": mean(mirror, f1),
        "stone called reflection": mean(range(len(cases)), called_wrongly),
        "on photos without": mean(plain, called_wrongly),
        "on pale stones": mean(pale, called_wrongly),
    }


def called_white(cases: list[Case]) -> float:
    """Share of the hidden px that a check names white, mean over photos with any."""
    shares = []
    for case in cases:
        hidden = case.hidden & case.judged
        if hidden.any():
            codes = find_regions(case.face, find_glare(case.face), PROFILE).codes
            shares.append(float(np.mean(codes[hidden] == WHITE)))
    return float(np.mean(shares))


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--labelled", type=Path)
    ask.add_argument(
        "--stones", type=int, default=60, help="of held-out surrounds, two pictures each"
    )
    told = ask.parse_args()
    sets = {"held-out surrounds": list(drawn_cases(told.stones))}
    if told.labelled:
        sets["labelled photographs"] = list(labelled_cases(told.labelled))
    for title, cases in sets.items():
        print(f"\n{title}: {len(cases)}\n")
        for number, (name, method) in enumerate(METHODS.items()):
            scores = judge(method, cases)
            if not number:
                print("| by | " + " | ".join(scores) + " |\n" + "| --- " * (len(scores) + 1) + "|")
            print(
                f"| {name} | " + " | ".join(f"{v:.3f}" for v in scores.values()) + " |", flush=True
            )
        print(f"\nreflection px called white: {called_white(cases):.3f}")


if __name__ == "__main__":
    main()
