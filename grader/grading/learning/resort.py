"""A blind re-sort as it stands: which stone is asked for next, and the answers that hold."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from grader.grading.calls.calls import known_grade


@dataclass(frozen=True)
class Resort:
    """Stones 0 to ``count - 1``, asked for in that order.

    answers : grade by stone, in the order of answering.   left_out : stones that cannot be shown.
    """

    count: int
    answers: Mapping[int, str] = field(default_factory=dict)
    left_out: frozenset[int] = frozenset()

    @property
    def next(self) -> int | None:
        """The first stone that is neither answered nor left out; ``None`` where there is no more."""
        numbers = range(self.count)
        return next((n for n in numbers if n not in self.answers and n not in self.left_out), None)

    @property
    def last(self) -> int | None:
        """The stone that was answered last; ``None`` before the first answer."""
        return next(reversed(self.answers), None)

    def answer(self, grade: str) -> "Resort":
        """Return it with this grade for the next stone.

        Raises
        ------
        ValueError
            There is no next stone.
        """
        if self.next is None:
            raise ValueError("every stone is answered or left out")
        return replace(self, answers={**self.answers, self.next: grade})

    def undo(self) -> "Resort":
        """Return it without the last answer; as it is where there is none."""
        kept = {n: grade for n, grade in self.answers.items() if n != self.last}
        return replace(self, answers=kept)

    def leave_out(self) -> "Resort":
        """Return it with the next stone left out; as it is where there is none."""
        return replace(self, left_out=self.left_out | ({self.next} - {None}))


def begun_grade(word: str, grades: Sequence[str]) -> str:
    """Return the grade of a ladder that a word names, or that alone begins with it.

    Raises
    ------
    ValueError
        There is none: one line with the nearest name.
    """
    begins = [grade for grade in grades if grade.casefold().startswith(word.casefold())]
    return begins[0] if len(begins) == 1 else known_grade(word, grades)
