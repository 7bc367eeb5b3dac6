"""What is kept of a stone measures as its photo did: on samples, and on renders with card, chart, wide colour, 16 bits,
filled glare and a dried pair. The picture is read back with Pillow, the tool itself writes it with OpenCV."""

import importlib.util
import json
import sys
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import card_camera
import cv2
import numpy as np
import pytest
from PIL import Image

from grader import working
from grader.errors import PhotoError
from grader.face.lines.line_words import LineWord
from grader.face.sight import cut
from grader.face.sight.cut import FACE_PX, cut_face
from grader.face.words import StoneWords
from grader.grade import Graded, GradedPiece, MeasuredPhoto, facts_of, measure_photo
from grader.grading.models.model_files import load_model
from grader.grading.propose import scene_estimate
from grader.photo.chart import reference_linear
from grader.photo.colour import (
    codes_from_linear,
    delta_e_2000,
    linear_srgb,
    srgb_curve,
    srgb_encoding,
)
from grader.photo.icc import encoding_of_profile
from grader.photo.photo import ColourEncoding, Photo, Scale
from grader.photo.pieces import find_pieces
from grader.photo.read import read_photo
from grader.photo.reference import find_reference, no_reference
from grader.photo.terms import PhotoTerms
from grader.profile import load_profile
from grader.render import TRAINING, render_photo
from grader.render.icc_profile import display_p3_profile
from grader.report.result import photo_record
from grader.working import MOST_BYTES, encoded, measure_again, read_working, working_picture

pytestmark = pytest.mark.slow

SAMPLES = Path(__file__).parents[1] / "sample_images"
FILES = sorted(path for path in SAMPLES.iterdir() if path.name[:2].isdigit())
PROFILE, MODEL, NO_TERMS = load_profile(), load_model(None), PhotoTerms()
WARM = np.array([1.0, 0.8, 0.55])


def _benchmark_module(name: str):
    path = Path(__file__).parent / "benchmarks" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(f"{name}_of_kept_stones", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def kept(measured, photo, reference):
    """The working picture and its record, as they come back from a store."""
    picture, record = working_picture(measured, photo, reference)
    text = json.dumps(record, allow_nan=False)
    assert json.loads(text) == record
    assert len(picture) <= MOST_BYTES
    return picture, json.loads(text)


def plain_record(measured, photo, reference):
    """All that a record tells of a stone, in px of the photo."""
    facts = facts_of(measured, PROFILE)
    graded = GradedPiece(measured, facts, scene_estimate(facts, MODEL), None)
    whole = MeasuredPhoto(photo, reference, NO_TERMS, (measured,), ())
    return photo_record(Graded(whole, (graded,)))["pieces"][0]


#: The ends of an interval are read from the same pixels, so they are no surer than this.
HAIR = 0.002


def within(value, interval) -> bool:
    low, high = interval["low"], interval["high"]
    return (value is None and low is None) or low - HAIR <= value <= high + HAIR


def assert_within(again: dict, first: dict):
    """Figures of the picture lie within the intervals of those of the photo; what has no interval stays near."""
    for name, share in first["shares"].items():
        assert within(again["shares"][name]["value"], share), name
    assert within(again["scene"]["score"], first["scene"])
    assert within(again["scale"]["mm_per_px"], first["scale"])
    assert within(again["sound"]["largest"]["value"], first["sound"]["largest"])
    assert again["area_cm2"] == first["area_cm2"]
    for same in ("box", "outline", "verdict", "state", "size_class"):
        assert again[same] == first[same]


def photo_of(rgb, encoding=None, **plain_record) -> Photo:
    return Photo("a.jpg", rgb, encoding or srgb_encoding(), "a" * 64, **plain_record)


def coded(linear):
    return codes_from_linear(np.float32(linear), srgb_encoding())


def rendered(seed: int = 7, **chosen) -> np.ndarray:
    chosen = {"width_px": 480, "height_px": 360, "kind": "slab", "stones": 1, "fill": 0.45} | chosen
    return render_photo(np.random.default_rng(seed), TRAINING, finger=False, **chosen).rgb


#: Working size of the stone with lines: it is measured smaller than its photo shows it, and not for long.
SIDE_PX = 400


@pytest.fixture(scope="module")
def cracked():
    """A stone with lines, larger in its photo than at working size."""
    rgb = rendered(cracks=3, state="wet", glare=False)
    photo = photo_of(cv2.resize(rgb, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC))
    reference = no_reference(replace(photo, scale=Scale(0.06, "hand")))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cut, "FACE_PX", SIDE_PX)
        (measured,) = measure_photo(photo, NO_TERMS, PROFILE, reference).pieces
    return measured, photo, reference


