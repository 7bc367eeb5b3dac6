"""Held against each other: two stones by a person, that person's pairs and calls, two models on called stones, and the
stones of a season and a model."""

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from grader.called import (
    CalledStones,
    KnownLooks,
    called_in_ledger,
    called_in_tables,
    compared_stones,
    graded_stones,
    house_calls,
)
from grader.errors import CallsError
from grader.grading.learning.agreement import SideBySide, side_by_side
from grader.grading.learning.called_faces import CalledFaces, called_rungs
from grader.grading.learning.drift import far_features
from grader.grading.learning.pairs import PairsBesideCalls
from grader.grading.models.model import Model
from grader.ledger import views
from grader.ledger.facts import Compared, ComparisonBack, Entry, FacePlace, checked_author
from grader.ledger.store import Ledger, now
from grader.measures import MEASURES, Interval
from grader.photo.terms import PhotoTerms
from grader.profile import Profile
from grader.session import Session


def stones_to_compare(
    calls: Path | None,
    folders: Sequence[Path],
    terms: PhotoTerms,
    session: Session,
    *,
    time: str,
    on_photo: Callable[[int, int], None],
) -> CalledStones:
    """Return the called stones of a table, or of the ledger where none is given, with what is measured on them.

    folders, terms : of the table's photos.   time : of rows that tell none.
    """
    profile = session.profile
    if calls is None:
        ledger = session.need_ledger("comparing on your calls")
        decider = session.settings.decider
        return called_in_ledger(ledger, profile, decider=decider, on_photo=on_photo)
    return called_in_tables(
        calls, None, folders, terms, profile, session.ledger, time=time, on_photo=on_photo
    )


def faces_to_compare(
    models: Sequence[Model], stones: CalledStones, profile: Profile, origin: str
) -> tuple[CalledFaces, int]:
    """Return the called faces that no model has learned from, and how many others there are.

    origin : where the calls stand, as a person knows it.

    Raises
    ------
    CallsError
        No call holds a grade of the ladder: one line.
    """
    called = called_rungs(stones.calls, stones.features, profile)
    if not called.names:
        raise CallsError(f"{origin}: no grade in it that can be used; call some stones first")
    unseen = called.not_learned_by([model.for_ladder(profile) for model in models])
    return unseen, len(called.names) - len(unseen.names)


def compare_models(
    used: Model, other: Model, faces: CalledFaces, profile: Profile, origin: str
) -> SideBySide:
    """Return how well two models agree with the calls on faces that neither has learned from.

    Raises
    ------
    CallsError
        There are no such faces: one line.
    """
    if not faces.names:
        raise CallsError(
            f"{origin}: a model has learned from all of these; call other stones, or read its card.md"
        )
    pair = [model.for_ladder(profile) for model in (used, other)]
    rungs = [m.grade.rungs([m.complete(row, profile) for row in faces.rows]) for m in pair]
    rng = np.random.default_rng(0)
    return side_by_side(*rungs, faces.rung, len(profile.grades), faces.names, rng)


def season_features(
    folder: Path, model: Model, session: Session
) -> tuple[int, list[tuple[str, Interval]]]:
    """Return how many stones a graded folder holds, and the features that lie far from those that a model knows."""
    ledger = session.need_ledger("--stones")
    stones = graded_stones(folder, session.profile, model, ledger)
    complete = [model.complete(stone.facts.features, session.profile) for stone in stones]
    rows = [{name: row[name] for name in MEASURES if name in row} for row in complete]
    return len(rows), far_features(rows, model)


def save_comparison(
    better: FacePlace, other: FacePlace, of: str, by: str | None, ledger: Ledger, *, uid: str
) -> None:
    """Keep that one face is the better of two; kept once, however often it is sent.

    of : "scene" or "grade".   uid : of the fact.

    Raises
    ------
    CallsError
        It is a face beside itself: one line.
    """
    if (better.sha256, better.box) == (other.sha256, other.box):
        raise CallsError("that is a stone beside itself; compare two")
    fact = Compared(better, other, of, uid=uid)
    ledger.take([Entry(0, checked_author(by), now(), fact)])


def take_comparison_back(uid: str, by: str | None, ledger: Ledger) -> None:
    """Take back one's own comparison; taken back twice it is so once.

    Raises
    ------
    CallsError
        It is another person's, or none: one line.
    """
    held = {entry.fact.uid: entry.author for entry in views.comparisons(ledger, None)}
    if uid in held and held[uid] != by:
        raise CallsError(
            f"that pair was compared by {held[uid] or 'somebody unnamed'}; only they take it back"
        )
    if uid in held:
        ledger.add(ComparisonBack(uid), author=by)


def pairs_beside_calls(session: Session, of: str, most: int = 6) -> list[PairsBesideCalls]:
    """Return for each person who compared stones how well that goes with the person's own calls.

    of : "scene" or "grade".   most : so many of the worst pairs are named.
    """
    ledger, grades = session.need_ledger("comparisons"), session.profile.grades
    looks, found = KnownLooks(ledger), []
    rank = {grade: n for n, grade in enumerate(grades)}
    for by in dict.fromkeys(entry.author for entry in views.comparisons(ledger, of)):
        calls = (
            {(call.sha256, call.piece): call for call in house_calls(looks, by=by)[0]} if by else {}
        )
        _, pairs = compared_stones(looks, by, of)
        called = [(calls[one], calls[two]) for one, two in pairs if one in calls and two in calls]
        apart = []
        for one, two in called:
            values = [c.scene if of == "scene" else rank.get(c.grade) for c in (one, two)]
            if None not in values:
                apart.append((values[0] - values[1], (one, two)))
        worst = sorted((row for row in apart if row[0] < 0), key=lambda row: row[0])
        found.append(
            PairsBesideCalls(
                by, of, sum(gap > 0 for gap, _ in apart), sum(gap == 0 for gap, _ in apart),
                len(worst), tuple(pair for _, pair in worst[:most]),
            )
        )  # fmt: skip
    return found
