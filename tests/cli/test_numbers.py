"""Numbers that ``batch --haul`` gives to stones, and lots made up of them by grade."""

import csv
import json
from decimal import Decimal

import pytest

from grader.deals.grades import called_grades
from grader.ledger import stock
from grader.ledger.place import default_path
from grader.ledger.store import open_ledger
from grader.session import Session


@pytest.fixture
def haul(cli):
    assert cli.run("haul", "new", "07", "--raw", "20kg").exit_code == 0
    cli.photo("photos/a.jpg", "2a")
    cli.photo("photos/b.jpg", "1b")

    def batch(folder="photos", *args):
        ran = cli.run("batch", folder, "--haul", "07", *args)
        assert ran.exit_code == 0, ran.output
        return [line for line in ran.stderr.splitlines() if line.startswith("07-")], ran.stderr

    cli.batch = batch
    cli.told = lambda *args: json.loads(cli.run(*args, "--json").stdout)
    return cli


def test_batch_numbers_what_it_grades(haul):
    lines, told = haul.batch()
    assert lines == ["07-001  a.jpg, stone 1", "07-002  a.jpg, stone 2",
                     "07-003  b.jpg, stone 1"]  # fmt: skip
    assert "3 stones numbered, 0 had a number" in told
    assert [row["piece"] for row in haul.told("haul", "list", "07")] == [
        "07-001",
        "07-002",
        "07-003",
    ]


def test_scenario_4_two_stones_on_a_photo_are_two_numbers_or_a_choice(haul):
    haul.batch()
    assert len({row["piece"] for row in haul.told("haul", "list", "07")}) == 3
    ran = haul.run("haul", "photo", "07-009", "photos/a.jpg")
    assert ran.exit_code == 1 and "shows 2 stones; say which with --piece" in ran.stderr
    haul.run("haul", "photo", "07-009", "photos/a.jpg", "--piece", "2")
    assert [row["piece"] for row in haul.told("haul", "list", "07")][-1] == "07-009"


def test_the_table_of_a_folder_tells_the_numbers_and_joins_the_photos_of_a_piece_at_once(haul):
    haul.photo("photos/07-003 back.jpg", "1 back")
    haul.photo("photos/c.jpg", "bad")
    table = haul.folder / "photos" / "graded" / "results.csv"

    def column(name):
        with open(table, encoding="utf-8", newline="") as file:
            return [row[name] for row in csv.DictReader(file)]

    haul.run("batch", "photos")
    assert column("number") == ["", "", "", "", ""]
    haul.run("batch", "photos", "--haul", "07")
    assert column("number") == ["07-003", "07-004", "07-005", "07-006", ""]
    haul.run("haul", "photo", "07-003", "photos/b.jpg")
    haul.run("batch", "photos")
    assert column("number") == ["07-003", "07-004", "07-005", "07-003", ""]
    haul.photo("photos/07-003 left.jpg", "1 left")
    haul.run("batch", "photos", "--haul", "07")
    assert column("number") == ["07-003", "07-003", "07-004", "07-005", "07-003", ""]
    # Joined by its name just now, it is proposed for together with the others in the same run.
    faces = ["1 of 3", "3 of 3", "", "", "2 of 3", ""]
    assert column("face_of_piece") == faces


def test_a_stone_that_was_parted_from_a_numbered_piece_has_that_number_no_more(haul):
    haul.photo("pair/b.jpg", "1b")
    haul.photo("pair/c.jpg", "1c")
    haul.run("batch", "pair")
    first, second = "pair/b.jpg", "pair/c.jpg"
    haul.run("call", first, second, "--one-piece", "--grade", "cabbing")
    as_before = "07-001  b.jpg, stone 1, as before"
    assert haul.batch("pair")[0] == [
        as_before.removesuffix(", as before"),
        "07-001  c.jpg, stone 1, as before",
    ]
    assert haul.run("call", first, second, "--one-piece", "--undo").exit_code == 0
    assert haul.batch("pair")[0] == [as_before, "07-002  c.jpg, stone 1"]


