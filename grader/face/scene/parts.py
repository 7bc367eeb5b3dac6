"""Part scores of many pictures at once: each is a small upright grid of sky, water and shore.

Two kinds of picture are looked for. A landscape is sky (or foam) above water above a shore; a
stream is one bright seam that crosses the host.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.measures import UNREADABLE

#: What a cell of a picture holds; ``UNREADABLE`` is what glare hides, ``OFF`` lies off the template.
OFF, SKY, WATER, SHORE = range(4)
#: A zone is there from this share of the picture on, and is not from half of it.
ZONE_SHARE = 0.10
#: What is left of the zones where there is no sky, or no water.
LACKS_ONE = 0.6
#: How well the cells must keep to their zones: from nothing to full.
ORDER_SHARES = (0.64, 0.9)
#: What a cell of white counts within the water: foam, surf.
FOAM = 0.5
#: A border counts in a column where this share of the cells close above and below keep to it.
BORDER_SHARES = (0.4, 0.8)
#: How far above and below a border is looked at, share of the height.
BORDER_REACH = 0.11
#: A seam of this part of a broad one's thickness is hair-thin, and one of that is broad.
THIN_TO_BROAD = (0.4, 1.0)
#: From this share of blue on a bright seam is no pale one.
BLUE_OF_SEAM = 0.2


@dataclass(frozen=True)
class Contrasts:
    """CIEDE2000 between the usual colours of sky, water and shore; 0 where one is not there."""

    sky_water: float
    water_shore: float
    sky_shore: float

    def strength(self) -> NDArray[np.float64]:
        """Scores of the three pairs: from 10 seen, from 20 strong, 40 is full."""
        pairs = (self.sky_water, self.water_shore, self.sky_shore)
        return np.interp(pairs, (0, 10, 20, 40), (0, 0.4, 0.8, 1))


@dataclass(frozen=True)
class Parts:
    """Part scores of n pictures, (n,) each by name, nan where a part can not be told.

    shore_share, shore_evenness : (n,) mean thickness of the host below, share of the picture's
    height, and how even it is, 0 to 1.
    """

    values: dict[str, NDArray]
    shore_share: NDArray
    shore_evenness: NDArray


def landscape_parts(pictures: NDArray[np.uint8], contrasts: Contrasts) -> Parts:
    """Return the part scores of each picture, (n, rows, columns), as a landscape.

    Horizon, height, zones, water, contrast, balance, continuity and shore; the rest hangs on more
    than the picture's cells.
    """
    rows = pictures.shape[1]
    zones = [pictures == zone for zone in (SKY, WATER, SHORE)]
    on = pictures != OFF
    area = max(int(on[0].sum()), 1)
    by_row = [_counts(zone, 2) for zone in zones]
    # Foam and surf belong to the water, though not as water itself.
    by_row[1] = by_row[1] + FOAM * by_row[0]
    upper, lower, kept = _fit(*by_row)
    order = np.interp(kept / area, ORDER_SHARES, (0, 1))
    row = np.arange(rows)
    in_place = [
        (by_row[0] * (row < upper[:, None])).sum(axis=1) / area,
        (_counts(zones[1], 2) * ((row >= upper[:, None]) & (row < lower[:, None]))).sum(axis=1)
        / area,
        (by_row[2] * (row >= lower[:, None])).sum(axis=1) / area,
    ]
    presence = [np.interp(share, (ZONE_SHARE / 2, ZONE_SHARE), (0, 1)) for share in in_place]
    count = sum(presence)
    # Of two zones sky and water are the picture; a shore with one of them is less.
    lacking = np.prod([LACKS_ONE + (1 - LACKS_ONE) * there for there in presence[:2]], axis=0)
    which, width = _horizon(pictures, on[0], upper, lower)
    place = np.where(which == 1, lower, upper) / rows
    visible = np.interp(width, (0.15, 0.4), (0, 1))
    shore_share, evenness = _shore(zones[2], on, lower)
    shore = np.interp(shore_share, (0.02, 0.10, 0.40, 0.70), (0, 1, 1, 0)) * (0.5 + 0.5 * evenness)
    values = {
        "horizon": np.interp(width, (0.15, 0.6, 0.9), (0, 0.85, 1)),
        "height": _height(place) * visible,
        "zones": np.interp(count, (1, 2, 3), (0, 0.5, 1)) * order * lacking,
        "water": np.interp(in_place[1], (0, 0.125), (0, 1)),
        "contrast": contrasts.strength()[which] * visible,
        "balance": np.where(width > 0.15, _balance(zones, on, area), np.nan),
        "continuity": np.interp(_runs(pictures, on), (0.2, 0.7), (0, 1)),
        "shore": shore * order,
    }
    return Parts(values, shore_share, evenness)


def stream_parts(
    pictures: NDArray[np.uint8], contrasts: Contrasts, broad_rows: NDArray | float
) -> Parts:
    """Return the same part scores of each picture as a bright seam that crosses the host.

    Horizon is how far it crosses, height where it lies, water its width, shore the host on its two
    sides. A hair-thin or a pale seam is none.

    broad_rows : rows of a picture that a broad seam takes, of all or of each, (n,).
    """
    rows = pictures.shape[1]
    on = pictures != OFF
    bright, host = (pictures == SKY) | (pictures == WATER), pictures == SHORE
    area = max(int(on[0].sum()), 1)
    # Looked at where the picture is high enough to have host above and below the seam.
    tall = _columns(on[0], 0.5)
    wet, dry = bright[:, :, tall], host[:, :, tall]
    filled = np.maximum(on[:1, :, tall].sum(axis=1), 1)
    thick = _counts(wet, 1)
    # The first row of bright in each column, and the one after the last.
    row = np.arange(rows, dtype=np.uint8)[:, None]
    top = np.where(wet, row, np.uint8(rows)).min(axis=1)
    end = np.where(wet, row + np.uint8(1), np.uint8(0)).max(axis=1)
    above = _counts(dry & (row < top[:, None]), 1)
    below = _counts(dry & (row >= end[:, None]), 1)
    first = top.astype(np.int32, order="C")
    last = end.astype(np.int32, order="C") - 1
    # One run of bright, host above it and below it, and it goes on from the column before.
    whole = thick >= 0.8 * (last - first + 1)
    walled = np.minimum(above, below) >= 0.06 * rows
    clean = above + below >= 0.8 * (filled - thick)
    ok = (thick > 0) & whole & walled & clean
    goes_on = np.ones_like(ok)
    goes_on[:, 1:] = (first[:, 1:] <= last[:, :-1]) & (last[:, 1:] >= first[:, :-1])
    crossing = _longest(ok, goes_on) / ok.shape[1]
    number = np.maximum(ok.sum(axis=1), 1)
    width = (thick * ok).sum(axis=1) / number / rows
    middle = (0.5 * (first + last + 1) * ok).sum(axis=1) / number / rows
    walls = np.minimum((above * ok).sum(axis=1), (below * ok).sum(axis=1)) / number / rows
    visible = np.interp(crossing, (0.4, 0.9), (0, 1))
    narrow = np.interp(width, (0.02, 0.06, 0.35, 0.5), (0, 1, 1, 0))
    broad = np.interp(width * rows / broad_rows, THIN_TO_BROAD, (0, 1))
    even = 1 - np.interp(_spread(thick, ok) / np.maximum(width * rows, 1), (0.2, 1.0), (0, 1))
    bright_area = _counts(bright, 1).sum(axis=1)
    water_share = _counts(pictures == WATER, 1).sum(axis=1) / np.maximum(bright_area, 1)
    blue = water_share > 0.5
    coloured = np.interp(water_share, (0, BLUE_OF_SEAM), (0.25, 1))
    strength = contrasts.strength()
    values = {
        "horizon": visible,
        "height": np.interp(np.abs(middle - 0.5), (0.25, 0.4), (1, 0)) * visible,
        "zones": np.interp(walls, (0.05, 0.15), (0, 1)) * visible * narrow * broad * coloured,
        "water": narrow * visible,
        "contrast": np.where(blue, strength[1], strength[2]) * visible,
        "balance": np.interp(_spread(middle_of(first, last), ok) / rows, (0.01, 0.2), (1, 0)),
        "continuity": visible * (0.5 + 0.5 * even),
        "shore": np.interp(
            np.minimum(walls, _counts(host, 1).sum(axis=1) / area), (0.05, 0.2), (0, 1)
        )
        * visible,
    }
    return Parts(values, walls, even)


def middle_of(first: NDArray, last: NDArray) -> NDArray[np.float64]:
    """Return the middle rows of runs from ``first`` to ``last``."""
    return 0.5 * (first + last + 1)


def unread_share(pictures: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return the share of each picture that glare hides."""
    on = np.count_nonzero(pictures[0] != OFF)
    return _counts(pictures == UNREADABLE, 1).sum(axis=1) / max(on, 1)


