"""What is kept of a stone to be shown, and that the sheet's views come from it alone."""

from base64 import b64decode
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from grader.cli.options import PictureView
from grader.errors import LedgerError
from grader.profile import load_profile
from grader.report.result import photo_record
from grader.report.stone_pictures import REGIONS_PX, SHOWN, shown_views, stone_pictures
from grader.report.tint import A_CLASS, places_of
from grader.report.views import VIEWS, draw_view

PROFILE = load_profile()


def kept_of(graded):
    return stone_pictures(graded.photo, graded.pieces[0].measured)


def views_of(graded, kept):
    record = photo_record(graded)
    return shown_views(record["pieces"][0], record["photo"], kept, PROFILE)


def test_the_regions_kept_are_few_bytes_and_the_same_shares(make_graded):
    png = kept_of(make_graded())["regions"]
    codes = places_of(png) // A_CLASS
    assert max(codes.shape) == REGIONS_PX
    counts = np.bincount(codes[codes > 0], minlength=10) / (codes > 0).sum()
    assert counts[[1, 2, 3, 9]] == pytest.approx([0.5, 0.25, 0.2, 0.05], abs=0.01)


def test_the_regions_of_the_most_mottled_stone_are_below_60_kb(make_graded):
    graded = make_graded()
    codes = graded.measured.pieces[0].measurements.regions.codes
    codes[:] = np.random.default_rng(0).integers(1, 4, codes.shape)
    assert len(kept_of(graded)["regions"]) < 60_000


def test_the_views_are_made_from_what_is_kept(make_graded):
    graded = make_graded()
    views = views_of(graded, kept_of(graded))
    assert set(VIEWS) < set(views)
    for name in ("regions", "best"):
        image = Image.open(BytesIO(b64decode(views[name])))
        # To be seen through, and of a palette.
        assert image.mode == "P" and "transparency" in image.info
    assert [text for _, text in views["counted"]][-1] == "unreadable 5 % of the face"
    assert views["words"] == ["no scene"]


def test_of_an_earlier_look_the_lines_alone_are_shown(make_graded):
    graded = make_graded()
    kept = {"sheet": kept_of(graded)["sheet"]}
    assert set(views_of(graded, kept)) == {"lines"}


def test_damaged_regions_are_told_in_one_line(make_graded):
    graded = make_graded()
    with pytest.raises(LedgerError, match="kept regions of a stone are damaged") as refused:
        views_of(graded, kept_of(graded) | {"regions": b"not a picture"})
    assert "\n" not in str(refused.value)


def test_the_command_offers_the_views_that_there_are(make_graded):
    assert [view.value for view in PictureView] == list(VIEWS)
    graded = make_graded()
    record = photo_record(graded)
    drawn = {draw_view(name, graded.measured, record, PROFILE).tobytes() for name in VIEWS}
    assert len(drawn) == len(VIEWS) and SHOWN[0] == "sheet"
