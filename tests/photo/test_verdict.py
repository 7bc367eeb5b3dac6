"""When a photo of a face is fit to be measured."""

import math

import cv2
import numpy as np
import pytest

from grader.photo.colour import lab_from_linear
from grader.photo.surface import State
from grader.photo.verdict import Framing, blur_px, judge_photo
from grader.profile import Limits

LIMITS = Limits(glare_share=0.25, face_px=60, photo_megapixels=250)
SIDE_PX = 240


def _disc(side_px: int = SIDE_PX) -> np.ndarray:
    y, x = np.mgrid[:side_px, :side_px] - (side_px - 1) / 2
    return np.hypot(x, y) < 0.47 * side_px


def _face(side_px: int = SIDE_PX, banded: bool = True) -> np.ndarray:
    """Linear light of a disc, blue with white bands or plain blue, on a grey ground."""
    light = np.empty((side_px, side_px, 3), np.float32)
    light[:] = (0.10, 0.16, 0.38)
    if banded:
        light[np.arange(side_px) // (side_px // 12) % 2 == 1] = (0.62, 0.64, 0.66)
    light[~_disc(side_px)] = (0.30, 0.30, 0.30)
    return cv2.GaussianBlur(light, (0, 0), 0.7)


def _judge(light, *, mask=None, glare=None, **facts):
    mask = _disc(light.shape[0]) if mask is None else mask
    given = {"glare_share": 0.0, "state": State("unknown", "photo"), "limits": LIMITS}
    framed = {"cut_by_frame": False, "px_per_photo_px": 1.0, "mm_per_px": None}
    framing = Framing(**{name: facts.pop(name, usual) for name, usual in framed.items()})
    glare = np.zeros_like(mask) if glare is None else glare
    return judge_photo(
        light, lab_from_linear(light), mask, glare, framing=framing, **(given | facts)
    )


def _codes(verdict):
    return [remark.code for remark in verdict.remarks]


def _noisy(light, sigma, seed=1):
    rng = np.random.default_rng(seed)
    return (light + rng.normal(0, sigma, light.shape)).clip(0, 1).astype(np.float32)


def test_a_good_photo_is_usable_and_nothing_is_said():
    verdict = _judge(_face())
    assert verdict.value == "usable" and verdict.remarks == ()


@pytest.mark.parametrize(
    ("facts", "value", "code"),
    [
        ({"glare_share": 0.26}, "retake", "glare"),
        ({"cut_by_frame": True}, "with care", "cut_by_frame"),
        ({"state": State("patchy", "seller")}, "retake", "patchy"),
        ({"px_per_photo_px": 1.0, "limits": Limits(0.25, 300, 250)}, "retake", "small"),
    ],
)
def test_each_fact_has_its_verdict_and_one_remark_with_a_remedy(facts, value, code):
    verdict = _judge(_face(), **facts)
    assert verdict.value == value and _codes(verdict) == [code]
    assert "\n" not in verdict.remarks[0].text and len(verdict.remarks[0].text) < 100


def test_glare_at_the_limit_is_within_it():
    assert _judge(_face(), glare_share=0.25).value == "usable"


def test_the_worst_finding_decides_and_all_are_told():
    verdict = _judge(_face(), glare_share=0.5, cut_by_frame=True)
    assert verdict.value == "retake" and _codes(verdict) == ["cut_by_frame", "glare"]


def test_the_size_of_a_face_is_counted_in_px_of_the_photo():
    # 240 working px at half size are 480 px of the photo.
    limits = Limits(0.25, 300, 250)
    assert _codes(_judge(_face(), limits=limits, px_per_photo_px=0.5)) == []


def test_a_narrow_face_is_small_at_any_turn():
    mask = np.zeros((SIDE_PX, SIDE_PX), np.uint8)
    cv2.line(mask, (30, 30), (210, 210), 1, 41)
    assert _codes(_judge(_face(), mask=mask.astype(bool))) == ["small"]


@pytest.mark.parametrize(
    ("times", "value"), [(0.2, "usable"), (0.12, "with care"), (0.06, "retake")]
)
def test_a_dark_photo_is_dark(times, value):
    # The fullest channel of the white bands is 0.66: a fifth of it is L* 43, an eighth L* 34, a 17th L* 24
    # (CIE 15).
    verdict = _judge(_face() * np.float32(times))
    assert verdict.value == value and _codes(verdict) == ["dark"] * (value != "usable")


def test_a_deep_blue_stone_in_good_light_is_not_called_dark():
    # L* of this blue is 26 (CIE 15), yet its blue channel has light enough to be read.
    light = np.full((SIDE_PX, SIDE_PX, 3), (0.01, 0.02, 0.45), np.float32)
    light[~_disc()] = 0.5
    assert lab_from_linear(light)[120, 120, 0] < 28
    assert _judge(light).value == "usable"


def test_a_dark_stone_with_something_light_on_it_is_not_called_dark():
    light = _face(banded=False) * np.float32(0.2)
    light[60:100][:, 40:200] = 0.4
    assert "dark" not in _codes(_judge(light))


@pytest.mark.parametrize(
    ("share", "value"), [(0.05, "usable"), (0.2, "with care"), (0.4, "retake")]
)
def test_burnt_out_parts_count_by_their_share(share, value):
    light, mask = _face(banded=False), _disc()
    rows = np.flatnonzero(mask.cumsum().reshape(mask.shape)[:, -1] > share * mask.sum())[0]
    light[:rows] = 1.0
    assert _judge(light).value == value


def test_burnt_out_glare_is_glare_only():
    light, glare = _face(banded=False), np.zeros((SIDE_PX, SIDE_PX), bool)
    glare[60:180, 60:180] = True
    light[glare] = 1.0
    assert _codes(_judge(light, glare=glare, glare_share=0.3)) == ["glare"]


@pytest.mark.parametrize("sigma", [1.0, 1.5, 2.0, 3.0, 5.0, 8.0])
def test_the_blur_of_a_step_is_read_in_px(sigma):
    step = np.zeros((160, 160), np.float32)
    step[:, 80:] = 60
    everywhere = np.ones(step.shape, bool)
    blurred = cv2.GaussianBlur(step, (0, 0), sigma)
    assert blur_px(blurred, everywhere) == pytest.approx(sigma, rel=0.12)


@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_reading_rises_strictly_with_blur(noise):
    readings = []
    for sigma in (0.5, 1, 2, 4):
        light = _noisy(cv2.GaussianBlur(_face(), (0, 0), sigma), noise)
        readings.append(blur_px(np.ascontiguousarray(lab_from_linear(light)[..., 0]), _disc()))
    assert readings == sorted(set(readings))


def test_a_constant_picture_shows_no_blur():
    flat = np.full((100, 100), 50, np.float32)
    assert blur_px(flat, np.ones(flat.shape, bool)) is None


def test_noise_alone_shows_no_sharpness():
    noise = np.random.default_rng(2).normal(50, 3, (200, 200)).astype(np.float32)
    assert blur_px(noise, np.ones(noise.shape, bool)) is None


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.03])
@pytest.mark.parametrize("banded", [True, False])
def test_a_blurred_photo_is_retaken_even_if_it_is_noisy(noise, banded):
    light = _noisy(cv2.GaussianBlur(_face(banded=banded), (0, 0), 5), noise)
    verdict = _judge(light)
    assert verdict.value == "retake" and _codes(verdict) == ["blurred"]


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.03])
@pytest.mark.parametrize("banded", [True, False])
def test_a_sharp_photo_is_usable_even_if_it_is_noisy_or_without_pattern(noise, banded):
    assert _judge(_noisy(_face(banded=banded), noise)).value == "usable"


