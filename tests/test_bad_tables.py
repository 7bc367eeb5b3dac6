"""Tables and settings of a seller, garbled: each gives what it says, or one line that names the file."""

import time

import numpy as np
import pytest
from readers import READERS

from grader.errors import GraderError

#: What people, other programs and broken disks put where something else belongs.
STRAYS = (
    "", "=cmd|' /C calc'!A0", "-1", "1e999", "nan", "inf", "9" * 400, "1,35 kg", "½ lb", "\0", "\r", '"', "'", ";",
    "\t", "[" * 300, "{" * 300, "\ufeff", "\u202e", "💎", "[red]x[/red]", "../../etc", "true", "[]", "{}", "a" * 20_000,
)  # fmt: skip

#: What a fuzzer found (tests/benchmarks/fuzz.py) that was told in more than one plain line, or not told at all.
FOUND = (
    ("weighings.csv", b"piece,weight\n0\x036001,-12g,\n0056,iu1"),
    ("boxes.toml", b"begins = 2e777777777777777777777777777777777702"),
)  # fmt: skip


def _garbled(rng, text: str) -> bytes:
    """The text with one to four harms, each at a random place."""
    data = text.encode()
    for _ in range(rng.integers(1, 5)):
        start, end = sorted(int(n) for n in rng.integers(0, len(data) + 1, 2))
        harm = rng.integers(7)
        if harm == 0:
            data = data[:start]
        elif harm == 1:
            data = data[:start] + data[end:]
        elif harm == 2:
            data = data[:end] + data[start:]
        elif harm == 3:
            data = data[:start] + bytes(rng.integers(0, 256, 3, np.uint8)) + data[start + 3 :]
        elif harm == 4:
            parts = data.split(b"\n")
            rng.shuffle(parts)
            data = b"\n".join(parts)
        else:
            # A whole cell or value by a stray one.
            marks = [n for n, byte in enumerate(data) if byte in b",;=\n"] or [0]
            at = int(rng.choice(marks)) + 1
            close = next((n for n in marks if n >= at), len(data))
            data = data[:at] + str(rng.choice(STRAYS)).encode("utf-8", "replace") + data[close:]
    return data


@pytest.mark.parametrize("name", READERS)
@pytest.mark.parametrize("first", range(0, 200, 50))
def test_a_garbled_file_is_read_or_refused_in_one_line(name, first, tmp_path):
    read, text = READERS[name]
    path = tmp_path / name
    for seed in range(first, first + 50):
        path.write_bytes(_garbled(np.random.default_rng([seed, len(name)]), text))
        began = time.perf_counter()
        _check(read, path, seed)
        assert time.perf_counter() - began < 5, seed


def _check(read, path, seed=None) -> None:
    try:
        read(path)
    except GraderError as err:
        lines = str(err).split("\n")
        # Spots are typed by the dozen: every row that is wrong is told at once, a line each.
        assert len(lines) == 1 or path.name == "spots.csv", (seed, str(err))
        assert all(line.isprintable() and len(line) < 600 for line in lines), (seed, str(err))


@pytest.mark.parametrize(("name", "content"), FOUND)
def test_what_a_fuzzer_found_is_told_in_one_line(name, content, tmp_path):
    (tmp_path / name).write_bytes(content)
    _check(READERS[name][0], tmp_path / name)


@pytest.mark.parametrize("name", READERS)
def test_what_is_not_garbled_is_read(name, tmp_path):
    read, text = READERS[name]
    (tmp_path / name).write_text(text, "utf-8")
    read(tmp_path / name)


@pytest.mark.parametrize("name", READERS)
def test_harms_are_of_more_than_one_kind(name, tmp_path):
    read, text = READERS[name]
    path, told = tmp_path / name, set()
    for seed in range(60):
        path.write_bytes(_garbled(np.random.default_rng([seed, len(name)]), text))
        try:
            read(path)
        except GraderError as err:
            told.add(str(err).removeprefix(str(path))[:40])
    assert len(told) >= 4
