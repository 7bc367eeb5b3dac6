"""What is taught at the table is what the commands would keep: places of a colour, cut plans, comparisons, a second
look, a profile."""

import pytest

from grader.ledger import views
from grader.ledger.facts import new_uid
from grader.profile import load_profile


@pytest.fixture
def table(laid):
    return laid({f"IMG_{n}.jpg": f"1 photo {n}" for n in range(3)} | {"two.jpg": "2line"})


@pytest.fixture
def measuring_colours(monkeypatch):
    """Let photos of hand-made stones be measured as looks at them are."""
    import grader.looking

    monkeypatch.setattr(
        "grader.colours.measured_again",
        lambda ask, profile: grader.looking.measure_file(ask.path, ask.terms, profile, ask.words),
    )


@pytest.fixture
def page(table, ask):
    return ask(table)


def ids(page, **wish):
    return page.get("/api/stones", params={"by": "Nell", "pile": "all"} | wish).json()["ids"]


def card(page, id):
    return page.get(f"/api/stones/{id}", params={"by": "Nell"}).json()


def place(page, id, **said):
    """A word on the middle of a stone."""
    shown = card(page, id)
    x, y, w, h = shown["pictures"]["window"]
    body = {"stone": id, "measured": shown["measured"], "by": "Nell"}
    return body | {"x": x + w // 2, "y": y + h // 2, "says": "host"} | said


def test_a_word_on_a_place_is_kept_as_the_command_keeps_it_and_taken_back(page, table):
    first = ids(page)[0]
    answer = page.post("/api/patches", place(page, first, says="HOST")).json()
    assert "host by Nell" in answer["words"]
    (entry,) = views.region_words(table.ledger)
    assert (entry.author, entry.fact.says, entry.fact.w) == ("Nell", "host", 4)
    (patch,) = card(page, first)["pictures"]["patches"]
    assert patch == answer["box"] | {"says": "host", "by": "Nell"}
    back = place(page, first) | answer["box"] | {"says": answer["before"]}
    assert page.post("/api/patches", back).status_code == 200
    assert card(page, first)["pictures"]["patches"] == []


def test_taken_back_a_place_is_what_was_said_of_it_before(page):
    first = ids(page)[0]
    for says in ("host", "glare"):
        answer = page.post("/api/patches", place(page, first, says=says)).json()
    assert answer["before"] == "host"


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"says": "gold"}, 409),
        ({"x": 0, "y": 0}, 409),
        ({"x": -1}, 422),
        ({"x": 199_999}, 409),
        ({"w": 0, "h": 0}, 422),
        ({"measured": "0" * 32}, 409),
        ({"stone": "0" * 16 + "-1"}, 404),
        ({"more": 1}, 422),
    ],
)
def test_what_is_no_word_on_a_place_is_refused_in_one_line(page, table, change, status):
    answer = page.post("/api/patches", place(page, ids(page)[0]) | change)
    assert answer.status_code == status
    told = answer.json()
    assert "\n" not in (told.get("error") or told.get("detail"))
    assert views.region_words(table.ledger) == ()


@pytest.mark.slow
def test_a_cut_plan_is_that_of_the_command(page):
    """The templates of a level stone of 200 x 100 px: as high as wide they lie within it, by hand."""
    first = ids(page)[0]
    told = page.get(f"/api/stones/{first}/cuts", params={"template": "20x20"}).json()
    most = told["plans"][0]
    assert most["words"] == "most pieces"
    assert most["templates"]
    left, top, right, low = 1e9, 1e9, 0, 0
    for x, y in card(page, first)["pictures"]["outline"]:
        left, top, right, low = min(left, x), min(top, y), max(right, x), max(low, y)
    for template in most["templates"]:
        for x, y in template["outline"]:
            assert left <= x <= right
            assert top <= y <= low
    assert any("No line seen" in line for line in told["lines"])


@pytest.mark.parametrize("template", ["30,22", "x", "-1", "1e9", "nan", "30x22x5"])
def test_no_size_of_a_template_is_refused_in_one_line(page, template):
    answer = page.get(f"/api/stones/{ids(page)[0]}/cuts", params={"template": template})
    assert answer.status_code == 409
    assert "\n" not in answer.json()["error"]


