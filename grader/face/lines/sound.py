"""What sound stone a face leaves: its parts between the lines that part it, and where ovals find room.

Lines part the stone by chance. One chance is drawn for all of them, so that a doubtful line parts only
where every surer one does: the sound stone is then a function of that one number, and what is to be
expected is its mean. Lumber boards are graded in this way by the share of the poorer face that yields
clear pieces of a least size (hardwood board rules, as summed up in grade summaries).
"""

import itertools
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.lines.lines import face_width_px, reach_px
from grader.face.lines.polyline import resample
from grader.face.measurements import ClearFace, Interval, Line, SoundStone

#: Longer side of the grid on which parts and ovals are tried.
GRID_PX = 256
#: A line parts likelier than not from here on.
PARTS = 0.5
#: A doubtful one lies between this
SURELY_NOT = 0.1
#: and this.
SURELY = 0.9
#: Chances are taken in tenths: more levels than these say nothing more.
LEVELS = 10
#: Parts of less than this share of the face are crumbs.
CRUMB_SHARE = 0.01
#: Turns at which an oval is tried, evenly over half a turn.
TURNS = 12
#: Shares of clear face at which board grades part: five sixths, two thirds, a half, a third.
CLEAR_STEPS = (5 / 6, 2 / 3, 1 / 2, 1 / 3)


def sound_stone(
    mask: NDArray[np.bool_],
    lines: Sequence[Line],
    mm_per_px: float | None,
    ovals_mm: Sequence[tuple[float, float]],
) -> SoundStone:
    """Return the face as its lines would part it.

    Parameters
    ----------
    mask : ndarray of shape (h, w), bool, the face.
    lines : with their ends known; those that reach the outline are drawn out to it.
    mm_per_px : millimetres of one px of the mask; without it no ovals are tried.
    ovals_mm : (long, short) of each template in mm, smallest first.
    """
    if not mask.any():
        none = Interval(0.0, 0.0, 0.0)
        return SoundStone(np.zeros(mask.shape, np.uint8), (), none)
    net = LineNet(mask, lines)
    largest = net.expected(lambda level: float(net.parts(level)[1][0]))
    labels, shares = net.parts(PARTS)
    kept = tuple(float(share) for share in shares if share >= CRUMB_SHARE)[:255]
    labels = net.at_full_size(np.where(labels > len(kept), 0, labels))
    if mm_per_px is None:
        return SoundStone(labels, kept, largest)
    rooms = {oval: net.room(oval, mm_per_px) for oval in ovals_mm}
    usable = net.expected(lambda level: net.share_with(rooms[ovals_mm[0]], level))
    clear = tuple(
        ClearFace(oval, net.covered(room, 1 / LEVELS), net.covered(room, SURELY))
        for oval, room in rooms.items()
    )
    return SoundStone(labels, kept, largest, clear, usable)


def clear_step(share: float) -> float | None:
    """Return the highest step of board grading that a share of clear face reaches; ``None`` below a third."""
    return next((step for step in CLEAR_STEPS if share >= step - 1e-9), None)


def weights_g(shares: Sequence[float], weight_g: float) -> tuple[float, ...]:
    """Return what each part would weigh, were the stone as thick everywhere."""
    return tuple(weight_g * share for share in shares)


