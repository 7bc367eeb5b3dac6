"""Calls as lines, records and a table; who differs from whom: each worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score

from grader.face.lines.line_words import LineWord
from grader.grading.calls.calls_csv import read_calls_csv
from grader.grading.disagreement import Confused, agreed_call, gap, pairs_of
from grader.grading.proposal import Call, Shown
from grader.report.call_list import ListedCall, call_lines, call_records, calls_csv
from grader.report.calls import with_calls
from grader.report.disagreement import (
    Disagreement,
    DisputedStone,
    disagreement_lines,
    disagreement_page,
    pair_lines,
)
from grader.report.drift import Drift
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


def agreed(*people):
    call = agreed_call(people)
    return call and (call.grade, call.scene)


def test_only_what_two_say_and_nobody_says_otherwise_is_agreed():
    assert agreed(by("A", "waste", 40), by("B", "waste", 50)) == ("waste", 45)
    assert agreed(by("A", "waste"), by("B", "waste"), by("C", "cabbing")) is None
    assert agreed(by("A", "waste")) is None and agreed() is None
    assert agreed(by("A", "waste", 40), by("B", None, 44)) == (None, 42)
    assert agreed(by("A", "waste", 10), by("B", "waste", 30)) == ("waste", None)
    assert agreed(by("A", "waste"), by("B", "waste"), by("C", None)) == ("waste", None)


def pairs(*stones):
    return pairs_of(
        [[by(name, *fields) for name, fields in stone.items()] for stone in stones],
        GRADES,
        np.random.default_rng(0),
    )


#: Rows are Nell's, columns Ole's: Cohen 1968, Psychol. Bull. 70:213-220, doi 10.1037/h0026256.
COHEN = [[88, 14, 18], [10, 40, 10], [2, 6, 12]]


def test_the_kappa_of_two_people_is_that_of_the_published_table():
    (pair,) = pairs(
        *(
            {"Nell": (GRADES[i],), "Ole": (GRADES[j],)}
            for i, row in enumerate(COHEN)
            for j, count in enumerate(row)
            for _ in range(count)
        )
    )
    # Quadratic weights of that table, computed apart.
    assert pair.kappa.value == pytest.approx(0.45455, abs=1e-5)
    # Outside value of the range: the large-sample error of Fleiss, Cohen & Everitt 1969, Psychol. Bull. 72:323-327
    # (formula from memory).
    p, rung = np.array(COHEN) / 200, np.arange(3)
    w = 1 - (rung[:, None] - rung) ** 2 / 4
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed, chance = (w * p).sum(), (w * np.outer(rows, columns)).sum()
    means = (w @ columns)[:, None] + rows @ w
    spread = (p * (w * (1 - chance) - means * (1 - observed)) ** 2).sum()
    spread -= (observed * chance - 2 * chance + observed) ** 2
    half = 1.96 * (spread / 200) ** 0.5 / (1 - chance) ** 2
    assert pair.kappa.high - pair.kappa.low == pytest.approx(2 * half, rel=0.1)
    # By hand from the table.
    assert (pair.both, pair.same, pair.higher, pair.lower) == (200, 140, 42, 18)
    assert pair.confused == (
        Confused("waste", "tumbling", 24, 14),
        Confused("waste", "cabbing", 20, 18),
        Confused("tumbling", "cabbing", 16, 10),
    )


def test_photos_of_one_piece_count_as_one_stone_in_the_range():
    """Outside value: sklearn.metrics.cohen_kappa_score; five photos of each of 12 pieces tell no more than one."""
    rng = np.random.default_rng(2)
    nell = rng.integers(0, 4, 12)
    ole = np.clip(nell + rng.integers(-1, 2, 12), 0, 3)
    rows = list(zip(nell, ole, strict=True))

    def found(times, named):
        stones = [
            [
                by("Nell", GRADES[a], stone=f"L-{n}" if named else None),
                by("Ole", GRADES[b]),
            ]
            for n, (a, b) in enumerate(rows)
            for _ in range(times)
        ]
        (pair,) = pairs_of(stones, GRADES, np.random.default_rng(0))
        return pair

    once, five, loose = found(1, True), found(5, True), found(5, False)
    assert once.kappa.value == pytest.approx(cohen_kappa_score(nell, ole, weights="quadratic"))
    assert five.kappa.value == pytest.approx(once.kappa.value)
    width = five.kappa.high - five.kappa.low
    assert width == pytest.approx(once.kappa.high - once.kappa.low, rel=0.1)
    assert loose.kappa.high - loose.kappa.low < 0.6 * width
    assert "of the 60 photos of 12 stones that both called" in pair_lines(five)[0]


def test_two_people_are_told_in_plain_words_then_the_grades_they_confuse_then_kappa():
    same = [{"Nell": ("cabbing",), "Ole": ("cabbing",)}] * 9
    up = [{"Ole": ("cabbing",), "Nell": ("tumbling",)}] * 2
    down = [{"Nell": ("select",), "Ole": ("waste",)}]
    (pair,) = pairs(*same, *up, *down)
    assert (pair.both, pair.same, pair.higher, pair.lower) == (12, 9, 2, 1)
    plain, confused, kappa = pair_lines(pair)
    assert plain == (
        "Nell and Ole agree on 9 of the 12 stones that both called; where not, Ole is mostly one grade higher"
    )
    assert confused == (
        "Nell and Ole differ between tumbling and cabbing on 2 stones (Ole says cabbing), waste and select on 1 (Nell "
        "says select)"
    )
    theirs = cohen_kappa_score([2] * 9 + [1] * 2 + [3], [2] * 11 + [0], weights="quadratic")
    assert kappa.startswith(f"Nell and Ole: kappa {theirs:.2f} (")


def test_few_stones_and_full_agreement_claim_no_range():
    (few,) = pairs(
        *[{"Nell": ("waste",), "Ole": ("cabbing",)}, {"Nell": ("cabbing",), "Ole": ("cabbing",)}]
    )
    assert pair_lines(few)[2].endswith("its range not known since the stones are too few")
    (full,) = pairs(*[{"Nell": (grade,), "Ole": (grade,)} for grade in GRADES * 5])
    assert pair_lines(full)[1] == (
        "Nell and Ole: kappa 1.00, its range not known since they never differ"
    )
    # All of one grade: nothing to differ about, so no kappa.
    (one,) = pairs(*[{"Nell": ("waste",), "Ole": ("waste",)}] * 12)
    assert len(pair_lines(one)) == 1


def test_the_grades_confused_most_are_named_and_the_others_counted():
    two = {(0, 1): 4, (1, 2): 3, (2, 3): 2, (0, 2): 1, (0, 3): 1}
    (pair,) = pairs(
        *(
            {"Nell": (GRADES[a],), "Ole": (GRADES[b],)}
            for (a, b), n in two.items()
            for _ in range(n)
        )
    )
    assert pair_lines(pair)[1].endswith("cabbing and select on 2 (Ole says select), others on 2")


@pytest.mark.parametrize(
    ("stones", "words"),
    [
        ([("waste", "waste")], "agree on the one stone that both called"),
        ([("waste", "waste")] * 2, "agree on all 2 stones that both called"),
        (
            [("waste", "select")],
            "do not agree on the one stone that both called; Ole is three grades higher",
        ),
        (
            [("waste", "waste"), ("select", "cabbing")],
            "agree on 1 of the 2 stones that both called; Ole is one grade lower on the other",
        ),
        (
            [("waste", "cabbing"), ("cabbing", "tumbling")],
            "agree on none of the 2 stones that both called; where not, Ole is as often higher as lower",
        ),
        (
            [("waste", "cabbing"), ("tumbling", "select")],
            "agree on none of the 2 stones that both called; where not, Ole is always two grades higher",
        ),
    ],
)
def test_how_two_people_agree(stones, words):
    (pair,) = pairs(*({"Nell": (one,), "Ole": (other,)} for one, other in stones))
    assert pair_lines(pair)[0] == f"Nell and Ole {words}"


def test_scenes_of_two_people_are_told_beside():
    (pair,) = pairs(
        {"Nell": (None, 40), "Ole": (None, 46)}, {"Nell": (None, 40), "Ole": (None, 30)}
    )
    assert pair_lines(pair) == [
        "Nell's and Ole's scenes of 2 stones lie 8 points apart or less, on half of them"
    ]


def test_of_three_people_each_two_are_told_with_most_in_common_first():
    found = pairs(
        {"Nell": ("waste",), "Ole": ("waste",)},
        {"Nell": ("waste",), "Ole": ("waste",), None: ("select",)},
    )
    assert [(pair.first, pair.second, pair.both) for pair in found] == [
        ("Nell", "Ole", 2), ("Nell", None, 1), ("Ole", None, 1),
    ]  # fmt: skip
    assert "unnamed is three grades higher" in pair_lines(found[1])[0]


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


NO_DRIFT = Drift((), (), ())


def page(*stones, more=0):
    count = len(stones) + more
    return disagreement_page(
        Disagreement(stones, (), count, count, 0, NO_DRIFT), "starter 0f0f0f0f"
    )


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
    nothing = Disagreement((), (), 0, 0, 0, NO_DRIFT)
    assert disagreement_lines(nothing) == ["no stone was called by two people yet"]


def test_the_page_counts_the_stones_left_out_and_says_how_to_sort_again():
    one, _ = stone(by("Nell", "select"), by("Ole", "waste"))
    assert "not shown" not in page(one)
    assert "1 stone more is not shown" in page(one, more=1)
    html = page(one, more=7)
    assert "7 stones more are not shown; those here divide" in html
    for command in ("call PHOTO --piece N --grade GRADE --by NAME", "second-look FOLDER --by NAME",
                    "retrain --agreed --out DIR"):  # fmt: skip
        assert f"grader {command}" in html
    assert "second-look" not in page()


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
    assert "1 stone differently" in unsettled(nell, ole) and "set decider" in unsettled(nell, ole)
