"""Along which lines a face may part, and into what parts, whichever of them open."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.lines.sound import CRUMB_SHARE, SURELY_NOT, LineNet
from grader.face.measurements import Line

#: Of more lines only the surest are taken: each doubles the ways in which a stone may part.
MOST_LINES = 6


@dataclass(frozen=True)
class Partings:
    """A face in cells that stay whole, parted by lines that may open.

    Attributes
    ----------
    lines : places of the lines among those of the face; at least one set of them parts it.
    shares : of the face, sum 1, of each cell, largest first.
    parts : for each set of open lines, as a binary number (bit k is ``lines[k]``), the part that each cell belongs to.
    cells : ndarray of shape (h, w), uint8, 0 off the stone, 1 the first cell and so on.
    """

    lines: tuple[int, ...]
    shares: tuple[float, ...]
    parts: tuple[tuple[int, ...], ...]
    cells: NDArray


def partings(mask: NDArray[np.bool_], lines: Sequence[Line]) -> Partings:
    """Return how a face may part.

    Parameters
    ----------
    mask : ndarray of shape (h, w), bool, the face, not empty.
    lines : with their ends known; those of a chance to part of a tenth or less are left out.
    """
    net = LineNet(mask, lines)
    able = [k for k, n in enumerate(net.parting) if lines[n].parting_chance > SURELY_NOT]
    surest = sorted(able, key=lambda k: -lines[net.parting[k]].parting_chance)[:MOST_LINES]
    cells, shares = _cells(net, surest)
    sets = [
        _parts(net, [line for k, line in enumerate(surest) if opened >> k & 1], cells, len(shares))
        for opened in range(1 << len(surest))
    ]
    needed = [
        k
        for k in range(len(surest))
        if any(sets[opened] != sets[opened & ~(1 << k)] for opened in range(len(sets)))
    ]
    return Partings(
        lines=tuple(net.parting[surest[k]] for k in needed),
        shares=tuple(shares),
        parts=tuple(
            sets[sum(1 << k for bit, k in enumerate(needed) if opened >> bit & 1)]
            for opened in range(1 << len(needed))
        ),
        cells=_at_full_size(cells, net, mask),
    )


def _cells(net: LineNet, lines: list[int]) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Labels on the small grid, largest first from 1, and shares; crumbs belong to the cell beside them."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        net.without(lines).view(np.uint8), connectivity=4
    )
    area = stats[1:, cv2.CC_STAT_AREA]
    order = [n for n in np.argsort(-area, kind="stable") if area[n] >= CRUMB_SHARE * area.sum()]
    rank = np.zeros(count, np.int32)
    rank[np.array(order, int) + 1] = np.arange(1, len(order) + 1)
    cells = rank[labels]
    return cells, area[order] / area[order].sum()


def _parts(net: LineNet, lines: list[int], cells: NDArray, count: int) -> tuple[int, ...]:
    """The part of each cell, counted from 0 in the order of the cells, with these lines open."""
    _, labels = cv2.connectedComponents(net.without(lines).view(np.uint8), connectivity=4)
    # A cell lies within one part: any px of it tells which.
    first = [labels.flat[np.flatnonzero(cells == cell)[0]] for cell in range(1, count + 1)]
    number = {label: n for n, label in enumerate(dict.fromkeys(first))}
    return tuple(number[label] for label in first)


def _at_full_size(cells: NDArray, net: LineNet, mask: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Cells at the size of the mask; px of lines and crumbs take the nearest cell."""
    _, nearest = cv2.distanceTransformWithLabels(
        (cells == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    of_label = np.zeros(nearest.max() + 1, np.uint8)
    of_label[nearest[cells > 0]] = cells[cells > 0]
    full = np.zeros(mask.shape, np.uint8)
    here = full[net.window]
    here[:] = cv2.resize(of_label[nearest], here.shape[::-1], interpolation=cv2.INTER_NEAREST)
    full[~mask] = 0
    return full
