"""Tags in a photo: QR codes on paper that say the number of a piece. None of it is stone, nor white band.

Reading costs time, so it is done where somebody asks for it (:attr:`~grader.photo.terms.PhotoTerms.tags`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.measures import Remark
from grader.photo.photo import Photo
from grader.photo.pieces import Piece, share_within
from grader.photo.shrink import shrunk

#: Of a larger photo a smaller copy is read; in 12 megapixels codes are read down to 3 px a module.
MOST_PX = 16e6
#: How far a label's paper may reach around its code, in sides of the code: x from, to, y from, to. Those of
#: ``report.label_sheet``, and a little more.
REACH = (-0.35, 4.6, -0.4, 1.4)
#: A code in the rectified picture of its label is so many px wide, its quiet zone so wide.
CODE_PX, QUIET_PX = 48, 8
#: Paper is as bright as the quiet zone of the code, within this share, in each channel.
ALIKE = 0.25
#: Ink between paper is closed up to this width, in rectified px; a strip narrower than that is no paper.
INK_PX, STRIP_PX = 13, 5
#: That a tag hides part of a stone is told from this share on.
LEAST_TOLD = 0.01


@dataclass(frozen=True)
class Tag:
    """A tag.

    text : what its code says; ``None`` where a code is seen and cannot be read.
    code : ndarray of shape (4, 2), corners of the code in px of the photo, from its own upper left, clockwise.
    paper : ndarray of shape (n, 2), outline of the paper that it is printed on.
    """

    text: str | None
    code: NDArray[np.float32]
    paper: NDArray[np.float32]


def find_tags(photo: Photo) -> tuple[Tag, ...]:
    """Return the QR codes of a photo with the paper around each, from the top down."""
    import zxingcpp  # 20 ms that only those pay who ask for tags

    grey = cv2.cvtColor(_eight_bit(photo.rgb), cv2.COLOR_RGB2GRAY)
    factor = min(1.0, np.sqrt(MOST_PX / grey.size))
    if factor < 1:
        grey = shrunk(grey, (round(photo.width * factor), round(photo.height * factor)))
    found = zxingcpp.read_barcodes(
        grey, formats=zxingcpp.BarcodeFormat.QRCode, try_invert=False, return_errors=True
    )
    tags: list[Tag] = []
    # What can be read first: a code that cannot is sometimes seen twice, or beside its better self.
    for one in sorted(found, key=lambda one: not one.valid):
        place = one.position
        corners = (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
        code = (np.array([(p.x + 0.5, p.y + 0.5) for p in corners]) / factor).astype(np.float32)
        if _is_code(code) and not any(_same_place(code, tag.code) for tag in tags):
            tags.append(Tag(one.text if one.valid else None, code, _paper(photo.rgb, code)))
    return tuple(sorted(tags, key=lambda tag: tuple(tag.code.mean(axis=0)[::-1])))


def covered(
    pieces: Sequence[Piece], tags: Sequence[Tag]
) -> tuple[tuple[Piece, ...], tuple[Remark, ...]]:
    """Return the stones, each with what tags cover of it, and a remark where one hides something."""
    done, remarks = [], []
    for piece in pieces:
        shares = [share_within(piece.outline, tag.paper) for tag in tags]
        upon = tuple(tag.paper for tag, share in zip(tags, shares, strict=True) if share > 0)
        done.append(replace(piece, covered=upon))
        if sum(shares) >= LEAST_TOLD:
            text = (
                f"a tag lies on stone {piece.id} and hides {100 * sum(shares):.0f} % of it, which is left out; "
                "lay it beside the stone"
            )
            remarks.append(Remark("tag_on_stone", text))
    return tuple(done), tuple(remarks)


def distances(code: NDArray, outlines: Mapping[int, NDArray]) -> dict[int, float]:
    """Return how far a code, (4, 2) corners, lies from each stone's outline, in sides of the code; 0 upon it."""
    corners = np.asarray(code, np.float32)
    side = float(np.sqrt(max(cv2.contourArea(corners), 1.0)))
    spots = [*corners, corners.mean(axis=0)]
    return {
        stone: max(
            0.0,
            -max(
                cv2.pointPolygonTest(np.asarray(outline, np.float32), tuple(map(float, spot)), True)
                for spot in spots
            ),
        )
        / side
        for stone, outline in outlines.items()
    }


def _eight_bit(rgb: NDArray) -> NDArray[np.uint8]:
    return rgb if rgb.dtype == np.uint8 else (rgb >> 8).astype(np.uint8)


def _is_code(code: NDArray) -> bool:
    """Whether corners are those of a square seen from somewhere, and no chance find."""
    if not cv2.isContourConvex(code):
        return False
    sides = np.linalg.norm(code - np.roll(code, 1, axis=0), axis=1)
    return bool(sides.min() >= 20 and sides.max() <= 3 * sides.min())


def _same_place(code: NDArray, other: NDArray) -> bool:
    """Whether the middle of one code lies in the other."""
    middle = tuple(map(float, code.mean(axis=0)))
    return cv2.pointPolygonTest(np.ascontiguousarray(other, np.float32), middle, False) >= 0


def _square(size: tuple[int, int], corner: tuple[int, int], more_px: int) -> NDArray[np.uint8]:
    """The place of a code in its rectified picture of that (w, h), and so many px more all around."""
    (x, y), mask = corner, np.zeros(size[::-1], np.uint8)
    mask[y - more_px : y + CODE_PX + more_px, x - more_px : x + CODE_PX + more_px] = 1
    return mask


def _paper(rgb: NDArray, code: NDArray[np.float32]) -> NDArray[np.float32]:
    """The outline of the paper around a code: what is as bright as its quiet zone, joins it and lies within reach."""
    x0, x1, y0, y1 = (round(side * CODE_PX) for side in REACH)
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32) * CODE_PX - (x0, y0)
    # Over this reach a perspective read from so small a code would go astray: parallels stay parallel.
    ones = np.hstack([square, np.ones((4, 1))])
    to_photo = np.linalg.lstsq(ones, code.astype(np.float64), rcond=None)[0].T
    size = (x1 - x0, y1 - y0)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    matrix = to_photo.copy()
    matrix[:, 2] += to_photo[:, :2] @ (0.5, 0.5) - 0.5  # from px centres to px centres
    flat = cv2.warpAffine(_eight_bit(rgb), matrix, size, flags=flags).astype(np.float32)
    own = _square(size, (-x0, -y0), QUIET_PX)
    ring = own & ~_square(size, (-x0, -y0), 2)
    colour = np.median(flat[ring > 0], axis=0)
    like = (np.abs(flat - colour) <= ALIKE * np.maximum(colour, 20)).all(axis=2).astype(np.uint8)
    like = cv2.morphologyEx(like | own, cv2.MORPH_CLOSE, np.ones((INK_PX, INK_PX), np.uint8))
    like = cv2.morphologyEx(like, cv2.MORPH_OPEN, np.ones((STRIP_PX, STRIP_PX), np.uint8)) | own
    _, labels = cv2.connectedComponents(like)
    mine = (labels == labels[-y0 + CODE_PX // 2, -x0 + CODE_PX // 2]).astype(np.uint8)
    # A px more all around: the rim of the paper is mixed with the ground.
    mine = cv2.dilate(np.pad(mine, 2), np.ones((5, 5), np.uint8))
    (outline, *_), _ = cv2.findContours(mine, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    points = outline[:, 0].astype(np.float64) - 2 + 0.5
    return (np.hstack([points, np.ones((len(points), 1))]) @ to_photo.T).astype(np.float32)
