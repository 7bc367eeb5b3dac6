"""What the networks learn from: targets that fit their pictures, and variety that leaves the truth alone."""

from types import SimpleNamespace

import numpy as np
import pytest

from grader.measures import UNREADABLE
from grader.render import TRAINING
from grader.train import examples, variety


@pytest.mark.slow
def test_the_same_photo_number_gives_the_same_examples(drawn):
    again = examples.make_examples(5, 1, TRAINING)
    for part in examples.MAKERS:
        read = np.load(drawn / part / "000001.npy")
        assert len(read) == len(again[part]) > 0
        np.testing.assert_array_equal(read[..., :3], np.stack([e.picture for e in again[part]]))
        np.testing.assert_array_equal(read[..., 3], np.stack([e.target for e in again[part]]))


@pytest.mark.slow
def test_examples_of_one_part_are_the_same_without_the_others(drawn):
    (alone,) = examples.make_examples(5, 0, TRAINING, ("cracks",)).values()
    read = np.load(drawn / "cracks" / "000000.npy")
    np.testing.assert_array_equal(read[..., 3], np.stack([e.target for e in alone]))


def test_all_photos_of_a_folder_are_read_in_their_order(drawn):
    read = examples.read_examples(drawn / "glare")
    parts = [np.load(drawn / "glare" / f"{k:06d}.npy") for k in range(2)]
    np.testing.assert_array_equal(read, np.concatenate(parts))


def test_off_the_stone_a_face_is_black_and_left_out(drawn):
    for face in examples.read_examples(drawn / "regions"):
        off = face[..., 3] == examples.IGNORE
        assert (face[off][:, :3] == 0).all()
        assert face[~off][:, :3].any(axis=-1).mean() > 0.9


def test_depth_is_one_at_the_deepest_point_of_each_stone_and_zero_outside():
    pieces = np.zeros((40, 90), np.uint8)
    pieces[5:35, 5:35], pieces[10:30, 50:80] = 1, 2
    depth = examples._depth(pieces)
    assert (depth[pieces == 0] == 0).all()
    assert depth[pieces == 1].max() == depth[pieces == 2].max() == 1


def test_a_pixel_without_a_name_takes_the_nearest_one():
    target = np.array([[0, examples.IGNORE, examples.IGNORE, examples.IGNORE, 2]], np.uint8)
    named = examples._nearest_name(target)
    assert named[0, 1] == 0
    assert named[0, 3] == 2


def test_a_spark_smaller_than_half_a_pixel_is_not_asked_for():
    codes = np.ones((8, 8), np.uint8)
    codes[0, 0], codes[4:, 4:] = 9, 9
    assert examples._most_of(codes, (2, 2), method=3).tolist() == [[1, 1], [1, 9]]


def test_another_ground_leaves_the_stone_as_it_is():
    rng = np.random.default_rng(4)
    rgb = rng.integers(0, 255, (120, 160, 3)).astype(np.uint8)
    stone = np.zeros((120, 160), bool)
    stone[30:90, 40:120] = True
    other = variety.other_ground(rgb, stone, rng)
    np.testing.assert_array_equal(other[34:86, 44:116], rgb[34:86, 44:116])
    assert np.abs(other[:20].astype(int) - rgb[:20]).mean() > 5


def test_a_shaded_rim_is_darker_or_glows_but_the_middle_stays():
    y, x = np.mgrid[:100, :100]
    mask = np.hypot(x - 50, y - 50) < 45
    linear = np.full((100, 100, 3), 0.5, np.float32)
    shaded = variety.shaded_rim(linear, mask, np.random.default_rng(1))
    assert np.abs(shaded[50, 50] - 0.5).max() < 0.1
    assert np.abs(shaded - linear)[mask].max() > 0.05
    np.testing.assert_array_equal(shaded[~mask], linear[~mask])


def lamp_lit_photo():
    """A stone with a crack and a lamp's mirror over part of it."""
    pieces, lines = np.zeros((120, 120), np.uint8), np.zeros((120, 120), np.uint8)
    pieces[10:110, 10:110], lines[50:54, 20:100] = 1, examples.CRACK
    codes = pieces.copy()
    codes[40:70, 40:70] = UNREADABLE
    return SimpleNamespace(
        rgb=np.full((120, 120, 3), 90, np.uint8), pieces=pieces, regions=codes, cracks=lines,
        stones=[SimpleNamespace(id=1, box=(10, 10, 100, 100))], lines=(),
    )  # fmt: skip


