"""Labels, tags printed before there are photos, and stones that get the number of their tag."""

import json
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pypdf
import pytest

from grader.deals.labels import photos_words
from grader.photo.file import content_hash
from grader.photo.tags import Tag


@pytest.fixture
def haul(cli, monkeypatch):
    """A haul; a photo that says "2 tags 07-011@1 07-012@2" has those tags below its stones, "@1.5" between two."""
    import grader.looking as looking

    measured = looking.measure_file

    def with_tags(photo, terms, profile, calls=()):
        made = measured(photo, terms, profile, calls)
        words = Path(photo).read_text().partition("tags ")[2].split() if terms.tags else []
        boxes = [one.piece.box for one in made.pieces]
        return replace(made, tags=tuple(_tag(word, boxes) for word in words))

    monkeypatch.setattr(looking, "measure_file", with_tags)
    assert cli.run("haul", "new", "07", "--raw", "20kg").exit_code == 0

    def batch(folder="photos", code="07"):
        ran = cli.run("batch", folder, "--haul", code)
        assert ran.exit_code == 0, ran.output
        lines = ran.stderr.splitlines()
        return [line for line in lines if re.match(rf"{code}-\d+  ", line)], ran

    cli.batch = batch
    cli.told = lambda *args: json.loads(cli.run(*args, "--json").stdout)
    return cli


def _tag(word: str, boxes) -> Tag:
    text, _, at = word.partition("@")
    at = float(at or 1)
    # Stones lie one below the other, 40 px apart.
    x, y, w, h = boxes[int(at) - 1]
    corner = (x + w / 2, y + h + (2 if at == int(at) else 12))
    code = np.array([[-8, 0], [8, 0], [8, 16], [-8, 16]], np.float32) + corner
    return Tag(None if text == "?" else text, code, code)


def words_of(path) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(path).pages)


@pytest.mark.slow
def test_a_tag_gives_its_stone_the_number_and_a_second_run_renumbers_nothing(haul):
    haul.run("labels", "--blank", "07-001..07-020", "--out", "tags.pdf")
    haul.photo("photos/a.jpg", "2 tags 07-012@1 07-011@2")
    haul.photo("photos/b.jpg", "1 untagged")
    lines, _ = haul.batch()
    # What has no tag gets a number that is on none.
    assert lines == ["07-012  a.jpg, stone 1", "07-011  a.jpg, stone 2", "07-021  b.jpg, stone 1"]
    again, _ = haul.batch()
    assert again == [f"{line}, as before" for line in lines]


@pytest.mark.slow
def test_a_photo_graded_before_without_a_haul_is_measured_again_only_where_it_shows_a_tag(haul):
    haul.photo("photos/a.jpg", "2 tags 07-011@1 07-012@2")
    haul.photo("photos/b.jpg", "1 untagged")
    haul.run("batch", "photos")
    assert len(haul.asked) == 2
    lines, _ = haul.batch()
    assert [asked.photo.name for asked in haul.asked] == ["a.jpg"]
    assert [line[:13] for line in lines] == ["07-011  a.jpg", "07-012  a.jpg", "07-013  b.jpg"]
    # It is known from then on, without reading the photo again; and measured anew it is the same.
    assert haul.batch() and not haul.asked
    haul.run("batch", "photos", "--haul", "07", "--anew")
    assert len(haul.asked) == 2
    looks = [entry.fact.record for entry in haul.facts("measured")]
    b = [look for look in looks if look["photo"]["file"] == "b.jpg"]
    assert [look["photo"].pop("tags", None) for look in b] == [None, [], []]
    assert b[0] == b[1] == b[2]


def test_a_stone_without_a_tag_gets_no_number_that_lies_on_a_tag_of_a_later_photo(haul):
    haul.photo("photos/a.jpg", "1 untagged")
    haul.photo("photos/b.jpg", "1 tags 07-001")
    haul.photo(
        "photos/c.jpg", "2 tags 07-002@1.5"
    )  # between two stones: neither gets it, nor does another
    ran = haul.run("batch", "photos", "--haul", "07")
    assert [line[:13] for line in ran.stderr.splitlines() if line.startswith("07-0")] == [
        "07-003  a.jpg",
        "07-001  b.jpg",
    ]


def test_photos_of_one_piece_join_by_tag_by_name_and_by_hand(haul):
    haul.photo("photos/a.jpg", "1 tags 07-1113")
    haul.photo("photos/b.jpg", "1 other side tags 07-1113")
    haul.photo("photos/07-1113_2.jpg", "1 third")
    haul.photo("photos/z.jpg", "1 fourth")
    lines, _ = haul.batch()
    assert [line[:7] for line in lines] == ["07-1113"] * 3 + ["07-1114"]
    ran = haul.run("haul", "photo", "07-1113", "photos/z.jpg")
    assert ran.stdout == "photos/z.jpg: shows 07-1113; it was 07-1114 until now\n"
    lines, _ = haul.batch()
    assert [line[:7] for line in lines] == ["07-1113"] * 4
    assert haul.run("history", "07-1113").stdout.count("photographed") == 4


