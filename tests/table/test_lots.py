"""Lots as trays at the table, and papers that are the same as those of the commands."""

from decimal import Decimal

import pytest
from typer.testing import CliRunner

from grader.cli.main import app
from grader.deals.hauls import new_haul, number_photos
from grader.deals.weighing import read_typed, weigh
from grader.ledger import stock
from grader.ledger.facts import new_uid
from grader.report.cautions import BREAK_CAUTIONS
from grader.report.lots import over_words
from grader.weight import Weight

#: Grams of six pieces of one grade: by hand, 300 + 210, 290 + 220 and 280 + 230 are each at least 500.
GRAMS = (300, 290, 280, 230, 220, 210)
WISH = {"haul": "07", "grade": "select", "size": "500g"}


@pytest.fixture
def table(laid, tmp_path):
    """A haul of six weighed pieces, all called select, and one that is not weighed."""
    table = laid({f"IMG_{n}.jpg": f"1line photo {n}" for n in range(7)})
    ledger = table.ledger
    new_haul(ledger, "07", Weight("5kg", Decimal(5000)), None, None)
    number_photos(ledger, "07", {one.sha256: one.photo for one in table.stones}, "Nell")
    for n, grams in enumerate(GRAMS, start=1):
        weigh(ledger, [read_typed(f"{n} {grams}g", "07", "g")], "Nell")
    table.keep_up()
    return table


@pytest.fixture
def page(table, ask):
    page = ask(table)
    for stone in table.stones:
        body = {"uid": new_uid(), "stone": stone.id, "measured": stone.measured, "by": "Nell"}
        assert page.post("/api/calls", body | {"grade": "select"}).status_code == 200
    return page


def test_where_no_lot_is_filled_it_says_what_there_is(page):
    plan = page.post("/api/lots/planned", WISH | {"size": "2kg"}).json()
    # 300 + 290 + 280 + 230 + 220 + 210 g, by hand.
    assert plan["says"] == "no lot of 2000 g: 6 pieces of 1530 g in all; ask for a lighter lot"
    assert (plan["trays"], len(plan["left"]), plan["keeps"]) == ([], 6, False)


def codes(trays):
    return [[one["code"] for one in tray["pieces"]] for tray in trays]


