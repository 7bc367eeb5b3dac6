"""Grades the plain cases that any digger would grade alike, and prints what comes out.

``python tests/benchmarks/plain_cases.py [--draws N] [--cases 1,2,10b] [--makes tuning,folded] [--kept FOLDER]
[--write]``: each case is drawn so many times, read and measured as ``grader check`` does with a card in the picture
(its scale and its white are given as such a card gives them), and graded. ``--order`` prints the scenes alone, on true
regions. Tune on the make called tuning, never on the others.
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

from grader.drawn import same_stone
from grader.grade import MeasuredPiece, facts_of, measure_photo
from grader.grading.features.rules import grade_by_rules
from grader.grading.models.model import Model
from grader.grading.models.model_files import load_model
from grader.grading.proposal import Proposal
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
    grades = (RETAKE,) if proposal is None else headline(proposal)
    word = grade_by_rules(facts.features, profile)[0]
    return Outcome(
        case.name, make.name, grades, word, scene.score, bool(proposal and proposal.unfamiliar)
    )


def headline(proposal: Proposal) -> tuple[str, ...]:
    """Return the grade over a stone."""
    return (proposal.grade,)


def as_allowed(case: Case, told: Outcome) -> bool:
    """Whether every grade in the headline is one that the table allows."""
    return all(grade in case.allowed for grade in told.grades)
