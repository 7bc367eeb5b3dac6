"""Calls as lines, records and a table; who differs from whom: each worked out by hand."""

from dataclasses import replace

import pytest

from grader.face.lines.line_words import LineWord
from grader.grading.calls.calls_csv import read_calls_csv
from grader.grading.disagreement import gap, pairs_of
from grader.grading.proposal import Call, Shown
from grader.report.call_list import ListedCall, call_lines, call_records, calls_csv
from grader.report.calls import with_calls
from grader.report.disagreement import (
    Disagreement,
    DisputedStone,
    disagreement_lines,
    disagreement_page,
    pair_words,
)
from grader.report.words import calls_words, house_words, unsettled_words

GRADES = ("waste", "tumbling", "cabbing", "select")
HASH, BOX = "a" * 64, (10, 20, 300, 200)
CALL = Call(
    "lake.jpg", HASH, 1, BOX, "select", 70, "Nell", "2025-03-01T09:30:00+01:00", "fine shore",
    shown=Shown("cabbing", 55, "starter 0f0f0f0f", "wet"), uid="1" * 32,
)  # fmt: skip


def by(name, grade=None, scene=None, **more):
    return replace(CALL, by=name, grade=grade, scene=scene, note=None, **more)


# ---- lines, records and the table


def test_a_line_tells_day_person_stone_call_proposal_and_note():
    assert call_lines([ListedCall(CALL, "L-14")]) == [
        "2025-03-01  Nell  lake.jpg stone 1 (L-14)  select, scene 70  beside cabbing, scene 55  "
        "note: fine shore"
    ]


def test_lines_stand_below_each_other_and_tell_what_is_the_matter():
    other = by(None, "waste", shown=None)
    lines = call_lines(
        [
            ListedCall(CALL),
            ListedCall(other, lost="photo gone from /here/lake.jpg", taken_back=True),
        ]
    )
    assert lines[1].endswith("taken back; photo gone from /here/lake.jpg")
    assert "unnamed" in lines[1]
    assert lines[0].index("select") == lines[1].index("waste")


def test_a_note_of_several_lines_and_a_long_name_stay_one_line():
    long = replace(CALL, note="fine\nshore", photo="x" * 90 + ".jpg")
    lines = call_lines([ListedCall(long), ListedCall(CALL)])
    assert len(lines) == 2 and not any("\n" in line for line in lines)
    # The long one does not push the others.
    assert lines[1].index("select") < 80


@pytest.mark.parametrize(
    ("points", "where"),
    [
        (((15, 25), (25, 25)), "at the upper left corner"),
        (((300, 110), (306, 130)), "at the right edge"),
        (((150, 110), (170, 130)), "in the middle"),
    ],
)
def test_a_word_on_a_line_is_listed_with_its_place(points, where):
    word = LineWord(3, points, "crack", "open", "nail")
    (line,) = call_lines([ListedCall(by("Nell", line=word, shown=None))])
    assert line.endswith(f"line 3 {where}: a crack, found open (nail)")
    (record,) = call_records([ListedCall(by("Nell", line=word))])
    assert (record["line"]["where"], record["line"]["says"]) == (where, "crack")


def test_the_table_is_read_again_as_it_was(tmp_path):
    odd = by("Ole, the younger", "waste", 0, stone='the "big" one', uid="2" * 32)
    bare = by(None, None, 40, shown=None, uid="3" * 32)
    word = by("Nell", line=LineWord(1, ((0, 0), (1, 1)), "crack", None, None))
    listed = [ListedCall(CALL), ListedCall(odd), ListedCall(bare), ListedCall(word)]
    listed.append(ListedCall(CALL, taken_back=True))
    table = tmp_path / "calls.csv"
    table.write_text(calls_csv(listed), "utf-8")
    read = read_calls_csv(table, GRADES, "2026-01-01T00:00:00+00:00")
    assert read.refused == ()
    # uid, outline and measurement are of the ledger, not of a table.
    assert list(read) == [replace(call, uid=None) for call in (CALL, odd, bare)]