def test_a_little_blur_asks_for_care():
    verdict = _judge(cv2.GaussianBlur(_face(), (0, 0), 1.9))
    assert verdict.value == "with care" and _codes(verdict) == ["blurred"]


def test_a_soft_pattern_in_a_sharp_outline_is_sharp():
    soft, sharp = cv2.GaussianBlur(_face(), (0, 0), 6), _face(banded=False)
    light = np.where(
        cv2.erode(_disc().astype(np.uint8), np.ones((15, 15)))[..., None] > 0, soft, sharp
    )
    assert "blurred" not in _codes(_judge(light.astype(np.float32)))


def test_the_same_blur_in_px_matters_less_on_a_larger_face():
    # A sigma of 2 px is 0.8 % of 240 px and 0.17 % of 1200 px.
    assert _codes(_judge(cv2.GaussianBlur(_face(240), (0, 0), 2))) == ["blurred"]
    assert _codes(_judge(cv2.GaussianBlur(_face(1200), (0, 0), 2))) == []


def test_edges_of_glare_are_not_taken_for_sharpness():
    light = cv2.GaussianBlur(_face(), (0, 0), 5)
    glare = np.zeros((SIDE_PX, SIDE_PX), bool)
    glare[100:120, 100:120] = True
    light[glare] = 1.0
    assert "blurred" in _codes(_judge(light, glare=glare))


def test_a_face_wholly_under_glare_gets_a_verdict():
    verdict = _judge(np.ones_like(_face()), glare=_disc(), glare_share=1.0)
    assert verdict.value == "retake" and _codes(verdict) == ["glare"]


