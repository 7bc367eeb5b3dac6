"""What stands in a model's files, checked value by value: such a folder may come from anyone.

Each function returns the value and raises ``ValueError`` with one line that names it.
"""

from collections.abc import Mapping, Sequence

from grader.errors import quoted

#: No coefficient, spread or limit of a model is larger; odd ones would end in infinite scores.
MOST = 1e9
#: More letters no name in a model has; its data are told in more.
MOST_NAME, MOST_WORDS = 200, 2000


def number(name: str, value: object, least: float = -MOST, most: float = MOST) -> float:
    """A finite number within its range.

    Raises
    ------
    ValueError
        It is none: one line.
    """
    if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
        raise ValueError(f"{name} is {quoted(value)}, no number from {least:g} to {most:g}")
    return float(value)


def numbers(
    name: str, values: object, count: int | None = None, least: float = -MOST, most: float = MOST
) -> tuple[float, ...]:
    """A list of so many such numbers.

    Raises
    ------
    ValueError
        It is none: one line.
    """
    if not isinstance(values, list) or (count is not None and len(values) != count):
        raise ValueError(f"{name} is no list of {count if count is not None else 'some'} numbers")
    return tuple(number(name, value, least, most) for value in values)


def whole(name: str, value: object, least: int = 0, most: int = 10**9) -> int:
    """A whole number within its range.

    Raises
    ------
    ValueError
        It is none: one line.
    """
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise ValueError(f"{name} is {quoted(value)}, no whole number from {least} to {most}")
    return value


def text(name: str, value: object, most: int = MOST_NAME) -> str:
    """A text of one line that is not longer than that.

    Raises
    ------
    ValueError
        It is none: one line.
    """
    if not isinstance(value, str) or len(value) > most or "\n" in value:
        raise ValueError(f"{name} is {quoted(value)}, no line of {most} letters at most")
    return value


def texts(name: str, values: object, known: Sequence[str] | None = None) -> tuple[str, ...]:
    """A list of different names, each of the known ones where these are given.

    Raises
    ------
    ValueError
        It is none: one line.
    """
    if not isinstance(values, list):
        raise ValueError(f"{name} is {quoted(values)}, no list of names")
    names = tuple(text(name, value) for value in values)
    if len(set(names)) < len(names):
        raise ValueError(f"{name} names one twice")
    for one in names:
        if known is not None and one not in known:
            raise ValueError(f"{name} has {quoted(one)}, which is not known")
    return names


def features(name: str, values: object, known: Mapping) -> dict[str, float | None]:
    """A face's features by name: numbers, or nothing where one is not known.

    Raises
    ------
    ValueError
        It holds something else: one line.
    """
    if not isinstance(values, dict) or not values.keys() <= known.keys():
        raise ValueError(f"{name} holds no features")
    return {
        key: None if value is None else number(f"{name}, {key}", value)
        for key, value in values.items()
    }
