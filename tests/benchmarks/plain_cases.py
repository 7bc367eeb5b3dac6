"""Grades the plain cases that any digger would grade alike, and prints what comes out.

``python tests/benchmarks/plain_cases.py [--draws N] [--first N] [--cases 1,2,10b] [--makes tuning,folded]
[--kept FOLDER] [--write]``: each case is drawn so many times, read and measured as ``grader check`` does with a card in
the picture (its scale and its white are given as such a card gives them), and graded. ``--order`` prints the scenes
alone, on true regions. Tune on the make called tuning, never on the others.
"""

import argparse
import hashlib
import pickle
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import tables
from plain_faces import CASES, KEPT_BACK, MAKES, ORDER, Case, Make, draw_case
from scene_figures import Drawn

from grader.drawn import LEAST_SHOWN_SHARE, same_stone
from grader.face.measurements import Line, RegionColour
from grader.grade import MeasuredPiece, facts_of, measure_photo
from grader.grading.models.model import Model
from grader.grading.models.model_files import load_model
from grader.grading.propose import propose, scene_estimate
from grader.measures import MEASUREMENT_VERSION
from grader.photo.colour import srgb_encoding
from grader.photo.illuminant import Illuminant
from grader.photo.light import MEASURED_SD, estimated_white
from grader.photo.photo import Photo, Scale
from grader.photo.reference import no_reference
from grader.photo.terms import PhotoTerms
from grader.profile import Profile, load_profile
from grader.render import Rendered

NOT_FOUND, RETAKE = "not found", "retake"


@dataclass(frozen=True)
class Outcome:
    """What comes out of one draw of a case: the headline's grades, the rules' own word, and the scene."""

    case: str
    make: str
    grades: tuple[str, ...]
    by_rules: str
    scene: int | None
    unfamiliar: bool = False

    @property
    def word(self) -> str:
        return " or ".join(self.grades)


def measured_case(
    case: Case, make: Make, draw: int, profile: Profile, kept: Path | None = None
) -> tuple[Rendered, MeasuredPiece | None]:
    """Return the drawn photo and its one stone, measured; ``None`` where it is not found."""
    name = f"{MEASUREMENT_VERSION}-{make.name}-{case.name}-{draw}.pickle"
    at = kept and kept / name
    if at and at.exists():
        return pickle.loads(at.read_bytes())
    rendered = draw_case(case, make, draw)
    photo = Photo(
        name=f"case {case.name}",
        rgb=rendered.rgb,
        encoding=srgb_encoding(),
        sha256=hashlib.sha256(rendered.rgb.tobytes()).hexdigest(),
        scale=Scale(rendered.mm_per_px, "hand"),
    )
    light = estimated_white(Illuminant(rendered.white, np.full(2, 0.01)))
    white = replace(light, source="card", sd=MEASURED_SD)
    reference = replace(no_reference(photo), white=white)
    pieces = measure_photo(photo, PhotoTerms(state="wet"), profile, reference).pieces
    found = next((p for p in pieces if same_stone(p.piece, rendered)), None)
    if at:
        at.write_bytes(pickle.dumps((rendered, found)))
    return rendered, found


def outcome(
    case: Case, make: Make, found: MeasuredPiece | None, profile: Profile, model: Model
) -> Outcome:
    """Return what is proposed for a measured case."""
    if found is None:
        return Outcome(case.name, make.name, (NOT_FOUND,), NOT_FOUND, None)
    facts = facts_of(found, profile)
    scene = scene_estimate(facts, model)
    proposal = propose(facts, scene, profile, model)
    grades = (RETAKE,) if proposal is None else proposal.likely
    by_rules = RETAKE if proposal is None else proposal.rules.grade
    unfamiliar = proposal is not None and proposal.unfamiliar is not None
    return Outcome(case.name, make.name, grades, by_rules, scene.score, unfamiliar)


