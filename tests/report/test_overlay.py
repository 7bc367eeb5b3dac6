"""What is drawn into a photo, and that it can be read."""

from dataclasses import replace
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from PIL import Image

from grader.errors import GraderError
from grader.face.measurements import Placement, Scene
from grader.report.headline import headline_words
from grader.report.overlay import View, _words, draw_overlay, piece_picture, write_picture
from grader.report.result import photo_record
from grader.report.words import WORTH_DRAWING


def drawn(graded):
    return draw_overlay(graded.measured, photo_record(graded))


def pictured(graded, number=1):
    return piece_picture(graded.photo, graded.pieces[number - 1].measured)


def words_of(graded, shape=(400, 400), called=None):
    """The choices for the plate of the first stone."""
    (piece, *_) = photo_record(graded)["pieces"]
    return _words(piece | {"call": called and {"grade": called}}, (40, 40, 200, 100), shape)


def differing(one, other):
    return np.argwhere((one != other).any(axis=2))


def test_a_photo_without_stones_is_left_as_it_is(make_graded):
    graded = make_graded(0)
    assert np.array_equal(drawn(graded), graded.photo.rgb)


def test_the_photo_itself_is_never_drawn_on(make_graded):
    graded = make_graded(2)
    before = graded.photo.rgb.copy()
    drawn(graded)
    assert np.array_equal(before, graded.photo.rgb)


def test_the_word_is_at_least_a_25th_of_the_short_side(make_graded):
    graded = make_graded(1)
    choices = words_of(graded, graded.photo.rgb.shape)
    assert {word for ((word, _),) in choices} == {"1 cabbing"}
    sizes = [size for ((_, size),) in choices]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-1] >= min(graded.photo.rgb.shape[:2]) / 25


def test_a_retake_is_drawn_as_retake(make_graded):
    usable, retake = (drawn(make_graded(verdict=v)) for v in ("usable", "retake"))
    assert len(differing(usable, retake)) > 50


def test_the_sellers_grade_is_the_word_and_the_proposal_stays_below(make_graded):
    words = words_of(make_graded(grade="select"), (900, 1200, 3), called="cabbing")[0]
    assert [text for text, _ in words] == ["1 cabbing", "proposed select"]


@pytest.mark.parametrize("grade", ["schön", "высший", "特级"])
def test_grade_names_beyond_ascii_are_drawn_with_their_own_letters(make_graded, grade):
    # A font that lacks a letter draws the same box for each: two different words would look alike.
    other = grade[:-1] + chr(ord(grade[-1]) + 1)
    one, two = (drawn(make_graded(grade=g)) for g in (grade, other))
    assert len(differing(one, two)) > 20


def test_cracks_are_whole_doubtful_lines_dashed_and_pattern_lines_dotted(crack):
    from grader.report.overlay import _draw_found

    def covered(kind):
        face = SimpleNamespace(to_photo_px=lambda points: points)
        outline = SimpleNamespace(outline=np.array([[0, 0], [0, 1]]))
        piece = SimpleNamespace(piece=outline, face=face)
        view = View(np.full((180, 280, 3), 128, np.uint8), (0, 0), 1.0)
        _draw_found(view, piece, 2, [(1, replace(crack, kind=kind))])
        row = int(crack.points[0, 1])
        left, right = crack.points[:, 0].round().astype(int)
        return view.rgb[row, left:right].max(axis=1) > 200

    whole, dashed, dotted = (covered(kind) for kind in ("crack", "uncertain", "pattern line"))
    assert whole.mean() > 0.9
    assert 0.3 < dashed.mean() < 0.8
    # More and shorter strokes.
    assert np.diff(dotted).sum() > 1.5 * np.diff(dashed).sum()


def test_contacts_are_drawn_only_where_they_may_part(make_graded, crack):
    plain = drawn(make_graded())
    sound = replace(crack, kind="contact", probability=0.1, contact_chance=0.02)
    assert np.array_equal(plain, drawn(make_graded(lines=(sound,))))
    doubtful = replace(sound, contact_chance=0.4)
    assert len(differing(plain, drawn(make_graded(lines=(doubtful,))))) > 0


def test_a_small_picture_holds_no_pattern_lines(make_graded, crack):
    plain, lined = (
        make_graded(lines=lines) for lines in ((), (replace(crack, kind="pattern line"),))
    )
    assert pictured(plain, 1) == pictured(lined, 1)