@pytest.mark.parametrize("time", ["9:30", "2025-03-01T09:30:00"])
def test_a_time_that_is_no_whole_one_says_nothing(tmp_path, time):
    table = tmp_path / "calls.csv"
    table.write_text(f"photo,piece,grade,scene,time\na.jpg,1,select,,{time}\n", "utf-8")
    (call,) = read_calls_csv(table, GRADES, "2026-01-01T00:00:00+00:00")
    assert call.time == "2026-01-01T00:00:00+00:00"


# ---- how far people differ


def test_a_gap_is_the_widest_of_all_people_grades_before_scenes():
    three = [by("A", "waste", 10), by("B", "cabbing"), by("C", "tumbling", 30)]
    assert gap(three, GRADES) == (2, 20)
    assert gap([by("A", "waste"), by("B", "waste", 30)], GRADES) is None
    assert gap([by("A", "waste", 11), by("B", "waste", 30)], GRADES) is None
    assert gap([by("A", "waste", 10), by("B", "waste", 30)], GRADES) == (0, 20)
    # A grade that left the ladder lies one from any other, and differs from none of its name.
    assert gap([by("A", "prime"), by("B", "select")], GRADES) == (1, 0)
    assert gap([by("A", "prime"), by("B", "prime")], GRADES) is None


def pairs(*stones):
    return pairs_of(
        [[by(name, *fields) for name, fields in stone.items()] for stone in stones], GRADES
    )


def test_two_people_are_told_in_plain_words():
    same = [{"Nell": ("cabbing",), "Ole": ("cabbing",)}] * 9
    up = [{"Ole": ("cabbing",), "Nell": ("tumbling",)}] * 2
    down = [{"Nell": ("select",), "Ole": ("waste",)}]
    (pair,) = pairs(*same, *up, *down)
    assert (pair.both, pair.same, pair.higher, pair.lower) == (12, 9, 2, 1)
    assert pair_words(pair) == (
        "Nell and Ole both called 12 stones: the same grade on 9; where not, Ole is mostly one "
        "grade higher"
    )


@pytest.mark.parametrize(
    ("stones", "words"),
    [
        ([("waste", "waste")], "called 1 stone: the same grade"),
        ([("waste", "waste")] * 2, "called 2 stones: the same grade on all"),
        (
            [("waste", "select")],
            "called 1 stone: not the same grade; Ole is three grades higher",
        ),
        (
            [("waste", "waste"), ("select", "cabbing")],
            "called 2 stones: the same grade on 1; Ole is one grade lower on the other",
        ),
        (
            [("waste", "cabbing"), ("cabbing", "tumbling")],
            "called 2 stones: never the same grade; where not, Ole is as often higher as lower",
        ),
        (
            [("waste", "cabbing"), ("tumbling", "select")],
            "called 2 stones: never the same grade; where not, Ole is always two grades higher",
        ),
    ],
)
def test_how_two_people_agree(stones, words):
    (pair,) = pairs(*({"Nell": (one,), "Ole": (other,)} for one, other in stones))
    assert pair_words(pair) == f"Nell and Ole both {words}"


def test_scenes_of_two_people_are_told_beside():
    (pair,) = pairs(
        {"Nell": (None, 40), "Ole": (None, 46)}, {"Nell": (None, 40), "Ole": (None, 30)}
    )
    assert (
        pair_words(pair) == "Nell's and Ole's scenes of 2 stones lie 8 points apart in the middle"
    )


def test_of_three_people_each_two_are_told_with_most_in_common_first():
    found = pairs(
        {"Nell": ("waste",), "Ole": ("waste",)},
        {"Nell": ("waste",), "Ole": ("waste",), None: ("select",)},
    )
    assert [(pair.first, pair.second, pair.both) for pair in found] == [
        ("Nell", "Ole", 2), ("Nell", None, 1), ("Ole", None, 1),
    ]  # fmt: skip
    assert "unnamed is three grades higher" in pair_words(found[1])


