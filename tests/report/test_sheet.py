"""The page on which the seller calls: whole in itself, safe with any name, and readable back."""

import json
import re
from base64 import b64decode, b64encode
from dataclasses import replace
from decimal import Decimal
from hashlib import sha256
from html.parser import HTMLParser

import pytest

from grader.errors import PhotoError
from grader.grading.proposal import Call
from grader.profile import load_profile
from grader.report import sheet
from grader.report.calls import with_calls
from grader.report.overlay import cut_picture
from grader.report.result import failed_record, photo_record
from grader.report.sheet import SheetHead, sheet_pages
from grader.report.stone_pictures import stone_pictures

TIME = "2026-03-02T10:11:12+01:00"
HEAD = SheetHead("Haul 07", "2026-03-02")


@pytest.fixture
def pages():
    """Return a function that gives the sheet of these graded photos, page by page."""

    def pages(*photos, records=(), lost=(), profile=None, head=HEAD, large=None):
        made = list(records) or [photo_record(graded) for graded in photos]
        pictures = {
            (graded.photo.sha256, piece.measured.piece.id): stone_pictures(
                graded.photo, piece.measured
            )
            for graded in photos
            for piece in graded.pieces
        }
        profile = profile or load_profile()
        return sheet_pages("sheet.html", made, pictures, large or {}, profile, head, lost)

    return pages


@pytest.fixture
def written(pages):
    """Return a function that gives the first page."""
    return lambda *photos, **given: pages(*photos, **given)["sheet.html"]


