"""When a photo of a face is fit to be measured."""

import cv2
import numpy as np
import pytest

from grader.photo.colour import lab_from_linear
from grader.photo.surface import State
from grader.photo.verdict import blur_px, judge_photo
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
    given = {
        "glare_share": 0.0,
        "cut_by_frame": False,
        "state": State("unknown", "photo"),
        "limits": LIMITS,
        "px_per_photo_px": 1.0,
    }
    glare = np.zeros_like(mask) if glare is None else glare
    return judge_photo(light, lab_from_linear(light), mask, glare, **(given | facts))


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


@pytest.mark.parametrize(("times", "value"), [(0.08, "with care"), (0.04, "retake")])
def test_a_dark_photo_is_dark(times, value):
    # The lightest tenth is white band of light 0.64: a 12th of that is L* 27, a 25th is L* 18.
    verdict = _judge(_face() * np.float32(times))
    assert verdict.value == value and _codes(verdict) == ["dark"]


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