# ---- the page


def stone(*people, decider=None, **more):
    record = {"photo": {"file": "lake.jpg", "sha256": HASH, "warnings": []}}
    record["pieces"] = [
        {"id": 1, "box": list(BOX), "outline": [[10, 20], [310, 20], [310, 220], [10, 220]]}
    ]
    ((record,), _) = with_calls([record], people, decider)
    (piece,) = record["pieces"]
    given = {
        "photo": "lake.jpg",
        "piece": 1,
        "picture": b"\xff\xd8jpeg",
        "calls": tuple(piece["calls"]),
        "house": piece["call"],
        "proposal": {"grade": "cabbing", "scene": 55},
        "shown": ("cabbing",) * len(piece["calls"]),
    }
    return DisputedStone(**given | more), piece


def page(*stones):
    return disagreement_page(Disagreement(stones, (), len(stones)), "starter 0f0f0f0f")


def test_the_page_tells_each_word_whose_counts_and_what_was_proposed():
    one, _ = stone(by("Nell", "select", 70), by("Ole", "waste", 30), decider="Nell")
    html = page(replace(one, shown=("tumbling", "cabbing")))
    assert "Counts: select, scene 70 by Nell, who decides" in html
    assert "Proposed: cabbing, scene 55" in html and "starter 0f0f0f0f" in html
    assert html.count("proposed then:") == 1 and "proposed then: tumbling" in html
    assert "set decider" not in html
    assert "set decider in grader.toml" in page(stone(by("A", "waste"), by("B", "select"))[0])


def test_the_page_is_whole_in_itself_and_safe_with_any_name():
    nasty = "<script>alert(1)</script>"
    one, _ = stone(by(nasty, "select"), by("Ole", "waste"), photo=f"{nasty}.jpg", picture=None)
    html = page(one)
    assert "default-src 'none'" in html
    assert "&lt;script&gt;" in html and "<script" not in html
    assert "http:" not in html and "https:" not in html and "src=" not in html
    assert "Its picture is gone" in html


def test_people_who_agree_leave_a_page_that_says_so():
    assert "No stone was called otherwise" in page()
    assert disagreement_lines(Disagreement((), (), 0)) == ["no stone was called by two people yet"]


# ---- whose word, in words


def test_whose_word_counts_is_told_with_what_the_others_say():
    def words(*people, decider=None):
        return calls_words(stone(*people, decider=decider)[1])

    nell, ole = by("Nell", "select"), by("Ole", "cabbing")
    assert words(nell) == "select by Nell, 2025-03-01"
    assert words(nell, ole, decider="Nell") == (
        "select by Nell, who decides, 2025-03-01; Ole: cabbing"
    )
    assert words(nell, ole) == "cabbing by Ole, who spoke last, 2025-03-01; Nell: select"
    # Who spoke last said nothing of the grade: the scene is his.
    scene = by("Ole", None, 40)
    assert words(nell, scene) == (
        "select by Nell, who graded last, 2025-03-01; Ole: scene 40 (this scene counts)"
    )
    assert house_words(stone(nell, scene)[1]) == "select by Nell, who graded last; scene 40 by Ole"
    assert words(by(None, "waste"), nell, decider="Nell").endswith("; unnamed: waste")


def test_only_people_who_differ_without_one_who_decides_are_to_be_settled():
    def unsettled(*people, decider=None):
        return unsettled_words([{"pieces": [stone(*people, decider=decider)[1]]}])

    nell, ole = by("Nell", "select"), by("Ole", "cabbing")
    assert unsettled(nell) is None and unsettled(nell, by("Ole", "select")) is None
    assert unsettled(nell, ole, decider="Ole") is None
    assert "1 stone otherwise" in unsettled(nell, ole) and "set decider" in unsettled(nell, ole)