def test_lines_are_numbered_as_the_seller_speaks_of_them(make_graded, crack):
    sound = replace(crack, kind="contact", contact_chance=0.0)
    first, second = (make_graded(lines=lines) for lines in ((crack,), (sound, crack)))
    number = differing(drawn(first), drawn(second))
    # The same stroke, 1 or 2 beside its middle.
    face = first.pieces[0].measured.face
    middle = face.to_photo_px(crack.points).mean(axis=0)[::-1]
    assert len(number) > 5
    assert np.abs(number - middle).max() < 25


def test_plates_lie_on_no_other_stone(make_graded):
    # Stones 40 px apart, words below them: the second's inside is free of the first one's plate.
    overlay, photo = drawn(make_graded(2)), make_graded(2).photo.rgb
    inside = np.s_[190:270, 60:220]
    assert np.array_equal(overlay[inside], photo[inside])


def test_a_large_photo_is_drawn_at_a_size_for_a_phone(make_graded):
    graded = make_graded(30)
    assert graded.photo.height > 2400
    assert max(drawn(graded).shape) == 2400


def test_a_16_bit_photo_is_drawn_as_8_bits_of_the_same_look(make_graded):
    from grader.photo.colour import srgb_curve

    graded = make_graded(0)
    encoding = replace(graded.photo.encoding, curves=np.stack([srgb_curve(65536)] * 3))
    deep = replace(graded.photo, rgb=graded.photo.rgb.astype(np.uint16) * 257, encoding=encoding)
    overlay = drawn(replace(graded, measured=replace(graded.measured, photo=deep)))
    assert overlay.dtype == np.uint8
    assert np.abs(overlay.astype(int) - graded.photo.rgb).max() <= 1


def test_the_picture_of_a_piece_is_a_small_jpeg(make_graded):
    graded = make_graded(2)
    jpeg = pictured(graded, 2)
    picture = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert jpeg[:2] == b"\xff\xd8"
    assert max(picture.shape) <= 320


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".webp", ".tif"])
def test_pictures_are_written_in_the_format_of_their_name(tmp_path, suffix):
    red = np.zeros((20, 30, 3), np.uint8)
    red[..., 0] = 200
    write_picture(tmp_path / f"x{suffix}", red)
    with Image.open(tmp_path / f"x{suffix}") as image:
        assert image.size == (30, 20)
        assert image.convert("RGB").getpixel((5, 5))[0] > 150


def test_a_name_of_no_picture_format_is_refused_in_one_line(tmp_path):
    with pytest.raises(GraderError, match=r"x\.doc: no picture format; end the name in"):
        write_picture(tmp_path / "x.doc", np.zeros((2, 2, 3), np.uint8))


def test_the_word_on_an_unfamiliar_stone_is_no_grade(make_graded):
    graded = make_graded()
    (piece,) = graded.pieces
    strange = replace(piece, proposal=replace(piece.proposal, unfamiliar="grain4"))
    assert words_of(replace(graded, pieces=(strange,)))[0][0][0] == "1 unfamiliar"
    assert words_of(graded)[0][0][0] == "1 cabbing"


def scored(graded, score):
    """The graded photo with a best place of that score on its first stone."""
    place = Placement(
        template="round", shape="oval", kind="landscape", centre_px=(60.0, 40.0), turn_deg=0.0, size_px=(40.0, 40.0),
        size_mm=None, score=score, low=score, high=score, parts={}, shore_share=0.1, shore_mm=None, shore_evenness=1.0,
    )  # fmt: skip
    first, *rest = graded.measured.pieces
    first = replace(first, measurements=replace(first.measurements, scene=Scene({}, place, None)))
    return replace(graded, measured=replace(graded.measured, pieces=(first, *rest)))


def test_a_place_is_drawn_from_the_score_on_at_which_it_is_told(make_graded):
    graded = make_graded()
    none = drawn(scored(graded, 0.0))
    assert len(differing(none, drawn(scored(graded, WORTH_DRAWING - 0.4)))) > 20
    assert len(differing(none, drawn(scored(graded, WORTH_DRAWING - 0.6)))) == 0


def test_where_the_words_over_a_stone_name_two_grades_the_label_does_too(make_graded):
    graded = make_graded()
    record = photo_record(graded)
    stone = record["pieces"][0]
    stone["proposal"]["likely"] = ["cabbing", "select"]
    assert _words(stone, (0, 0, 200, 100), (900, 1200, 3))[0][0][0] == "1 cabbing or select"
    assert headline_words(stone["proposal"]) == "cabbing or select: yours to say"
    # Of a face of a piece the label names the grade of the piece.
    stone["piece"] = {"proposal": stone["proposal"] | {"likely": ["tumbling"]}}
    assert _words(stone, (0, 0, 200, 100), (900, 1200, 3))[0][0][0] == "1 tumbling"
