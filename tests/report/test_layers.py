"""Layers of hand-made stones, whose pixels can be counted."""

from dataclasses import replace
from io import BytesIO

import numpy as np
from PIL import Image

from grader.report.layers import draw_layers, write_layers


def test_layers_have_the_size_of_the_photo(make_graded):
    graded = make_graded(2)
    for layer in draw_layers(graded.measured).values():
        assert layer.shape == (graded.photo.height, graded.photo.width)


def test_regions_carry_the_codes_of_the_classes(make_graded):
    regions = draw_layers(make_graded().measured)["regions"]
    # The stone is 200 x 100 px at 40, 40: half blue, a quarter white, 40 columns host, 10 glare.
    assert np.bincount(regions.ravel(), minlength=10).tolist() == [
        280 * 180 - 200 * 100, 100 * 100, 50 * 100, 40 * 100, 0, 0, 0, 0, 0, 10 * 100,
    ]  # fmt: skip
    assert (regions[40:140, 40:140] == 1).all()
    assert (regions[40:140, 230:240] == 9).all()


def test_pieces_carry_their_ids(make_graded):
    pieces = draw_layers(make_graded(2).measured)["pieces"]
    assert (pieces[40:140, 40:240] == 1).all()
    assert (pieces[180:280, 40:240] == 2).all()
    assert np.count_nonzero(pieces) == 2 * 200 * 100


def test_cracks_are_drawn_at_their_measured_width(make_graded, crack):
    cracks = draw_layers(make_graded(lines=(crack,)).measured)["cracks"]
    # 2 working px at half size: 4 px of the photo (a drawn line may be one px wider), round row 91.
    assert set(np.unique(cracks)) == {0, 255}
    column = np.flatnonzero(cracks[:, 120])
    assert 4 <= len(column) <= 5
    assert column[0] <= 91 <= column[-1]


def test_only_lines_of_class_crack_are_drawn(make_graded, crack):
    for kind in ("uncertain", "pattern line", "contact"):
        layers = draw_layers(make_graded(lines=(replace(crack, kind=kind),)).measured)
        assert not layers["cracks"].any()


def test_crack_px_keep_the_class_beside_them(make_graded, crack):
    with_crack = draw_layers(make_graded(lines=(crack,)).measured)["regions"]
    assert np.array_equal(with_crack, draw_layers(make_graded().measured)["regions"])


def test_layers_are_written_as_grey_pngs_under_the_stem(make_graded, tmp_path):
    write_layers(make_graded().measured, tmp_path / "new", "IMG_1")
    assert sorted(p.name for p in (tmp_path / "new").iterdir()) == [
        "IMG_1.borders.png",
        "IMG_1.cracks.png",
        "IMG_1.parts.png",
        "IMG_1.pieces.png",
        "IMG_1.regions.png",
    ]
    image = Image.open(BytesIO((tmp_path / "new" / "IMG_1.regions.png").read_bytes()))
    assert (image.mode, image.size) == ("L", (280, 180))


def test_parts_are_numbered_within_each_piece_largest_first(make_graded, crack):
    # Across the stone of 50 rows at row 15: below it lies the larger part.
    across = replace(crack, points=np.array([[2.0, 15.5], [98.0, 15.5]]))
    parts = draw_layers(make_graded(2, lines=(across,)).measured)["parts"]
    for top in (40, 180):
        assert (parts[top + 36 : top + 98, 42:238] == 1).all()
        assert (parts[top + 2 : top + 28, 42:238] == 2).all()
    assert not parts[:40].any()
