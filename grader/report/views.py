"""The pictures of one photo between which a person can switch."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from grader.grade import MeasuredPhoto
from grader.profile import Profile
from grader.report.best import draw_best
from grader.report.counted import draw_counted
from grader.report.overlay import PICTURE_PX, draw_overlay, view_of

Draw = Callable[[MeasuredPhoto, dict, Profile], NDArray[np.uint8]]


def draw_view(
    name: str, measured: MeasuredPhoto, record: dict, profile: Profile
) -> NDArray[np.uint8]:
    """Return a photo as one of ``VIEWS`` shows it, sRGB (h, w, 3), at most ``PICTURE_PX`` long but for words below it.

    record : of the photo, with proposals and calls.
    """
    return VIEWS[name](measured, record, profile)


def _plain(measured: MeasuredPhoto, record: dict, profile: Profile) -> NDArray[np.uint8]:
    photo = measured.photo
    return view_of(photo, (0, 0, photo.width, photo.height), PICTURE_PX).rgb


def _lines(measured: MeasuredPhoto, record: dict, profile: Profile) -> NDArray[np.uint8]:
    return draw_overlay(measured, record)


#: By name, what draws it; the first is shown where nobody chooses.
VIEWS: dict[str, Draw] = {
    "lines": _lines,
    "photo": _plain,
    "regions": draw_counted,
    "best": draw_best,
}
