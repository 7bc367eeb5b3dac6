"""Which stones come next."""

from dataclasses import replace
from decimal import Decimal

import pytest

from grader.table.choosing import group_rows, grouped, price_group, with_prices
from grader.table.order import PILES, Wish, counted, totals, wished
from grader.table.stones import TableStone
from grader.trade.prices import read_price_table

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


TABLE = read_price_table(
    'currency = "USD"\nbegins = 2025-03-01\nper = "kg"\n[by_weight]\nselect = 40\ncabbing = 20\n',
    "a test",
)
WEIGHED = [
    replace(one, code=f"07-00{n}", haul="07", proposed="cabbing", net_g=Decimal(500 * n))
    for n, one in enumerate(STONES[:3], start=1)
]


def test_a_stone_is_asked_for_what_the_price_table_says_and_in_a_lot_for_nothing_alone():
    """By hand: 20 a kg times 0.5, 1 and 1.5 kg."""
    stones = with_prices([*WEIGHED, replace(WEIGHED[0], lot="07-L1")], TABLE)
    assert [stone.asks for stone in stones] == [10, 20, 30, None]
    assert with_prices(WEIGHED, None) == WEIGHED
    chosen = wished(stones, Wish("Nell", "all", price_from=Decimal(20), price_to=Decimal(30)))
    assert [stone.asks for stone in chosen] == [20, 30]
    dearest = wished(stones, Wish("Nell", "all", first="dearest"))
    assert [stone.asks for stone in dearest] == [30, 20, 10, None]


@pytest.mark.parametrize(
    ("asks", "group"),
    [
        ("0", "0 to 1"),
        ("1", "1 to 2"),
        ("19.99", "10 to 20"),
        ("20", "20 to 50"),
        ("5000", "5000 to 10000"),
    ],
)
def test_a_price_lies_in_the_group_that_names_it(asks, group):
    assert price_group(Decimal(asks)) == group


def test_chosen_by_sorter_the_grade_is_that_sorters():
    assert names(pile="all", sorter="Ole") == ["divided"]
    assert names(pile="all", sorter="Ole", grade="select") == []
    assert names(pile="all", sorter="Nell", grade="select") == ["divided"]
    assert names(pile="all", sorter="Nobody") == []


def test_stones_are_put_together_the_best_grade_first_and_the_nameless_last():
    ladder = ("waste", "tumbling", "cabbing", "select")
    rows = grouped(STONES, "grade", "Nell", ladder)
    assert [name for name, _ in rows] == ["cabbing", "waste", "not called yet"]
    assert sum(len(own) for _, own in rows) == len(STONES)
    assert [name for name, _ in grouped(STONES, "mine", "Ole", ladder)][
        -1
    ] == "not called by me yet"
    assert [name for name, _ in grouped(STONES, "sorter", "", ladder)] == [
        "Nell", "Nell, Ole", "nobody yet",
    ]  # fmt: skip


def test_a_group_tells_how_much_of_it_is_weighed_and_priced():
    stones = with_prices([*WEIGHED, PLAIN], TABLE)
    (row, other) = group_rows(grouped(stones, "haul", "Nell"), TABLE, "g")
    assert (row["name"], row["words"]) == ("07", "3 stones, 3000 g, 60.00 USD asked")
    assert (other["name"], other["words"]) == ("no haul", "1 stone")