def test_a_photo_is_given_by_hand_to_a_piece_that_is_not_numbered_yet(haul):
    haul.photo("photos/a.jpg", "2a")
    assert "shows 2 stones; say which" in haul.run("haul", "photo", "07-005", "photos/a.jpg").stderr
    assert "no stone 3" in haul.run("haul", "photo", "07-5", "photos/a.jpg", "--piece", 3).stderr
    ran = haul.run("haul", "photo", "07-005", "photos/a.jpg", "--piece", 2)
    assert ran.stdout == "photos/a.jpg: shows 07-005\n"
    assert [line[:6] for line in haul.batch()[0]] == ["07-006", "07-005"]


@pytest.mark.parametrize(
    ("tags", "said"),
    [
        (
            "08-004",
            "tag 08-004 is of haul 08: grade it with --haul 08; stone 1 got no number by it",
        ),
        ("?", "a tag cannot be read: take it larger and sharper"),
        ("07-L2", "07-L2 is the label of a lot"),
        ("07-004 07-005", "lay one tag to each stone"),
    ],
)
def test_a_tag_that_tells_no_number_is_said_once_and_no_other_is_made_up(haul, tags, said):
    haul.photo("photos/a.jpg", f"1 tags {tags}")
    lines, ran = haul.batch()
    assert lines == [] and ran.stderr.count(said) >= 1
    assert haul.told("haul", "list", "07") == []


def test_a_tag_between_two_stones_gives_neither_a_number(haul):
    haul.photo("photos/a.jpg", "2 tags 07-004@1.5")
    lines, ran = haul.batch()
    assert lines == []
    assert "tag 07-004 lies between stones 1 and 2: lay it nearer to its own" in ran.stderr


def test_another_code_is_left_aside(haul):
    haul.photo("photos/a.jpg", "1 tags https://example.org/")
    lines, ran = haul.batch()
    assert [line[:6] for line in lines] == ["07-001"]
    assert "which is no number of a piece; left aside" in ran.stderr


def test_a_name_helps_where_a_tag_cannot_be_read(haul):
    haul.photo("photos/07-009.jpg", "1 tags ?")
    assert haul.batch()[0] == ["07-009  07-009.jpg, stone 1"]


def test_a_stone_keeps_its_number_though_its_tag_says_another(haul):
    haul.photo("photos/a.jpg", "1 tags 07-005")
    haul.run("haul", "photo", "07-002", "photos/a.jpg")
    lines, _ = haul.batch()
    assert lines == ["07-002  a.jpg, stone 1, as before, though its tag says 07-005"]


def test_a_numbering_taken_back_comes_again_by_the_tags(haul):
    haul.photo("photos/a.jpg", "1 tags 07-005")
    haul.batch()
    haul.run("undo")
    assert haul.batch()[0] == ["07-005  a.jpg, stone 1"]


def test_printed_numbers_go_to_no_other_stone_even_when_taken_back(haul):
    haul.photo("photos/a.jpg", "1")
    for _ in range(2):  # Printed twice, kept once.
        assert haul.run("labels", "--blank", "07-1..003", "--out", "t.pdf").exit_code == 0
    assert len(haul.facts("tags")) == 1
    undone = haul.run("undo").stdout
    assert "tags 07-001 to 07-003 printed; their numbers stay given" in undone
    assert haul.batch()[0] == ["07-004  a.jpg, stone 1"]
    told = haul.run("labels", "--blank", "07-003..07-005", "--out", "t.pdf").stderr
    assert told == "1 number of pieces already (07-004): those tags are theirs\n"


def test_tags_are_printed_before_the_haul_is_there(haul):
    told = haul.told("labels", "--blank", "09-001..09-050", "--out", "t.pdf")
    assert told["labels"][::49] == ["09-001", "09-050"] and told["sheets"] == 3
    haul.run("haul", "new", "09", "--raw", "2kg")
    haul.photo("photos/a.jpg", "1")
    assert haul.batch(code="09")[0] == ["09-051  a.jpg, stone 1"]


@pytest.mark.parametrize(
    ("states", "said"),
    [
        ([], "no photo"),
        (["wet"], "photo: wet"),
        (["patchy"], "photo: half dried"),
        (["unknown"], "photo: wet or dry not known"),
        (["dry", "wet"], "photos: dry and wet"),
        (["dry", "unknown"], "photos: dry, some not known"),
    ],
)
def test_how_it_was_photographed_is_said_plainly(states, said):
    assert photos_words(states) == said


