"""Faces laid out on purpose: what is said of them stands in the truth."""

import numpy as np
import pytest

from grader.render import TRAINING, render_photo
from grader.render.declared import DeclaredFace
from grader.render.pattern import Figure


def halves(rng, grid):
    """White above, blue below, and host in the right-hand 10 mm."""
    white = np.float32(grid.v < 0)
    host = np.float32(grid.u > 20)
    return Figure(white * (1 - host), host, np.zeros_like(white), dyes=("royal", "clean"))


def drawn(seed=3, **said):
    face = DeclaredFace((60.0, 40.0), halves, squareness=8.0, **said)
    rendered = render_photo(
        np.random.default_rng(seed), TRAINING, width_px=360, height_px=280, stones=1, kind="slab", state="wet",
        ground="grey felt", lamp="softboxes", pipeline="plain", cracks=0, healed=0, strays=False, ruler=False,
        card=False, coin=False, finger=False, glare=False, mm_per_px=0.26, face=face,
    )  # fmt: skip
    (stone,) = rendered.stones
    return rendered, stone


def test_shares_and_size_are_as_said():
    rendered, stone = drawn()
    shares = stone.shares
    assert shares["host"] == pytest.approx(1 / 6, abs=0.04)
    assert shares["white"] == pytest.approx(shares["blue"], abs=0.12)
    side_mm = np.sqrt(stone.area_px) * rendered.mm_per_px
    assert side_mm == pytest.approx(np.sqrt(60 * 40), rel=0.08)


def test_a_turned_face_is_the_same_picture_turned():
    upright, turned = (drawn(turn_deg=turn)[0] for turn in (0.0, 180.0))

    def middle(rendered, code):
        return np.argwhere(rendered.regions == code).mean(axis=0)

    # White (2) lies above blue (1) in the one and below it in the other.
    assert middle(upright, 2)[0] < middle(upright, 1)[0]
    assert middle(turned, 2)[0] > middle(turned, 1)[0]


def test_cracks_lie_where_they_are_said():
    path = np.array([[-40.0, 10.0], [40.0, 10.0]])
    rendered, _ = drawn(cracks=(path,))
    (line,) = [line for line in rendered.lines if line.kind == "crack"]
    length_mm = np.hypot(*np.diff(line.points, axis=0).T).sum() * rendered.mm_per_px
    assert length_mm == pytest.approx(60, rel=0.15)
    assert drawn()[0].lines == ()


def test_lamps_take_their_share_and_colours_pale():
    assert drawn(lamp_share=0.2)[1].glare_share == pytest.approx(0.2, abs=0.08)
    strong, weak = (drawn(chroma_share=share)[1].colour["blue"][1] for share in (1.0, 0.5))
    assert weak == pytest.approx(strong / 2, rel=0.25)
