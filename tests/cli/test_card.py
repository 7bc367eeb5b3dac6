"""``grader card`` as a person sees it."""

import subprocess
import sys

import pytest

from grader.report.photo_card import card_pdf


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ((), ("a4", 100.0)),
        (("--paper", "letter"), ("letter", 100.0)),
        (("--measured", "98.5"), ("a4", 98.5)),
    ],
)
def test_the_card_is_written(cli, options, expected):
    ran = cli.run("card", "--out", "cards/card.pdf", *options)
    assert ran.exit_code == 0, ran.output
    assert (cli.folder / "cards" / "card.pdf").read_bytes() == card_pdf(*expected)
    assert "measure the bar" in ran.stderr
    assert ran.stdout == ""


@pytest.mark.parametrize("measured", ["85", "120"])
def test_a_wrong_printer_scale_is_refused_in_one_line(cli, measured):
    ran = cli.run("card", "--out", "card.pdf", "--measured", measured)
    assert ran.exit_code == 1
    assert ran.stderr.startswith("grader: a bar of ")
    assert ran.stderr.count("\n") == 1
    assert not (cli.folder / "card.pdf").exists()


@pytest.mark.parametrize(
    "options", [("--paper", "b5"), ("--measured", "long"), ("--measured", "nan")]
)
def test_options_that_make_no_sense_are_refused(cli, options):
    assert cli.run("card", "--out", "card.pdf", *options).exit_code == 2


def test_another_ending_is_refused(cli):
    ran = cli.run("card", "--out", "card.png")
    assert ran.exit_code == 2
    assert "end the name in .pdf" in ran.stderr


def test_a_file_that_is_there_is_not_written_over(cli):
    (cli.folder / "card.pdf").write_text("mine")
    ran = cli.run("card", "--out", "card.pdf")
    assert ran.exit_code == 2
    assert (cli.folder / "card.pdf").read_text() == "mine"


def test_help_loads_neither_opencv_nor_reportlab():
    code = (
        "import sys; sys.argv = ['grader', 'card', '--help']\n"
        "from grader.cli.main import run\n"
        "try:\n    run()\nexcept SystemExit as done:\n    assert not done.code\n"
        "assert {'cv2', 'numpy', 'reportlab'}.isdisjoint(sys.modules)\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