def test_a_photo_that_shows_another_piece_takes_its_grade_and_its_faces_along(haul):
    haul.photo("one/b.jpg", "1b")
    assert haul.batch("one")[0] == ["07-001  b.jpg, stone 1"]
    haul.run("call", "one/b.jpg", "--grade", "cabbing")
    haul.run("weigh", "07-001", "500g")
    haul.run("haul", "photo", "07-002", "one/b.jpg")
    haul.run("weigh", "07-002", "400g")

    def grades():
        return {row["piece"]: row["grade"] for row in haul.told("haul", "list", "07")}

    assert grades() == {"07-001": None, "07-002": "cabbing"}
    assert haul.told("listing", "07-001")["faces"] == []
    assert len(haul.told("listing", "07-002")["faces"]) == 1
    # And back, where it was at first.
    haul.run("haul", "photo", "07-001", "one/b.jpg")
    assert grades() == {"07-001": "cabbing", "07-002": None}


def test_a_second_run_and_a_copy_of_a_photo_renumber_nothing(haul):
    haul.batch()
    haul.photo("photos/0 first.jpg", "1c")
    haul.photo("photos/a again.jpg", "2a")
    lines, told = haul.batch()
    assert lines[0] == "07-004  0 first.jpg, stone 1"
    assert lines[1].startswith("07-001  a") and lines[1].endswith("as before")
    assert "1 stone numbered, 3 had a number" in told


@pytest.mark.slow
def test_scenario_17_photos_moved_to_another_card_find_their_numbers_again(haul):
    haul.batch()
    for name, new in (("a.jpg", "DSC9.jpg"), ("b.jpg", "DSC8.jpg")):
        place = haul.folder / "new card" / new
        place.parent.mkdir(exist_ok=True)
        (haul.folder / "photos" / name).rename(place)
    lines, told = haul.batch("new card")
    assert lines[0] == "07-003  DSC8.jpg, stone 1, as before"
    assert "0 stones numbered, 3 had a number" in told


def test_a_photo_named_after_a_piece_shows_that_piece(haul):
    haul.batch()
    haul.photo("more/07-003 back.jpg", "1d")
    haul.photo("more/07-020.jpg", "1e")
    lines, _ = haul.batch("more")
    assert lines == ["07-003  07-003 back.jpg, stone 1, as before", "07-020  07-020.jpg, stone 1"]
    lines, _ = haul.batch("more")
    assert [line[:6] for line in lines] == ["07-003", "07-020"]


def test_a_stone_without_a_number_gets_none_that_the_name_of_a_later_photo_says(haul):
    haul.run("haul", "new", "08", "--raw", "3kg")
    haul.photo("third/08-001 front.jpg", "1c")
    haul.photo("third/08-001 back.jpg", "1d")
    haul.photo("third/0 first.jpg", "1e")
    ran = haul.run("batch", "third", "--haul", "08")
    lines = [line for line in ran.stderr.splitlines() if line.startswith("08-")]
    assert lines == [
        "08-002  0 first.jpg, stone 1",
        "08-001  08-001 back.jpg, stone 1",
        "08-001  08-001 front.jpg, stone 1, as before",
    ]


@pytest.mark.slow
def test_another_haul_takes_no_number_from_this_one(haul):
    haul.batch()
    haul.run("haul", "new", "08", "--raw", "3kg")
    ran = haul.run("batch", "photos", "--haul", "08")
    assert "0 stones numbered, 3 had a number" in ran.stderr
    assert haul.told("haul", "list", "08") == []


def test_a_haul_that_is_not_there_is_refused_before_anything_is_measured(haul):
    ran = haul.run("batch", "photos", "--haul", "70")
    assert ran.exit_code == 1 and "no haul 70" in ran.stderr
    assert haul.asked == []


def test_numbers_taken_back_are_not_given_again(haul):
    haul.batch()
    assert "number 07-001 given" in haul.run("undo").stdout
    lines, _ = haul.batch()
    assert [line[:6] for line in lines] == ["07-004", "07-005", "07-006"]
    haul.photo("more/07-002.jpg", "1d")
    assert haul.batch("more")[0] == ["07-007  07-002.jpg, stone 1"]


