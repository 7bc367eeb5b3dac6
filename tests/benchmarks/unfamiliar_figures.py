"""Prints how often pictures of what is no stone are taken for unfamiliar, and how often stones are, with n and seed.

``python tests/benchmarks/unfamiliar_figures.py [--faces FILE] [--drawn N] [--others DIR ...] [--stones DIR ...]
[--write]``. Bricks, concrete, cloth, a hand, wood and gravel are drawn (``non_stones.py``); ``--others`` adds folders
of photographs of other things, ``--stones`` of stones of this kind. A picture counts as noticed where no stone is
found in it, where a retake is asked for, or where every stone found is unlike the stones that the model knows; "whole"
takes each picture for one face, so that finding stones does not help.
"""

import argparse
import hashlib
import os
from pathlib import Path

import numpy as np
import tables
from non_stones import NON_STONES
from tables import Row

from grader.batch import find_photos
from grader.errors import GraderError
from grader.grade import Graded, grade_photo
from grader.grading.learning.agreement import share
from grader.grading.models.model_files import load_model
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo
from grader.photo.terms import PhotoTerms
from grader.profile import load_profile
from grader.render import HELD_OUT
from grader.starter import HELD_OUT_PHOTOS, SEED, drawer, kept


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument(
        "--faces", type=Path, help="a file that keeps the drawn faces for the next time"
    )
    asked.add_argument("--drawn", type=int, default=20, help="pictures of each kind")
    asked.add_argument("--seed", type=int, default=41)
    asked.add_argument("--others", type=Path, nargs="*", default=[])
    asked.add_argument("--stones", type=Path, nargs="*", default=[])
    asked.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = asked.parse_args()
    rows = [*print_drawn(args.drawn, args.seed)]
    for folder in args.others:
        rows += print_photos(folder, "aim ≥ 0.95", "other things")
    draw = drawer(load_profile(), SEED, args.workers)
    if args.faces:
        draw = kept(args.faces, load_profile(), SEED, draw)
    faces = [face for face in draw(HELD_OUT, HELD_OUT_PHOTOS) if face.appearance]
    model = load_model().familiarity
    strange = [model.why_unfamiliar(face.appearance) is not None for face in faces]
    rows.append(
        _row("stones taken for unfamiliar", "faces of held-out renders", strange, "aim ≤ 0.05")
    )
    for folder in args.stones:
        rows += print_photos(folder, "aim ≤ 0.10", "stones")
    if args.write:
        tables.write("unfamiliar", rows)


def print_drawn(count: int, seed: int) -> list[Row]:
    """Each kind of drawn picture, found as usual and taken whole."""
    rows, every = [], {False: [], True: []}
    for number, (kind, draw) in enumerate(NON_STONES.items()):
        pictures = [draw(np.random.default_rng([seed, number, i])) for i in range(count)]
        for whole in (False, True):
            noticed = [
                is_noticed(grade_photo(_photo(kind, rgb), terms=PhotoTerms(whole=whole)))
                for rgb in pictures
            ]
            every[whole] += noticed
            rows.append(
                _row(f"other things noticed: {kind}, drawn{_how(whole)}", "drawn pictures", noticed)
            )
    for whole, noticed in every.items():
        name = f"other things noticed: all drawn{_how(whole)}"
        rows.append(_row(name, "drawn pictures", noticed, "aim ≥ 0.95"))
    return rows


def print_photos(folder: Path, floor: str, what: str) -> list[Row]:
    """Photographs of one folder, found as usual and taken whole; stones only as usual."""
    rows = []
    for whole in (False, True) if what == "other things" else (False,):
        unfamiliar = []
        for path in find_photos(folder, folder / "graded").values():
            try:
                graded = grade_photo(path, terms=PhotoTerms(whole=whole))
            except GraderError as err:
                print(err)
                continue
            if what == "other things":
                unfamiliar.append(is_noticed(graded))
            else:
                unfamiliar += [
                    p.proposal.unfamiliar is not None for p in graded.pieces if p.proposal
                ]
        name = folder.parent.name if folder.name == "photo" else folder.name
        words = "other things noticed" if what == "other things" else "stones taken for unfamiliar"
        rows.append(_row(f"{words}{_how(whole)}", f"photographs: {name}", unfamiliar, floor))
    return rows


def is_noticed(graded: Graded) -> bool:
    """Whether nothing in a picture is proposed with confidence."""
    return all(p.proposal is None or p.proposal.unfamiliar is not None for p in graded.pieces)


def _photo(name: str, rgb: np.ndarray) -> Photo:
    return Photo(name, rgb, srgb_encoding(), hashlib.sha256(rgb.tobytes()).hexdigest())


def _how(whole: bool) -> str:
    return ", taken whole" if whole else ""


def _row(name: str, on: str, hits: list[bool], floor: str = "") -> Row:
    figure = share(sum(hits), len(hits))
    print(f"{name}, {on}: {figure} of {len(hits)}", flush=True)
    low_high = f"{figure.low:.2f} to {figure.high:.2f}"
    return Row(name, on, str(len(hits)), f"{figure.value:.2f}", low_high, floor=floor)


if __name__ == "__main__":
    main()