def _fit(sky: NDArray, water: NDArray, shore: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """Return the rows where water and shore begin so that most cells keep to the order, and how many do, (n,) each.

    sky, water, shore : counts by row, (n, rows) each.
    """
    n = len(sky)
    up, mid, low = (
        np.concatenate([np.zeros((n, 1)), counts.cumsum(axis=1, dtype=np.float64)], axis=1)
        for counts in (sky, water, shore)
    )
    gain = up - mid
    best = np.maximum.accumulate(gain, axis=1)
    total = best + mid - low
    lower = total.argmax(axis=1)
    at = np.arange(n)
    upper = (gain == best[at, lower][:, None]).argmax(axis=1)
    return upper, lower, total[at, lower] + low[:, -1]


def _horizon(
    pictures: NDArray[np.uint8], on: NDArray[np.bool_], upper: NDArray, lower: NDArray
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return which border is the widest, (n,), and how wide it is, share of the width.

    0 is that of sky and water, 1 of water and shore, 2, where there is no water, of sky and shore.

    on : (rows, cols) bool.   upper, lower : (n,) rows where water and shore begin.
    """
    waterless = lower - upper < 1
    above, below = _beside(pictures, upper)
    under = np.where(waterless, SHORE, WATER).astype(np.uint8)
    first = _border(above == SKY, below == under, on, upper)
    above, below = _beside(pictures, lower)
    second = _border((above == SKY) | (above == WATER), below == SHORE, on, lower)
    second = np.where(waterless, 0, second)
    which = np.where(waterless, np.where(first > 0, 2, 0), second > first)
    return which, np.maximum(first, second)


def _beside(pictures: NDArray[np.uint8], row: NDArray) -> tuple[NDArray, NDArray]:
    """The cells close above and close below a row, (n,), of each picture, (reach, cols, n) each; off it ``OFF``."""
    n, rows, cols = pictures.shape
    reach = max(round(BORDER_REACH * rows), 2)
    # Rows off the picture are those of a rim.
    framed = np.full((rows + 2 * reach, cols, n), OFF, np.uint8)
    framed[reach:-reach] = pictures.transpose(1, 2, 0)
    at = np.arange(cols)[:, None] * n + np.arange(n)
    rows_at = (row + np.arange(2 * reach)[:, None]) * (cols * n)
    cells = np.take(framed.ravel(), rows_at[:, None] + at)
    return cells[:reach], cells[reach:]


def _border(
    above: NDArray[np.bool_], below: NDArray[np.bool_], on: NDArray[np.bool_], row: NDArray
) -> NDArray[np.float64]:
    """Return how much of the picture's width a level border takes without a break, (n,), 0 to 1.

    above, below : (reach, cols, n) which cells beside it keep to it.   on : (rows, cols) bool.
    row : (n,) where the border lies.
    """
    reach, rows, cols = len(above), *on.shape
    keeps = np.minimum(
        *(side.view(np.uint8).sum(axis=0, dtype=np.uint8) for side in (above, below))
    )
    kept = np.interp(np.arange(reach + 1) / reach, BORDER_SHARES, (0, 1))[keeps]
    here = on[row.clip(0, rows - 1)] & on[(row - 1).clip(0, rows - 1)]
    kept = kept * here.T
    width = np.maximum(here.sum(axis=1), 0.35 * cols)
    run = _soft_longest(kept, max(round(0.06 * cols), 1))
    # A run counts in full; what keeps to the border elsewhere counts half.
    whole = np.ascontiguousarray(kept.T).sum(axis=1)
    return np.minimum((0.5 * run + 0.5 * whole) / width, 1)


def _soft_longest(kept: NDArray, gap: int) -> NDArray[np.float64]:
    """Return the largest sum, (n,), of ``kept`` (cols, n), 0 to 1, over a run without a gap longer than ``gap``."""
    misses = kept < 0.5
    cols = len(kept)
    goes_on = np.ones(kept.shape)
    if cols > gap:
        windows = [misses[k : cols - gap + k] for k in range(gap + 1)]
        goes_on[gap:] = ~np.logical_and.reduce(windows)
    runs = np.empty(kept.shape)
    run = np.zeros(kept.shape[1])
    for column, joined, out in zip(kept, goes_on, runs, strict=True):
        run = np.multiply(np.add(run, column, out=out), joined, out=out)
    return runs.max(axis=0)


def _longest(ok: NDArray[np.bool_], goes_on: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the longest run of columns, (n,), that are ``ok`` and go on from the one before; (n, cols) each."""
    runs = np.empty(ok.shape[::-1], np.int64)
    run = np.zeros(len(ok), np.int64)
    for good, joined, out in zip(ok.T, goes_on.T, runs, strict=True):
        run = np.multiply(np.add(run * joined, 1, out=out), good, out=out)
    return runs.max(axis=0)


def _runs(pictures: NDArray, on: NDArray) -> NDArray[np.float64]:
    """Return the mean unbroken run of one zone along the rows, as a share of their width, (n,)."""
    breaks = (pictures[:, :, 1:] != pictures[:, :, :-1]) & on[:, :, 1:] & on[:, :, :-1]
    width = on[0].sum(axis=1)
    return (width / (1 + _counts(breaks, 2))).sum(axis=1) / max(width.sum(), 1)


def _columns(on: NDArray[np.bool_], share: float) -> slice:
    """The columns in which a picture, (rows, cols), takes at least that share of its height: those in its middle."""
    high = np.flatnonzero(on.sum(axis=0) >= share * len(on))
    return slice(int(high[0]), int(high[-1]) + 1)


def _counts(mask: NDArray[np.bool_], axis: int) -> NDArray[np.int32]:
    """Counts along one axis of at most 255, that axis gone; small numbers add up several times faster."""
    return mask.view(np.uint8).sum(axis=axis, dtype=np.uint8).astype(np.int32, order="C")


def _height(place: NDArray) -> NDArray[np.float64]:
    """Score of a border's place, (n,), 0 at the top to 1: best near the thirds, little above 15 or below 85 %."""
    from_middle = np.abs(place - 0.5)
    full = np.interp(from_middle, (0.25, 0.35, 0.45), (1, 0.4, 0.1))
    return full * np.interp(np.abs(from_middle - 1 / 6), (0.06, 0.12), (1, 0.9))


def _balance(zones: list[NDArray], on: NDArray, area: NDArray) -> NDArray[np.float64]:
    """Full where no zone lies to one side: the zones' centres within 15 % of the width from the
    middle.
    """
    cols = on.shape[2]
    x = np.arange(cols) - (cols - 1) / 2
    # The zone's share times its centre's distance is the sum of x over it, so empty zones say 0.
    offset = sum(np.abs(_counts(zone, 1) @ x) for zone in zones) / area
    return np.interp(offset / cols, (0.12, 0.3), (1, 0))


def _shore(host: NDArray, on: NDArray, lower: NDArray) -> tuple[NDArray, NDArray]:
    """Return the mean thickness of the host below, share of the height, and its evenness, 0 to 1; (n,) each."""
    rows = host.shape[1]
    middle = _columns(on[0], 0.6)
    start = np.maximum(lower - max(rows // 8, 1), 0)
    # Laid in memory as the pictures are.
    below = (np.arange(rows)[:, None] >= start).T[..., None]
    thick = np.asfortranarray(_counts(host[:, :, middle] & below, 1))
    evenness = 1 - np.interp(thick.std(axis=1) / rows, (0.04, 0.25), (0, 1))
    return thick.mean(axis=1) / rows, np.where(thick.mean(axis=1) > 0, evenness, 0.0)


def _spread(values: NDArray, ok: NDArray) -> NDArray[np.float64]:
    """Standard deviation of ``values`` (n, cols) where ``ok``; 0 where nothing is."""
    number = np.maximum(ok.sum(axis=1), 1)
    mean = (values * ok).sum(axis=1) / number
    return np.sqrt((((values - mean[:, None]) ** 2) * ok).sum(axis=1) / number)
