"""Listings on the command line: what a demanding seller and an engineer would try. Names, places and prices are
invented. Pounds: 453.59237 g by the agreement of 1959."""

import csv
import io
import json
import re
import zipfile
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from grader.ledger.place import default_path
from grader.ledger.store import open_ledger
from grader.report.listing import listing_rows

PRICES = """
currency = "USD"
begins = {begins}
per = "lb"
[by_weight]
select = 24
cabbing = {cabbing}
tumbling = 6
waste = 1
[off]
"10lb" = 10
"""


@pytest.fixture
def grader(cli):
    """Run a command of the tool; with ``--json`` return data, else what it says."""

    def run(*args, fails=False):
        from grader.cli.main import app

        ran = CliRunner().invoke(app, [str(arg) for arg in args])
        if fails:
            assert ran.exit_code in (1, 2), ran.output
            assert ran.stderr.count("\n") == 1
            return ran.stderr
        assert ran.exit_code == 0, ran.output
        run.told = ran.stderr
        return json.loads(ran.stdout) if "--json" in args else ran.stdout

    run.folder, run.cli = cli.folder, cli
    return run


def prices(grader, begins="2025-03-01", cabbing=12):
    (grader.folder / "PRICES.toml").write_text(PRICES.format(begins=begins, cabbing=cabbing))
    grader("prices", "set", "PRICES.toml")


@pytest.fixture
def shop(grader):
    """A haul with a photographed piece of known scale that a person called, and one with nothing but its number."""
    grader(
        "trip", "new", "North bench", "--spot", "upper seam", "--place", "behind the third fence"
    )
    grader("haul", "new", "07", "--trip", "1", "--raw", "20kg")
    grader.cli.photo("tray/a.jpg", "1 line")
    grader("batch", "tray", "--haul", "07", "--mm-per-px", "0.5", "--workers", "1")
    grader("call", "tray/a.jpg", "--grade", "cabbing", "--by", "Nell Sorter")
    grader("weigh", "07-001", "612.35g")
    grader("weigh", "07-002", "1kg", "--new", "--guessed")
    prices(grader)
    return grader


def small_box(grader):
    (grader.folder / "BOXES.toml").write_text(
        'begins = 2025-03-01\n[[boxes]]\nname = "small"\ninside = "75 in3"\nmost = "500g"\n'
    )
    grader("parcel", "--boxes", "BOXES.toml")


def page(grader, code="07-001", suffix="html"):
    return (grader.folder / "out" / f"{code}.{suffix}").read_text("utf-8")


def test_a_listing_tells_what_is_recorded_and_keeps_it(shop):
    record = shop("listing", "07-001", "--out", "out", "--json")
    assert record["grade"] == {
        "name": "cabbing",
        "meaning": record["grade"]["meaning"],
        "by": "seller",
    }
    # 612.35 g at 12 per 453.59237 g: 16.2000... by hand 612.35 / 453.59237 * 12 = 16.20.
    assert (record["price"]["money"], record["price"]["currency"]) == ("16.20", "USD")
    assert record["price"]["breaks"] == [{"from_g": "4535.9237", "off_percent": "10"}]
    assert record["net_g"] == "612.35"
    html = page(shop)
    for words in ("612.4 g (1.35 lb)", "16.20 USD by weight", "10 % off from 4.536 kg (10.00 lb)",
                  "1 crack seen on the face shown", "a photo shows no hidden ones", "the exact piece",
                  "upper seam", "treatment", "not recorded", "silica dust", "Local rules"):  # fmt: skip
        assert words in html, words
    assert "no cracks" not in html.lower() and "crack-free" not in html.lower()
    assert sorted(p.name for p in (shop.folder / "out").glob("07*")) == [
        "07-001.csv", "07-001.html", "07-001.json", "07-001.pdf",
    ]  # fmt: skip
    assert json.loads(page(shop, suffix="json")) == record


