"""The key of each grade, from the seller's own grade names."""

from collections.abc import Sequence
from string import ascii_lowercase


def grade_keys(grades: Sequence[str]) -> dict[str, str | None]:
    """Return the key of each grade, one small letter; ``None`` where no letter is left, then it is tapped.

    A name that alone begins with its letter has that letter. Names that begin alike each have the first letter in which
    they differ from one another, "cabbing" and "carving" b and r: their common first letter belongs to none of them, so
    that a hurried hand never takes one for the other. Where that letter is taken, the next one of the name counts, then
    the first of the alphabet that is free. Digits are no keys: they are for the scene.
    """
    first = {grade: next(iter(_letters(grade)), "") for grade in grades}
    beginnings = list(first.values())
    keys: dict[str, str | None] = {
        grade: letter for grade, letter in first.items() if letter and beginnings.count(letter) == 1
    }
    shared = {letter for letter in beginnings if beginnings.count(letter) > 1}
    for grade in grades:
        if grade in keys:
            continue
        others = [one for one in grades if one != grade and first[one] == first[grade]]
        apart = max((_alike(_letters(grade), _letters(one)) for one in others), default=0)
        wished = [*_letters(grade)[apart:], *_letters(grade)[:apart], *ascii_lowercase]
        taken = {*keys.values(), *shared}
        keys[grade] = next((letter for letter in wished if letter not in taken), None)
    return {grade: keys[grade] for grade in grades}


def _letters(name: str) -> str:
    """The letters of a name as a keyboard gives them, small."""
    return "".join(letter for letter in name.lower() if letter.isalpha())


def _alike(one: str, other: str) -> int:
    """How many letters two names have alike in front."""
    pairs = zip(one, other, strict=False)
    return next((n for n, (a, b) in enumerate(pairs) if a != b), min(len(one), len(other)))