class Tags(HTMLParser):
    """Tags with their attributes, and the text of scripts, styles and paragraphs."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.texts = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.texts.append("")

    def handle_data(self, data):
        if self.texts:
            self.texts[-1] += data

    def named(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]

    def classed(self, name):
        """The text that begins each element of that class."""
        rows = zip(self.tags, self.texts, strict=True)
        return [text.strip() for (_, attrs), text in rows if name in attrs.get("class", "").split()]

    def data(self, element):
        rows = zip(self.tags, self.texts, strict=True)
        return json.loads(next(text for (_, attrs), text in rows if attrs.get("id") == element))


def known(page):
    return Tags(page).data("sheet-data")


def stone(page, number=1):
    return Tags(page).data(f"stone-{number}")


def test_the_page_asks_nothing_of_the_network(written, make_graded):
    page = written(make_graded(2))
    without_pictures = re.sub(r"[A-Za-z0-9+/=]{200,}", "", page)
    found = set(re.findall(r"https?://[^\"' <]+|@import|url\(", without_pictures))
    # The one is the name of a kind of element, which a browser never asks for.
    assert found == {"http://www.w3.org/2000/svg"}
    for tag in ("link", "iframe", "object"):
        assert Tags(page).named(tag) == []
    assert all("src" not in attrs for attrs in Tags(page).named("script"))


def test_only_the_pages_own_style_and_scripts_run(written, make_graded):
    """Content Security Policy Level 3, section 6.7.2: an inline block runs where its hash is named."""
    page = written(make_graded())
    policy = next(m["content"] for m in Tags(page).named("meta") if "http-equiv" in m)
    named = dict(part.split(" ", 1) for part in policy.split("; "))
    assert named["default-src"] == "'none'" and "unsafe" not in policy
    for tag in ("style", "script"):
        blocks = re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        hashes = [b64encode(sha256(block.encode()).digest()).decode() for block in blocks]
        assert named[f"{tag}-src"].split() == [f"'sha256-{one}'" for one in hashes]
    assert not any("style" in attrs or "onclick" in attrs for _, attrs in Tags(page).tags)


def test_each_stone_is_a_small_picture_with_its_number_and_its_words(written, make_graded):
    tags = Tags(written(make_graded(3)))
    assert [li["id"] for li in tags.named("li") if "tile" in li.get("class", "")] == [
        "tile-1", "tile-2", "tile-3",
    ]  # fmt: skip
    assert tags.classed("no") == ["1", "2", "3"]
    assert tags.classed("title") == ["cabbing"] * 3
    assert tags.classed("by") == ["proposed"] * 3
    assert tags.classed("below") == ["scene 54, no line seen"] * 3


def test_an_open_stone_has_photo_lines_regions_and_best_view(written, make_graded, crack):
    page = written(make_graded(lines=(crack,)))
    (face,) = stone(page)["faces"]
    (small,) = Tags(page).named("img")
    assert b64decode(small["src"].removeprefix("data:image/jpeg;base64,"))[:2] == b"\xff\xd8"
    assert b64decode(face["regions"])[:4] == b"\x89PNG"
    assert [text for _, text in face["counted"]] == [
        "blue 53 %", "white 26 %", "host 21 %", "unreadable 5 % of the face",
    ]  # fmt: skip
    # A margin of 6 % of the longer side lies round the stone at 40, 40 of 200 x 100 px.
    assert face["window"] == [28, 28, 224, 124]
    assert [(line["id"], line["class"]) for line in face["lines"]] == [(1, "crack")]


def test_a_stone_of_an_earlier_look_shows_its_one_picture(make_graded):
    graded = make_graded()
    sheet_alone = {"sheet": stone_pictures(graded.photo, graded.pieces[0].measured)["sheet"]}
    kept = {(graded.photo.sha256, 1): sheet_alone}
    args = [photo_record(graded)], kept, {}, load_profile(), HEAD
    page = sheet_pages("sheet.html", *args)["sheet.html"]
    (face,) = stone(page)["faces"]
    assert len(Tags(page).named("img")) == 1 and not face["regions"] and face["counted"] == []


def test_large_pictures_lie_in_the_page_or_beside_it(written, make_graded):
    graded = make_graded()
    place, jpeg = (graded.photo.sha256, 1), cut_picture(graded.photo, (40, 40, 200, 100))
    page = written(graded, large={place: jpeg})
    (face,) = stone(page)["faces"]
    assert b64decode(face["large"]) == jpeg and face["beside"] is None
    assert "beside this page" not in page.split("<script")[0]
    page = written(graded, large={place: "pictures/one.jpg"})
    (face,) = stone(page)["faces"]
    assert face["large"] is None and face["beside"] == "pictures/one.jpg"
    assert "send both together" in page


def test_a_stone_says_how_it_is_saved(written, make_graded):
    graded = make_graded(2)
    rows = known(written(graded))["stones"]
    assert [row["saved"] for row in rows] == [
        {"photo": "a.jpg", "sha256": graded.photo.sha256, "piece": 1, "box": "40 40 200 100"},
        {"photo": "a.jpg", "sha256": graded.photo.sha256, "piece": 2, "box": "40 180 200 100"},
    ]


@pytest.mark.parametrize(
    ("name", "saved"),
    [
        ("Haul 07", "calls-haul-07"),
        ("Haul 07 and 08", "calls-haul-07-and-08"),
        ("tray_photos", "calls-tray_photos"),
        ("../a:b*c", "calls-a-b-c"),
        ("...", "calls-stones"),
        ("größe", "calls-größe"),
    ],
)
def test_calls_are_saved_under_the_name_of_haul_or_folder(written, make_graded, name, saved):
    assert known(written(make_graded(), head=SheetHead(name, "2026-03-02")))["saved"] == saved


def test_keys_are_those_of_the_table(written, make_graded):
    page = written(make_graded())
    assert known(page)["keys"] == {"w": "waste", "t": "tumbling", "c": "cabbing", "s": "select"}


def test_numbered_and_weighed_stones_bear_both_numbers_and_the_weight(written, make_graded):
    record = photo_record(make_graded(2))
    record["pieces"][1]["number"] = "07-113"
    head = SheetHead("Haul 07", "2026-03-02", {"07-113": Decimal("612.35")}, "lb")
    page = written(records=[record], head=head)
    assert Tags(page).classed("code") == ["07-113"]
    rows = known(page)["stones"]
    assert [(row["n"], row["name"], row["grams"]) for row in rows] == [
        (1, "1", None), (2, "07-113", 612.35),
    ]  # fmt: skip
    # 1 lb is 453.59237 g (NIST Handbook 44, appendix C).
    assert "1.35 lb" in rows[1]["below"] and ["weight", "1.35 lb"] in stone(page, 2)["facts"]
    assert known(page)["unit"] == {"name": "lb", "grams": 453.59237, "decimals": 2}


def test_faces_of_one_piece_are_one_stone_and_a_photo_to_be_taken_again_does_not_speak_for_it(
    written, make_graded
):
    records = [
        photo_record(make_graded(name="a.jpg", verdict="retake", seed=1)),
        photo_record(make_graded(name="b.jpg", seed=2)),
        photo_record(make_graded(name="c.jpg", seed=3)),
    ]
    for record in records[:2]:
        record["pieces"][0]["number"] = "07-001"
    page = written(records=records)
    rows = known(page)["stones"]
    assert [(row["name"], row["saved"]["photo"]) for row in rows] == [
        ("07-001", "b.jpg"), ("2", "c.jpg"),
    ]  # fmt: skip
    assert [face["photo"] for face in stone(page)["faces"]] == ["b.jpg", "a.jpg"]
    assert "2 faces" in rows[0]["below"] and not rows[0]["retake"]


def test_the_lines_of_another_face_are_told_below_the_small_picture(written, make_graded, crack):
    """What is told of a piece is told of all its faces: the best scene with the lines of the worst."""
    records = [
        photo_record(make_graded(name="a.jpg", seed=1)),
        photo_record(make_graded(name="b.jpg", seed=2, lines=(crack,))),
    ]
    faces = [
        {"sha256": one["photo"]["sha256"], "id": 1, "file": one["photo"]["file"], "cracks": n}
        | {"uncertain": 0, "healed_or_seam": 0, "retake": False}
        for n, one in enumerate(records)
    ]
    own = records[0]["pieces"][0]
    whole = {"faces": faces, "scene": {"score": 60}, "proposal": own["proposal"]}
    whole |= {"scene_from": "a.jpg", "lines_from": "b.jpg"}
    for record in records:
        record["pieces"][0]["piece"] = whole
    (row,) = known(written(records=records))["stones"]
    assert row["below"] == ["scene 60", "1 line seen", "2 faces"]
    whole["proposal"], faces[0]["retake"] = None, True
    (row,) = known(written(records=records))["stones"]
    assert row["below"] == ["photograph again: a.jpg", "2 faces"] and row["retake"]


@pytest.mark.slow
def test_twenty_stones_make_a_sheet_of_paper_with_its_head(written, make_graded):
    heads = Tags(written(make_graded(41))).classed("paper-head")
    assert heads == [
        "Haul 07, 2026-03-02, sheet 1 of 3, stones 1 to 20",
        "Haul 07, 2026-03-02, sheet 2 of 3, stones 21 to 40",
        "Haul 07, 2026-03-02, sheet 3 of 3, stones 41 to 41",
    ]


def test_the_grade_is_told_with_its_meaning(written, make_graded):
    told = stone(written(make_graded()))
    assert told["grade"] == "cabbing" and "for a cab where no line is seen" in told["meaning"]


def test_names_cannot_break_out_of_the_page(written, make_graded):
    name = '"><script>alert(1)</script><!--<script>.jpg'
    page = written(make_graded(name=name), head=SheetHead(name, name))
    assert "<script>alert(1)" not in page and "<!--" not in page
    assert known(page)["stones"][0]["saved"]["photo"] == name


def test_grade_names_reach_the_script_unharmed(written, make_graded, tmp_path):
    from importlib import resources

    text = (resources.files("grader") / "profiles" / "banded.toml").read_text("utf-8")
    name = "schön </script>"
    (tmp_path / "mine.toml").write_text(text.replace('"cabbing"', f'"{name}"'), "utf-8")
    page = written(make_graded(grade=name), profile=load_profile(tmp_path / "mine.toml"))
    assert name in known(page)["grades"]
    assert name not in page


def test_a_call_is_the_title_and_the_proposal_stands_below_it(written, make_graded):
    graded = make_graded()
    call = Call(
        "a.jpg", graded.photo.sha256, 1, (40, 40, 200, 100), "select", 71, "Mira", TIME, "two bands"
    )
    records, _ = with_calls([photo_record(graded)], [call])
    page = written(graded, records=records)
    assert Tags(page).classed("title") == ["select"]
    assert Tags(page).classed("by") == ["proposed cabbing"]
    assert stone(page)["calls"] == [["Mira", "select, scene 71, 2026-03-02, two bands", True]]
    (row,) = known(page)["stones"]
    assert row["people"] == [{"by": "Mira", "grade": "select", "scene": 71, "time": TIME}]


def test_what_others_say_stands_behind_the_call_that_counts(written, make_graded):
    graded = make_graded()
    call = Call(
        "a.jpg", graded.photo.sha256, 1, (40, 40, 200, 100), "select", 71, "Mira", TIME, None
    )
    other = replace(call, by="Jun", grade="waste", scene=None)
    records, _ = with_calls([photo_record(graded)], [call, other], "Mira")
    told = stone(written(graded, records=records))
    assert told["calls"] == [
        ["Mira", "select, scene 71, 2026-03-02", True], ["Jun", "waste, 2026-03-02", False],
    ]  # fmt: skip
    assert told["counts"] == "select, scene 71 by Mira, who decides"
    records, _ = with_calls([photo_record(graded)], [call, other])
    page = written(graded, records=records)
    assert stone(page)["counts"] == "waste by Jun, who spoke last; scene 71 by Mira"
    # Jun's grade and Mira's scene count.
    assert [counts for _, _, counts in stone(page)["calls"]] == [True, True]
    assert "People called 1 stone differently" in page
    assert known(page)["stones"][0]["apart"]


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
    links = [a["href"] for a in Tags(by_name["sheet.html"]).named("a") if "#" not in a["href"]]
    assert links == ["sheet-2.html", "sheet-3.html"]
    last = known(by_name["sheet-3.html"])
    assert [row["n"] for row in last["stones"]] == [5] and last["saved"] == "calls-haul-07-page-3"


def test_one_line_of_caution_points_to_the_foot_where_all_stand_with_their_sources(
    written, make_graded
):
    head, foot = written(make_graded()).split('<footer id="care">')
    assert 'cracks that no photo shows: <a href="#care">' in head
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
    assert Tags(page).classed("title") == ["unfamiliar"] and Tags(page).classed("by") == [""]
    assert "unlike the stones this model knows (its grain" in stone(page)["meaning"]
    (row,) = known(page)["stones"]
    assert row["stranger"] and row["likely"] == []


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
    (of_sheet,) = known(written(graded))["stones"]
    (row,) = DictReader(StringIO(calls_table([(record, record["pieces"][0])])))
    bare = Call(
        "a.jpg", graded.photo.sha256, 1, (40, 40, 200, 100), "select", None, None, TIME, None
    )
    call = with_shown(bare, record)
    assert call.shown.grade == (None if verdict == "retake" else "cabbing")
    for key, value in asdict(call.shown).items():
        text = "" if value is None else str(value)
        assert (str(of_sheet["shown"][f"shown_{key}"]), row[f"shown_{key}"]) == (text, text), key
