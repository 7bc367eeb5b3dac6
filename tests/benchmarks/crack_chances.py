"""Writes tests/face/crack_chances.csv: what the network says of lines on tuning renders, and which are cracks.

    python tests/benchmarks/crack_chances.py [--photos N]

Renders of the held-out style by the tuning seed, faces by their true outlines. A line is a crack where most of it lies
within 5 px of a drawn one; lines on what is too faint to see are left out (crack_figures.py). ``said`` is the network's
chance of a whole line before its calibration.
"""

import argparse
import csv
from pathlib import Path

import numpy as np
from crack_faces import TUNING_SEED, KnownFace, faces_of
from crack_figures import _chances, _one_thread, _piece
from renders import drawn_photo

from grader.face.lines.cracks import SHIFT, SLOPE, find_cracks
from grader.face.regions.regions import find_regions
from grader.face.sight.cut import cut_face
from grader.face.sight.glare import find_glare
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo
from grader.photo.reference import no_reference
from grader.profile import load_profile

TABLE = Path(__file__).parents[1] / "face" / "crack_chances.csv"


def main() -> None:
    """Write the table, a row as soon as a line is seen."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--photos", type=int, default=40)
    photos = ask.parse_args().photos
    _one_thread()
    with open(TABLE, "w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(["photo", "said", "is_crack"])
        for number in range(photos):
            for _, face in faces_of(drawn_photo(TUNING_SEED, number)):
                table.writerows((number, f"{said:.4f}", int(true)) for said, true in lines_of(face))
            file.flush()


def lines_of(face: KnownFace) -> list[tuple[float, bool]]:
    """Return the network's own chance of each line of a face, and whether it is a crack."""
    photo = Photo("face", face.rgb, srgb_encoding(), "")
    cut = cut_face(photo, _piece(face.mask), no_reference(photo))
    lines = find_cracks(cut, find_regions(cut, find_glare(cut), load_profile()))
    paths = [(line.probability, cut.to_photo_px(line.points) - 0.5) for line in lines]
    return [(_uncalibrated(p), bool(true)) for p, true in _chances(face, paths)]


def _uncalibrated(probability: float) -> float:
    odds = (np.log(probability / (1 - probability)) - SHIFT) / SLOPE
    return float(1 / (1 + np.exp(-odds)))


if __name__ == "__main__":
    main()