def said(page, id, grade, by="Nell", scene=None):
    shown = card(page, id)
    body = {"uid": new_uid(), "stone": id, "measured": shown["measured"], "by": by, "grade": grade}
    page.post("/api/calls", body | ({} if scene is None else {"scene": scene}))


def better(page, shown, first=0, by="Nell", **more):
    one, two = ({k: side[k] for k in ("stone", "measured")} for side in shown["sides"])
    sides = (one, two) if first == 0 else (two, one)
    return {
        "uid": new_uid(),
        "by": by,
        "of": shown["of"],
        "better": sides[0],
        "other": sides[1],
    } | more


@pytest.mark.parametrize("of", ["scene", "grade"])
def test_a_pair_is_kept_as_the_table_of_comparisons_would_be_and_none_comes_twice(page, table, of):
    shown = page.get("/api/pairs", params={"of": of, "by": "Nell"}).json()
    seen = []
    while shown["sides"]:
        seen.append(frozenset(side["stone"] for side in shown["sides"]))
        body = better(page, shown)
        for _ in range(2):  # Sent twice it is kept once.
            answer = page.post("/api/pairs", body)
        shown = answer.json()
    count = len(ids(page))
    assert len(seen) == len(set(seen)) == shown["pairs"] == count * (count - 1) // 2
    held = views.comparisons(table.ledger, of)
    assert len(held) == len(seen)
    assert {entry.author for entry in held} == {"Nell"}
    # Another person has all pairs before them.
    assert page.get("/api/pairs", params={"of": of, "by": "Ole"}).json()["sides"]


def test_a_pair_tells_nothing_of_grades_and_is_taken_back_by_its_sayer_alone(page, table):
    shown = page.get("/api/pairs", params={"of": "grade", "by": "Nell"}).json()
    assert set(shown["sides"][0]) == {"stone", "measured", "small", "large", "whole"}
    body = better(page, shown)
    page.post("/api/pairs", body)
    back = {"pair": body["uid"], "by": "Ole"}
    assert page.post("/api/pairs/back", back).status_code == 409
    assert len(views.comparisons(table.ledger, "grade")) == 1
    assert [page.post("/api/pairs/back", back | {"by": "Nell"}).status_code for _ in range(2)] == [
        200
    ] * 2
    assert views.comparisons(table.ledger, "grade") == ()


def test_what_is_no_pair_is_refused(page, table):
    body = better(page, page.get("/api/pairs", params={"of": "scene", "by": "Nell"}).json())
    for change, status in (
        ({"of": "price"}, 422),
        ({"other": body["better"]}, 409),
        ({"other": body["better"] | {"stone": "0" * 16 + "-1"}}, 404),
        ({"other": body["other"] | {"measured": "0" * 32}}, 409),
        ({"by": ""}, 422),
    ):
        assert page.post("/api/pairs", body | change).status_code == status
    assert page.get("/api/pairs", params={"of": "moon"}).status_code == 422
    assert views.comparisons(table.ledger, None) == ()


def test_agreement_tells_who_differs_and_which_pairs_go_against_calls(page, table):
    first, second, *_ = ids(page)
    said(page, first, "select", "Nell")
    said(page, second, "waste", "Nell")
    said(page, first, "waste", "Ole")
    rows = {id: {"stone": id, "measured": card(page, id)["measured"]} for id in (first, second)}
    for by in ("Nell", "Ole"):
        body = {
            "uid": new_uid(),
            "by": by,
            "of": "grade",
            "better": rows[second],
            "other": rows[first],
        }
        assert page.post("/api/pairs", body).status_code == 200
    told = page.get("/api/agreement").json()
    (stone,) = told["stones"]
    assert [(one["who"], one["says"]) for one in stone["says"]][:2] == [
        ("Nell", "select"),
        ("Ole", "waste"),
    ]
    assert page.get(stone["picture"]).status_code == 200
    (pair,) = told["pairs"]
    assert (pair["by"], [side["says"] for side in pair["sides"]]) == ("Nell", ["waste", "select"])
    assert any("say the opposite of 1" in line for line in told["lines"])
    assert any(line.startswith("Ole compared by grade, but") for line in told["lines"])


