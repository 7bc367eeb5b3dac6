"""Ragged cracks, webs and lines laid over a face: where they run, and what of them is truth."""

from types import SimpleNamespace

import numpy as np
import pytest

from grader.render import TRAINING, photograph, render_photo
from grader.render.fracture import WIDTHS_PX, draw_fractures, draw_webs, ragged, uneven_widths
from grader.render.growth import draw_growths
from grader.render.overlaid import draw_overlaid
from grader.render.stroke import LOOKS, Stroke, cover, paint
from grader.render.style import (
    CRACK_LOOKS,
    FRACTURES,
    HELD_OUT,
    HELD_OUT_CRACK_LOOKS,
    HELD_OUT_LINES,
    HELD_OUT_LINES_FRACTURES,
    HELD_OUT_LINES_GROWTHS,
    HELD_OUT_LINES_LOOKS,
    HELD_OUT_OVERLAID,
    OVERLAID,
)
from grader.render.truth import LINE_CODES, PATTERN_LINE

SIDE = 300
INSIDE = np.ones((SIDE, SIDE), bool)
OUTLINE = np.array([[20, 20], [280, 20], [280, 280], [20, 280]], float)
CLASSES = np.ones((SIDE, SIDE), np.uint8)
CLASSES[150:] = 2


def drawn(family, look="open", seed=1):
    way = np.random.default_rng(seed)
    return draw_fractures(way, ((family, look),), OUTLINE, INSIDE, 140, 0.0, CLASSES)


@pytest.mark.parametrize("family", FRACTURES)
def test_every_family_leaves_cracks_on_the_face(family):
    strokes = [s for seed in range(4) for s in drawn(family, seed=seed)]
    assert strokes
    for stroke in strokes:
        assert stroke.kind == "crack"
        assert stroke.family == family
        assert len(stroke.points) == len(stroke.widths) >= 6
        assert (stroke.points > -1).all()
        assert (stroke.points < SIDE).all()
        assert (stroke.widths >= 0.6).all()


def test_a_crack_on_a_border_runs_along_it():
    main = max(drawn("on band border", "hairline"), key=lambda s: len(s.points))
    assert len(main.points) > 20
    assert np.abs(main.points[:, 1] - 149.5).max() < 8


def test_a_map_is_a_net_of_cracks_that_meet():
    strokes = [s for s in drawn("map", seed=3) if len(s.points) > 20]
    assert len(strokes) >= 3
    ends = np.array([s.points[0] for s in strokes])
    near = np.hypot(*(ends[:, None] - ends[None]).transpose(2, 0, 1)) < 3
    assert (near.sum(1) > 1).sum() >= 2


def test_a_ragged_path_keeps_its_ends_and_a_rougher_one_strays_farther():
    path = np.linspace([10, 50], [210, 50], 20)
    calm, rough = (ragged(np.random.default_rng(0), path, r) for r in (0.1, 1.0))
    for got in (calm, rough):
        np.testing.assert_allclose(got[[0, -1]], path[[0, -1]], atol=2)
    assert 5 * np.abs(calm[:, 1] - 50).max() < np.abs(rough[:, 1] - 50).max()


def test_widths_vary_about_their_mean():
    widths = uneven_widths(np.random.default_rng(0), 2000, 4.0)
    assert np.median(widths) == pytest.approx(4, rel=0.2)
    assert widths.std() > 1
    assert widths.max() <= 12


@pytest.mark.parametrize("look", LOOKS)
def test_every_look_changes_the_face_on_the_crack_and_those_that_spread_beside_it(look):
    assert look in WIDTHS_PX
    path = np.linspace([30, 60], [90, 60], 31)
    stroke = Stroke(path, np.full(31, 3.0), "crack", look, 0.8)
    reflect, height = np.full((120, 120, 3), 0.4, np.float32), np.zeros((120, 120), np.float32)
    paint(np.random.default_rng(1), reflect, height, stroke, cover(stroke, (120, 120)), None)
    assert (reflect[60, 40:80] < 0.35).any()
    beside = np.abs(np.delete(reflect[:, 40:80], np.s_[57:64], 0) - 0.4).max()
    if look != "lipped":
        assert (beside > 0.01) == (LOOKS[look] > 0)
    assert (reflect.max() > 0.45) == (look in ("lipped", "bloom"))
    assert (reflect >= 0).all()


def test_a_hairline_fades_in_the_photo_and_not_in_the_truth():
    path = np.linspace([10, 30], [90, 30], 41)
    fade = np.linspace(0, 1, 41)
    stroke = Stroke(path, np.full(41, 4.0), "crack", "hairline", 0.8, fade=fade)
    whole, shown = cover(stroke, (60, 100)), cover(stroke, (60, 100), faded=True)
    assert whole[30, 15] == whole[30, 85] > 200
    assert shown[30, 15] < 60
    assert shown[30, 85] > 200


