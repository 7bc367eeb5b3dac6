"""The page on which the seller calls: whole in itself, safe with any name, and readable back."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from grader.errors import PhotoError
from grader.grading.proposal import Call
from grader.profile import load_profile
from grader.report import sheet
from grader.report.calls import with_calls
from grader.report.result import failed_record, photo_record
from grader.report.sheet import sheet_pages
from grader.report.stone_pictures import stone_pictures

TIME = "2026-03-02T10:11:12+01:00"


@pytest.fixture
def pages():
    """Return a function that gives the sheet of these graded photos, page by page."""

    def pages(*photos, records=(), lost=(), profile=None):
        made = list(records) or [photo_record(graded) for graded in photos]
        pictures = {
            (graded.photo.sha256, piece.measured.piece.id): stone_pictures(
                graded.photo, piece.measured
            )
            for graded in photos
            for piece in graded.pieces
        }
        return sheet_pages("sheet.html", made, pictures, profile or load_profile(), lost)

    return pages


@pytest.fixture
def written(pages):
    """Return a function that gives the first page."""
    return lambda *photos, **given: pages(*photos, **given)["sheet.html"]


class Tags(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.tags = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def named(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]


def test_the_page_asks_nothing_of_the_network(written, make_graded):
    page = written(make_graded(2))
    assert "default-src 'none'" in page
    without_pictures = re.sub(r"data:image/(jpeg|png);base64,[^\"]+", "", page)
    assert not re.search(r"https?:|//[a-z]|@import|url\(", without_pictures.split("<script>")[0])
    for tag in ("link", "iframe", "object"):
        assert Tags(page).named(tag) == []
    assert all("src" not in attrs for attrs in Tags(page).named("script"))


def test_every_stone_has_its_picture_a_grade_choice_and_a_scene_field(written, make_graded):
    tags = Tags(written(make_graded(3)))
    for view in ("lines", "photo", "regions", "best"):
        assert len([img for img in tags.named("img") if img.get("class") == view]) == 3
    assert len([s for s in tags.named("select") if s.get("class") == "g"]) == 3
    assert len([s for s in tags.named("input") if s.get("class") == "s"]) == 3


def test_each_stone_switches_between_four_pictures_by_labelled_radios(written, make_graded):
    tags = Tags(written(make_graded(2)))
    radios = [attrs for attrs in tags.named("input") if attrs.get("type") == "radio"]
    assert [radio["value"] for radio in radios] == ["lines", "photo", "regions", "best"] * 2
    assert len({radio["name"] for radio in radios}) == 2
    # Where nobody chooses, it is the one with the lines.
    assert [radio["value"] for radio in radios if "checked" in radio] == ["lines"] * 2
    labelled = {label["for"] for label in tags.named("label") if "for" in label}
    assert {radio["id"] for radio in radios} == labelled and len(labelled) == 8


def test_the_shares_stand_below_the_regions_with_their_swatches(written, make_graded):
    page = written(make_graded())
    items = re.search(r'<ul class="told regions">(.*?)</ul>', page)[1]
    assert re.findall(r">([^<>]+)</li>", items) == [
        "blue 53 %", "white 26 %", "host 21 %", "unreadable 5 % of the face",
    ]  # fmt: skip
    assert items.count("data:image/png;base64,") == 4


def test_a_stone_of_an_earlier_look_shows_its_one_picture(make_graded):
    graded = make_graded()
    sheet_alone = {"sheet": stone_pictures(graded.photo, graded.pieces[0].measured)["sheet"]}
    kept = {(graded.photo.sha256, 1): sheet_alone}
    page = sheet_pages("sheet.html", [photo_record(graded)], kept, load_profile())["sheet.html"]
    assert [img.get("class") for img in Tags(page).named("img")] == ["lines"]
    assert not [attrs for attrs in Tags(page).named("input") if attrs.get("type") == "radio"]


def test_a_card_says_which_stone_it_is(written, make_graded):
    graded = make_graded(2)
    cards = Tags(written(graded)).named("article")
    assert [(card["data-photo"], card["data-piece"], card["data-box"]) for card in cards] == [
        ("a.jpg", "1", "40 40 200 100"),
        ("a.jpg", "2", "40 180 200 100"),
    ]
    assert {card["data-sha256"] for card in cards} == {graded.photo.sha256}


def test_the_grade_is_told_with_its_meaning(written, make_graded):
    page = written(make_graded())
    assert "1 cabbing</h2>" in page
    assert "for a cab where no line is seen" in page


def test_names_cannot_break_out_of_the_page(written, make_graded):
    name = '"><script>alert(1)</script>.jpg'
    page = written(make_graded(name=name))
    assert "<script>alert(1)" not in page
    assert Tags(page).named("article")[0]["data-photo"] == name


def test_grade_names_reach_the_script_unharmed(written, make_graded, tmp_path):
    text = (load_profile_text()).replace('"cabbing"', '"schön </script>"')
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    page = written(
        make_graded(grade="schön </script>"), profile=load_profile(tmp_path / "mine.toml")
    )
    assert page.count("</script>") == 1


def load_profile_text():
    from importlib import resources

    return (resources.files("grader") / "profiles" / "banded.toml").read_text("utf-8")


def test_the_call_stands_beside_the_proposal(written, make_graded):
    graded = make_graded()
    call = Call(
        "a.jpg", graded.photo.sha256, 1, (40, 40, 200, 100), "select", 71, "Mira", TIME, "two bands"
    )
    records, _ = with_calls([photo_record(graded)], [call])
    page = written(graded, records=records)
    assert "Mira: select, scene 71, 2026-03-02, two bands" in page
    assert "The proposal is another: cabbing" in page


def test_what_others_say_stands_behind_the_call_that_counts(written, make_graded):
    graded = make_graded()
    call = Call(
        "a.jpg", graded.photo.sha256, 1, (40, 40, 200, 100), "select", 71, "Mira", TIME, None
    )
    other = replace(call, by="Jun", grade="waste", scene=None)
    records, _ = with_calls([photo_record(graded)], [call, other], "Mira")
    page = written(graded, records=records)
    assert "<strong>Mira: select, scene 71, 2026-03-02</strong>" in page
    assert "<p>Jun: waste, 2026-03-02</p>" in page
    assert "The house's: select, scene 71 by Mira, who decides" in page
    records, _ = with_calls([photo_record(graded)], [call, other])
    page = written(graded, records=records)
    assert "The house's: waste by Jun, who spoke last; scene 71 by Mira" in page
    # Jun's grade and Mira's scene count.
    assert page.count("<strong>Jun: ") == page.count("<strong>Mira: ") == 1
    assert "People called 1 stone differently" in page


def test_what_is_no_stone_is_listed(written, make_graded):
    calls = [
        Call(photo, None, 1, (0, 0, 5, 5), "select", None, None, TIME, None)
        for photo in ("a.jpg", "gone.jpg")
    ]
    empty, lost = with_calls([photo_record(make_graded(0))], calls)
    failed = failed_record("c.jpg", PhotoError("c.jpg: empty file; copy it again", "empty"))
    page = written(records=[*empty, failed], lost=lost)
    assert "a.jpg: no stone found" in page
    assert "Not read: c.jpg: empty file; copy it again" in page
    assert "Call without a stone: select (a.jpg: no stone overlaps" in page
    assert "1 call is on photos that are not here: gone.jpg" in page


def test_above_the_limit_there_are_pages_linked_to_each_other(pages, make_graded, monkeypatch):
    monkeypatch.setattr(sheet, "PIECES_PER_PAGE", 2)
    by_name = pages(make_graded(5))
    assert list(by_name) == ["sheet.html", "sheet-2.html", "sheet-3.html"]
    links = [a["href"] for a in Tags(by_name["sheet.html"]).named("a")]
    assert links == ["sheet-2.html", "sheet-3.html"]
    last = Tags(by_name["sheet-3.html"]).named("article")
    assert [card["data-piece"] for card in last] == ["5"]


def test_the_cautions_are_at_the_foot_with_their_sources(written, make_graded):
    foot = written(make_graded()).split("<footer>")[1]
    for words in ("silica dust", "29 CFR 1910.1053", "30 CFR 56.3200", "Local rules"):
        assert words in foot


@pytest.mark.parametrize("words", ["no crack", "crack-free", "clean", "flawless"])
def test_no_stone_is_said_to_be_without_cracks(written, make_graded, words):
    page = written(make_graded())
    assert words not in page.casefold()
    assert "no line seen" in page


def test_an_unfamiliar_stone_has_no_grade_over_it(written, make_graded):
    record = photo_record(make_graded())
    record["pieces"][0]["proposal"] |= {"unfamiliar": "its grain lies far from theirs"}
    page = written(records=[record])
    assert ">1 unfamiliar<" in page and "unlike the stones this model knows (its grain" in page


@pytest.mark.parametrize("verdict", ["usable", "retake"])
def test_a_call_has_shown_the_same_from_the_sheet_a_table_or_by_itself(
    written, make_graded, verdict
):
    from csv import DictReader
    from dataclasses import asdict
    from io import StringIO

    from grader.calling import with_shown
    from grader.report.columns import calls_table

    graded = make_graded(verdict=verdict)
    record = photo_record(graded)
    (card,) = Tags(written(graded)).named("article")
    (row,) = DictReader(StringIO(calls_table([(record, record["pieces"][0])])))
    bare = Call(
        "a.jpg", graded.photo.sha256, 1, (40, 40, 200, 100), "select", None, None, TIME, None
    )
    call = with_shown(bare, record)
    assert call.shown.grade == (None if verdict == "retake" else "cabbing")
    for key, value in asdict(call.shown).items():
        text = "" if value is None else str(value)
        assert (card[f"data-shown-{key}"], row[f"shown_{key}"]) == (text, text), key
