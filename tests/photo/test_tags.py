"""Tags in photos: sheets as they are printed, drawn by pypdfium2 and laid into rendered photos, tilted and blurred.

At 3 px a module 5 of 6 were read and at 4 all, in a trial of the same reader on other pictures; here all must be.
"""

import json
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from typer.testing import CliRunner

from grader import grade_photo
from grader.photo.colour import srgb_encoding
from grader.photo.photo import Photo
from grader.photo.read import read_photo
from grader.photo.tags import distances, find_tags
from grader.photo.terms import PhotoTerms
from grader.profile import load_profile
from grader.report.label_sheet import GRIDS, Label, label_sheets
from grader.report.result import measured_record
from grader.report.screen import photo_text

SAMPLES = Path(__file__).parents[2] / "sample_images"
PAPER, INK = np.array([235.0, 233.0, 228.0]), 30.0
MODULES = 21  # of a QR code that holds 07-113, ISO/IEC 18004, version 1


@cache
def sample(name: str) -> np.ndarray:
    return cv2.imread(str(SAMPLES / f"{name}.jpg"))[..., ::-1]


@cache
def printed(label: Label, paper: str) -> np.ndarray:
    """One label, 300 dots per inch, 0 to 1."""
    page = next(iter(pypdfium2.PdfDocument(label_sheets([label], paper))))
    page = page.render(scale=300 / 72).to_numpy()[..., :3] / 255
    grid, k = GRIDS[paper], 300 / 25.4
    left, top = round(grid.left_mm * k), round(grid.top_mm * k)
    return page[top : top + round(grid.height_mm * k), left : left + round(grid.width_mm * k)]


def with_tag(rgb, at, px, *, turn=0, tilt=0, blur=0.6, paper="a4", label=Label("07-113")):  # noqa: B008
    """Return a picture with a tag whose middle lies there, so many px a module, and the corners of its paper.

    turn, tilt : degrees; the camera is six widths of the tag away.   blur : sigma, px, of all of it.
    """
    tag = printed(label, paper).astype(np.float32)
    h, w = tag.shape[:2]
    factor = px * MODULES / (GRIDS[paper].qr_mm * 300 / 25.4)
    corners = (np.array([[0, 0], [w, 0], [w, h], [0, h]]) - (w / 2, h / 2)) * factor
    a, r = np.deg2rad(tilt), np.deg2rad(turn)
    away = 6 * w * factor
    depth = corners[:, 1] * np.sin(a)
    corners[:, 1] *= np.cos(a)
    corners *= (away / (away + depth))[:, None]
    corners = corners @ np.array([[np.cos(r), np.sin(r)], [-np.sin(r), np.cos(r)]]) + at
    to_photo = cv2.getPerspectiveTransform(
        np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32), corners.astype(np.float32)
    )
    size = rgb.shape[1::-1]
    ink = cv2.warpPerspective(cv2.GaussianBlur(tag, (0, 0), 0.45 / factor), to_photo, size)
    cover = cv2.warpPerspective(np.ones((h, w), np.float32), to_photo, size)[..., None]
    laid = rgb * (1 - cover) + (ink * PAPER + (1 - ink) * INK) * cover
    noise = np.random.default_rng(7).normal(0, 2, rgb.shape)
    return np.clip(cv2.GaussianBlur(laid, (0, 0), blur) + noise, 0, 255).astype(np.uint8), corners


def photo_of(rgb) -> Photo:
    return Photo("tray.png", np.ascontiguousarray(rgb), srgb_encoding(), "0" * 64)


def inside(points, shape) -> np.ndarray:
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(points).astype(np.int32)], 1)
    return mask > 0


@pytest.mark.parametrize("px", [3, 4])
@pytest.mark.parametrize("turn", [0, 25, 200])
@pytest.mark.parametrize("tilt", [0, 20])
@pytest.mark.parametrize("blur", [0.4, 1.0])
def test_a_tag_is_read_at_three_and_four_px_a_module(px, turn, tilt, blur):
    rgb, corners = with_tag(sample("01_lake_over_shore"), (300, 110), px, turn=turn, tilt=tilt, blur=blur)  # fmt: skip
    (tag,) = find_tags(photo_of(rgb))
    assert tag.text == "07-113"
    # Its own upper left corner comes first: nearest to that of the paper.
    assert np.linalg.norm(corners - tag.code[0], axis=1).argmin() == 0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("paper", "label"),
    [
        ("a4", Label("07-113")),
        ("letter", Label("07-113", "select", "a scene, no line seen", "net 612 g", "photo: wet")),
    ],
)
def test_the_paper_around_a_code_is_found_whole(paper, label):
    for turn, tilt in ((0, 0), (40, 20), (190, 10)):
        seen = {"turn": turn, "tilt": tilt, "paper": paper, "label": label}
        rgb, corners = with_tag(sample("01_lake_over_shore"), (640, 480), 3.5, **seen)
        (tag,) = find_tags(photo_of(rgb))
        truth, found = inside(corners, rgb.shape), inside(tag.paper, rgb.shape)
        assert (truth & found).sum() / truth.sum() > 0.97
        assert (truth & found).sum() / (truth | found).sum() > 0.85


