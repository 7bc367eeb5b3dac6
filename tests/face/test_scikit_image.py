"""What is written by hand so that no photo waits for scikit-image, held to scikit-image itself.

CIEDE2000 and CIELAB are held to it in ``tests/photo/test_colour.py``, masks of polygons in
``tests/grading/test_joining.py``.

Seconds, the best of three on two busy cores, ours and scikit-image's: thinning 800x1000 px of blobs 0.42 and 5.2
(``skeletonize``, which goes by other rules, 0.23); structure tensor of 800x1000 px 0.38 and 0.22; CIEDE2000 of 100 000
pairs 0.12 and 0.12; middles and areas of the patches of 800x1000 px (OpenCV) 0.013 and 0.059. Importing
``skimage.morphology`` takes 1.6 s more than OpenCV: that, before the first photo is read, is what is saved.
"""

import cv2
import numpy as np
import pytest
from skimage.feature import structure_tensor as skimage_tensor
from skimage.measure import euler_number, label, regionprops
from skimage.morphology import thin as skimage_thin

from grader.face.bands.structure import structure_tensor
from grader.face.lines import skeleton
from grader.face.scene import maps
from grader.face.scene.parts import SHORE, WATER
from grader.profile import load_profile

SEEDS = range(4)
PROFILE = load_profile("banded")


def blobs(seed, side=200):
    """Joined and holed blobs that do not touch the frame."""
    noise = cv2.GaussianBlur(np.random.default_rng(seed).normal(size=(side, side)), (0, 0), 3) > 0
    noise[[0, -1]] = noise[:, [0, -1]] = False
    return noise


@pytest.mark.parametrize("seed", SEEDS)
def test_thinning_is_scikit_images_to_the_px(seed, monkeypatch):
    """Both go by Guo & Hall 1989; scikit-image takes the two steps in the other order, and leaves stairs alone."""
    monkeypatch.setattr(skeleton, "_STEPS", skeleton._STEPS[::-1])
    monkeypatch.setattr(skeleton, "_CORNER", np.zeros(256, bool))
    mask = blobs(seed)
    np.testing.assert_array_equal(skeleton.thin(mask), skimage_thin(mask))


@pytest.mark.parametrize("seed", SEEDS)
def test_thinning_as_it_is_used_keeps_to_scikit_images_lines(seed):
    # The other order leans lines of even width by one px.
    mask = blobs(seed)
    ours, theirs = skeleton.thin(mask), skimage_thin(mask)
    assert euler_number(ours, 2) == euler_number(theirs, 2) == euler_number(mask, 2)
    for one, other in ((ours, theirs), (theirs, ours)):
        distance = cv2.distanceTransform((~other).astype(np.uint8), cv2.DIST_L2, 5)
        assert (distance[one] <= 1).mean() > 0.97


@pytest.mark.parametrize("sigma", [2.0, 4.0])
def test_the_structure_tensor_is_scikit_images(sigma):
    """Its axis and coherence worked out here from scikit-image's three sums."""
    gray = np.random.default_rng(1).normal(size=(160, 200))
    orientation_deg, coherence = structure_tensor(gray, np.ones(gray.shape, bool), sigma)
    rr, rc, cc = skimage_tensor(gray, sigma=sigma, order="rc", mode="reflect")
    # Near the frame the two see other px beyond it.
    inner = (slice(20, -20), slice(20, -20))
    expected = np.hypot(cc - rr, 2 * rc) / (cc + rr)
    np.testing.assert_allclose(coherence[inner], expected[inner], atol=1e-9)
    # Rows count downwards, and the stripes are square to the gradient.
    axis = np.degrees(0.5 * np.arctan2(-2 * rc, cc - rr)) + 90
    off = np.abs((axis - orientation_deg + 90) % 180 - 90)[inner]
    assert off[coherence[inner] > 0.1].max() < 1e-6


@pytest.mark.parametrize("angle", [0, 25, 80, 130, 171])
def test_a_long_face_lies_on_the_table_by_scikit_images_axis(angle):
    mask = np.zeros((300, 300), np.uint8)
    cv2.ellipse(mask, (150, 150), (120, 60), -angle, 0, 360, 1, -1)
    codes = mask * PROFILE.codes("water")[0]
    table = maps.maps_of(codes, mask > 0, PROFILE)[-1].table
    (face,) = regionprops(mask)
    # From the rows' axis, against the clock.
    axis = np.degrees(face.orientation) + 90
    assert abs((table.turn_deg - axis + 90) % 180 - 90) < 1e-6
    assert abs((table.turn_deg - angle + 90) % 180 - 90) < 0.5
    assert table.scale == pytest.approx(maps.TABLE_PX / np.sqrt(face.area))


def test_isles_have_scikit_images_middles_and_areas():
    host = cv2.morphologyEx(blobs(3).astype(np.uint8), cv2.MORPH_ERODE, np.ones((5, 5))) > 0
    readings = np.where(host, SHORE, WATER).astype(np.uint8)
    middles, areas = maps._isles(readings)
    patches = regionprops(label(host, connectivity=2))
    expected = [p for p in patches if 2 <= p.area <= 0.05 * host.size]
    assert len(areas) == len(expected) > 5
    order, wanted = np.argsort(middles[:, 0]), sorted(expected, key=lambda p: p.centroid[1])
    # Points are x, y, and px (0, 0) has its middle at (0.5, 0.5).
    np.testing.assert_allclose(
        middles[order], [np.array(p.centroid)[::-1] + 0.5 for p in wanted], atol=1e-9
    )
    np.testing.assert_array_equal(areas[order], [p.area for p in wanted])
