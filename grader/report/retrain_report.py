"""What retraining has brought, in words: the verdict first, then each figure with its 95 % interval in brackets."""

from grader.grading.learning.agreement import beyond
from grader.grading.learning.retrain_record import LearnedFrom, Moved, RetrainReport
from grader.report.agreement import beside_lines, figure_line
from grader.report.words import counted


def report_lines(report: RetrainReport) -> list[str]:
    """Return the report as plain lines, the verdict first; 95 % intervals in brackets."""
    lines = [verdict(report)]
    if report.old is not None and report.new is not None:
        lines.append(f"on {report.new.n} held-out calls, 95 % interval in brackets:")
        lines.append(f"{'':28}{'old':<24}new")
        lines += beside_lines(report.old, report.new, report.gain)
    if report.scene_old is not None:
        lines.append(figure_line("scene, mean points off", report.scene_old, report.scene_new))
    if report.comparisons_old is not None:
        lines.append(f"on {report.comparisons} comparisons, held out in turn:")
        shares = report.comparisons_old, report.comparisons_new
        lines.append(figure_line("scene agrees with them", *shares))
    if report.learned_before:
        lines.append(
            f"the old model has seen {report.learned_before} of these stones: "
            "it looks better here than it is"
        )
    if report.moved is not None:
        lines.append(moved_line(report.moved))
    return lines


def verdict(report: RetrainReport) -> str:
    """Return the first thing to be told, in one line."""
    if report.grades == 0 and report.comparisons:
        return _scene_verdict(report)
    if report.gain is None or report.gain.value is None:
        return (
            f"too few calls to judge ({counted(report.grades, 'stone')} with a grade, in "
            f"{counted(sum(n > 0 for n in report.by_grade.values()), 'grade')}): "
            "look at its proposals before you use the new model"
        )
    return {
        "unknown": "too few calls to tell whether the new model is better",
        "better": "the new model is better, beyond the uncertainty",
        "worse": "the new model is worse, beyond the uncertainty: keep the old one",
        "alike": "no difference beyond the uncertainty",
    }[beyond(report.gain)]


def _scene_verdict(report: RetrainReport) -> str:
    few = f"too few comparisons to judge ({report.comparisons}): the scene score stays close to the old one"
    return {
        "unknown": few,
        "better": "the new scene score follows your comparisons better, beyond the uncertainty",
        "worse": "the new scene score follows your comparisons worse, beyond the uncertainty: keep the old one",
        "alike": "the scene score: no difference beyond the uncertainty",
    }[beyond(report.comparison_gain)]


def data_words(learned: LearnedFrom, whose: str | None = None) -> str:
    """Return "20 stones called by Nell and 3 comparisons, from starter 01234567": what a model was made from.

    whose : calls these are, where not all people's.
    """
    also = f" and {counted(learned.comparisons, 'comparison')}" if learned.comparisons else ""
    stones = counted(learned.stones, "stone" if whose else "called stone")
    called = f" called by {whose}" if whose else ""
    return f"{stones}{called}{also}, from {learned.base}"


def moved_line(moved: Moved) -> str:
    """Return by how much what is proposed changes, in one line."""
    spans = [f"{low:.0f} to {high:.0f}" for low, high in (moved.new, moved.old)]
    return (
        f"{moved.otherwise} of {counted(moved.stones, 'stone')} called or compared would get another grade; scenes "
        f"move {moved.points:.0f} points on average: {spans[0]}, before {spans[1]}"
    )