def test_sixteen_bits_and_large_photos_are_read_too(monkeypatch):
    rgb, _ = with_tag(sample("01_lake_over_shore"), (300, 110), 4)
    monkeypatch.setattr("grader.photo.tags.MOST_PX", rgb[..., 0].size * 0.8)
    (tag,) = find_tags(photo_of(rgb.astype(np.uint16) * 257))
    assert tag.text == "07-113"
    # In px of the photo, not of the copy.
    assert np.hypot(*(tag.code[1] - tag.code[0])) == pytest.approx(4 * MODULES, rel=0.05)


def test_a_code_that_is_smeared_is_seen_and_not_guessed():
    rgb, corners = with_tag(sample("13_grey_host"), (1050, 80), 4)
    left, top = corners.min(axis=0).astype(int)
    # Its three corner marks are there, much of the rest is not.
    rgb[top + 52 : top + 100, left + 50 : left + 96] = (120, 60, 50)
    assert [tag.text for tag in find_tags(photo_of(rgb))] == [None]


def test_no_tag_is_seen_where_there_is_none():
    for path in sorted(SAMPLES.glob("*.jpg")):
        assert find_tags(read_photo(path)) == (), path.name


def graded(tmp_path, rgb, name="tray.png", tags=True):
    path = tmp_path / name
    cv2.imwrite(str(path), np.ascontiguousarray(rgb[..., ::-1]))
    return grade_photo(path, terms=PhotoTerms(tags=tags))


def shares(done, stone=0):
    return {n: s.value for n, s in done.pieces[stone].measured.measurements.regions.shares.items()}


@pytest.mark.slow
def test_a_tag_beside_a_stone_changes_nothing(tmp_path):
    plain = graded(tmp_path, cv2.GaussianBlur(sample("01_lake_over_shore"), (0, 0), 0.6))
    rgb, _ = with_tag(sample("01_lake_over_shore"), (1050, 870), 3.5, turn=-8, tilt=15)
    done = graded(tmp_path, rgb, "with.png")
    assert len(done.pieces) == len(plain.pieces) == 1
    for name, share in shares(plain).items():
        assert shares(done)[name] == pytest.approx(share, abs=0.02)
    record = measured_record(done.measured)
    assert [tag["text"] for tag in record["photo"]["tags"]] == ["07-113"]
    assert "tag_on_stone" not in [one["code"] for one in record["photo"]["warnings"]]


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (["07-113"], "tag 07-113; grader haul photo 07-113 t.png says that it shows that piece"),
        (["07-L1"], "tag 07-L1"),
        (["07-113", None, "07-114"], "tag 07-113, 07-114"),
    ],
)
def test_a_check_tells_what_the_tags_in_its_photo_say(said, told):
    photo = {"file": "t.png", "tags": [{"text": text} for text in said], "warnings": []}
    photo |= {"scale": {"mm_per_px": None}, "colour": {"source": "camera"}}
    record = {"photo": photo, "photos": [photo], "pieces": []}
    assert photo_text(record, load_profile()).splitlines()[1:] == [f"  {told}"]


@pytest.mark.slow
def test_a_tag_alone_is_no_stone(tmp_path):
    for px in (3, 8):
        rgb, _ = with_tag(sample("06_nothing_on_the_board"), (640, 480), px, turn=20)
        assert graded(tmp_path, rgb).pieces == ()


@pytest.mark.slow
def test_a_tag_upon_a_stone_is_no_white_band_and_is_told(tmp_path):
    plain_rgb = cv2.GaussianBlur(sample("01_lake_over_shore"), (0, 0), 0.6)
    plain = graded(tmp_path, plain_rgb).pieces[0].measured
    rgb, corners = with_tag(sample("01_lake_over_shore"), (640, 420), 3, turn=20)
    done = graded(tmp_path, rgb, "with.png")
    # What the stone shows beside the tag, by the look at it without one.
    face = plain.face
    at = face.from_photo_px(corners)
    beside = face.mask & ~inside(at, face.mask.shape)
    regions = plain.measurements.regions
    for code, name in enumerate(regions.shares, start=1):
        expected = (regions.codes == code)[beside].sum() / beside.sum()
        assert shares(done)[name] == pytest.approx(expected, abs=0.02), name
    assert "tag_on_stone" in [remark.code for remark in done.remarks]
    own = done.pieces[0].measured.face
    assert not own.mask[inside(own.from_photo_px(corners), own.mask.shape)].any()


@pytest.mark.slow
def test_where_nobody_asks_nothing_is_looked_for(tmp_path):
    rgb, _ = with_tag(sample("01_lake_over_shore"), (300, 110), 4)
    done = graded(tmp_path, rgb, tags=False)
    assert "tags" not in measured_record(done.measured)["photo"]