def _shaken(light, length_px, turn_deg):
    """Light smeared along a straight line by an exact box: the mean of shifted copies."""
    x, y = math.cos(math.radians(turn_deg)), -math.sin(math.radians(turn_deg))
    side = light.shape[0]
    steps = np.linspace(-length_px / 2, length_px / 2, 4 * length_px)
    total = np.zeros_like(light)
    for step in steps:
        moved = np.float32([[1, 0, step * x], [0, 1, step * y]])
        total += cv2.warpAffine(light, moved, (side, side), borderMode=cv2.BORDER_REPLICATE)
    return total / np.float32(len(steps))


@pytest.mark.parametrize("banded", [True, False])
@pytest.mark.parametrize("turn_deg", [0, 35, 90, 150])
def test_a_shaken_photo_is_retaken_with_or_without_pattern(turn_deg, banded):
    verdict = _judge(_noisy(_shaken(_face(banded=banded), 16, turn_deg), 0.005))
    assert verdict.value == "retake" and _codes(verdict) == ["shaken"]
    assert "rest the hands" in verdict.remarks[0].text


@pytest.mark.parametrize("turn_deg", [0, 45, 90, 135])
@pytest.mark.parametrize("length_px", [12, 18])
def test_the_spread_and_the_direction_of_a_shake_are_read(turn_deg, length_px):
    # The standard deviation of a box of length L is L / sqrt(12) (textbook); read at most 35 % off.
    sight = _judge(_shaken(_face(banded=False), length_px, turn_deg)).sight
    assert sight.shake_px == pytest.approx(length_px / math.sqrt(12), rel=0.35)
    off = abs(sight.shake_deg - turn_deg) % 180
    assert min(off, 180 - off) <= 22.5


def test_a_photo_out_of_focus_is_blurred_and_not_shaken():
    assert _codes(_judge(cv2.GaussianBlur(_face(), (0, 0), 4))) == ["blurred"]


@pytest.mark.parametrize("sigma", [0.0, 0.01, 0.02])
def test_a_pattern_that_is_soft_one_way_is_not_shaken(sigma):
    # Bands soft by nature, all in one direction, in a sharp outline.
    soft, sharp = _shaken(_face(), 14, 90), _face(banded=False)
    inner = cv2.erode(_disc().astype(np.uint8), np.ones((15, 15)))[..., None] > 0
    light = np.where(inner, soft, sharp).astype(np.float32)
    assert "shaken" not in _codes(_judge(_noisy(light, sigma)))


@pytest.mark.parametrize(
    ("share", "value"), [(0.1, "usable"), (0.25, "with care"), (0.5, "retake")]
)
def test_one_full_channel_counts_by_its_share(share, value):
    light, mask = _face(banded=False), _disc()
    rows = np.flatnonzero(mask.cumsum().reshape(mask.shape)[:, -1] > share * mask.sum())[0]
    light[:rows, :, 2] = 1.0
    verdict = _judge(light)
    assert verdict.value == value and _codes(verdict) == ["clipped"] * (value != "usable")


def test_white_bands_near_white_are_not_clipped():
    # Code 250 of 255 is light 0.956 (IEC 61966-2-1).
    light = _face()
    light[(light > 0.55).all(axis=2)] = (0.95, 0.956, 0.956)
    assert not {"clipped", "burnt_out"} & set(_codes(_judge(light)))


@pytest.mark.parametrize(
    ("share", "value"), [(0.1, "usable"), (0.25, "with care"), (0.5, "retake")]
)
def test_black_without_detail_counts_by_its_share(share, value):
    light, mask = _face(banded=False), _disc()
    rows = np.flatnonzero(mask.cumsum().reshape(mask.shape)[:, -1] > share * mask.sum())[0]
    light[:rows] = 0.001
    verdict = _judge(light)
    assert verdict.value == value and _codes(verdict) == ["black"] * (value != "usable")


def test_lines_that_do_not_show_at_the_scale_ask_for_care():
    # Lines show from 1.5 px: 0.6 mm at 0.4 mm per px. The limit is 0.4 mm.
    verdict = _judge(_face(), mm_per_px=0.4)
    assert verdict.value == "with care" and _codes(verdict) == ["coarse"]
    assert verdict.remarks[0].text.startswith("lines finer than 0.6 mm do not show")
    assert _judge(_face(), mm_per_px=0.2).value == "usable"


def test_without_a_scale_nothing_is_said_of_lines():
    verdict = _judge(_face())
    assert verdict.value == "usable" and verdict.sight.line_mm is None
