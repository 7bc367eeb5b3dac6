"""What stands in a TOML file, checked key by key; the first thing that is wrong is refused in one line.

A table is declared as its keys, each with a check. A check takes where the table stands, the key's whole name and the
value, and returns the value as it is to be kept or raises ``SettingsError``: where, which key, what it is, what to do.
"""

import difflib
import tomllib
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Any

from grader.errors import SettingsError, harmless, quoted
from grader.files import regular_bytes

Check = Callable[[str, str, object], Any]

#: No profile or ``grader.toml`` is larger.
MOST_BYTES = 1_000_000
#: Letters of a path; of a name or a meaning in a profile.
MOST_LETTERS, MOST_LINE_LETTERS = 4000, 200


def text_of(path: str | Path, most_bytes: int = MOST_BYTES) -> str:
    """Return the text of a file that a person wrote, with or without a byte-order mark.

    Raises
    ------
    SettingsError
        It is not there, no text in UTF-8, or too large: one line.
    """
    try:
        return regular_bytes(path, most_bytes).decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as err:
        reason = getattr(err, "strerror", None) or "not text in UTF-8"
        raise SettingsError(f"{path}: cannot be read ({reason}); check its name and place") from err


def parse_toml(text: str, where: str, parse_float: Callable[[str], Any] = float) -> dict:
    """Return what a TOML text holds.

    parse_float : of numbers with a point; ``Decimal`` where they are money or weights.

    Raises
    ------
    SettingsError
        No TOML, a number of too many digits, or lists within lists too deep to read: one line.
    """
    try:
        return tomllib.loads(text, parse_float=parse_float)
    except RecursionError as err:
        raise SettingsError(
            f"{where}: lists within lists too deep to read; mend or remove it"
        ) from err
    except ArithmeticError as err:
        raise SettingsError(
            f"{where}: a number in it is of more digits than can be read; write it out plainly"
        ) from err
    except ValueError as err:
        raise SettingsError(
            f"{where}: not valid TOML ({err}); mend that line: numbers with a point, words in quotes"
        ) from err


def check_keys(
    where: str, table: str, given: object, keys: Collection[str], needed: Collection[str] = ()
) -> None:
    """Refuse what is no table, a key that is none of ``keys``, and a table that lacks one of ``needed``.

    Raises
    ------
    SettingsError
        One line, as in all checks of this module.
    """
    if not isinstance(given, dict):
        raise SettingsError(f"{where}: {table} is {quoted(given)}; give a table of settings")
    for key in given:
        if key not in keys:
            raise SettingsError(
                f"{where}: {table} has no setting {quoted(key)}{nearest(str(key), keys)}; remove or rename it"
            )
    for key in needed:
        if key not in given:
            raise SettingsError(f"{where}: {table} lacks {key!r}; add it")


def check_values(
    where: str, table: str, given: dict[str, object], checks: Mapping[str, Check]
) -> dict[str, Any]:
    """Return the checked values of a table, in its own order; keys without a check are left out."""
    return {
        key: checks[key](where, f"{table}.{key}", value)
        for key, value in given.items()
        if key in checks
    }


def check_table(
    where: str,
    table: str,
    given: object,
    checks: Mapping[str, Check],
    needed: Collection[str] = (),
) -> dict[str, Any]:
    """Return the checked values of a table: ``check_keys``, then ``check_values``."""
    check_keys(where, table, given, checks, needed)
    return check_values(where, table, given, checks)


def check_rows(where: str, key: str, rows: object) -> list[dict]:
    """Return a list of tables as it is.

    Raises
    ------
    SettingsError
        It is none: one line.
    """
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise SettingsError(f"{where}: {key} is not a list of tables; write [[{key}]] above each")
    return rows


def check_number(where: str, key: str, value: object, low: float, high: float) -> float:
    """Return a number from ``low`` to ``high``, both in it.

    Raises
    ------
    SettingsError
        It is none, or out of that range: one line.
    """
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise SettingsError(
            f"{where}: {key} is {quoted(value)}; give a number from {low:g} to {high:g}"
        )
    return float(value)


def check_text(where: str, key: str, value: object) -> str:
    """Return a word or a line that is not empty and that a file could be called by.

    Raises
    ------
    SettingsError
        It is empty, or too long for a name of a file: one line.
    """
    if not isinstance(value, str) or not value.strip():
        raise SettingsError(f"{where}: {key} is {quoted(value)}; give a word or a line")
    if len(value) > MOST_LETTERS or "\0" in value:
        raise SettingsError(f"{where}: {key} is {quoted(value)}; give a name that a file can have")
    return value


def check_line(where: str, key: str, value: object) -> str:
    """Return a name or a meaning, which stands in tables and on sheets.

    Raises
    ------
    SettingsError
        It is empty or too long, or holds what would steer a screen: one line.
    """
    text = check_text(where, key, value)
    if len(text) > MOST_LINE_LETTERS or "\n" in text or harmless(text) != text:
        raise SettingsError(
            f"{where}: {key} is {quoted(text)}; give one line of plain letters, {MOST_LINE_LETTERS} at most"
        )
    return text


def number(low: float, high: float) -> Check:
    """A number from ``low`` to ``high``."""
    return lambda where, key, value: check_number(where, key, value, low, high)


def pair(low: float, high: float, rising: bool = True) -> Check:
    """Two numbers from ``low`` to ``high``, the lower first unless they need not rise."""

    def check(where: str, key: str, value: object) -> tuple[float, float]:
        if not isinstance(value, list) or len(value) != 2:
            raise SettingsError(f"{where}: {key} is {quoted(value)}; give two numbers")
        first, second = (check_number(where, key, v, low, high) for v in value)
        if rising and first > second:
            raise SettingsError(f"{where}: {key} is {quoted(value)}; give the lower number first")
        return first, second

    return check


def one_of(words: tuple[str, ...], guess: bool = True) -> Check:
    """One of some words; what comes near to one of them is asked for by it, unless ``guess`` is off."""

    def check(where: str, key: str, value: object) -> str:
        if value not in words:
            near = nearest(quoted(value), words) if guess else ""
            raise SettingsError(
                f"{where}: {key} is {quoted(value)}{near}; one of {', '.join(words)}"
            )
        return value

    return check


def nearest(word: str, words: Collection[str]) -> str:
    """Return the nearest of some words as a guess behind a message; nothing for what is no word at all."""
    if len(word) > MOST_LETTERS:
        return ""
    close = difflib.get_close_matches(word, list(words), n=1)
    return f" (did you mean {close[0]!r}?)" if close else ""
