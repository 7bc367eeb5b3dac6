"""At the table a button is named where the commands' own words name a command."""

import re
from pathlib import Path

import pytest

import grader
from grader.table.here import _BUTTONS, said_here

#: All that the package says, f-strings with what they are filled with: what stands in braces may be any word.
SAID = "\n".join(
    path.read_text()
    for path in Path(grader.__file__).parent.rglob("*.py")
    if path.name != "here.py"
)


@pytest.mark.parametrize(
    ("command", "here"),
    [
        (
            "07-002: is not weighed yet; grader weigh 07-002 612g",
            "07-002: is not weighed yet; weigh it under Weigh in",
        ),
        ("no haul 07; grader haul new 07 --raw WEIGHT begins one", "no haul 07; begin one under Weigh in"),
        (
            "name one '07-025 front.jpg' and grader batch its folder with --haul 07",
            "name one '07-025 front.jpg' and add it under Add photos, in haul 07",
        ),
        ("no dry weight (grader weigh 07-L1 WEIGHT)", "no dry weight (weigh it under Weigh in)"),
        ("07-001: is sold; grader return brings it back", "07-001: is sold; grader return brings it back"),
    ],
)  # fmt: skip
def test_a_command_with_a_button_is_told_by_the_button(command, here):
    assert said_here(command) == here


def test_no_words_stand_here_that_no_command_says():
    told = re.sub(r"\{[^{}\n]*\}", "X", SAID.replace('"\n            "', "").replace('" f"', ""))
    told = re.sub(r"\s*\"\n\s*f?\"", " ", told).replace("  ", " ").replace("\\.", ".")
    for command, _ in _BUTTONS:
        assert len(re.findall(command.replace(r"\d+g", "612g"), told)) >= 1, command
