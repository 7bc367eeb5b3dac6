"""What stands around every command."""

import io
import os
import subprocess
import sys
import unicodedata
from decimal import Decimal

import pytest
from rich.console import Console
from rich.progress import Progress

from grader.cli.main import HarmlessStream
from grader.errors import harmless, quoted

#: A title that is set, colours, a line wiped out, one letter for the same, and letters turned round.
STEERING = "\x1b]0;owned\x07", "\x1b[31m", "\r", "\x9b2K", "\u202egpj.exe"


@pytest.mark.parametrize("text", STEERING)
def test_names_that_would_steer_a_terminal_are_only_shown(cli, text):
    name = f"a{text}b.jpg"
    cli.photo(name)
    (cli.folder / "bad").mkdir()
    cli.photo(f"bad/{name}", "bad")
    for ran in (
        cli.run("check", name),
        cli.run("check", f"bad/{name}"),
        cli.run("check", f"gone{name}"),
        cli.run("check", name, "--picture", f"{name}.txt"),
        cli.run("check", name, "--profile", name),
        cli.run(name),
    ):
        both = ran.stdout + ran.stderr
        assert text not in both and both == harmless(both)
        assert "b.jpg" in both or text == STEERING[-1]


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "latin-1"])
def test_a_whole_process_prints_nothing_that_steers(tmp_path, encoding):
    run = "from grader.cli.main import run; run()"
    name = f"a{''.join(STEERING)}.jpg"
    done = subprocess.run(
        [sys.executable, "-c", run, "check", name], cwd=tmp_path, capture_output=True,
        env=os.environ | {"PYTHONPATH": os.getcwd(), "PYTHONIOENCODING": encoding},
    )  # fmt: skip
    assert done.returncode == 1 and b"no such file" in done.stderr
    assert not set(done.stderr.replace(b"\n", b"")) & {*range(32), 127}
    assert b"\xe2\x80\xae" not in done.stderr


def test_the_bar_of_a_batch_is_still_drawn(monkeypatch):
    screen = io.StringIO()
    monkeypatch.setattr(sys, "stderr", HarmlessStream(screen))
    with Progress(console=Console(stderr=True, force_terminal=True)) as progress:
        progress.add_task("grading", total=3)
    assert "\x1b[" in screen.getvalue() and "\N{REPLACEMENT CHARACTER}" not in screen.getvalue()


def test_words_of_all_scripts_lines_and_tabs_are_left_as_they_are():
    text = "größe\tשלום\n雪\N{ZERO WIDTH NON-JOINER}می"
    assert harmless(text) == text


def test_a_value_is_told_in_a_line():
    assert quoted("a\nb") == "'a\\nb'"
    assert quoted([Decimal("0.60"), 1]) == "[0.60, 1]"
    assert len(quoted("x" * 1000)) < 70
    assert quoted(1 << 50_000) == "too long to show"
    deep = []
    for _ in range(100_000):
        deep = [deep]
    assert quoted(deep) == "too long to show"


def test_every_control_character_but_line_and_tab_is_only_shown():
    # The Unicode Character Database, as Python ships it: category Cc.
    for letter in map(chr, range(0x3000)):
        steers = unicodedata.category(letter) == "Cc" and letter not in "\n\t"
        turns = unicodedata.bidirectional(letter) in (
            "LRE",
            "RLE",
            "LRO",
            "RLO",
            "PDF",
            "LRI",
            "RLI",
            "FSI",
            "PDI",
        )
        marks = letter in "\N{LEFT-TO-RIGHT MARK}\N{RIGHT-TO-LEFT MARK}"
        assert (harmless(letter) != letter) == (steers or turns or marks), hex(ord(letter))