@pytest.mark.slow
def test_labels_say_what_is_known_and_never_a_guess(haul):
    haul.photo("photos/a.jpg", "2 tags 07-001@1 07-002@2")
    haul.photo("photos/b.jpg", "1")
    haul.batch()
    haul.run("call", "photos/a.jpg", "--piece", 1, "--grade", "select")
    haul.run("weigh", "07-001", "1.35lb")
    haul.run("weigh", "07-002", "700g", "--wet")
    haul.run("weigh", "07-003", "333g", "--guessed")
    assert haul.run("labels", "--haul", "07", "--out", "l.pdf").exit_code == 0
    said = words_of(haul.folder / "l.pdf")
    assert "select a scene, or striking bands, where no line is seen" in " ".join(said.split())
    assert "net 612.3 g" in said and "net 700 g, weighed wet" in said
    assert "333" not in said and "not weighed" in said
    assert said.count(", proposed") == 2 and said.count("photo: ") == 3
    first = (haul.folder / "l.pdf").read_bytes()
    haul.run("labels", "--haul", "07", "--out", "l.pdf")
    assert (haul.folder / "l.pdf").read_bytes() == first


@pytest.mark.slow
def test_labels_of_lots_and_of_what_is_left_of_a_haul(haul):
    haul.photo("photos/a.jpg", "3")
    haul.batch()
    for number in (1, 2, 3):
        haul.run("call", "photos/a.jpg", "--piece", number, "--grade", "cabbing")
        haul.run("weigh", f"07-{number}", "260g")
    made = haul.told("lots", "make", "--haul", "07", "--grade", "cabbing", "--size", "500g")
    within = made["lots"][0]["pieces"]
    (loose,) = {"07-001", "07-002", "07-003"} - set(within)
    haul.run("labels", "07-L1", "--out", "l.pdf")
    said = words_of(haul.folder / "l.pdf")
    assert "not weighed, 2 pieces" in said and "cabbing" in said
    haul.run("weigh", "07-L1", "519g")
    haul.run("break", loose, "--into", 2)
    told = haul.told("labels", "--haul", "07", "--out", "l.pdf")
    assert told["labels"] == [*sorted(within), "07-004", "07-005", "07-L1"]
    assert "net 519 g, 2 pieces" in words_of(haul.folder / "l.pdf")
    assert "was broken" in haul.run("labels", loose, "--out", "l.pdf").stderr


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--haul", "07"), "no piece with a number is there"),
        (("--blank", "07-9..07-3"), "ends before it begins"),
        (("--blank", "07-L1..07-L3"), "print tags of pieces"),
        (("--blank", "07-001..08-003"), "is of two hauls"),
        (("--blank", "07-001..07-9999"), "more than 2000 tags"),
        (("--blank", "seven"), "is no number of a piece"),
        (("--blank", "07-1..5", "--skip", 24), "a sheet has 24 places"),
        (("07-001", "--haul", "07"), "one of them"),
        ((), "one of them"),
        (("--blank", "07-1..5", "--no-ledger"), "needs the ledger"),
    ],
)
def test_what_cannot_be_printed_is_refused_in_one_line_and_keeps_nothing(haul, args, said):
    ran = haul.run("labels", *args, "--out", "l.pdf")
    assert ran.exit_code in (1, 2) and said in ran.stderr and ran.stderr.count("\n") == 1
    assert not (haul.folder / "l.pdf").exists() and haul.facts("tags") == []


def test_a_file_of_the_sellers_is_never_written_over(haul):
    (haul.folder / "l.pdf").write_text("mine")
    ran = haul.run("labels", "--blank", "07-1..5", "--out", "l.pdf")
    assert ran.exit_code == 2 and "was not made by this tool" in ran.stderr
    assert (haul.folder / "l.pdf").read_text() == "mine" and haul.facts("tags") == []


def test_a_tray_gets_a_map_and_a_single_stone_none(haul, monkeypatch):
    drawn = []
    monkeypatch.setattr(
        "grader.batch.read_photo", lambda path: SimpleNamespace(sha256=content_hash(path))
    )
    monkeypatch.setattr("grader.batch.cut_picture", lambda photo, box: b"cut")
    _, jpeg = cv2.imencode(".jpg", np.full((8, 8, 3), 200, np.uint8))
    monkeypatch.setattr("grader.batch.tray_map", lambda *told: drawn.append(told) or jpeg.tobytes())
    haul.photo("photos/day 1/a.jpg", "2 tags 07-012@1")
    haul.photo("photos/b.jpg", "1")
    haul.batch()
    made = haul.folder / "photos/graded/maps/day 1 a.jpg"
    assert cv2.imread(str(made)).shape == (8, 8, 3)
    ((_, outlines, codes),) = drawn
    assert codes == {1: "07-012", 2: "07-014"} and set(outlines) == {1, 2}
    haul.run("batch", "photos")  # Without --haul it stays.
    assert made.exists()
    # With the same stones and numbers it is not drawn again; one that somebody wrote over is, and theirs is kept.
    haul.batch()
    assert len(drawn) == 1
    made.write_bytes(b"mine")
    haul.batch()
    assert len(drawn) == 2 and cv2.imread(str(made)) is not None