class LineNet:
    """A face on a small grid with the lines that may part it, each with its chance in tenths."""

    def __init__(self, mask: NDArray[np.bool_], lines: Sequence[Line]) -> None:
        rows, cols = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
        self._mask = mask
        self.window = slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1)
        face = mask[self.window]
        self.factor = min(1.0, GRID_PX / max(face.shape))
        size = tuple(max(1, round(side * self.factor)) for side in face.shape[::-1])
        self.face = cv2.resize(face.astype(np.float32), size, interpolation=cv2.INTER_AREA) >= 0.5
        if not self.face.any():
            self.face[:] = True
        self._reach = reach_px(face_width_px(mask)) * self.factor
        #: Places in ``lines`` of those that may part the stone at all.
        self.parting = [n for n, line in enumerate(lines) if round(line.parting_chance * LEVELS)]
        parting = [lines[n] for n in self.parting]
        self._levels = [round(line.parting_chance * LEVELS) / LEVELS for line in parting]
        self._strokes = self._drawn_out(parting, (cols[0], rows[0]))
        # By how many lines part it: fewer are always the surest of more.
        self._parts: dict[int, tuple[NDArray, NDArray]] = {}
        self._tried: dict[tuple[_Room, int], tuple[NDArray, NDArray]] = {}

    def _drawn_out(self, lines: list[Line], corner) -> list[NDArray]:
        """The lines in grid px, counted from px centres, drawn out to the outline and to lines that they meet."""
        strokes = [resample((line.points - corner) * self.factor - 0.5) for line in lines]
        contours, _ = cv2.findContours(
            np.pad(self.face, 1).view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
        )
        outline = np.concatenate([contour[:, 0] for contour in contours]) - 1.0
        drawn = []
        for k, stroke in enumerate(strokes):
            others = [outline, *strokes[:k], *strokes[k + 1 :]]
            goals = np.concatenate(others)
            far = np.full(len(goals), 0.6 * self._reach)
            far[: len(outline)] = self._reach
            ends = [self._goal(stroke[end], goals, far) for end in (0, -1)]
            drawn.append(np.concatenate([ends[0], stroke, ends[1]]))
        return drawn

    @staticmethod
    def _goal(end: NDArray, goals: NDArray, far: NDArray) -> NDArray:
        """The nearest point that an end is drawn out to, none where all are too far."""
        distance = np.hypot(*(goals - end).T)
        nearest = int(np.argmin(distance - 1e6 * (distance <= far)))
        return goals[nearest : nearest + 1] if distance[nearest] <= far[nearest] else goals[:0]

    def parted_by(self, level: float) -> list[int]:
        return [k for k, chance in enumerate(self._levels) if chance >= level - 1e-9]

    def free(self, level: float) -> NDArray[np.bool_]:
        """The face without the lines that part it at that level."""
        return self.without(self.parted_by(level))

    def without(self, lines: Sequence[int]) -> NDArray[np.bool_]:
        """The face without these lines, counted among ``parting``."""
        face = self.face.astype(np.uint8)
        strokes = [np.rint(self._strokes[k]).astype(np.int32) for k in lines]
        cv2.polylines(face, [stroke.reshape(-1, 1, 2) for stroke in strokes], False, 0)
        return face > 0

    def parts(self, level: float) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
        """Labels of the parts, largest first, and their shares; what the lines cover is no one's."""
        key = len(self.parted_by(level))
        if key not in self._parts:
            # A line of px that touch at corners parts what touches at sides.
            count, labels = cv2.connectedComponents(self.free(level).view(np.uint8), connectivity=4)
            area = np.bincount(labels.ravel(), minlength=count)[1:]
            order = np.argsort(-area, kind="stable")
            rank = np.zeros(count, np.int32)
            rank[order + 1] = np.arange(1, count)
            shares = area[order] / max(1, area.sum())
            self._parts[key] = rank[labels], shares if count > 1 else np.zeros(1)
        return self._parts[key]

    def expected(self, share_at) -> Interval:
        """Mean of a share over one chance drawn for all lines, widened to hold its low and high."""
        edges = sorted({0.0, 1.0, *self._levels})
        # From one level up to the next the same lines part.
        steps = itertools.pairwise(edges)
        value = sum((high - low) * share_at(high) for low, high in steps)
        low, high = share_at(SURELY_NOT), share_at(SURELY)
        return Interval(value, min(low, value), max(high, value))

    def room(self, oval_mm: tuple[float, float], mm_per_px: float) -> "_Room":
        """Return what tries that oval on this grid."""
        cells_per_mm = self.factor / mm_per_px
        long_mm, short_mm = max(oval_mm), min(oval_mm)
        return _Room(self.face.shape, long_mm * cells_per_mm, short_mm * cells_per_mm)

    def share_with(self, room: "_Room", level: float) -> float:
        """Share of the parts in which the oval finds room."""
        labels, shares = self.parts(level)
        _, centres = self._within(room, level)
        here = np.unique(labels[centres])
        return float(shares[here[here > 0] - 1].sum())

    def covered(self, room: "_Room", level: float) -> float:
        """Share of the face that the oval can cover without touching a line."""
        covered, _ = self._within(room, level)
        return float(covered.sum() / self.face.sum())

    def _within(self, room: "_Room", level: float) -> tuple[NDArray, NDArray]:
        key = room, len(self.parted_by(level))
        if key not in self._tried:
            self._tried[key] = room.within(self.free(level))
        return self._tried[key]

    def at_full_size(self, labels: NDArray) -> NDArray[np.uint8]:
        """Labels at the size of the mask; px of lines take the part beside them."""
        small = labels.astype(np.uint8)
        bare = self.face & (self.parts(PARTS)[0] == 0)
        for _ in range(2):
            small = np.where(bare & (small == 0), cv2.dilate(small, np.ones((3, 3))), small)
        # The outline passes through grid px: their outermost ring takes the part beside it.
        small = np.where(
            small == 0, np.where(self.face, 0, cv2.dilate(small, np.ones((3, 3)))), small
        )
        full = np.zeros(self._mask.shape, np.uint8)
        here = full[self.window]
        here[:] = cv2.resize(small, here.shape[::-1], interpolation=cv2.INTER_NEAREST)
        full[~self._mask] = 0
        return full