def called(haul, *grades):
    """Call the stones of the photos a and b, and weigh them."""
    haul.batch()
    for (photo, piece), grade in zip((("a", 1), ("a", 2), ("b", 1)), grades, strict=True):
        ran = haul.run("call", f"photos/{photo}.jpg", "--piece", piece, "--grade", grade)
        assert ran.exit_code == 0, ran.output
    for number, weight in ((1, "260g"), (2, "240g"), (3, "300g")):
        haul.run("weigh", f"07-{number}", weight)


@pytest.mark.slow
def test_a_graded_folder_ends_with_pieces_and_weight_by_grade(haul):
    called(haul, "cabbing", "cabbing", "select")
    haul.run("weigh", "07-003", "300g", "--wet")
    haul.photo("photos/c.jpg", "1 new")
    haul.photo("photos/d.jpg", "retake")
    haul.photo("photos/07-002 back.jpg", "1 back")  # no piece more
    (haul.folder / "grader.toml").write_text('unit = "kg"\n')
    told = haul.run("batch", "photos", "--haul", "07").stderr.splitlines()
    assert told[-4:] == [
        "cabbing: 2 pieces, 0.500 kg",  # 260 + 240 g
        "select: 1 piece, 0.300 kg (1 wet)",
        "retake: 1 piece",
        "unfamiliar: 1 piece",
    ]
    # Weights are known without the haul, too; without a ledger there are none.
    assert haul.run("batch", "photos").stderr.splitlines()[-4:] == told[-4:]
    told = haul.run("batch", "photos", "--no-ledger").stderr.splitlines()
    assert told[-2:] == ["retake: 1 piece", "unfamiliar: 5 pieces"]


@pytest.mark.slow
def test_lots_are_made_up_of_the_pieces_of_a_grade(haul):
    called(haul, "cabbing", "cabbing", "select")
    made = haul.told("lots", "make", "--haul", "07", "--grade", "cabbing", "--size", "500g")
    assert [(lot["lot"], sorted(lot["pieces"])) for lot in made["lots"]] == [
        ("07-L1", ["07-001", "07-002"])
    ]
    # What is in a lot is not sold by itself, nor put into another.
    assert "lies in lot 07-L1" in haul.run("sell", "07-001", "--for", "3").stderr
    again = haul.run("lots", "make", "--haul", "07", "--grade", "cabbing", "--size", "500g")
    assert again.exit_code == 1 and "no loose piece of grade cabbing" in again.stderr
    # The finished lot is weighed, and that decides.
    haul.run("weigh", "07-L1", "498g")
    report = haul.told("haul", "report", "07")
    rows = {row["row"]: Decimal(row["grams"]) for row in report["balance"]}
    assert rows == {"lots": 498, "singles": 300}
    assert Decimal(report["gap_g"]) == 20_000 - 798
    (haul.folder / "P.toml").write_text(
        'currency = "EUR"\nbegins = 2025-01-01\nper = "kg"\n[by_weight]\ncabbing = 10.05\n'
    )
    haul.run("prices", "set", "P.toml")
    sold = haul.told("sell", "07-L1")
    # 0.498 kg at 10.05: 5.0049, to the cent.
    assert (sold["price"], sold["currency"]) == ("5.00", "EUR")
    states = {row["piece"]: row["state"] for row in haul.told("haul", "list", "07")}
    assert states == {"07-001": "sold", "07-002": "sold", "07-003": "there"}
    told = haul.run("history", "07-001").stdout
    for words in ("photographed: a.jpg", "called cabbing", "lot 07-L1 of 2 pieces", "07-L1 weighed: 498g",
                  "sold for 5.00 EUR"):  # fmt: skip
        assert words in told
    assert "select" not in told


