"""The cautions are told everywhere in the same words."""

from pathlib import Path

from grader.report.cautions import CAUTIONS, SAW_CAUTIONS
from grader.report.words import cautions_text


def words(text: str) -> str:
    return " ".join(text.split())


def test_the_readme_quotes_every_caution_with_its_source():
    readme = words((Path(__file__).parents[2] / "README.md").read_text("utf-8"))
    for caution in (*CAUTIONS, *SAW_CAUTIONS):
        assert words(caution.text) in readme
        assert words(caution.source) in readme


def test_the_text_page_tells_every_caution_with_its_source():
    text = cautions_text()
    for caution in CAUTIONS:
        assert caution.text in text
        assert caution.source in text


def test_a_limit_is_never_told_without_where_it_comes_from():
    for caution in CAUTIONS:
        assert caution.source or not any(letter.isdigit() for letter in caution.text)