@pytest.mark.slow
def test_lots_are_laid_out_changed_by_hand_weighed_and_kept(page, table):
    plan = page.post("/api/lots/planned", WISH).json()
    assert (len(plan["trays"]), plan["left"], plan["keeps"]) == (3, [], True)
    assert plan["says"].startswith("3 lots of 500 g, ")
    assert plan["left_out"] == ["07-007: not weighed"]
    assert all(one["picture"] for tray in plan["trays"] for one in tray["pieces"])
    assert stock.lots(table.ledger) == {}
    # 300 + 290 and 280 + 230; 220 alone with 210 left over would be 280 short.
    hand = [["07-001", "07-002"], ["07-003", "07-004"], ["07-005"]]
    now = page.post("/api/lots/weighed", WISH | {"trays": hand}).json()
    assert [(tray["weight"], tray["over"], tray["short"]) for tray in now["trays"]] == [
        ("590 g", "90 g over", False),
        ("510 g", "10 g over", False),
        ("220 g", "280 g short", True),
    ]
    assert (codes([{"pieces": now["left"]}]), now["keeps"]) == ([["07-006"]], False)
    refused = page.post("/api/lots/kept", WISH | {"trays": hand, "by": "Nell"})
    assert refused.status_code == 409
    assert refused.json()["error"] == "lot 3: 280 g short of 500 g; put another piece in"
    kept = page.post("/api/lots/kept", WISH | {"trays": hand[:2], "by": "Nell"}).json()
    assert kept["lines"][1] == "lot 07-L1: 590 g (90 g over): 07-001 300 g, 07-002 290 g"
    there = page.get("/api/lots/07").json()
    assert codes(there["lots"]) == hand[:2]
    assert there["grades"][0] == {"grade": "select", "weighed": 2}
    # Of two at the same trays the later one is told, and nothing is made twice.
    again = page.post("/api/lots/kept", WISH | {"trays": hand[:2], "by": "Ole"})
    assert (again.status_code, "make the lots again" in again.json()["error"]) == (409, True)
    assert len(stock.lots(table.ledger)) == 2


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "problem"),
    [
        ({"trays": [["07-001"], ["07-001"]]}, "07-001: lies in two lots"),
        ({"trays": [["07-007"]]}, "07-007: not weighed"),
        ({"trays": [["08-001"]]}, "08-001: is no loose piece of this grade"),
        ({"size": "heavy"}, "weight of a lot: 'heavy' is no number"),
        ({"size": "0"}, "weight of a lot: is nothing"),
        ({"grade": "gold"}, "gold: no grade of your ladder"),
        ({"haul": "99"}, "99"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(page, change, problem):
    answer = page.post("/api/lots/weighed", WISH | {"trays": []} | change)
    assert (answer.status_code, answer.json()["error"].count("\n")) == (409, 0)
    assert problem in answer.json()["error"]


def command(table, tmp_path, *args):
    done = CliRunner().invoke(app, [*args, "--ledger", str(table.ledger.path)])
    assert done.exit_code == 0, done.output
    return done.output


@pytest.mark.slow
def test_labels_report_and_listing_are_the_files_of_the_commands(page, table, tmp_path):
    hand = [["07-001", "07-002"]]
    page.post("/api/lots/kept", WISH | {"trays": hand, "by": "Nell"})
    command(table, tmp_path, "labels", "--haul", "07", "--out", "all.pdf")
    command(table, tmp_path, "labels", "07-L1", "--out", "one.pdf", "--paper", "letter")
    command(table, tmp_path, "haul", "report", "07", "--out", "reports")
    listed = page.post("/api/listings", {"code": "07-L1", "by": "Nell"})
    assert listed.status_code == 200, listed.text
    assert listed.json()["cautions"]
    command(table, tmp_path, "listing", "07-L1", "--out", "listed")
    same = {
        "/files/labels.pdf?haul=07": "all.pdf",
        "/files/labels.pdf?code=07-L1&paper=letter": "one.pdf",
        "/files/haul-07.html": "reports/haul-07.html",
        "/files/haul-07.csv": "reports/haul-07.csv",
        **{f"/files/listing/{name}": f"listed/{name}" for name in listed.json()["files"]},
    }
    for path, file in same.items():
        answer = page.get(path)
        assert answer.content == (tmp_path / file).read_bytes(), path
        # Saved, never run as a page of the table's.
        assert answer.headers["content-disposition"].startswith("attachment; ")
    assert page.get("/files/listing/07-003.html").status_code == 409
    assert page.get("/files/labels.pdf").status_code == 409


def test_keep_or_break_says_why_not_in_one_line(page):
    answer = page.get("/api/keep/07-001")
    assert (answer.status_code, answer.json()["error"]) == (
        409,
        "no price table holds; grader prices set PRICES.toml keeps one",
    )
    assert page.get("/files/keep-07-001.png").status_code == 409


def test_keep_or_break_is_its_picture_with_all_cautions(page, table, monkeypatch):
    from grader.report.keep import plan_cautions
    from grader.table import papers

    class Plan:
        piece = None

    # What a plan is made of is tried elsewhere; here, what is told of it.
    monkeypatch.setattr(papers, "keep_or_break", lambda session, code, goal: Plan)
    monkeypatch.setattr(papers, "keep_lines", lambda plan, unit: ["07-001: both ways"])
    drawn = pytest.importorskip("numpy").full((40, 60, 3), 200, "uint8")
    monkeypatch.setattr(papers, "draw_keep", lambda plan, unit: drawn)
    told = page.get("/api/keep/07-001", params={"parts_of": "300g"}).json()
    assert told["lines"] == ["07-001: both ways"]
    assert len(told["cautions"]) == len(plan_cautions()) >= len(BREAK_CAUTIONS)
    for caution in plan_cautions():
        assert any(caution.text in line for line in told["cautions"])
    picture = page.get("/files/keep-07-001.png")
    assert picture.content[:8] == b"\x89PNG\r\n\x1a\n"


@pytest.mark.slow
def test_a_haul_is_begun_at_the_table_once(page, table):
    body = {"code": "08", "raw": "120lb", "by": "Nell"}
    told = page.post("/api/hauls", body)
    assert told.json()["words"] == "haul 08: 54431.1 g as dug"
    # 1 lb = 453.59237 g: International yard and pound agreement of 1959.
    (haul,) = [one for one in stock.hauls(table.ledger) if one.code == "08"]
    assert haul.raw_g == Decimal("453.59237") * 120
    again = page.post("/api/hauls", body)
    assert (again.status_code, "is there already" in again.json()["error"]) == (409, True)


@pytest.mark.parametrize("raw", ["heavy", "0kg", "-3kg"])
def test_no_weight_begins_no_haul(page, table, raw):
    answer = page.post("/api/hauls", {"code": "08", "raw": raw, "by": "Nell"})
    assert answer.status_code == 409
    assert answer.json()["error"].startswith("weight of a haul: ")
    assert [one.code for one in stock.hauls(table.ledger)] == ["07"]


def test_beside_pounds_a_lot_is_over_in_ounces():
    # 1 lb is 16 oz, 1 oz 28.35 g; by hand.
    assert over_words(11, "lb") == "0.4 oz over"
    assert over_words(-28, "lb") == "1.0 oz short"
    assert over_words(1, "lb") == "under 0.1 oz over"
    assert over_words(0, "lb") == over_words(0) == "nothing over"
    assert over_words(11) == over_words(11, "kg") == "11 g over"
