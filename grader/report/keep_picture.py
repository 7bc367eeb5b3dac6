"""Both values of a piece and its break plan in one picture, dark on white: for print, and for any eye.

The stone with its parting lines (whole ones are to be struck, dashed ones may open too) and the letters of its parts;
beside it the plan; below it both distributions over one scale of money, told apart by hatch and by name; the cautions.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.face.lines.polyline import dashes
from grader.photo.colour import srgb_curve
from grader.report.keep import (
    BreakPlan,
    advice_words,
    keep_lines,
    plan_cautions,
    plan_lines,
    result_lines,
)
from grader.report.overlay import draw_line
from grader.report.plates import FONT, draw_plate, plate_size, text_width

WIDTH, EDGE = 1400, 40
INK, WHITE = (20, 20, 20), (255, 255, 255)
TITLE, TEXT, SMALL = 34, 22, 18
STONE_PX = 640
#: Of a histogram: its bins, and how high it is.
BINS, HIGH_PX = 48, 150
#: Of the money of all trials so much is shown; the last per cent would squeeze the rest.
SHOWN = (0.005, 0.98)


def draw_keep(plan: BreakPlan, unit: str) -> NDArray[np.uint8]:
    """Return the picture, sRGB, shape (h, w, 3)."""
    head, *_ = keep_lines(plan, unit)
    stone = _stone(plan)
    beside = _text(plan_lines(plan, unit), WIDTH - stone.shape[1] - 3 * EDGE, TEXT)
    told = [line.strip() for line in result_lines(plan)[:-1]]
    cautions = [f"{c.text} [{c.source}]" if c.source else c.text for c in plan_cautions()]
    wide = WIDTH - 2 * EDGE
    rows = [
        _text([head], wide, TEXT),
        _side_by_side(stone, beside),
        _text([f"Advice: {advice_words(plan)}"], wide, TITLE - 6),
        _distributions(plan),
        _text(told, wide, TEXT),
        _text([f"note: {text}" for text in plan.remarks], wide, TEXT),
        _text(["Take care"], wide, TEXT + 4),
        _text([f"- {text}" for text in cautions], wide, SMALL),
    ]
    gap = np.full((EDGE // 2, WIDTH, 3), WHITE, np.uint8)
    parts = [gap]
    for row in rows:
        if row.shape[0]:
            parts += [_framed(row), gap]
    return np.vstack(parts)


def _framed(row: NDArray) -> NDArray[np.uint8]:
    framed = np.full((row.shape[0], WIDTH, 3), WHITE, np.uint8)
    framed[:, EDGE : EDGE + row.shape[1]] = row[:, : WIDTH - EDGE]
    return framed


def _side_by_side(left: NDArray, right: NDArray) -> NDArray[np.uint8]:
    both = np.full((max(left.shape[0], right.shape[0]), WIDTH - 2 * EDGE, 3), WHITE, np.uint8)
    both[: left.shape[0], : left.shape[1]] = left
    both[: right.shape[0], left.shape[1] + EDGE :][:, : right.shape[1]] = right
    return both


def _text(lines: Sequence[str], width: int, size: int) -> NDArray[np.uint8]:
    """Lines of words, broken where the room ends; what goes on is set in."""
    rows: list[tuple[int, str]] = []
    for line in lines:
        indent = (len(line) - len(line.lstrip())) * size // 3
        rows.append((indent, ""))
        for word in line.split():
            x, row = rows[-1]
            longer = f"{row} {word}".strip()
            if row and x + text_width(longer, size) > width:
                rows.append((indent + size, word))
            else:
                rows[-1] = x, longer
    told = np.full((round(1.4 * size * len(rows)), width, 3), WHITE, np.uint8)
    for number, (x, row) in enumerate(rows, start=1):
        foot = (x, round(1.4 * size * number - 0.4 * size))
        cv2.putText(told, row, foot, INK, FONT, size, 400)
    return told


def _stone(plan: BreakPlan) -> NDArray[np.uint8]:
    face = plan.measured.face
    codes = np.interp(np.clip(face.linear, 0, 1), srgb_curve(), np.arange(256))
    rgb = codes.round().astype(np.uint8)
    rgb[~face.mask] = WHITE
    scale = STONE_PX / max(rgb.shape[:2])
    size = tuple(max(1, round(side * scale)) for side in rgb.shape[1::-1])
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    rgb = np.ascontiguousarray(cv2.resize(rgb, size, interpolation=way))
    for k, number in enumerate(plan.net.lines):
        points = plan.measured.measurements.lines[number].points * scale
        struck = bool(plan.planned >> k & 1)
        draw_line(rgb, [points] if struck else dashes(points, 14), 9 if struck else 5, 4 if struck else 2)  # fmt: skip
    for k, number in enumerate(plan.net.lines):
        points = plan.measured.measurements.lines[number].points * scale
        _plate(rgb, f"line {plan.line_numbers[k]}", points[len(points) // 5], 22)
    for letter, part in zip("ABCDEFG", plan.parts, strict=False):
        own = np.isin(plan.net.cells, np.array(part.cells) + 1).astype(np.uint8)
        depth = cv2.distanceTransform(np.pad(own, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
        row, column = np.unravel_index(depth.argmax(), depth.shape)
        _plate(rgb, letter, (column * scale, row * scale), 40)
    return rgb


def _plate(rgb: NDArray, words: str, middle, size: int) -> None:
    """A plate round a point, within the picture."""
    width, height = plate_size([(words, size)])
    x = np.clip(middle[0] - width / 2, 0, max(0, rgb.shape[1] - width - 1))
    y = np.clip(middle[1] - height / 2, 0, max(0, rgb.shape[0] - height - 1))
    draw_plate(rgb, (x, y), [(words, size)])


def _distributions(plan: BreakPlan) -> NDArray[np.uint8]:
    """Both histograms over one scale of money, each with the range that holds eight of ten, and the break-even."""
    trials, result = plan.trials, plan.result
    both = np.concatenate([trials.whole, trials.broken])
    low = min(0.0, float(np.quantile(both, SHOWN[0])))
    high = max(float(np.quantile(both, SHOWN[1])), result.whole.high, result.broken.high, low + 0.01)  # fmt: skip
    wide, name_px, row_px = WIDTH - 2 * EDGE, 130, HIGH_PX + 54
    drawn = np.full((2 * row_px + 60, wide, 3), WHITE, np.uint8)

    def x_of(money: float) -> int:
        return round(name_px + (wide - name_px - 30) * (money - low) / (high - low))

    _break_even(drawn, x_of(result.break_even), 2 * row_px)
    for number, (name, money, spread, rising) in enumerate(
        (("whole", trials.whole, result.whole, True), ("broken", trials.broken, result.broken, False))
    ):  # fmt: skip
        foot = number * row_px + HIGH_PX
        _histogram(drawn, money, (low, high), x_of, foot, rising)
        cv2.putText(drawn, name, (0, foot - 10), INK, FONT, TEXT, 400)
        _range_bar(drawn, spread, x_of, foot + 16)
    for money in _ticks(low, high):
        x, y = x_of(money), 2 * row_px
        cv2.line(drawn, (x, y), (x, y + 8), INK, 2)
        words = f"{money:g}"
        cv2.putText(drawn, words, (x - text_width(words, SMALL) // 2, y + 30), INK, FONT, SMALL, 400)  # fmt: skip
    cv2.line(drawn, (x_of(low), 2 * row_px), (x_of(high), 2 * row_px), INK, 2)
    cv2.putText(drawn, plan.currency, (0, 2 * row_px + 30), INK, FONT, SMALL, 400)
    return drawn


def _histogram(drawn: NDArray, money: NDArray, span, x_of, foot: int, rising: bool) -> None:
    """Bars with a rim, hatched one way or the other."""
    counts, edges = np.histogram(money, BINS, span)
    bars = np.zeros(drawn.shape[:2], np.uint8)
    for count, left, right in zip(counts, edges, edges[1:], strict=False):
        # Not shown is none; of the fewest a px.
        height = round(HIGH_PX * 0.95 * count / counts.max()) if counts.max() else 0
        if count:
            cv2.rectangle(bars, (x_of(left), foot - max(height, 1)), (x_of(right), foot), 1, -1)
    y, x = np.indices(bars.shape, sparse=True)
    hatch = ((x + y) if rising else (x - y)) % 10 < (2 if rising else 5)
    drawn[(bars > 0) & hatch] = INK
    rims, _ = cv2.findContours(bars, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(drawn, rims, -1, INK, 2)


def _range_bar(drawn: NDArray, spread, x_of, y: int) -> None:
    left, right = x_of(spread.low), x_of(spread.high)
    cv2.line(drawn, (left, y), (right, y), INK, 3)
    for x in (left, right):
        cv2.line(drawn, (x, y - 8), (x, y + 8), INK, 3)
    cv2.circle(drawn, (x_of(spread.mean), y), 7, INK, -1, cv2.LINE_AA)
    words = f"8 of 10: {spread.low:.2f} to {spread.high:.2f}, mean {spread.mean:.2f}"
    x = int(np.clip(left, 0, drawn.shape[1] - text_width(words, SMALL)))
    _on_white(drawn, words, (x, y + 28))


def _on_white(drawn: NDArray, words: str, foot: tuple[int, int]) -> None:
    x, y = foot
    drawn[max(0, y - SMALL) : y + 6, max(0, x - 2) : x + text_width(words, SMALL) + 4] = WHITE
    cv2.putText(drawn, words, foot, INK, FONT, SMALL, 400)


def _break_even(drawn: NDArray, x: int, foot: int) -> None:
    for y in range(0, foot, 16):
        cv2.line(drawn, (x, y), (x, min(y + 8, foot)), INK, 2)
    words = "break-even"
    wide = text_width(words, SMALL)
    _on_white(drawn, words, (x + 8 if x + 8 + wide < drawn.shape[1] else x - 8 - wide, 18))


def _ticks(low: float, high: float) -> list[float]:
    """Round amounts, four to ten of them."""
    step = 10.0 ** np.floor(np.log10((high - low) / 4))
    step = next(step * k for k in (1, 2, 5, 10) if (high - low) / (step * k) <= 9)
    return [float(round(n * step, 10)) for n in range(int(np.ceil(low / step)), int(high // step) + 1)]  # fmt: skip
