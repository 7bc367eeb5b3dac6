"""Agreements in words: figures beside each other, a line each."""

from grader.grading.learning.agreement import Agreement, Figure

#: The figures of an agreement in words, by their names.
FIGURES = (
    ("quadratic weighted kappa", "kappa"),
    ("same grade", "equal"),
    ("within one grade", "within_one"),
)


def beside(first: Agreement, second: Agreement, gain: Figure | None) -> list[str]:
    """Return two agreements beside each other, a line each figure, and what the second gains."""
    lines = [
        f"{words:<28}{getattr(first, name)!s:<24}{getattr(second, name)}" for words, name in FIGURES
    ]
    return [*lines, f"{'gain in kappa':<28}{'':<24}{gain}"]
