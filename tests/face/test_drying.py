"""Wet and dry: drawn pairs with known gains, and a rendered stone of which only the cracks stay wet."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from grader.face.face import Face
from grader.face.measurements import Line, Regions
from grader.face.sight.drying import (
    DRIES,
    STAYS,
    USUAL_GAIN,
    DriedLines,
    DryingPair,
    drying_pair,
    likelihood_ratio,
    updated,
    with_drying,
)
from grader.face.sight.view import FaceView
from grader.photo.align import Alignment
from grader.photo.colour import lab_from_linear, linear_srgb, srgb_encoding
from grader.photo.surface import State
from grader.render import TRAINING, render_photo

MASK = np.ones((120, 200), bool)
STILL = Alignment(np.eye(3), 0.0)
LEVEL = Line(np.array([[20.0, 60.5], [180.0, 60.5]]), 160.0, 2.0, "uncertain", 0.4)


def pair(line_gain, surround_gain):
    """A pale face with a dark line; gains are of luminance, dry over wet."""
    wet = np.full(MASK.shape, 0.2)
    wet[59:62] = 0.05
    dry = wet * surround_gain
    dry[59:62] = 0.05 * line_gain
    return wet, dry


def ratio(line_gain, surround_gain):
    wet, dry = pair(line_gain, surround_gain)
    return likelihood_ratio(LEVEL.points, np.log(dry / wet), MASK)


def test_a_line_that_stays_dark_while_its_surround_dries_speaks_for_a_crack():
    # That an open crack stays dark longest is common practice, no source. A dry reflectance of 0.3 is 0.2004 wet
    # (Lekner & Dorf 1988, computed in tests/render/test_pigment.py): 1.5 times.
    assert ratio(1.0, 1.5) == pytest.approx(STAYS)


def test_a_dark_mineral_dries_with_its_surround():
    # 0.1 dry is 0.0744 wet (the same): 1.34 times, less than its paler surround.
    assert ratio(1.34, 1.5) == pytest.approx(DRIES)


def test_a_pair_that_did_not_dry_says_nothing():
    assert ratio(1.0, 1.0) == 1.0
    assert ratio(0.8, 1.05) == 1.0


def test_odds_are_multiplied_as_bayes_says():
    assert updated(0.5, 4) == pytest.approx(0.8)
    assert updated(0.2, 4) == pytest.approx(0.5)
    assert (updated(0.0, 9), updated(1.0, 0.1)) == pytest.approx((0.0, 1.0))


def test_the_class_follows_the_evidence_and_the_sellers_word_stays():
    wet, dry = pair(1.0, 1.5)
    typed = replace(LEVEL, kind="pattern line", probability=0.0, source="seller")
    moved, kept = with_drying((LEVEL, typed), DryingPair(np.log(dry / wet), MASK))
    assert (moved.drying_ratio, kept.drying_ratio) == (pytest.approx(STAYS), None)
    assert (moved.kind, moved.probability) == ("crack", pytest.approx(updated(0.4, STAYS)))
    assert kept is typed
    wet, dry = pair(1.5, 1.5)
    pair_that_dried = DryingPair(np.log(dry / wet), MASK)
    (line,) = with_drying((replace(LEVEL, probability=0.28, pattern_chance=0.7),), pair_that_dried)
    assert line.kind == "pattern line"


def face_view(linear, state):
    rgb = np.repeat(linear[..., None], 3, axis=2).astype(np.float32)
    face = Face(rgb, lab_from_linear(rgb), MASK, 1.0, (0.0, 0.0))
    regions = Regions(np.ones(MASK.shape, np.uint8), {}, {}, {}, 0.0)
    return FaceView(face, np.zeros(MASK.shape, np.float32), regions, State(state, "seller"))


@pytest.mark.parametrize("wet_first", [True, False])
def test_a_pair_of_one_white_tells_the_gain_itself_whichever_comes_first(wet_first):
    wet, dry = pair(1.0, 1.5)
    views = face_view(wet, "wet"), face_view(dry, "dry")
    first, other = views if wet_first else views[::-1]
    made = drying_pair(first, other, STILL, one_white=True)
    inside = made.mask & (wet > 0.1)
    # The middle only: warping fades at the frame.
    assert np.median(made.gain[inside]) == pytest.approx(np.log(1.5), abs=0.01)
    assert likelihood_ratio(LEVEL.points, made.gain, made.mask) == pytest.approx(STAYS)


@pytest.mark.parametrize("exposure", [0.6, 1.0, 1.4])
def test_without_a_white_of_both_the_face_is_taken_to_have_dried_at_any_exposure(exposure):
    wet, dry = pair(1.0, 1.5)
    made = drying_pair(
        face_view(wet, "wet"), face_view(dry * exposure, "dry"), STILL, one_white=False
    )
    assert np.median(made.gain[made.mask]) == pytest.approx(USUAL_GAIN)
    assert likelihood_ratio(LEVEL.points, made.gain, made.mask) == pytest.approx(STAYS)


def test_a_line_under_glare_or_off_the_picture_says_nothing():
    wet, dry = pair(1.0, 1.5)
    gain = np.log(dry / wet)
    assert likelihood_ratio(LEVEL.points, gain, np.zeros_like(MASK)) == 1.0
    assert likelihood_ratio(LEVEL.points + 500, gain, MASK) == 1.0


def luminance(rgb):
    return linear_srgb(rgb, srgb_encoding()) @ np.float32([0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("seed", [3, 7])
def test_on_a_rendered_pair_cracks_that_hold_water_are_told_from_pattern_lines(seed):
    def photo(state):
        return render_photo(
            np.random.default_rng(seed), TRAINING, width_px=500, height_px=400, stones=1,
            kind="slab", state=state, cracks=3, healed=3, fill=0.5, glare=False, finger=False,
        )  # fmt: skip

    wet, dry = photo("wet"), photo("dry")
    assert (wet.pieces == dry.pieces).mean() > 0.999
    mask = (wet.pieces > 0) & (wet.regions != 9) & (dry.regions != 9)
    # The ground keeps its light: by it both are referred to one exposure.
    wet_light, dry_light = luminance(wet.rgb), luminance(dry.rgb)
    ground = wet.pieces == 0
    dry_light *= np.median(wet_light[ground]) / np.median(dry_light[ground])
    holds = np.zeros(mask.shape, np.uint8)
    for line in wet.lines:
        if line.kind == "crack":
            cv2.polylines(holds, [np.int32(line.points).reshape(-1, 1, 2)], False, 1, 3)
    half_dried = np.where(holds > 0, wet_light, dry_light)
    gain = np.log(np.maximum(half_dried, 1e-4) / np.maximum(wet_light, 1e-4))
    ratios = {"crack": [], "other": []}
    for line in wet.lines:
        kind = "crack" if line.kind == "crack" else "other"
        ratios[kind].append(likelihood_ratio(line.points, gain, mask))
    assert min(len(found) for found in ratios.values()) > 0
    assert np.median(ratios["crack"]) > 2
    assert np.median(ratios["other"]) <= 1


def test_kept_lines_tell_what_the_pair_told_of_the_nearest_line_and_nothing_of_others():
    beside = replace(LEVEL, points=LEVEL.points + np.array([0, 4]))
    kept = DriedLines(((LEVEL.points, 4.0), (beside.points, 0.6)))
    distant = replace(LEVEL, points=LEVEL.points[:, ::-1] - np.array([0, 15]))
    crack, other, unseen = with_drying([LEVEL, beside, distant], kept)
    assert [crack.drying_ratio, other.drying_ratio, unseen.drying_ratio] == [4.0, 0.6, 1.0]
    assert crack.probability == updated(LEVEL.probability, 4.0)
    assert unseen.probability == pytest.approx(distant.probability)