def test_how_far_a_tag_lies_from_a_stone():
    square = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], np.float32)
    outlines = {1: square * 5, 2: square * 5 + (100, 0)}
    # 10 px to the right of the first one, 30 to the left of the second; its sides are 10 px.
    assert distances(square + np.float32((60, 20)), outlines) == pytest.approx({1: 1.0, 2: 3.0})
    assert distances(square + np.float32((110, 20)), outlines)[2] == 0


@pytest.fixture
def told(tmp_path, monkeypatch):
    """Runs the tool as it is in a folder of its own; returns its output and what it says beside, as one."""
    from grader.cli.main import app

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("os.cpu_count", lambda: 1)

    def run(*args):
        ran = CliRunner().invoke(app, list(args))
        assert ran.exit_code == 0, ran.output
        return ran.output

    run("haul", "new", "07", "--raw", "20kg")
    return run


def photographed_twice(folder, *said, places=((1050, 870), (990, 800))):
    """A stone in front.jpg, and again, the camera moved, in again.jpg; each with the tag of that number, if any."""
    folder.mkdir()
    first = sample("01_lake_over_shore")
    moved = cv2.getRotationMatrix2D((640, 480), 6, 0.93)
    again = cv2.warpAffine(first, moved, first.shape[1::-1], borderMode=cv2.BORDER_REPLICATE)
    for name, rgb, code, at in zip(("front", "again"), (first, again), said, places, strict=True):
        rgb = with_tag(rgb, at, 3.5, label=Label(code))[0] if code else rgb
        cv2.imwrite(str(folder / f"{name}.jpg"), np.ascontiguousarray(rgb[..., ::-1]))


def numbered(output):
    return sorted(line for line in output.splitlines() if line.startswith("07-"))


@pytest.mark.slow
def test_a_further_photo_of_the_same_face_belongs_to_the_piece_of_its_tag(told, tmp_path):
    photographed_twice(tmp_path / "p", "07-113", None)
    said = told("check", "p/front.jpg", "p/again.jpg", "--same-face", "--tags")
    assert "the same face: p/again.jpg" in said
    assert "grader haul photo 07-113 p/front.jpg" in said
    said = told("batch", "p", "--haul", "07")
    # The one without a tag comes first, and has the number all the same.
    assert numbered(said) == ["07-113  again.jpg, stone 1", "07-113  front.jpg, stone 1, as before"]  # fmt: skip
    assert told("history", "07-113").count("photographed") == 2
    told("listing", "07-113", "--out", "l")
    (listing,) = (tmp_path / "l").glob("*07-113*.json")
    assert len(json.loads(listing.read_text())["faces"]) == 1  # seen twice, one face all the same


@pytest.mark.slow
def test_a_tag_that_only_the_further_photo_shows_gives_the_number_too(told, tmp_path):
    photographed_twice(tmp_path / "p", None, "07-113")
    said = told("check", "p/front.jpg", "p/again.jpg", "--same-face", "--tags")
    assert "grader haul photo 07-113 p/front.jpg" in said
    said = told("batch", "p", "--haul", "07")
    assert [line[:6] for line in numbered(said)] == ["07-113", "07-113"]
    assert "though" not in said and "1 stone numbered, 1 had a number" in said


@pytest.mark.slow
def test_two_tags_for_one_face_are_told_in_a_line(told, tmp_path):
    photographed_twice(tmp_path / "p", "07-113", "07-114")
    said = told("check", "p/front.jpg", "p/again.jpg", "--same-face", "--tags")
    line = "tag 07-113 in p/front.jpg and 07-114 in p/again.jpg: two tags for one face; see which is right"
    assert said.count(line) == 1
    said = told("batch", "p", "--haul", "07")
    assert "07-113  again.jpg, stone 1, though its tag says 07-114" in said
    assert "07-113  front.jpg, stone 1, as before" in said


@pytest.mark.slow
def test_photos_numbered_apart_are_joined_by_hand_with_their_further_ones(told, tmp_path):
    photographed_twice(tmp_path / "p", None, None)
    assert [line[:6] for line in numbered(told("batch", "p", "--haul", "07"))] == ["07-001", "07-002"]  # fmt: skip
    said = told("check", "p/front.jpg", "p/again.jpg", "--same-face")
    line = "07-001 and 07-002 are two pieces of a haul; say which it is for both photos, as grader haul photo NUMBER"
    assert f"{line} p/front.jpg p/again.jpg\n" in said
    told("haul", "photo", "07-002", "p/front.jpg", "p/again.jpg")
    # Joined now; and given to another piece, the further photo goes along.
    told("check", "p/front.jpg", "p/again.jpg", "--same-face")
    told("haul", "photo", "07-009", "p/front.jpg")
    said = told("batch", "p", "--haul", "07")
    assert [line[:6] for line in numbered(said)] == ["07-009", "07-009"]
