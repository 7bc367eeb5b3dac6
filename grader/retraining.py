"""A model from the calls of the ledger, judged before it is used: what ``grader retrain`` and the table both do."""

from collections.abc import Callable
from pathlib import Path

from grader.called import CalledStones, called_in_ledger, nothing
from grader.errors import CallsError
from grader.grading.learning import retrain as learning
from grader.grading.learning.retrain import Retrained
from grader.grading.models.model import Model
from grader.grading.models.model_files import save_model
from grader.profile import Profile
from grader.report.card import retrained_card
from grader.report.retrain_report import data_words
from grader.session import Session

#: Told how many of how many are done.
Progress = Callable[[int, int], None]


def called_by(
    session: Session, by: str | None, agreed: bool, on_photo: Progress = nothing
) -> CalledStones:
    """Return what was called in the ledger: by one person, else the house's; or what two or more ``agreed`` on."""
    return called_in_ledger(
        session.need_ledger("learning from your calls"),
        session.profile,
        by=by,
        decider=session.settings.decider,
        agreed=agreed,
        on_photo=on_photo,
    )


def check_called(called: CalledStones, by: str | None, agreed: bool) -> None:
    """Refuse to learn from nothing.

    Raises
    ------
    CallsError
        No stone was called, or alike by two where that was asked for: one line.
    """
    if not called.calls and agreed:
        raise CallsError(
            "no stone in the ledger was called alike by two people yet; see who differs: "
            "grader calls --differ PAGE.html"
        )
    if not called.calls and not called.comparisons:
        whose = f" by {by}" if by else ""
        raise CallsError(f"no call{whose} in the ledger yet; call some stones first: grader call")


def learned(
    called: CalledStones,
    profile: Profile,
    base: Model,
    *,
    named: tuple[str, str],
    whose: str | None = None,
    on_step: Progress = nothing,
) -> Retrained:
    """Return the new model with its report; it is neither kept nor used.

    named : what it is called, and the day, ISO 8601.   whose : whose calls these are, where not the house's.
    """
    done = learning.retrain(
        called.calls,
        called.features,
        profile,
        base,
        comparisons=called.comparisons,
        appearances=called.appearances,
        on_step=on_step,
    )
    return done.named(*named, data_words(done.learned, whose))


def whose_words(by: str | None, agreed: bool) -> str | None:
    """Return whose calls were learned from, where not the house's."""
    return by or ("two or more people alike" if agreed else None)


def save_learned(done: Retrained, called: CalledStones, out: Path, profile: Profile) -> Path | None:
    """Save a new model with a few of the called stones as its samples; return where the one that lay there is kept."""
    samples = [called.features[stone] for stone in called.stones[:3]]
    return save_model(done.model, out, samples, retrained_card(done, profile), profile)