@pytest.mark.slow
def test_scenario_13_a_changed_price_list_leaves_a_listing_as_it_was(shop):
    before = shop("listing", "07-001", "--out", "out", "--json")
    pdf = (shop.folder / "out" / "07-001.pdf").read_bytes()
    prices(shop, begins="2025-06-01", cabbing=20)
    assert shop("listing", "07-001", "--out", "out", "--json") == before
    assert "since then changed: price; --anew" in shop.told
    assert (shop.folder / "out" / "07-001.pdf").read_bytes() == pdf
    # 612.35 / 453.59237 * 20 = 27.0000...
    anew = shop("listing", "07-001", "--out", "out", "--anew", "--json")
    assert anew["price"]["money"] == "27.00"
    assert [row["price"] for row in shop("listing", "--open", "--json")] == ["27.00"]


@pytest.mark.slow
def test_scenario_14_a_broken_piece_takes_its_listing_down(shop):
    shop("listing", "07-001", "--out", "out")
    shop("break", "07-001", "--into", "2")
    assert "07-001: its listing of" in shop.told and "(broken); take its page down" in shop.told
    assert shop("listing", "--open", "--json") == []
    assert "was broken" in shop("listing", "07-001", "--out", "out", fails=True)
    # The pages of a whole haul leave out, and take away, what is not offered any more.
    shop("weigh", "07-003", "300g")
    shop("listing", "07-003", "--out", "out")
    shop("listing", "--haul", "07", "--out", "out")
    assert not (shop.folder / "out" / "07-001.html").exists()
    assert (shop.folder / "out" / "07-003.html").exists()


@pytest.mark.slow
def test_a_sale_closes_a_listing_undo_opens_it_and_a_return_does_not(shop):
    shop("listing", "07-001", "--for", "38", "--out", "out")
    assert shop("listing", "--open", "--json")[0]["price"] == "38.00"
    shop("sell", "07-001", "--for", "35")
    assert "(sold)" in shop.told
    assert "is sold" in shop("listing", "07-001", fails=True)
    shop("undo")
    assert len(shop("listing", "--open", "--json")) == 1
    shop("sell", "07-001", "--for", "35")
    shop("return", "07-001")
    assert shop("listing", "--open", "--json") == []


@pytest.mark.slow
def test_withdrawn_is_closed_and_can_be_listed_again(shop):
    shop("listing", "07-001", "--out", "out")
    assert "(withdrawn)" in shop("listing", "07-001", "--withdraw")
    assert "no open listing" in shop("listing", "07-001", "--withdraw", fails=True)
    shop("listing", "07-001", "--out", "out")
    assert len(shop("listing", "--open", "--json")) == 1
    told = shop("history", "07-001")
    assert told.count("07-001 listed: 16.20 USD") == 2 and "listing of 07-001 withdrawn" in told


def test_of_a_piece_without_photo_no_page_is_made_unless_its_weight_is_told_and_it_is_named(shop):
    shop("break", "07-001", "--into", "3")
    left_out = (
        "07-002 and 3 others: have no photo and no grade, so no page is made; photograph first (grader batch "
        "PHOTOS --haul 07), or list by weight alone: grader listing 07-002\n"
    )
    assert shop("listing", "--haul", "07", fails=True) == f"grader: {left_out}"
    told = shop("listing", "07-005", "--for", "9", "--out", "out", fails=True)
    assert told == (
        "grader: 07-005: has neither photo nor weight nor grade, so there is no page to make; weigh (grader weigh "
        "07-005 WEIGHT) or photograph (grader batch) first\n"
    )
    shop("listing", "07-002", "--for", "9", "--out", "out")
    # What is listed stays.
    for how in ((), ("--out", "out")):
        listed = shop("listing", "--haul", "07", *how, "--json")
        assert [one["code"] for one in listed] == ["07-002"]
        assert "07-003 and 2 others: have no photo" in shop.told
    assert [row["thing"] for row in shop("listing", "--open", "--json")] == ["07-002"]


@pytest.mark.slow
def test_a_grade_that_speaks_of_lines_does_not_gainsay_the_line_that_is_seen(shop):
    record = shop("listing", "07-001", "--json")
    told = dict(listing_rows(record))
    assert told["lines"].startswith("1 crack seen")
    assert told["grade"] == (
        "cabbing, called by the seller; in general this grade means: for a cab where no line is seen: room for one "
        "with pattern or strong colour; lines are seen here all the same: look at what is told of them"
    )
    record["faces"][0]["lines"]["crack"] = 0
    assert "all the same" not in dict(listing_rows(record))["grade"]


