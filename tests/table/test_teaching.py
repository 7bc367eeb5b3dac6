"""What is taught at the table is what the commands would keep: places of a colour, cut plans, comparisons, a second
look, a profile."""

import pytest

from grader.ledger import views


@pytest.fixture
def table(laid):
    return laid({f"IMG_{n}.jpg": f"1 photo {n}" for n in range(3)} | {"two.jpg": "2line"})


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
