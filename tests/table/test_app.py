"""The table's routes: what is said there is in the ledger, and what is no word of a page gets no further than the
door."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import grader
from grader.grading.calls.left import LEFT
from grader.ledger import views
from grader.ledger.facts import new_uid
from grader.session import Session
from grader.table.tray import Tray

BAD = "<img src=x onerror=alert(1)>"


@pytest.fixture
def table(laid):
    return laid({f"IMG_{n}.jpg": f"1 photo {n}" for n in range(3)} | {"two.jpg": "2line"})


@pytest.fixture
def page(table, ask):
    return ask(table)


def ids(page, **wish):
    return page.get("/api/stones", params={"by": "Nell", "pile": "all"} | wish).json()["ids"]


def word(page, stone, by="Nell", **said):
    card = page.get(f"/api/stones/{stone}", params={"by": by}).json()
    body = {"uid": new_uid(), "stone": stone, "measured": card["measured"], "by": by}
    return body | {"heard": card["heard"]} | said


def holding(table):
    return [(call.grade, call.scene, call.by) for call in views.calls(table.ledger)]


def test_every_stone_lies_on_the_table(page):
    assert len(ids(page)) == 5
    assert page.get("/api/progress").json()["stones"] == 5


@pytest.mark.slow
def test_a_word_is_kept_in_the_ledger_with_what_was_shown(page, table):
    first = ids(page)[0]
    answer = page.post("/api/calls", word(page, first, grade="select", scene=70))
    assert answer.json()["tile"]["own"] == "select"
    (call,) = views.calls(table.ledger)
    assert (call.grade, call.scene, call.by, call.shown.grade) == ("select", 70, "Nell", "cabbing")
    assert first not in ids(page, pile="open")


def test_a_word_on_a_stone_that_is_not_laid_out_yet_is_to_be_sent_again(page, table, ask):
    """As after a restart: below 500 a page would take it for refused and give it up."""
    body = word(page, ids(page)[0], grade="select")
    again = Tray(table.session)
    assert ask(again).post("/api/calls", body).status_code == 503
    assert holding(table) == []
    again.lay().join()
    assert ask(again).post("/api/calls", body).status_code == 200
    assert holding(table) == [("select", None, "Nell")]


def test_a_word_sent_twice_is_kept_once(page, table):
    body = word(page, ids(page)[0], grade="select")
    answers = [page.post("/api/calls", body).status_code for _ in range(3)]
    assert (answers, holding(table)) == ([200] * 3, [("select", None, "Nell")])


def test_a_word_taken_back_twice_is_taken_back_once(page, table):
    first = ids(page)[0]
    body = word(page, first, grade="select")
    page.post("/api/calls", body)
    back = {"uid": new_uid(), "call": body["uid"], "stone": first, "by": "Nell"}
    assert [page.post("/api/back", back).status_code for _ in range(2)] == [200, 200]
    assert page.post("/api/back", back | {"uid": new_uid()}).status_code == 200
    assert holding(table) == []
    assert views.counts(table.ledger)["taken_back"] == 1
    # Sent again after that, by a phone that had not heard the answer: it stays taken back.
    page.post("/api/calls", body)
    assert holding(table) == []


def test_nobody_takes_back_what_another_said(page, table):
    first = ids(page)[0]
    body = word(page, first, grade="select", by="Ole")
    page.post("/api/calls", body)
    back = {"uid": new_uid(), "call": body["uid"], "stone": first, "by": "Nell"}
    answer = page.post("/api/back", back)
    assert (answer.status_code, "Ole" in answer.json()["error"]) == (409, True)
    assert holding(table) == [("select", None, "Ole")]


def test_of_two_at_one_stone_the_later_is_told_what_the_other_said(page, table):
    first = ids(page)[0]
    nell, ole = (
        word(page, first, by=by, grade=g) for by, g in (("Nell", "select"), ("Ole", "cabbing"))
    )
    assert page.post("/api/calls", nell).json()["others"] == []
    (other,) = page.post("/api/calls", ole).json()["others"]
    assert (other["by"], other["says"]) == ("Nell", "select")
    assert holding(table) == [("select", None, "Nell"), ("cabbing", None, "Ole")]
    assert ids(page, pile="differ") == [first]


def test_the_same_person_in_two_windows_is_told_as_well(page):
    first = ids(page)[0]
    one, other = (word(page, first, grade=grade) for grade in ("select", "cabbing"))
    page.post("/api/calls", one)
    assert page.post("/api/calls", other).json()["others"][0]["says"] == "select"


def test_a_word_while_the_table_is_open_is_seen_by_others(page, table, laid):
    first = ids(page)[0]
    with_own = Session(ledger=table.ledger.path)
    elsewhere = laid(session=with_own)
    from grader.table.saying import Said, say

    stone = elsewhere.stone(first)
    say(Said(new_uid(), stone, stone.measured, "Ole", "waste"), elsewhere)
    card = (
        page.get("/api/progress", params={"by": "Nell"}) and page.get(f"/api/stones/{first}").json()
    )
    assert [(call["by"], call["says"]) for call in card["calls"]] == [("Ole", "waste")]


def test_a_stone_left_for_the_decider_lies_in_that_pile_until_it_is_graded(page):
    first = ids(page)[0]
    page.post("/api/calls", word(page, first, left=True))
    assert (ids(page, pile="left"), first in ids(page, pile="open")) == ([first], False)
    assert page.get(f"/api/stones/{first}").json()["calls"][0]["says"] == LEFT
    page.post("/api/calls", word(page, first, by="Ole", grade="waste"))
    assert ids(page, pile="left") == []


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"grade": "gold"}, 409),
        ({"grade": None}, 422),
        ({"scene": 101}, 422),
        ({"scene": "70"}, 422),
        ({"scene": 7.5}, 422),
        ({"uid": "no"}, 422),
        ({"uid": "A" * 32}, 422),
        ({"stone": "0123456789abcdef-1"}, 404),
        ({"stone": "../../etc/passwd"}, 422),
        ({"measured": "0" * 32}, 409),
        ({"by": "  "}, 422),
        ({"by": "x" * 5000}, 422),
        ({"note": "\x00"}, 409),
        ({"made": "yesterday"}, 409),
        ({"made": "2026-03-02T10:00:00"}, 409),
        ({"more": 1}, 422),
        ({"heard": ["x"]}, 422),
    ],
)
def test_what_is_no_word_is_refused_in_one_line_and_nothing_is_kept(page, table, change, status):
    body = word(page, ids(page)[0], grade="select") | change
    answer = page.post("/api/calls", {k: v for k, v in body.items() if v is not None})
    assert answer.status_code == status
    told = answer.json()
    assert "\n" not in (told.get("error") or told.get("detail"))
    assert holding(table) == []


anything = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=40),
    lambda one: st.lists(one, max_size=3) | st.dictionaries(st.text(max_size=8), one, max_size=3),
    max_leaves=6,
)
POSTS = (
    "/api/calls", "/api/back", "/api/lines", "/api/scales", "/api/scales/back", "/api/hauls",
)  # fmt: skip
POSTS += (
    "/api/patches", "/api/pairs", "/api/pairs/back", "/api/again", "/api/again/answer", "/api/again/back",
    "/api/again/done", "/api/colours/try", "/api/colours/save",
)  # fmt: skip


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_whatever_is_sent_is_never_a_fault_of_the_table(page, data):
    path = data.draw(st.sampled_from(POSTS))
    fields = ["uid", "stone", "measured", "by", "grade", "scene", "note", "left", "made", "heard", "line", "says",
              "found", "typed", "haul", "new", "call", "x", "y", "of", "better", "other", "pair", "count", "sitting",
              "number",
              "spots", "words", "name"]  # fmt: skip
    body = data.draw(st.dictionaries(st.sampled_from(fields), anything, max_size=8) | anything)
    assert page.post(path, body).status_code < 500


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    where=st.sampled_from(
        [
            "/api/stones/{}",
            "/pictures/{}",
            "/large/{}/1.jpg",
            "/whole/{}/1.jpg",
            "/static/{}",
            "/{}",
            "/api/tiles?ids={}",
            "/api/stones?pile={}",
            "/api/stones?first={}",
            "/api/progress?by={}",
            "/enter?code={}",
        ]
    ),
    what=st.text(st.characters(codec="utf-8", exclude_characters="#?\\"), max_size=80)
    | st.sampled_from(
        [
            "../../../etc/passwd",
            "..%2f..%2fetc/passwd",
            "0" * 64 + ".jpg",
            "0" * 64 + ".img",
            "0" * 32,
        ]
    ),
)
def test_whatever_is_asked_for_is_never_a_fault_of_the_table(page, where, what):
    from urllib.parse import quote

    answer = page.get(where.format(quote(what, safe="%")))
    assert answer.status_code < 500
    assert "root:" not in answer.text


def test_only_pictures_of_the_ledger_are_served_and_none_of_what_measures(page, table):
    tile = page.get("/api/tiles", params={"ids": ids(page)[0]}).json()[0]
    picture = page.get(tile["picture"])
    assert picture.headers["content-type"] == "image/jpeg"
    assert picture.content[:2] == b"\xff\xd8"
    assert "immutable" in picture.headers["cache-control"]
    kept = [name for name in table.ledger.pictures.names() if not name.endswith(("jpg", "png"))]
    assert kept
    assert {page.get(f"/pictures/{name}").status_code for name in kept} == {422}


def test_a_photo_that_is_gone_is_told_and_the_small_picture_stays(page, table):
    card = page.get(f"/api/stones/{ids(page)[0]}").json()
    # The hand-made photos are no pictures, so the large one cannot be cut.
    assert page.get(card["pictures"]["large"]).status_code == 404
    assert page.get(card["pictures"]["small"]).status_code == 200


def test_names_from_files_and_people_come_as_text(laid, ask):
    table = laid({f"{BAD.replace('/', '')}.jpg": "1 bad name"})
    page = ask(table)
    (only,) = ids(page)
    page.post("/api/calls", word(page, only, by=BAD, grade="select", note=BAD))
    answer = page.get(f"/api/stones/{only}")
    assert answer.headers["content-type"] == "application/json"
    assert answer.json()["calls"][0]["by"] == BAD
    assert BAD not in page.get("/").text


def test_a_grade_of_the_sellers_own_is_escaped_in_the_page(laid, ask, monkeypatch, tmp_path):
    from dataclasses import replace

    table = laid({"a.jpg": "1"})
    profile = table.session.profile
    rungs = tuple(replace(rung, meaning=f"{BAD}\"'") for rung in profile.ladder)
    table.session.__dict__["profile"] = replace(profile, ladder=rungs)
    assert BAD not in ask(table).get("/").text
    assert "&lt;img src=x" in ask(table).get("/").text


def test_a_word_on_a_line_is_kept_and_told(page, table):
    two = [id for id in ids(page) if page.get(f"/api/stones/{id}").json()["pictures"]["lines"]]
    card = page.get(f"/api/stones/{two[0]}").json()
    body = {
        "stone": two[0],
        "measured": card["measured"],
        "by": "Nell",
        "line": 1,
        "says": "pattern",
    }
    answer = page.post("/api/lines", body | {"found": "healed"})
    assert answer.json()["words"].endswith(
        "a pattern line, found healed by Nell; cracks by this word 0, before 1"
    )
    assert (
        page.get(f"/api/stones/{two[0]}").json()["pictures"]["lines"][0]["class"] == "pattern line"
    )
    assert page.post("/api/lines", body | {"line": 9}).status_code == 409


def test_piles_and_totals_count_what_lies_there(page):
    first, second, *_ = ids(page)
    page.post("/api/calls", word(page, first, grade="select"))
    page.post("/api/calls", word(page, second, grade="waste"))
    now = page.get("/api/progress", params={"by": "Nell"}).json()
    assert (now["piles"]["open"], now["piles"]["mine"]) == (3, 2)
    assert {row["grade"]: row["stones"] for row in now["totals"]} == {
        "select": 1, "cabbing": 0, "tumbling": 0, "waste": 1, None: 3,
    }  # fmt: skip
    assert ids(page, grade="select") == [first]


def test_pages_are_small(page):
    parts = Path(grader.__file__).parent / "table" / "static"
    paths = ["/", *(f"/static/{one.name}" for one in parts.iterdir())]
    whole = sum(len(page.get(path).content) for path in paths)
    assert whole < 200_000
    assert len(page.get(f"/api/stones/{ids(page)[0]}").content) < 60_000


@pytest.mark.slow
def test_stones_are_put_together_and_an_unknown_wish_is_refused(page):
    first, *others = ids(page)
    page.post("/api/calls", word(page, first, grade="select"))
    wish = {"by": "Nell", "pile": "all", "group": "mine"}
    answer = page.get("/api/stones", params=wish).json()
    assert answer["ids"] == [first, *others]
    assert [(row["name"], row["stones"]) for row in answer["groups"]] == [
        ("select", 1), ("not called by me yet", len(others)),
    ]  # fmt: skip
    assert page.get("/api/stones", params=wish | {"group": "moon"}).status_code == 404
    for bad in ({"price_from": "much"}, {"price_to": "-1"}, {"moon": "1"}):
        assert page.get("/api/stones", params=wish | bad).status_code == 422
    assert page.get("/api/choices").json()["sorter"] == ["Nell"]


def test_the_pages_own_files_are_sent_packed_and_anew_only_where_they_changed(laid, ask):
    page = ask(laid({"one.jpg": "1 photo"}))
    first = page.get("/static/main.js")
    assert first.headers["content-encoding"] == "gzip" and "import" in first.text
    known = {"if-none-match": first.headers["etag"]}
    again = page.get("/static/main.js", headers=known)
    assert (again.status_code, again.content) == (304, b"")
    assert page.get("/static/sort.js", headers=known).status_code == 200
    plain = page.get("/static/main.js", headers={"accept-encoding": "identity"})
    assert "content-encoding" not in plain.headers and plain.text == first.text
    assert page.get("/static/app.py").status_code == 404