@pytest.mark.slow
def test_a_look_keeps_nothing(shop):
    assert "16.20 USD" in shop("listing", "07-001")
    assert shop("listing", "--open", "--json") == []
    assert not (shop.folder / "out").exists()


@pytest.mark.slow
def test_a_piece_with_nothing_but_a_number_says_so_in_one_line(shop):
    record = shop("listing", "07-002", "--out", "out", "--json")
    (line,) = [line for line in shop.told.splitlines() if line.startswith("07-002")]
    for words in ("no photo", "no dry weight", "no grade", "no price"):
        assert words in line
    # A guess is never told.
    assert record["net_g"] is None and "1000" not in json.dumps(record)
    html = page(shop, "07-002")
    for words in (
        "on request",
        "not graded yet",
        "guessed, not weighed yet",
        "not recorded: no photo",
    ):
        assert words in html


@pytest.mark.slow
def test_without_a_scale_no_size_and_no_cabs_are_told(grader):
    grader("haul", "new", "07", "--raw", "2kg")
    grader.cli.photo("tray/a.jpg", "1")
    grader("batch", "tray", "--haul", "07", "--workers", "1")
    record = grader("listing", "07-001", "--out", "out", "--json")
    assert record["size"] is None and record["cabs"] is None
    assert "no scale in the photo" in page(grader)
    assert "--size 92x61x34mm" in grader.told
    grader("describe", "07-001", "--size", "3.6x2.4x1.3in")
    sized = grader("listing", "07-001", "--anew", "--out", "out", "--json")["size"]
    # 25.4 mm to the inch: 91.44, 60.96, 33.02.
    assert [sized[f"{s}_mm"] for s in ("length", "width", "thickness")] == [91.4, 61.0, 33.0]
    assert "91 x 61 x 33 mm (3.6 x 2.4 x 1.3 in), measured by hand" in page(grader)


@pytest.mark.slow
def test_wet_weight_is_no_net_weight(shop):
    shop("weigh", "07-001", "640g", "--wet")
    record = shop("listing", "07-001", "--json")
    assert record["net_g"] is None and record["price"] is None
    assert record["unweighed"] == "weighed wet, not dry yet"


@pytest.mark.slow
def test_several_faces_are_counted_with_how_they_were_seen(shop):
    shop.cli.photo("tray/07-001 back.jpg", "1")
    shop("batch", "tray", "--haul", "07", "--mm-per-px", "0.5", "--state", "wet", "--workers", "1")
    record = shop("listing", "07-001", "--out", "out", "--json")
    assert len(record["faces"]) == 2
    html = page(shop)
    assert "seen on 1 of 2 faces" in html and html.count("<img") >= 4
    assert re.search(r"Face 2 of 2, \w+", html)


@pytest.mark.slow
def test_what_is_said_of_a_haul_goes_for_its_pieces_and_a_piece_has_its_own(shop):
    shop(
        "describe", "07", "--treatment", "none", "--returns", "14 days", "--place", "northern hills"
    )
    shop("describe", "07-001", "--treatment", "oiled", "--shown", "typical", "--looked", "nail")
    record = shop("listing", "07-001", "--json")
    assert (record["said"]["treatment"], record["said"]["returns"]) == ("oiled", "14 days")
    assert (record["place"], record["shown"], record["looked"]) == (
        "northern hills",
        "typical",
        "nail",
    )
    shop("describe", "07-001", "--treatment", "")
    assert shop("listing", "07-001", "--json")["said"]["treatment"] == "none"
    shop("undo")
    assert shop("listing", "07-001", "--json")["said"]["treatment"] == "oiled"
    assert "give it in mm, cm or in" in shop("describe", "07-001", "--size", "big", fails=True)
    assert "say something" in shop("describe", "07-001", fails=True)


NASTY = "<script>alert(1)</script> & \"q\" 'a' =1+1 🪨\x1b[31m"


