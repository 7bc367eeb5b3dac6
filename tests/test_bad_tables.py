"""Tables and settings of a seller, garbled: each gives what it says, or one line that names the file."""

import time
from pathlib import Path

import numpy as np
import pytest

from grader.deals.weighing import read_weighings
from grader.errors import GraderError
from grader.grading.calls.calls_csv import read_calls_csv
from grader.grading.calls.comparisons_csv import read_comparisons_csv
from grader.profile import load_profile, profile_text
from grader.settings import load_settings
from grader.spots import read_spots_csv
from grader.trade.parcel import read_boxes
from grader.trade.prices import read_price_table
from grader.weight import read_weights

NOW = "2026-03-07T10:00:00+00:00"
CALLS = """photo,piece,grade,scene,note,box
IMG_1.jpg,1,select,80,"blue, white",10 20 30 40
IMG_1.jpg,2,waste,,,
"""
PRICES = """currency = "EUR"
begins = 2026-03-01
per = "kg"
[by_weight]
tumbling = 12.50
select = { any = 20, "40x30" = 35.5 }
[singles]
select = 2.5
[off]
"5kg" = 10
[chips]
"500g" = 3.50
"""
SETTINGS = """by = "Nell"
decider = "Nell"
unit = "lb"
currency = "EUR"
profile = "banded"
density = [2.6, 2.65]
mm_per_px = 0.05
[breaking]
loss = [0.01, 0.03]
"""
BOXES = """begins = 2026-03-01
packing = "90g"
fill = [0.4, 0.6]
[[boxes]]
name = "small"
inside = "30x20x15 cm"
most = "4lb"
to = "abroad"
"""
#: Read how, from which text: it need not be accepted as it is, only garbled ever more.
READERS = {
    "calls.csv": (lambda p: read_calls_csv(p, load_profile().grades, NOW), CALLS),
    "comparisons.csv": (
        lambda p: read_comparisons_csv(p, NOW),
        "better_photo,better_piece,other_photo,other_piece\nIMG_1.jpg,1,IMG_2.jpg,1\n",
    ),
    "weights.csv": (read_weights, "piece,weight\n1,612 g\n2,1.35lb\n3;1,35 kg\n"),
    "weighings.csv": (
        lambda p: read_weighings(p, None, "g"),
        "piece,weight\n07-001,612g\n07-113,1.35lb\n",
    ),
    "spots.csv": (
        read_spots_csv,
        "photo,x,y,w,h,class\nIMG_1.jpg,120,44,9,9,blue\nIMG_1.jpg,50,60,12,12,white\n",
    ),
    "prices.toml": (lambda p: read_price_table(_text(p), str(p)), PRICES),
    "boxes.toml": (lambda p: read_boxes(_text(p), str(p)), BOXES),
    "grader.toml": (lambda p: load_settings(p.parent), SETTINGS),
    "kind.toml": (load_profile, profile_text("banded")[1]),
}
#: What people, other programs and broken disks put where something else belongs.
STRAYS = (
    "", "=cmd|' /C calc'!A0", "-1", "1e999", "nan", "inf", "9" * 400, "1,35 kg", "½ lb", "\0", "\r", '"', "'", ";",
    "\t", "[" * 300, "{" * 300, "\ufeff", "\u202e", "💎", "[red]x[/red]", "../../etc", "true", "[]", "{}", "a" * 20_000,
)  # fmt: skip


def _text(path: Path) -> str:
    try:
        return path.read_text("utf-8")
    except UnicodeDecodeError as err:
        raise GraderError(f"{path}: not UTF-8", "input") from err


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
        try:
            read(path)
        except GraderError as err:
            lines = str(err).split("\n")
            # Spots are typed by the dozen: every row that is wrong is told at once, a line each.
            assert len(lines) == 1 or name == "spots.csv", (seed, str(err))
            assert all(line.isprintable() and len(line) < 600 for line in lines), (seed, str(err))
        assert time.perf_counter() - began < 5, seed


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