def as_allowed(case: Case, told: Outcome) -> bool:
    """Whether every grade over the stone is one that the table allows."""
    return all(grade in case.allowed for grade in told.grades)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--draws", type=int, default=20)
    asked.add_argument(
        "--first", type=int, default=0, help="number of the first draw, for draws not seen before"
    )
    asked.add_argument("--cases", default=",".join(CASES), help="names with commas between")
    asked.add_argument("--makes", default=",".join(make.name for make in KEPT_BACK))
    asked.add_argument(
        "--kept", type=Path, help="a folder that keeps measured stones for the next time"
    )
    asked.add_argument("--model", help="folder of a model; the starter if not given")
    asked.add_argument(
        "--order", action="store_true", help="the order of scenes alone, on true regions"
    )
    asked.add_argument("--write", action="store_true", help="put the rows into figures/")
    args = asked.parse_args()
    cv2.setNumThreads(1)
    makes, profile = [MAKES[name] for name in args.makes.split(",")], load_profile()
    if args.order:
        print_order(makes, args.draws, profile)
        return
    model, told = load_model(args.model), []
    for name in args.cases.split(","):
        case = CASES[name]
        mine = [
            outcome(
                case, make, measured_case(case, make, draw, profile, args.kept)[1], profile, model
            )
            for make in makes
            for draw in range(args.first, args.first + args.draws)
        ]
        print(row(case, mine), flush=True)
        told += mine
    good = [as_allowed(CASES[one.case], one) for one in told]
    ruled = [one.by_rules in CASES[one.case].allowed for one in told]
    stranger = np.mean([one.unfamiliar for one in told])
    print(f"all: {np.mean(good):.0%} as allowed of {len(told)} draws; by the rules alone {np.mean(ruled):.0%}; "
          f"unfamiliar {stranger:.0%}")  # fmt: skip
    if args.write:
        write_rows(told, f"{args.makes}, draws from {args.first} on")


def row(case: Case, told: Sequence[Outcome]) -> str:
    """Return a case's line of the table: allowed, share as allowed, what else came out, scenes."""
    good = [as_allowed(case, one) for one in told]
    ruled = [one.by_rules in case.allowed for one in told]
    else_ = Counter(one.word for one, well in zip(told, good, strict=True) if not well)
    others = ", ".join(f"{word} {count}" for word, count in else_.most_common()) or "nothing else"
    scenes = [one.scene for one in told if one.scene is not None]
    low, high = case.scene
    off = sum(not low <= scene <= high for scene in scenes)
    scene = f"scene {np.median(scenes):.0f}" if scenes else "no scene"
    if (low, high) != (0, 100):
        scene += f" ({off} off {low:g} to {high:g})"
    strange = sum(one.unfamiliar for one in told)
    return (
        f"{case.name:>3} | {' or '.join(case.allowed):21} | {np.mean(good):4.0%} of {len(told)} (rules "
        f"{np.mean(ruled):4.0%}) | {others} | {scene}{f', {strange} unfamiliar' if strange else ''} | {case.words}"
    )


def write_rows(told: Sequence[Outcome], makes: str) -> None:
    """Put the rows into figures/."""
    rows = []
    for name in dict.fromkeys(one.case for one in told):
        mine = [one for one in told if one.case == name]
        good = [as_allowed(CASES[name], one) for one in mine]
        others = Counter(one.word for one, well in zip(mine, good, strict=True) if not well)
        n = f"{len(mine)} draws; {CASES[name].words}"
        else_ = (
            ", ".join(f"{word} {count}" for word, count in others.most_common()) or "nothing else"
        )
        rows.append(
            tables.Row(f"plain case {name}: as allowed ({' or '.join(CASES[name].allowed)})", "", n,
                       f"{np.mean(good):.2f}", else_, "≥ 0.95")
        )  # fmt: skip
    every = np.mean([as_allowed(CASES[one.case], one) for one in told])
    rows.append(
        tables.Row(
            "plain cases, all: as allowed", "", f"{len(told)} draws", f"{every:.3f}", "", "≥ 0.95"
        )
    )
    tables.write(
        "grading", [replace(r, measured_on=f"plain cases in the makes {makes}") for r in rows]
    )


def true_face(rendered: Rendered) -> Drawn:
    """Return the one stone of a drawn photo by its truth: regions, colours, cracks that show."""
    stone = rendered.stones[0]
    x, y, w, h = stone.box
    part = slice(y, y + h), slice(x, x + w)
    mine = rendered.pieces[part] == stone.id
    codes = np.where(mine, rendered.regions[part], 0).astype(np.uint8)
    names = ("blue", "white", "host")
    colour = {n: stone.colour.get(n) and RegionColour(*stone.colour[n], 0.0) for n in names}
    lines = []
    for line in rendered.lines:
        if line.kind == "crack" and line.seen_share >= LEAST_SHOWN_SHARE:
            points = np.asarray(line.points, float) - (x, y) + 2
            length = float(np.hypot(*np.diff(points, axis=0).T).sum())
            lines.append(Line(points, length, line.width_px, "crack", 1.0))
    return Drawn(np.pad(codes, 2), colour, rendered.mm_per_px, tuple(lines))


def print_order(makes: Sequence[Make], draws: int, profile: Profile) -> None:
    """Print the mean scene of each picture of the order, best first, on true regions."""
    for group in ORDER:
        for case in group:
            scores = [
                true_face(draw_case(case, make, draw)).scene(profile).score or 0.0
                for make in makes
                for draw in range(draws)
            ]
            spread = ", ".join(f"{s:.0f}" for s in sorted(scores))
            print(f"{case.name:>22}: {np.mean(scores):5.1f}   {spread}", flush=True)
        print("  --")


if __name__ == "__main__":
    main()