def test_whatever_is_typed_is_shown_and_never_run(shop):
    shop(
        "describe",
        "07-001",
        "--treatment",
        "=" + NASTY,
        "--place",
        "+" + NASTY,
        "--polish",
        "x" * 5000,
    )
    shop("listing", "07-001", "--out", "out")
    html, table = page(shop), page(shop, suffix="csv")
    assert "<script>" not in html and "&lt;script&gt;alert(1)" in html and "\x1b" not in html
    assert "🪨" in html
    row = next(csv.DictReader(io.StringIO(table)))
    assert row["treatment"].startswith("'=<script>") and row["place"].startswith("'+")
    assert (shop.folder / "out" / "07-001.pdf").stat().st_size > 1000


def test_a_lot_lists_its_pieces(shop):
    for number, grams in ((3, 300), (4, 250)):
        shop("weigh", f"07-{number}", f"{grams}g", "--new")
    # Other words behind the number: other photos.
    shop.cli.photo("tray/07-003 front.jpg", "1 three")
    shop.cli.photo("tray/07-004 front.jpg", "1 four")
    shop("batch", "tray", "--haul", "07", "--mm-per-px", "0.5", "--workers", "1")
    for name in ("07-003 front.jpg", "07-004 front.jpg"):
        shop("call", f"tray/{name}", "--grade", "tumbling")
    shop("lots", "make", "--haul", "07", "--grade", "tumbling", "--size", "500g")
    shop("weigh", "07-L1", "900g", "--guessed")
    guessed = shop("listing", "07-L1", "--json")
    # No buyer is told a guess, nor pays for it: 500 / 453.59237 * 6 = 6.6138
    assert (guessed["net_g"], guessed["price"]["money"]) == (None, "6.61")
    shop("weigh", "07-L1", "551g")
    record = shop("listing", "07-L1", "--out", "out", "--json")
    assert [one["code"] for one in record["pieces"]] == ["07-003", "07-004"]
    # 551 / 453.59237 * 6 = 7.2885
    assert (record["kind"], record["net_g"], record["price"]["money"]) == ("lot", "551", "7.29")
    html = page(shop, "07-L1")
    assert "<b>07-003</b>: 300 g (0.66 lb)" in html and html.count("<img") == 2
    small_box(shop)
    told = shop("answer", "07-L1")
    assert "What is in the lot?" in told and "in parts, to domestic" in told
    assert "lies in lot 07-L1" in shop("listing", "07-003", fails=True)


def test_the_answers_are_those_of_the_record(shop):
    told = shop("answer", "07-001", "--json")
    assert told["What does it weigh?"] == "612.4 g (1.35 lb)"
    assert told["Is it treated?"] == "not recorded"
    assert told["Has it cracks?"].endswith("a photo shows no hidden ones")
    assert "16.20 USD by weight: 12.00 USD per lb" in told["What does the price hold?"]
    assert (
        "light estimated" in told["How were the colours set?"] or told["How were the colours set?"]
    )
    assert "Has it cracks?\n" in shop("answer", "07-001")


def test_nobody_is_told_that_a_piece_too_heavy_for_each_box_goes_in_parts(shop):
    small_box(shop)
    told = shop("answer", "07-001", "--json")
    assert told["How is it sent?"] == "too heavy or too large for each box, to domestic"


def test_slips_end_in_one_line(shop):
    assert "nothing has that number" in shop("listing", "07-099", fails=True)
    assert "no haul 09" in shop("listing", "--haul", "09", fails=True)
    assert "name pieces, or a --haul" in shop("listing", fails=True)
    assert "a file, not a folder" in shop("listing", "07-001", "--out", "PRICES.toml", fails=True)


def test_a_file_of_the_sellers_own_is_kept(shop):
    (shop.folder / "out").mkdir()
    (shop.folder / "out" / "07-001.html").write_text("mine")
    shop("listing", "07-001", "--out", "out")
    assert (shop.folder / "out" / "07-001 (yours).html").read_text() == "mine"


def test_the_same_listing_gives_the_same_bytes(shop):
    shop("listing", "07-001", "--out", "out")
    shop("listing", "07-001", "--out", "again")
    for suffix in ("html", "pdf", "json", "csv"):
        name = f"07-001.{suffix}"
        assert (shop.folder / "out" / name).read_bytes() == (
            shop.folder / "again" / name
        ).read_bytes()


