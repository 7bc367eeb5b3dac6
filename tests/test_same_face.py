"""Several photos of one face, end to end, on a rendered stone under two lamps: its truth is exact."""

import importlib.util
import json
import sys
from pathlib import Path

import cv2
import jsonschema
import numpy as np
import pytest

import grader
from grader.errors import PhotoError
from grader.photo.colour import srgb_encoding
from grader.photo.terms import PhotoTerms
from grader.render import TRAINING, render_photo
from grader.render.truth import CRACK
from grader.report.json_text import to_json
from grader.report.result import photo_record, result_schema
from grader.report.screen import photo_text

SAMPLES = Path(__file__).parents[1] / "sample_images"
WET = PhotoTerms(state="wet")
pytestmark = pytest.mark.usefixtures("measured_once")


def _benchmark_module(name: str):
    path = Path(__file__).parent / "benchmarks" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(f"{name}_of_same_faces", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


pairs = _benchmark_module("face_pairs")


def written(path: Path, rgb) -> Path:
    cv2.imwrite(str(path), rgb[..., ::-1])
    return path


@pytest.fixture(scope="module")
def pair():
    """A wet stone of which nearly half is glare in the first photo."""
    chosen = {"fill": 0.45, "width_px": 480, "height_px": 360, "kind": "slab", "state": "wet"}
    return pairs.face_pair([501, 0], glare=True, **chosen)


@pytest.fixture(scope="module")
def files(pair, tmp_path_factory):
    folder = tmp_path_factory.mktemp("faces")
    return written(folder / "a.png", pair.first.rgb), written(folder / "b.png", pair.other)


def beside_a_card(rgb):
    """The photo with the photo card below it, as in one picture; turned upside down."""
    camera = _benchmark_module("card_camera")
    view = camera.Pinhole(size_px=(1600, 1200), focal_px=1200, distance_mm=330, turn_deg=20)
    scene = camera.Scene.of(camera.page())
    card = camera.photograph(scene, view, camera.Light(), np.random.default_rng(5))
    both = np.full((1200 + rgb.shape[0], 1600, 3), 90, np.uint8)
    both[:1200], both[1200:, 400 : 400 + rgb.shape[1]] = card, rgb
    return both[::-1, ::-1]


def share_error(stone, pair) -> float:
    shares = stone.measured.measurements.regions.shares
    return float(np.abs([shares[n].value for n in ("blue", "white", "host")] - pair.shares).mean())


@pytest.mark.slow
def test_a_face_that_glares_is_read_from_another_photo_and_told_in_the_first_ones_px(
    pair, files, tmp_path
):
    a, _ = files
    b = written(tmp_path / "b.png", beside_a_card(pair.other))
    (alone,) = grader.grade_photo(a, terms=WET).pieces
    graded = grader.grade_photo(a, terms=PhotoTerms(state="wet", same_face=(b,)))
    (stone,) = graded.pieces
    assert (alone.measured.verdict.value, alone.proposal) == ("retake", None)
    assert stone.measured.verdict.value == "usable"
    assert stone.proposal is not None
    left = stone.measured.measurements.regions.glare_share
    assert left < 0.02 < 0.3 < alone.measured.measurements.regions.glare_share
    assert share_error(stone, pair) < share_error(alone, pair) / 3
    # The frame, the photographed surface and the scale are the first photo's.
    assert stone.measured.piece.box == alone.measured.piece.box
    assert stone.measured.state == alone.measured.state
    assert stone.measured.scale.mm_per_px is None
    assert "the card is only in b.png: name that photo first" in [r.text for r in graded.remarks]
    record = json.loads(to_json(photo_record(graded, "x/a.png")))
    jsonschema.Draft202012Validator(result_schema()).validate(record)
    assert [(shown["file"], shown["used"]) for shown in record["photos"]] == [
        ("x/a.png", True),
        (str(b), True),
    ]
    assert record["pieces"][0]["glare"]["filled"] > 0.3
    text = photo_text(record, grader.load_profile(), more=True)
    assert "filled from the other photos" in text


@pytest.mark.slow
def test_photos_that_cannot_serve_are_left_out_and_it_is_told_why(files):
    a, b = files
    other_stone = SAMPLES / "01_lake_over_shore.jpg"
    graded = grader.grade_photo(a, terms=PhotoTerms(same_face=(b, other_stone, a)))
    # Without its gloss the second photo of the wet stone looks dry, and a dry one is not to be mixed in.
    assert [other.left_out.text for other in graded.measured.same_face] == [
        "b.png: looks dry, a.png wet; left out. If the face has dried in between, say --dried; "
        "if both were wet, or both dry, say so with --state",
        "01_lake_over_shore.jpg: does not show the same face, or from too far aside; left out",
        "a.png: is the same photo as a.png; left out",
    ]
    (stone,) = graded.pieces
    assert stone.measured.filled_share == 0
    assert stone.measured.verdict.value == "retake"
    record = json.loads(to_json(photo_record(graded)))
    jsonschema.Draft202012Validator(result_schema()).validate(record)
    assert [shown["why_not"] and shown["why_not"]["code"] for shown in record["photos"]] == [
        None, "other_state", "other_face", "same_photo",
    ]  # fmt: skip


def test_where_no_stone_is_found_the_other_photos_have_nothing_to_serve():
    empty = SAMPLES / "06_nothing_on_the_board.jpg"
    graded = grader.grade_photo(
        empty, terms=PhotoTerms(same_face=(SAMPLES / "01_lake_over_shore.jpg",))
    )
    (other,) = graded.measured.same_face
    assert other.left_out.code == "no_stone"


@pytest.mark.slow
def test_the_whole_picture_as_one_face_is_filled_too(pair, tmp_path):
    x, y, w, h = pair.first.stones[0].box
    first = grader.Photo("a", pair.first.rgb[y : y + h, x : x + w], srgb_encoding(), "a")
    other = written(tmp_path / "b.png", pair.other)
    graded = grader.grade_photo(
        first, terms=PhotoTerms(whole=True, state="wet", same_face=(other,))
    )
    (stone,) = graded.pieces
    assert graded.measured.same_face[0].left_out is None
    assert stone.measured.piece.box == (0, 0, w, h)
    assert stone.measured.filled_share > 0.2
    assert stone.measured.measurements.regions.glare_share < 0.1


@pytest.fixture(scope="module")
def drying(tmp_path_factory):
    """A stone wet, and dry but for its cracks, which hold water; the true cracks."""
    chosen = {
        "width_px": 480,
        "height_px": 360,
        "stones": 1,
        "kind": "slab",
        "cracks": 3,
        "healed": 3,
        "fill": 0.5,
    }
    wet, dry = (
        render_photo(
            np.random.default_rng(7), TRAINING, state=state, glare=False, finger=False, **chosen
        )
        for state in ("wet", "dry")
    )  # fmt: skip
    holds = cv2.dilate((wet.cracks == CRACK).view(np.uint8), np.ones((3, 3))) > 0
    half_dried = np.where(holds[..., None], wet.rgb, dry.rgb)
    folder = tmp_path_factory.mktemp("drying")
    files = written(folder / "wet.png", wet.rgb), written(folder / "dried.png", half_dried)
    return *files, wet.cracks == CRACK


@pytest.mark.slow
def test_a_line_that_stays_dark_while_its_surround_dries_is_told_and_the_colours_stay_the_first_ones(
    drying,
):
    wet, dried, cracks = drying
    (alone,) = grader.grade_photo(wet, terms=WET).pieces
    graded = grader.grade_photo(wet, terms=PhotoTerms(same_face=(dried,), dried=True))
    (stone,) = graded.pieces
    assert graded.measured.same_face[0].left_out is None
    shares, others = (s.measured.measurements.regions.shares for s in (stone, alone))
    assert shares == others
    near = cv2.dilate(cracks.view(np.uint8), np.ones((7, 7))) > 0
    ratios = {True: [], False: []}
    for line in stone.measured.measurements.lines:
        x, y = np.rint(stone.measured.face.to_photo_px(line.points)).astype(int).T
        ratios[bool(near[y, x].mean() > 0.5)].append(line.drying_ratio)
    assert np.median(ratios[True]) > 2
    assert all(ratio <= 1 for ratio in ratios[False])
    record = json.loads(to_json(photo_record(graded)))
    jsonschema.Draft202012Validator(result_schema()).validate(record)
    assert "dark while the surround dries" in photo_text(record, grader.load_profile(), more=True)
    with pytest.raises(PhotoError, match="the first is the wet one"):
        grader.grade_photo(wet, terms=PhotoTerms(same_face=(dried,), dried=True, state="dry"))
