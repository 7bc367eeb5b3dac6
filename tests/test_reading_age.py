"""The first page of README and a stone's screen read as easily as a school book: Flesch-Kincaid grade 8 at the most.

Kincaid, Fishburne, Rogers & Chissom 1975, Naval Technical Training Command, Research Branch Report 8-75 (from memory):
0.39 words / sentences + 11.8 syllables / words - 15.59. Syllables are counted by groups of vowels.
"""

import re
from pathlib import Path

import pytest

from grader.profile import load_profile
from grader.report.result import photo_record
from grader.report.screen import photo_text

HOUSE = Path(__file__).parents[1]
MOST = 8.0


def syllables(word: str) -> int:
    """Groups of vowels, without an end that is not spoken."""
    word = re.sub(r"(?<=[^aeiouyl])es$|(?<=[^aeiouydt])ed$|(?<=[^aeiouyl])e$", "", word.lower())
    return max(1, len(re.findall(r"[aeiouy]+", word)))


def grade(text: str) -> float:
    """Years of school that a text asks for."""
    sentences = [s for s in re.split(r"[.!?]+\s|\n", text) if re.search(r"[A-Za-z]", s)]
    words = [word for s in sentences for word in re.findall(r"[A-Za-z][A-Za-z']*", s)]
    spoken = sum(map(syllables, words))
    return 0.39 * len(words) / len(sentences) + 11.8 * spoken / len(words) - 15.59


def prose(markdown: str) -> str:
    """A page as it is read aloud: no commands, tables, pictures, headings; a point or a paragraph a line."""
    text = re.sub(
        r"```.*?```|!\[[^\]]*\]\([^)]*\)|^\|.*$", "", markdown, flags=re.DOTALL | re.MULTILINE
    )
    text = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", text).replace("**", "")
    text = re.sub(r"`[^`]*`", "it", text)
    parts = re.split(r"\n\s*\n|\n(?=\d+\. |- |#)", text)
    parts = [" ".join(part.split()) for part in parts if not part.lstrip().startswith("#")]
    return "\n".join(re.sub(r"^(-|\d+\.)\s+", "", part) for part in parts)


@pytest.mark.parametrize(
    ("word", "count"),
    [("stone", 1), ("grades", 1), ("called", 1), ("table", 2), ("picture", 2), ("uncertain", 3), ("photograph", 3),
     ("saved", 1), ("printed", 2), ("the", 1), ("ledger", 2)],
)  # fmt: skip
def test_syllables_as_in_a_dictionary(word, count):
    assert syllables(word) == count


def test_the_grade_of_a_sentence_worked_out_by_hand():
    # 6 words of 1 syllable each in one sentence: 0.39 * 6 + 11.8 - 15.59.
    assert grade("The cat sat on the mat.") == pytest.approx(-1.45)


def test_the_first_page_of_the_readme_is_easy_to_read():
    page = (HOUSE / "README.md").read_text("utf-8").partition("\n### Install, upgrade")[0]
    assert grade(prose(page)) <= MOST


def test_the_screen_of_a_stone_is_easy_to_read(make_graded, crack):
    text = photo_text(photo_record(make_graded(1, lines=(crack,))), load_profile())
    assert grade(text) <= MOST