@pytest.mark.slow
def test_replaying_the_facts_leaves_the_listings(shop):
    shop("listing", "07-001", "07-002", "--out", "out")
    before = shop("listing", "--open", "--json")
    with open_ledger(default_path()) as ledger:
        ledger.replay()
    assert shop("listing", "--open", "--json") == before and len(before) == 2


@pytest.mark.slow
def test_a_cut_plan_that_a_listing_kept_is_not_sought_again(shop, monkeypatch):
    from grader.deals import listing_cuts

    sought, plan = [], listing_cuts.kept_cuts
    for module in ("listings", "listing_files"):
        monkeypatch.setattr(
            f"grader.deals.{module}.kept_cuts", lambda *of: sought.append(1) or plan(*of)
        )

    def listed(*more):
        shop("listing", "07-001", "--out", "out", *more)
        return json.loads(page(shop, suffix="json"))["cabs"]

    first = listed()
    assert len(sought) == 1
    assert listed("--anew", "--for", "20") == first
    shop("listing", "07-001", "--withdraw")
    assert listed() == first and shop("listing", "07-001", "--json")["cabs"] == first
    assert len(sought) == 1
    # Planned in another way, or of another face, it is sought again.
    monkeypatch.setattr(listing_cuts, "PLAN_VERSION", 0)
    listed("--anew")
    assert len(sought) == 2
    shop("batch", "tray", "--haul", "07", "--mm-per-px", "0.4", "--workers", "1")
    listed("--anew")
    assert len(sought) == 3


SECRETS = ("third fence", "Nell Sorter", "permit 12")


def test_an_export_holds_every_table_and_nothing_that_is_for_the_seller_alone(shop):
    shop("trip", "new", "Second", "--right", "permit 12", "--place", "47.1234 N")
    shop("listing", "07-001", "--out", "out")
    shop("sell", "07-001", "--buyer", "Bo Invented")
    shop("export", "--out", "all.zip")
    shop("export", "--out", "mine.zip", "--private")
    with zipfile.ZipFile("all.zip") as plain, zipfile.ZipFile("mine.zip") as whole:
        text = "\n".join(plain.read(name).decode() for name in plain.namelist())
        mine = "\n".join(whole.read(name).decode() for name in whole.namelist())
        rows = list(csv.DictReader(io.StringIO(plain.read("pieces.csv").decode())))
        sales = json.loads(plain.read("sale.json"))
    for secret in (*SECRETS, "47.1234", "Bo Invented", str(shop.folder)):
        assert secret not in text, secret
        assert secret in mine, secret
    assert [(r["piece"], r["net_g"], r["state"]) for r in rows] == [
        ("07-001", "612.35", "sold"), ("07-002", "1000", "there"),
    ]  # fmt: skip
    assert [sale["price"] for sale in sales] == ["16.20"]
    assert "is there already" in shop("export", "--out", "all.zip", fails=True)


def test_a_buyers_name_is_erased_by_a_command(shop):
    shop("sell", "07-001", "--buyer", "Bo Invented")
    assert "Bo Invented: 07-001, 16.20 USD" in shop("buyers")
    assert "the sales stay" in shop("buyers", "--erase", "Bo Invented")
    assert "name erased: 07-001, 16.20 USD" in shop("buyers")
    assert "no buyer is called Bo Invented" in shop("buyers", "--erase", "Bo Invented")
    folder = default_path().parent
    assert not [p for p in folder.rglob("*") if p.is_file() and b"Bo Invented" in p.read_bytes()]
    # Undo takes back the sale, never the erasing.
    assert "07-001 sold" in shop("undo")