@pytest.mark.parametrize("kind", ["web", "growth seams"])
def test_webs_and_growth_seams_are_pattern_lines(kind):
    strokes = draw_webs(np.random.default_rng(2), (kind,), OUTLINE, INSIDE, 140, 0.3)
    assert len(strokes) >= 2
    assert {LINE_CODES[s.kind] for s in strokes} == {PATTERN_LINE}


@pytest.mark.parametrize("kind", [*OVERLAID, *HELD_OUT_OVERLAID])
def test_what_lies_over_a_face_is_no_line_of_it(kind):
    strokes = draw_overlaid(np.random.default_rng(0), (kind,), np.array([150.0, 150]), 140)
    assert strokes
    assert not {s.kind for s in strokes} & set(LINE_CODES)
    assert any(cover(s, (SIDE, SIDE)).any() for s in strokes)


def test_training_never_draws_what_is_kept_back():
    assert not set(TRAINING.crack_looks) & set(HELD_OUT_CRACK_LOOKS)
    assert not set(TRAINING.overlaid) & set(HELD_OUT_OVERLAID)
    spot, left_open = SimpleNamespace(kind="slab"), photograph.PhotoChoices()
    drawn = {TRAINING: set(), HELD_OUT: set()}
    for style, names in drawn.items():
        for seed in range(60):
            fractures, _, overlaid, _ = photograph._rougher_lines(
                np.random.default_rng(seed), style, spot, left_open
            )
            names |= {look for _, look in fractures} | set(overlaid)
    kept_back = {*HELD_OUT_CRACK_LOOKS, *HELD_OUT_OVERLAID}
    assert not drawn[TRAINING] & kept_back
    assert drawn[HELD_OUT] >= kept_back
    assert set(CRACK_LOOKS) | set(HELD_OUT_CRACK_LOOKS) <= set(WIDTHS_PX)


def test_the_style_of_held_out_lines_alone_draws_its_lines():
    own = {*HELD_OUT_LINES_FRACTURES, *HELD_OUT_LINES_LOOKS}
    for style in (TRAINING, HELD_OUT):
        assert not own & {*style.fractures, *style.crack_looks}
        assert not set(HELD_OUT_LINES_GROWTHS) & set(style.growths)
    assert own <= {*HELD_OUT_LINES.fractures, *HELD_OUT_LINES.crack_looks}


@pytest.mark.parametrize("family", HELD_OUT_LINES_FRACTURES)
@pytest.mark.parametrize("look", HELD_OUT_LINES_LOOKS)
def test_held_out_cracks_lie_on_the_face(family, look):
    strokes = draw_fractures(
        np.random.default_rng(3),
        ((family, look),),
        OUTLINE,
        INSIDE,
        140,
        None,
        INSIDE.astype(np.uint8),
    )
    assert strokes and {s.kind for s in strokes} == {"crack"}
    assert any(cover(s, (SIDE, SIDE)).any() for s in strokes)


@pytest.mark.parametrize("kind", HELD_OUT_LINES_GROWTHS)
def test_held_out_growths_are_pattern_lines(kind):
    strokes = draw_growths(
        np.random.default_rng(1), (kind,), OUTLINE, INSIDE, 140, INSIDE.astype(np.uint8), None
    )
    assert strokes and {LINE_CODES[s.kind] for s in strokes} == {PATTERN_LINE}


def test_new_lines_leave_the_rest_of_the_stone_as_it_is(monkeypatch):
    """Their dice are their own: shape, classes and ground of a photo are the same with and without them."""
    chosen = {"width_px": 240, "height_px": 180, "stones": 1, "kind": "slab", "finger": False}
    lined = (("map", "open"),), ("web",), ("bundle",), ("rim", "veins", "moss")
    layers = []
    for lines in (lined, ((), (), (), ())):
        monkeypatch.setattr(photograph, "_rougher_lines", lambda *_, lines=lines: lines)
        layers.append(render_photo(np.random.default_rng(4), TRAINING, **chosen))
    assert np.array_equal(layers[0].pieces, layers[1].pieces)
    assert [s.bands for s in layers[0].stones] == [s.bands for s in layers[1].stones]
    readable = (layers[0].regions != 9) & (layers[1].regions != 9)
    assert np.array_equal(layers[0].regions[readable], layers[1].regions[readable])
    assert not np.array_equal(layers[0].cracks, layers[1].cracks)


@pytest.mark.slow
@pytest.mark.parametrize("asked", [{"cracks": 0}, {"healed": 0}, {"strays": False}])
def test_what_is_asked_for_in_number_gets_no_more(asked):
    kinds = {
        "cracks": ("crack",),
        "healed": ("web", "healed", "seam"),
        "strays": ("chisel", "fibre", "joint"),
    }
    (name,) = asked
    for seed in range(12):
        got = render_photo(np.random.default_rng(seed), width_px=160, height_px=120, **asked)
        assert not {line.kind for line in got.lines} & set(kinds[name])
