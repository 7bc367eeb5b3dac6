"""A photo with a lettered grid on it, by which a person says where a spot lies."""

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.photo.photo import Photo
from grader.report.overlay import view_of
from grader.report.plates import DARK, FONT, PALE
from grader.spots import cell_name, cell_px

#: The longer side of the picture, px.
LONG_SIDE_PX = 1920
#: Size of the letters, and of the mark in the middle of each cell, which is the place that the cell means.
TEXT_PX, MARK_PX = 14, 2
#: How much of a line shows: the stone must be seen below it.
LINE = 0.35


def grid_picture(photo: Photo) -> NDArray[np.uint8]:
    """Return a photo with its grid: a name in the corner of each cell, a point in its middle.

    Returns
    -------
    ndarray of shape (h, w, 3), uint8, sRGB, the longer side ``LONG_SIDE_PX``, so that letters can be read in a small
    photo too.
    """
    factor = LONG_SIDE_PX / max(photo.width, photo.height)
    size = (max(1, round(photo.width * factor)), max(1, round(photo.height * factor)))
    shown = view_of(photo, (0, 0, photo.width, photo.height), LONG_SIDE_PX).rgb
    picture = cv2.resize(shown, size, interpolation=cv2.INTER_CUBIC)
    cell = cell_px(*size)
    columns, rows = (int(np.ceil(side / cell - 1e-6)) for side in size)
    lined = picture.copy()
    for n in range(1, max(columns, rows)):
        at = round(n * cell)
        cv2.line(lined, (at, 0), (at, size[1]), PALE)
        cv2.line(lined, (0, at), (size[0], at), PALE)
    picture = cv2.addWeighted(lined, LINE, picture, 1 - LINE, 0)
    for row in range(rows):
        for column in range(columns):
            x, y = column * cell, row * cell
            middle = (round(x + cell / 2), round(y + cell / 2))
            # Dark below and pale above: both show on any stone.
            cv2.circle(picture, middle, MARK_PX + 1, DARK, cv2.FILLED, cv2.LINE_AA)
            cv2.circle(picture, middle, MARK_PX, PALE, cv2.FILLED, cv2.LINE_AA)
            corner = (round(x + 3), round(y + TEXT_PX + 1))
            name = cell_name(column, row)
            for shift, colour in (((1, 1), DARK), ((0, 0), PALE)):
                place = (corner[0] + shift[0], corner[1] + shift[1])
                cv2.putText(picture, name, place, colour, FONT, TEXT_PX)
    return picture