@pytest.fixture(scope="module")
def again(cracked):
    return measure_again(*kept(*cracked), PROFILE)


def test_a_stone_measured_again_is_told_to_the_digit_in_px_of_its_photo(cracked, again):
    measured, photo, reference = cracked
    assert max(measured.piece.box[2:]) > SIDE_PX == max(again.face.mask.shape)
    assert again.measurements.lines
    first = plain_record(*cracked)
    assert plain_record(again, photo, reference) == first
    assert first["area_cm2"] > 1
    x, y, w, h = measured.piece.box
    for line, same in zip(again.measurements.lines, measured.measurements.lines, strict=True):
        photo_px = again.face.to_photo_px(line.points)
        assert np.abs(photo_px - measured.face.to_photo_px(same.points)).max() < 2
        assert ((photo_px >= (x, y)) & (photo_px <= (x + w, y + h))).all()


def test_the_picture_is_what_the_photo_shows_of_the_stone_and_needs_no_photo(cracked):
    measured, photo, _ = cracked
    picture, record = kept(*cracked)
    x, y, w, h = measured.piece.box
    pixels = np.asarray(Image.open(BytesIO(picture)).convert("RGB"))
    shown = cv2.resize(
        photo.rgb[y : y + h, x : x + w], pixels.shape[1::-1], interpolation=cv2.INTER_AREA
    )
    assert max(pixels.shape) == SIDE_PX
    assert np.abs(pixels.astype(int) - shown).max() <= 1
    back = read_working(picture, record)
    assert (back.photo.rgb == pixels).all()
    assert (back.photo.name, back.photo.sha256) == (photo.name, photo.sha256)
    assert record["photo"] == {"name": "a.jpg", "sha256": "a" * 64, "width": 960, "height": 720}


