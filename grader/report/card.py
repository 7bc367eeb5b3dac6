"""The card of a retrained model: what it was made from, how good it is, what it cannot do."""

from grader.grading.features.features import FEATURES
from grader.grading.learning.candidates import (
    FOLDS,
    LEAST_FOR_PLAIN,
    Candidate,
)
from grader.grading.learning.retrain import Retrained
from grader.grading.models.prediction_set import LEVEL, PredictionSetRule
from grader.profile import Profile
from grader.report.retrain_report import report_lines


def retrained_card(retrained: Retrained, profile: Profile) -> str:
    """Return the text of ``card.md`` for a model that was retrained on a seller's calls and comparisons."""
    model, report = retrained.model, retrained.report
    versions = ", ".join(f"{name} {version}" for name, version in model.provenance.versions.items())
    by_grade = ", ".join(f"{grade} {count}" for grade, count in report.by_grade.items())
    figures = "\n".join(f"    {line}" for line in report_lines(report))
    weights = "\n".join(
        f"| `{name}` | {old:+.1f} | {new:+.1f} |" for name, (old, new) in retrained.points.items()
    )
    share = model.grade.ensemble_share
    ensemble = (
        f"\n{share:.0%} of a proposal is that of simulated sellers who would have called alike, among them one who "
        "grades as the starter does."
        if share
        else ""
    )
    names = "\n".join(f"- `{name}`" for name in FEATURES)
    return f"""# {model.label}

Proposes a grade of the ladder {", ".join(profile.grades)} (best last)
and a scene score of 0 to 100 for one photographed face, as the seller whose calls it learned from
would call it. The seller has the last word.

## Data

{model.provenance.data}, {model.provenance.date}. Stones with a called grade: {report.grades} ({by_grade});
with a called scene score: {report.scenes}; side-by-side comparisons: {report.comparisons}.
Hash of calls and features: `{model.provenance.data_sha256}`.
Profile {profile.name}, version {profile.version}, `{profile.sha256[:16]}`. {versions}.

## How good it is

Judged on calls that were held out, stone by stone, never photo by photo, and on comparisons that were held
out, one by one:

{figures}

## What it is made of, and its grade sets

{model.grade.kind.capitalize()}. {_kinds(report.kinds)}{ensemble}

{_sets(model.grade.set_rule)}

## How the scene score is made

Points that one whole unit of each adds (a part score goes from 0 to 1). A part score never takes
points away further than it did before. To begin again, retrain `--from` the starter's folder.

| part | old model | this model |
| --- | --- | --- |
{weights}

## Limits

It follows one seller's calls and comparisons on photos like those that it was shown. It sees what a photo shows:
no hidden crack, no depth, no weight. With few calls it says much of
what the starter or simulated sellers in common would, and little of this one.

## Features, in order

{names}
"""


def _kinds(kinds: tuple[Candidate, ...]) -> str:
    """How much each part says; of one alone no table, there was nothing to weigh."""
    if not kinds:
        return "No grade was called: they are proposed as before."
    if len(kinds) < 2:
        return f"Under {LEAST_FOR_PLAIN} stones no plain weights are learned."
    rows = "\n".join(
        f"| {k.kind} | {k.share:.0%} | {k.loss:.3f} "
        f"| {'not defined' if k.kappa is None else format(k.kappa, '.2f')} |"
        for k in kinds
    )
    return f"""Held out in turn, {FOLDS} groups of stones; a part says the more, the better it foretold the calls of
stones that it had not seen. Plain weights know these calls alone, nothing of the starter. Loss: mean of -log(chance of
the called grade). The figures above are of the whole way on stones that it had not seen.

| part | of a proposal | loss | kappa |
| --- | --- | --- | --- |
{rows}
"""


def _sets(rule: PredictionSetRule) -> str:
    if rule.min_probability == 0:
        return (
            "A grade set is the whole ladder: too few calls to leave a grade out, which takes nine."
        )
    return (
        f"A grade set holds the called grade of {LEVEL:.0%} of stones: every grade with a chance of at least\n"
        f"{rule.min_probability:.3f}, settled on {rule.n} stones held out."
    )