class _Room:
    """An oval tried at every place and turn of a grid, by Fourier transforms of the turned ovals."""

    def __init__(self, shape: tuple[int, int], long_px: float, short_px: float) -> None:
        self._shape, self._short = shape, short_px
        self._area = np.pi / 4 * long_px * short_px
        side = int(np.ceil(long_px)) + 2
        self._canvas = tuple(cv2.getOptimalDFTSize(n + side) for n in shape)
        self._long = long_px
        self._spectra: list[tuple[float, NDArray]] | None = None

    def within(self, free: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Where the oval covers and where its centre may lie, both of the grid's shape."""
        nowhere = np.zeros(self._shape, bool)
        depth = cv2.distanceTransform(np.pad(free, 1).view(np.uint8), cv2.DIST_L2, 5).max()
        if free.sum() < 0.9 * self._area or depth < self._short / 2 - 1.5:
            return nowhere, nowhere
        if self._spectra is None:
            self._spectra = [self._spectrum(turn) for turn in self._turns()]
        spectrum_of_free = self._transform(free)
        centres, covered = nowhere.copy(), np.zeros(self._canvas, np.float32)
        for cells, spectrum in self._spectra:
            here = free & (
                self._back(cv2.mulSpectrums(spectrum_of_free, spectrum, 0)) > cells - 0.5
            )
            if here.any():
                centres |= here
                covered += cv2.mulSpectrums(self._transform(here), spectrum, 0)
        return free & (self._back(covered) > 0.5), centres

    def _transform(self, grid: NDArray[np.bool_]) -> NDArray[np.float32]:
        canvas = np.zeros(self._canvas, np.float32)
        canvas[: grid.shape[0], : grid.shape[1]] = grid
        return cv2.dft(canvas, nonzeroRows=grid.shape[0])

    def _back(self, spectrum: NDArray[np.float32]) -> NDArray[np.float32]:
        h, w = self._shape
        return cv2.idft(spectrum, flags=cv2.DFT_SCALE, nonzeroRows=h)[:h, :w]

    def _turns(self) -> NDArray:
        """In radians; a circle needs one."""
        return np.zeros(1) if self._long == self._short else np.arange(TURNS) * np.pi / TURNS

    def _spectrum(self, turn: float) -> tuple[float, NDArray]:
        """Number of px of the turned oval round px (0, 0) of the canvas, and its transform."""
        y, x = (
            np.minimum(np.arange(n), n - np.arange(n)) * np.where(np.arange(n) > n / 2, -1, 1)
            for n in self._canvas
        )
        c, s = np.cos(turn), np.sin(turn)
        along, across = c * x + s * y[:, None], c * y[:, None] - s * x
        half_long, half_short = (max(side / 2 - 0.5, 0.5) for side in (self._long, self._short))
        oval = (along / half_long) ** 2 + (across / half_short) ** 2 <= 1 + 1e-9
        return float(oval.sum()), self._transform(oval)