def test_a_damaged_picture_or_record_is_told_in_one_line(cracked):
    picture, record = kept(*cracked)
    smaller = encoded(np.zeros((8, 8, 3), np.uint8))
    for broken in (
        (picture[: len(picture) // 2], record),
        (b"", record),
        (smaller, record),
        (picture, {key: record[key] for key in record if key != "state"}),
        (picture, record | {"white": None}),
        (picture, record | {"field": {"terms": [1]}}),
        (picture, record | {"filled": {"share": 0.1, "mask": "AAAA"}}),
        (picture, record | {"piece": record["piece"] | {"outline": "none"}}),
    ):
        with pytest.raises(PhotoError, match=r"^the kept picture of a stone is damaged") as error:
            read_working(*broken)
        assert "\n" not in str(error.value)


@pytest.fixture(scope="module")
def beside_card():
    """A stone beside the photo card in warm light that falls off."""
    view = card_camera.Pinhole(size_px=(1600, 1200), focal_px=1200, distance_mm=330, turn_deg=20)
    scene = card_camera.Scene.of(card_camera.page())
    light = card_camera.Light(fall_off=0.6)
    card = card_camera.photograph(scene, view, light, np.random.default_rng(5))
    both = np.full((1560, 1600, 3), 90, np.uint8)
    both[:1200], both[1200:, 400:880] = card, rendered()
    return photo_of(coded(srgb_curve()[both[::-1, ::-1]] * WARM))


def the_stone(photo, reference, like):
    """A stone of this photo as it would be measured there: face and scale are its own, the figures another's."""
    # The stone lies above card and chart, whose own places may be taken for stones.
    piece = min(find_pieces(photo)[0], key=lambda piece: piece.box[1])
    x, y, w, h = piece.box
    scale = reference.scale_at(x + w / 2, y + h / 2)
    return replace(like, piece=piece, face=cut_face(photo, piece, reference), scale=scale)


def assert_same_face(again, first):
    for part in ("linear", "lab", "mask"):
        assert (getattr(again, part) == getattr(first, part)).all(), part
    for part in ("px_per_photo_px", "origin_px", "mm_per_px"):
        assert getattr(again, part) == getattr(first, part), part


def test_card_white_light_field_and_scale_survive(beside_card, cracked):
    photo = beside_card
    reference = find_reference(photo, setup=PROFILE.setup)
    assert reference.field is not None
    measured = the_stone(photo, reference, like=cracked[0])
    back = read_working(*kept(measured, photo, reference))
    assert back.reference.colour_source == "card"
    assert_same_face(back.face, measured.face)
    plain = cut_face(photo, measured.piece, no_reference(photo))
    assert delta_e_2000(back.face.lab, plain.lab)[back.face.mask].mean() > 5
    x, y, w, h = measured.piece.box
    scale = reference.scale_at(x + w / 2, y + h / 2)
    assert back.reference.scale_at(0, 0) == scale
    assert scale.low < scale.mm_per_px < scale.high


@pytest.mark.slow
def test_a_stone_beside_a_card_is_told_to_the_digit(beside_card):
    reference = find_reference(beside_card, setup=PROFILE.setup)
    for stone in measure_photo(beside_card, NO_TERMS, PROFILE, reference).pieces:
        again = measure_again(*kept(stone, beside_card, reference), PROFILE)
        assert again.scale.source == "card"
        assert plain_record(again, beside_card, reference) == plain_record(
            stone, beside_card, reference
        )


def test_the_correction_of_a_chart_survives(cracked):
    picture = np.full((1060, 1000, 3), 0.18)
    picture[:360, 200:680] = srgb_curve()[rendered()]
    for k, colour in enumerate(reference_linear("from November 2014")):
        y, x = 570 + k // 6 * 80, 250 + k % 6 * 80
        picture[y - 20 : y + 80, x - 20 : x + 80] = 0.02
        picture[y : y + 60, x : x + 60] = colour
    photo = photo_of(coded(picture * WARM))
    reference = find_reference(photo, setup=PROFILE.setup)
    assert reference.colour_source == "chart"
    measured = the_stone(photo, reference, like=cracked[0])
    back = read_working(*kept(measured, photo, reference))
    assert back.reference.correction.edition == reference.correction.edition
    assert_same_face(back.face, measured.face)
    plain = cut_face(photo, measured.piece, no_reference(photo))
    assert delta_e_2000(back.face.lab, plain.lab)[back.face.mask].mean() > 5


def p3() -> ColourEncoding:
    return encoding_of_profile(display_p3_profile(), 256)


def straight(codes: int) -> ColourEncoding:
    """An encoding whose codes are light itself, with the primaries of Display P3."""
    curves = np.tile(np.linspace(0, 1, codes, dtype=np.float32), (3, 1))
    return ColourEncoding("straight", curves, p3().to_linear_srgb)


def test_every_code_of_any_encoding_comes_back_from_its_light():
    codes = np.random.default_rng(3).integers(0, 256, (64, 64, 3), np.uint8)
    for encoding in (srgb_encoding(), p3(), straight(256)):
        assert (codes_from_linear(linear_srgb(codes, encoding), encoding) == codes).all()


def test_wide_colour_stays_wide(cracked):
    measured, photo, _ = cracked
    wide = replace(photo, encoding=p3())
    measured = the_stone(wide, no_reference(wide), like=measured)
    picture, record = kept(measured, wide, no_reference(wide))
    assert record["encoding"]["name"] == "Display P3"
    assert_same_face(read_working(picture, record).face, measured.face)


@pytest.mark.parametrize("curve", ["P3", "straight"])
def test_a_photo_of_16_bits_keeps_its_colours(cracked, curve):
    measured, photo, _ = cracked
    encoding = p3() if curve == "P3" else straight(65536)
    if curve == "P3":
        encoding = encoding_of_profile(display_p3_profile(), 65536)
    fine = np.random.default_rng(4).integers(0, 256, photo.rgb.shape, np.uint16)
    rgb = photo.rgb.astype(np.uint16) * 256 + fine
    if curve == "straight":
        rgb = (srgb_curve(65536)[rgb] * 65535).astype(np.uint16)
    deep = photo_of(rgb, encoding)
    face = cut_face(deep, measured.piece, no_reference(deep))
    back = read_working(*kept(replace(measured, face=face), deep, no_reference(deep)))
    assert back.photo.encoding.name == encoding.name
    assert back.photo.rgb.dtype == np.uint8
    off = delta_e_2000(back.face.lab, face.lab)[face.mask]
    assert off.mean() < 0.5
    assert np.quantile(off, 0.99) < 1.5


@pytest.fixture
def small(monkeypatch):
    """As if a picture had to be much smaller than it has to: what a noisy one of full size meets."""

    def at_most(most_bytes: int):
        monkeypatch.setattr(working, "MOST_BYTES", most_bytes)

    return at_most


def test_the_noisiest_face_of_working_size_fits_and_what_fits_is_kept_as_it_is():
    rng = np.random.default_rng(8)
    noise = rng.integers(0, 256, (FACE_PX, FACE_PX, 3), np.uint8)
    picture = encoded(noise)
    assert len(picture) <= MOST_BYTES
    grainy = cv2.resize(rendered(width_px=240, height_px=180), (FACE_PX, FACE_PX))
    grainy = np.clip(grainy + rng.normal(0, 4, grainy.shape), 0, 255).astype(np.uint8)
    picture = encoded(grainy)
    assert MOST_BYTES / 2 < len(picture) <= MOST_BYTES
    pixels = np.asarray(Image.open(BytesIO(picture)).convert("RGB"))
    assert np.abs(pixels - grainy.astype(float)).mean() < 4
    plain = grainy[:200, :200]
    assert (np.asarray(Image.open(BytesIO(encoded(plain))).convert("RGB")) == plain).all()


@pytest.fixture(scope="module")
def filled():
    """A wet stone of which nearly half is glare in the first photo, filled from a second one."""
    chosen = {"fill": 0.45, "width_px": 480, "height_px": 360, "kind": "slab", "state": "wet"}
    pair = _benchmark_module("face_pairs").face_pair([501, 0], glare=True, **chosen)
    photo, other = photo_of(pair.first.rgb), replace(photo_of(pair.other), sha256="b" * 64)
    reference, terms = find_reference(photo), PhotoTerms(state="wet")
    (stone,) = measure_photo(photo, terms, PROFILE, reference, same_face=[other]).pieces
    return stone, photo, reference


def test_a_filled_face_stays_filled_and_what_its_gloss_told_holds(filled):
    measured, photo, reference = filled
    assert measured.filled_share > 0.3
    # As if the photo had told its state by the gloss that is filled now.
    measured = replace(measured, state=replace(measured.state, source="photo"))
    again = measure_again(*kept(measured, photo, reference), PROFILE)
    assert (again.state.value, again.state.source) == ("wet", "photo")
    assert delta_e_2000(again.face.lab, measured.face.lab)[measured.face.mask].mean() < 0.5
    assert again.filled_share == measured.filled_share
    first, then = (plain_record(one, photo, reference) for one in (measured, again))
    assert_within(then, first)
    assert then["glare"]["value"] == pytest.approx(first["glare"]["value"], abs=0.01)
    # Exposure and focus are the first photo's, without its glare and what was filled.
    assert again.verdict.sight.blur_px == pytest.approx(measured.verdict.sight.blur_px, abs=0.1)
    assert again.verdict.sight.burnt_share < 0.01


def test_a_line_keeps_the_sellers_word_and_what_a_dried_pair_showed_of_it(cracked):
    measured, photo, reference = cracked
    found = measured.measurements.lines
    assert len(found) > 2
    # As a pair leaves them, but for the last, which it did not show.
    lines = tuple(replace(line, drying_ratio=5.0 / (n + 1)) for n, line in enumerate(found[:-1]))
    dried = replace(measured, measurements=replace(measured.measurements, lines=lines))
    points = np.int64(measured.face.to_photo_px(found[0].points)).tolist()
    word = LineWord(1, tuple(map(tuple, points)), "pattern")
    spoken, *again = measure_again(
        *kept(dried, photo, reference), PROFILE, StoneWords(lines=(word,))
    ).measurements.lines
    assert (spoken.kind, spoken.source, found[0].source) == ("pattern line", "seller", "photo")
    assert [line.drying_ratio for line in again] == [
        *(line.drying_ratio for line in lines[1:]),
        1.0,
    ]
    for line, before in zip(again, found[1:], strict=True):
        # Bayes' rule: odds after are odds before times the ratio.
        odds = line.drying_ratio * before.probability / (1 - before.probability)
        assert line.probability == pytest.approx(odds / (1 + odds))


def measured_of(file: Path):
    photo = read_photo(file)
    reference = find_reference(photo, setup=PROFILE.setup)
    measured = measure_photo(photo, NO_TERMS, PROFILE, reference)
    return [(one, photo, reference) for one in measured.pieces]


@pytest.mark.slow
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_stone_of_the_samples_is_told_to_the_digit(file):
    for one in measured_of(file):
        assert plain_record(measure_again(*kept(*one), PROFILE), *one[1:]) == plain_record(*one)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["01", "05", "11", "13", "20"])
def test_figures_of_a_picture_with_losses_lie_within_the_intervals_of_the_photo(name, small):
    (file,) = (file for file in FILES if file.name.startswith(name))
    for one in measured_of(file):
        lossless, _ = kept(*one)
        # A face of four codes' noise is shrunk so far: to 0.55 of what it takes without losses.
        small(int(0.55 * len(lossless)))
        picture, record = kept(*one)
        assert picture[:2] == b"\xff\xd8" and len(picture) < 0.56 * len(lossless)
        first, again = (
            plain_record(*one),
            plain_record(measure_again(picture, record, PROFILE), *one[1:]),
        )
        assert_within(again, first)
