"""Which stones come next."""

from dataclasses import replace
from decimal import Decimal

import pytest

from grader.table.order import PILES, Wish, counted, totals, wished
from grader.table.stones import TableStone

PLAIN = TableStone(
    id="0" * 16 + "-1", sha256="0" * 64, piece=1, measured="0" * 32, photo="plain.jpg", label="cabbing",
    likely=("cabbing",), sure=0.9, stranger=False, retake=False, against=False, area_cm2=4.0, picture=None,
)  # fmt: skip


def said(by, grade, note=None):
    return {"by": by, "grade": grade, "scene": None, "note": note}


def called(stone, *people):
    return replace(stone, people=people, word=people[-1])


STONES = [
    PLAIN,
    replace(PLAIN, photo="torn.jpg", likely=("cabbing", "select"), sure=0.5),
    replace(PLAIN, photo="strange.jpg", likely=(), sure=None, stranger=True),
    replace(PLAIN, photo="blurred.jpg", likely=(), sure=None, retake=True),
    replace(PLAIN, photo="ruled.jpg", against=True, area_cm2=9.0),
    called(replace(PLAIN, photo="otherwise.jpg", net_g=Decimal("612.5")), said("Nell", "waste")),
    called(replace(PLAIN, photo="divided.jpg"), said("Nell", "select"), said("Ole", "cabbing")),
    replace(called(replace(PLAIN, photo="left.jpg"), said("Nell", None)), left="Nell"),
]


def names(by="Nell", **wish):
    return [stone.photo.removesuffix(".jpg") for stone in wished(STONES, Wish(by, **wish))]


@pytest.mark.parametrize(
    ("pile", "there"),
    [
        ("open", ["plain", "torn", "strange", "ruled"]),
        ("unsure", ["torn", "strange"]),
        ("strangers", ["strange"]),
        ("retakes", ["blurred"]),
        ("rules", ["ruled"]),
        ("otherwise", ["otherwise"]),
        ("differ", ["divided"]),
        ("left", ["left"]),
        ("mine", ["otherwise", "divided"]),
    ],
)
def test_each_pile_holds_what_its_name_says(pile, there):
    assert names(pile=pile) == there
    assert counted(STONES, "Nell")[pile] == len(there)


def test_another_sorter_has_another_pile_of_open_stones():
    assert names("Ole", pile="open") == ["plain", "torn", "strange", "ruled", "otherwise", "left"]


def test_unsure_ones_come_first_and_strangers_before_all():
    assert names(pile="open", first="unsure") == ["strange", "torn", "plain", "ruled"]
    assert names(pile="open", first="largest")[0] == "ruled"
    assert names(pile="all", first="heaviest")[0] == "otherwise"


def test_filters_go_together():
    assert names(pile="all", grade="waste") == ["otherwise"]
    assert names(pile="all", proposed="select") == ["torn"]
    assert names(pile="all", text="LEFT") == ["left"]
    assert names(pile="mine", grade="select") == []


def test_totals_count_stones_and_what_was_weighed():
    rows = {
        row["grade"]: (row["stones"], row["weighed"], row["grams"])
        for row in totals(STONES, ("waste", "cabbing"))
    }
    assert rows == {"cabbing": (1, 0, 0), "waste": (1, 1, Decimal("612.5")), None: (6, 0, 0)}


def test_all_piles_are_tried_here():
    assert set(PILES) == {
        "open",
        "unsure",
        "strangers",
        "retakes",
        "rules",
        "otherwise",
        "differ",
        "left",
        "mine",
        "all",
    }