@pytest.mark.slow
def test_a_whole_haul_is_listed_as_its_pieces_one_by_one(haul):
    """A whole haul is read another way than single pieces are; another haul beside it must not show through."""
    called(haul, "cabbing", "cabbing", "select")
    haul.run("haul", "new", "08", "--raw", "3kg")
    haul.run("weigh", "08-001", "1lb", "--new")
    haul.run("weigh", "08-002", "2lb", "--new", "--wet")
    haul.run("lots", "make", "--haul", "07", "--grade", "cabbing", "--size", "500g")
    (haul.folder / "grader.toml").write_text('currency = "USD"')
    haul.run("sell", "07-L1", "--for", "9")
    haul.run("haul", "add", "07", "gifts", "--piece", "07-003")
    states = [row["state"] for row in haul.told("haul", "list", "07")]
    assert states == ["sold", "sold", "gifts"]
    with open_ledger(default_path()) as ledger:
        for code in ("07", "08"):
            of = stock.pieces(ledger, haul=stock.haul(ledger, code).uid)
            apart = [stock.pieces(ledger, uids=[uid])[uid] for uid in of]
            assert list(of.values()) == apart
        session = Session(ledger=default_path())
        everyone = stock.pieces(ledger)
        plain, told = (called_grades(session, everyone, first=first) for first in (False, True))
        session.close()
    assert {uid: one.grade for uid, one in plain.items()} == {
        uid: one.grade for uid, one in told.items()
    }
    assert len(everyone) == 5 and len(plain) == 3 and all(one.first for one in told.values())


@pytest.mark.slow
def test_a_wet_guessed_or_unweighed_piece_goes_into_no_lot(haul):
    called(haul, "cabbing", "cabbing", "cabbing")
    haul.run("weigh", "07-003", "300g", "--wet")
    made = haul.told("lots", "make", "--haul", "07", "--grade", "cabbing", "--size", "500g")
    assert made["left_out"] == {"07-003": "wet"}
    assert "taken back: lot 07-L1 of 2 pieces" in haul.run("undo").stdout
    haul.run("weigh", "07-003", "300g")
    made = haul.told("lots", "make", "--haul", "07", "--grade", "cabbing", "--size", "500g")
    # The number of a lot is not given again either.
    assert [lot["lot"] for lot in made["lots"]] == ["07-L2"]


@pytest.mark.slow
def test_a_piece_that_is_sold_while_lots_are_searched_is_in_none(haul, monkeypatch):
    import grader.deals.lots as lots

    called(haul, "cabbing", "cabbing", "select")
    search = lots.make_lots

    def slow(*args, **more):
        haul.run("sell", "07-002", "--for", "3")
        return search(*args, **more)

    (haul.folder / "grader.toml").write_text('currency = "EUR"\n')
    monkeypatch.setattr(lots, "make_lots", slow)
    ran = haul.run("lots", "make", "--haul", "07", "--grade", "cabbing", "--size", "500g")
    assert ran.exit_code == 1 and "07-002: was dealt with just now" in ran.stderr
    assert haul.told("haul", "list", "07")[0]["state"] == "there"


@pytest.mark.slow
def test_what_was_said_of_a_haul_is_the_same_after_replay(haul):
    from grader.ledger.place import default_path
    from grader.ledger.store import open_ledger

    called(haul, "cabbing", "cabbing", "select")
    haul.run("lots", "make", "--haul", "07", "--grade", "cabbing", "--size", "500g")
    haul.run("break", "07-003", "--into", "2")
    haul.run("sell", "07-L1", "--for", "9")
    before = haul.told("haul", "list", "07")
    with open_ledger(default_path()) as ledger:
        ledger.replay()
    assert haul.told("haul", "list", "07") == before


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("lots", "make", "--size", "500g"), "give --haul or --from"),
        (("lots", "make", "--size", "500g", "--haul", "07"), "goes with --haul"),
        (("lots", "make", "--size", "500g", "--haul", "07", "--grade", "A"), "no grade of your ladder"),
        (("batch", "photos", "--haul", "07", "--no-ledger"), "needs the ledger"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(haul, args, told):
    ran = haul.run(*args)
    assert ran.exit_code in (1, 2)
    assert told in ran.stderr and ran.stderr.count("\n") == 1