def test_a_second_look_goes_on_where_it_was_and_is_judged_as_the_command_judges(page, table, ask):
    for id, grade in zip(ids(page), ("waste", "tumbling", "cabbing", "select"), strict=False):
        said(page, id, grade)
    assert page.get("/api/again").json() == {"people": [{"name": "Nell", "stones": 4}]}
    sat = page.post("/api/again", {"by": "Ole", "of": "Nell", "count": 3}).json()
    assert (sat["number"], sat["answered"], sat["stones"]) == (0, 0, 3)
    # Nothing in it tells which stone it is or what it was called.
    assert set(sat) == {"sitting", "number", "answered", "stones", "picture"}
    assert page.get(sat["picture"]).content[:2] == b"\xff\xd8"
    mine = {"by": "Ole", "sitting": sat["sitting"]}
    first = {**mine, "number": 0, "grade": "waste"}
    for _ in range(2):  # Sent twice it is one answer.
        sat = page.post("/api/again/answer", first).json()
    assert (sat["number"], sat["answered"]) == (1, 1)
    assert page.post("/api/again/answer", {**mine, "number": 1, "grade": "gold"}).status_code == 409
    assert page.post("/api/again/answer", first | {"by": "Nell"}).status_code == 409
    # Another table, as after a restart.
    later = ask(table)
    assert later.post("/api/again", {"by": "Ole", "of": "Nell"}).json()["answered"] == 1
    assert later.post("/api/again/back", mine).json()["number"] == 0
    for number in range(3):
        sat = later.post("/api/again/answer", {**mine, "number": number, "grade": "select"}).json()
    assert sat["number"] is None
    done = later.post("/api/again/done", mine).json()
    assert done["first"].startswith("3 stones sorted twice")
    assert [len(row) for row in done["table"]["rows"]] == [4, 4, 4]
    assert done["worst"]
    assert later.get(done["worst"][0]["picture"]).status_code == 200
    assert views.calls(table.ledger, by="Ole") == ()
    assert later.post("/api/again/answer", first).status_code == 409


def test_without_calls_there_is_no_second_look(page):
    answer = page.post("/api/again", {"by": "Ole"})
    assert answer.status_code == 409
    assert "call some first" in answer.json()["error"]


def spot(page, id, says, at=0.5):
    x, y, w, h = card(page, id)["pictures"]["window"]
    return {"stone": id, "x": int(x + at * w), "y": y + h // 2, "says": says}


@pytest.fixture
def marked(page):
    first, *_ = ids(page)
    spots = [
        spot(page, first, "blue", 0.3),
        spot(page, first, "white", 0.6),
        spot(page, first, "host", 0.8),
    ]
    return {"by": "Nell", "spots": spots, "shown": first}


@pytest.mark.slow
def test_spots_are_tried_on_stones_without_one_before_anything_is_saved(
    page, marked, tmp_path, measuring_colours
):
    told = page.post("/api/colours/try", marked).json()
    assert told["verdict"] == "too few"
    assert told["after"].startswith("data:image/png;base64,")
    haul = page.post("/api/colours/try", marked | {"haul": True}).json()
    assert [row["name"] for row in haul["shares"]] == ["blue", "white", "host"]
    assert "without a spot" in haul["elsewhere"]
    assert list(tmp_path.glob("*.toml")) == []
    answer = page.post("/api/colours/save", marked | {"name": "mine"})
    assert "mine.toml written" in answer.json()["words"]
    assert load_profile(tmp_path / "mine.toml").version == load_profile().version + 1
    # What is there stays as it is.
    before = (tmp_path / "mine.toml").read_text()
    assert page.post("/api/colours/save", marked | {"name": "mine"}).status_code == 409
    assert (tmp_path / "mine.toml").read_text() == before


def test_what_cannot_be_taught_is_refused_and_nothing_is_written(
    page, marked, tmp_path, measuring_colours
):
    for change, status in (
        ({"name": "grader"}, 409),
        ({"name": "../mine"}, 422),
        ({"name": ""}, 422),
        ({"name": "mine", "spots": [marked["spots"][0]]}, 409),
        ({"name": "mine", "spots": [marked["spots"][0] | {"says": "gold"}]}, 409),
        ({"name": "mine", "spots": []}, 409),
        ({"name": "mine", "spots": [marked["spots"][0] | {"stone": "0" * 16 + "-1"}]}, 404),
    ):
        assert page.post("/api/colours/save", marked | change).status_code == status, change
    assert list(tmp_path.glob("*.toml")) == []