@pytest.mark.slow
def test_the_name_of_one_for_whom_a_thing_is_held_is_erased_too(shop):
    shop("reserve", "07-002", "--until", "2099-01-01", "--for", "Bo Invented")
    assert "held for Bo Invented until" in shop("haul", "list", "07")
    assert "held for Bo Invented until" in shop("history", "07-002")
    shop("export", "--out", "all.zip")
    with zipfile.ZipFile("all.zip") as plain:
        assert b"Bo Invented" not in b"".join(plain.read(name) for name in plain.namelist())
    assert "Bo Invented: nothing that holds" in shop("buyers")
    assert "the sales stay" in shop("buyers", "--erase", "Bo Invented")
    folder = default_path().parent
    assert not [p for p in folder.rglob("*") if p.is_file() and b"Bo Invented" in p.read_bytes()]
    # It is held all the same.
    assert "held until 2099-01-01" in shop("haul", "list", "07")
    assert "is held until" in shop("sell", "07-002", fails=True)


def test_a_name_that_version_0003_kept_in_a_reservation_stays_and_that_is_told(shop):
    from grader.ledger import stock
    from grader.ledger.deeds import Reserved

    with open_ledger(default_path()) as ledger:
        piece = stock.thing(ledger, "07-002").uid
        ledger.add(Reserved((piece,), "2099-01-01", "bo invented, Tuesday"))
    assert "held for bo invented, Tuesday until" in shop("haul", "list", "07")
    shop("export", "--out", "all.zip")
    with zipfile.ZipFile("all.zip") as plain:
        assert b"bo invented" not in b"".join(plain.read(name) for name in plain.namelist())
    told = shop("buyers", "--erase", "Bo Invented").splitlines()
    assert len(told) == 1 and "the name stands in 1 reservation too" in told[0]


SAMPLE = Path(__file__).parents[2] / "sample_images" / "01_lake_over_shore.jpg"


def test_no_file_meant_for_others_holds_what_a_photo_hides(tmp_path, monkeypatch, data_folder):
    """A real photo with a place, a camera and a name in its EXIF, graded and listed: none of it comes out."""
    monkeypatch.chdir(tmp_path)
    secret = tmp_path / "secretyard"
    secret.mkdir()
    small = cv2.resize(cv2.imread(str(SAMPLE)), None, fx=0.3, fy=0.3, interpolation=cv2.INTER_AREA)
    exif = Image.Exif()
    exif[0x010F], exif[0x013B], exif[0x0110] = "CameraMakerX", "Nell Sorter", "SerialY-778"
    exif.get_ifd(0x8825).update({1: "N", 2: (47.0, 12.0, 34.5), 3: "E", 4: (8.0, 7.0, 6.5)})
    photo = secret / "IMG_4711.jpg"
    Image.fromarray(np.ascontiguousarray(small[..., ::-1])).save(photo, exif=exif)
    assert b"CameraMakerX" in photo.read_bytes()

    def run(*args):
        from grader.cli.main import app

        ran = CliRunner().invoke(app, [str(arg) for arg in args])
        assert ran.exit_code == 0, ran.output
        return ran.stdout

    run("trip", "new", "North", "--place", "behind the third fence", "--right", "permit 12")
    run("haul", "new", "07", "--trip", "1", "--raw", "2kg")
    run("batch", "secretyard", "--haul", "07", "--workers", "1", "--mm-per-px", "0.3")
    run("call", photo, "--grade", "cabbing", "--by", "Nell Sorter")
    run("listing", "07-001", "--out", "out", "--by", "Nell Sorter")
    run("export", "--out", "out/all.zip")
    hidden = (*SECRETS, "CameraMakerX", "SerialY-778", "secretyard", str(tmp_path))
    files = [p for p in (tmp_path / "out").iterdir()]
    assert len(files) == 6
    for path in files:
        content = path.read_bytes()
        if path.suffix == ".zip":
            with zipfile.ZipFile(path) as held:
                content = b"".join(held.read(name) for name in held.namelist())
        for words in hidden:
            assert words.encode() not in content, (path.name, words)
        # No EXIF segment in any picture, in the page as text of base 64.
        assert b"Exif\0\0" not in content
    html = (tmp_path / "out" / "07-001.html").read_text("utf-8")
    from base64 import b64decode

    pictures = [b64decode(one) for one in re.findall(r"base64,([^\"]+)", html)]
    assert len(pictures) >= 2
    for picture in pictures:
        assert b"Exif" not in picture and not Image.open(io.BytesIO(picture)).getexif()
