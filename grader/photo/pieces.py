"""Where the stones lie in a photo."""

from dataclasses import dataclass

from numpy.typing import NDArray


@dataclass(frozen=True)
class Piece:
    """One stone in the photo.

    Attributes
    ----------
    id : 1, 2, 3 ... row by row from the top, left to right.
    box : x, y, w, h in whole px of the upright full-size photo.
    outline : ndarray of shape (n, 2), float32, x, y in px of that photo.
    cut_by_frame : the stone runs out of the photo.
    """

    id: int
    box: tuple[int, int, int, int]
    outline: NDArray
    cut_by_frame: bool = False