def test_glare_is_no_name_in_the_crops_for_cracks():
    for crop in examples.cracks_examples(lamp_lit_photo(), np.random.default_rng(0), most=4):
        assert not (crop.target == 3).any()
        assert (crop.target == 1).any()


def test_a_lamps_mirror_is_asked_for_and_its_veil_and_a_rough_outline_are_not():
    (face,) = examples.glare_examples(lamp_lit_photo(), np.random.default_rng(0))
    asked = face.target < examples.UNJUDGED
    # 30 x 30 of 100 x 100 px lie under the lamp; 3 px around them are left out, and a crack is stone like any.
    assert (face.target == 1).sum() == 900
    assert set(np.unique(face.target[asked])) == {0, 1}
    assert (face.target == 0).sum() == pytest.approx(10000 - 36 * 36, rel=0.09)


def banded_photo():
    """Blue above white, a crack and a faint line across them, and a pattern line."""
    pieces, lines = np.zeros((140, 140), np.uint8), np.zeros((140, 140), np.uint8)
    pieces[10:130, 10:130] = 1
    lines[20:120, 40:44], lines[20:120, 70:74], lines[20:120, 100:104] = (
        examples.CRACK, examples.FAINT, examples.PATTERN_LINE,
    )  # fmt: skip
    codes = pieces * examples.BLUE
    codes[70:130, 10:130] = examples.WHITE
    return SimpleNamespace(
        rgb=np.full((140, 140, 3), 90, np.uint8), pieces=pieces, regions=codes, cracks=lines,
        stones=[SimpleNamespace(id=1, box=(10, 10, 120, 120))], lines=(),
    )  # fmt: skip


def test_a_band_border_is_a_name_where_no_line_lies():
    for example in examples.cracks_examples(banded_photo(), np.random.default_rng(1), most=6):
        rows, columns = np.nonzero(example.target == 3)
        # One pixel to either side of one border, and not where the lines cross it.
        assert np.ptp(rows) == 1
        assert 0.7 < len(columns) / (2 * (np.ptp(columns) + 1)) < 0.95
        assert {1, 2} <= set(np.unique(example.target))


def test_a_faint_line_is_seen_and_not_asked_for():
    for example in examples.cracks_examples(banded_photo(), np.random.default_rng(1), most=3):
        faint = example.target == examples.UNJUDGED
        assert faint.any()
        assert (example.picture[faint] > 0).all()


@pytest.mark.slow
def test_half_of_the_crops_lie_on_cracks_and_a_quarter_on_other_lines():
    pieces, lines = np.ones((700, 700), np.uint8), np.zeros((700, 700), np.uint8)
    lines[100:103, 100:110], lines[600:603, 600:610] = examples.CRACK, examples.PATTERN_LINE
    photo = SimpleNamespace(
        rgb=np.full((700, 700, 3), 90, np.uint8), pieces=pieces, regions=pieces, cracks=lines,
        stones=[SimpleNamespace(id=1, box=(0, 0, 700, 700))], lines=(),
    )  # fmt: skip
    crops = examples.cracks_examples(photo, np.random.default_rng(2), most=60)
    assert np.mean([(c.target == 1).any() for c in crops]) > 0.45
    assert np.mean([(c.target == 2).any() for c in crops]) == pytest.approx(0.3, abs=0.15)


FIELDS = [variety._clouds, variety._stripes, variety._pebbles, variety._dots, variety._rough]


@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize("grain_px", [1.5, 8, 40])
def test_no_material_is_flat(field, grain_px):
    drawn = field(80, 120, grain_px, np.random.default_rng(3))
    assert drawn.shape == (80, 120)
    assert np.isfinite(drawn).all()
    assert np.ptp(drawn) > 0


@pytest.mark.parametrize("seed", range(20))
def test_any_ground_fills_its_picture(seed):
    for size in ((60, 90), (8, 12)):
        ground = variety._pattern(*size, np.random.default_rng(seed))
        assert ground.shape == (*size, 3)
        assert np.isfinite(ground).all()
