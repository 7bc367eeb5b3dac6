"""The light a photo was taken in: its white, how evenly it falls, and a hard shadow across a face.

All of it is read from the photo itself: a surface that is known to be neutral or of one colour (a tray
that the seller declares, the card's grey, unprinted paper), else an estimate of the light's colour.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.measures import Remark
from grader.photo.colour import WHITE_XYZ, XYZ_FROM_LINEAR_SRGB, lab_from_linear
from grader.photo.illuminant import Illuminant

UNCALIBRATED, ESTIMATED = "uncalibrated", "estimated"

#: XYZ to the responses in which a light's colour is divided out: cones, sharpened (Bradford; Lam 1985, as in ICC
#: profiles). Divided out of linear sRGB itself, a warm lamp leaves twice as much on colours far from grey (notes, 025).
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
RESPONSES_FROM_LINEAR = BRADFORD @ XYZ_FROM_LINEAR_SRGB.astype(np.float64)

#: Linear light from which a channel is burnt out, and share of burnt px from which a surface is not used.
BURNT_LIGHT, BURNT_SHARE = 0.95, 0.5
#: Linear light under which a surface is too dark to give a white: noise and the first codes.
DARK_LIGHT = 0.01

#: Cells, along the longer side, whose medians stand for a uniform surface.
_FIELD_CELLS = 24
_LEAST_CELLS = 6
# Settings of the light field. Noise of a cell's log light (paper grain, print); and how far each term of the
# field goes before it is seen: a lamp that falls off to half across the frame has a slope of ln 2.
_CELL_SD = 0.02
# Paper beside a stone: its channels differ from the sure paper's by one factor but for this part of it, that factor is
# under 2 either way, and within a cell light varies by less than this part.
_SAME_TINT, _SAME_LIGHT, _PLAIN_SPREAD = 0.06, np.log(2), 0.15
SLOPE_SD, BEND_SD = 0.4, 0.2
FIELD_PRIOR_SD = np.array([SLOPE_SD, SLOPE_SD, BEND_SD, BEND_SD, BEND_SD])
_ROUNDS = 6

# Settings of the hard shadow, found on 260 renders with and without a drawn shadow; held-out figures come from
# tests/benchmarks/light_figures.py. Px are those of a face of _SHADOW_PX.
_SHADOW_PX, _SHADOW_REACH_PX, _SHADOW_TURN_DEG = 160, 2, 4
#: All channels fall by at least this factor, and two of them differ by at most this part of the fall's logarithm.
_SHADOW_FACTOR, _SHADOW_TINT = 1.6, 0.08
#: Least length of the edge / root of the face's area; least agreement (correlation) of the two sides along it.
_SHADOW_LENGTH, _SHADOW_AGREE = 0.6, 0.4
#: How far the mean fall must stand above its scatter, for an edge as long as the root of the face's area.
_SHADOW_SCORE = 1.4
_SHADOW_LEAST_PX = 400
# Px beyond the stone that blurring and comparing may reach.
_SHADOW_MARGIN_PX = 5


@dataclass(frozen=True)
class Surface:
    """What is known of a surface's colour in even daylight.

    Attributes
    ----------
    lab : L*, a*, b* (D65); L* is ``None`` where only its neutrality is known.
    sd : standard deviations of the same three, for what is not known.
    """

    lab: tuple[float | None, float, float]
    sd: tuple[float, float, float]


#: Standard deviations of L*, a*, b* of stone colours, measured on simulated phone photos under six
#: lights (tests/benchmarks/light_figures.py): where nothing neutral was seen, and what one white alone
#: leaves, since lamps and cameras change some colours more than others.
UNCALIBRATED_SD = (17.0, 5.0, 7.0)
ONE_WHITE_SD = (2.0, 5.0, 4.0)

#: What a measurement of paper leaves open: another sheet, another spot; our setting, no source.
MEASURED_SD = (0.5, 0.3, 0.5)

#: By kind. Unprinted office paper: L* 93 to 96, b* -8 to 0 as its brighteners get more or less
#: ultraviolet (trade range, from memory): midpoints, and the rest as a uniform spread. A declared
#: tray is neutral as far as an eye can tell.
SURFACES = {
    "paper": Surface((94.5, 0.5, -4.0), (0.9, 1.0, 2.3)),
    "tray": Surface((None, 0.0, 0.0), (UNCALIBRATED_SD[0], 1.5, 2.0)),
}


@dataclass(frozen=True)
class White:
    """The white of a photo.

    Attributes
    ----------
    gains : (3,) factors on sharpened responses that make the surface what it is in even daylight.
    source : a key of ``SURFACES``, "card", "estimated" or "uncalibrated".
    level_known : whether the gains set the exposure too, or the light's colour alone.
    sd : standard deviations of L*, a*, b* that remain, for the intervals of whatever is read.
    remarks : what a person should know of it.
    """

    gains: NDArray[np.float64]
    source: str
    level_known: bool
    sd: tuple[float, float, float]
    remarks: tuple[Remark, ...] = ()

    def apply(self, linear: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return linear sRGB of shape (..., 3) under this white."""
        if (self.gains == 1).all():
            return linear
        matrix = np.linalg.solve(RESPONSES_FROM_LINEAR, self.gains[:, None] * RESPONSES_FROM_LINEAR)
        return linear @ matrix.T.astype(linear.dtype)

    @property
    def light(self) -> NDArray[np.float64]:
        """The colour, (3,) linear sRGB, that these gains turn to grey."""
        return np.linalg.solve(
            RESPONSES_FROM_LINEAR, RESPONSES_FROM_LINEAR @ np.ones(3) / self.gains
        )

    @property
    def known(self) -> bool:
        """Whether a surface of known colour gave it, rather than a guess or an estimate."""
        return self.source not in (UNCALIBRATED, ESTIMATED)


def guessed_white(*remarks: Remark) -> White:
    """Return the white of a photo in which nothing neutral was seen: no change, wide uncertainty."""
    return White(np.ones(3), UNCALIBRATED, False, UNCALIBRATED_SD, remarks)


def white_from(
    linear: NDArray[np.float32],
    mask: NDArray[np.bool_],
    kind: str,
    measured: Surface | None = None,
    light: NDArray[np.float32] | None = None,
) -> White:
    """Return the white that a surface of known colour gives.

    Parameters
    ----------
    linear : ndarray of shape (h, w, 3), linear sRGB as photographed.
    mask : ndarray of shape (h, w), the surface.
    kind : a key of ``SURFACES``.
    measured : the surface's colour where the seller had it measured.
    light : ndarray of shape (h, w, 3), the light field there; taken as even by default.

    Returns
    -------
    White
        ``uncalibrated`` with a remark where the surface is burnt out, too dark or not seen.
    """
    surface = measured or SURFACES[kind]
    if not mask.any():
        return guessed_white(Remark("white_unseen", f"no {kind} seen, so the white is a guess"))
    colours = linear[mask].astype(np.float64)
    sound = (colours < BURNT_LIGHT).all(axis=1)
    if sound.mean() < 1 - BURNT_SHARE:
        return guessed_white(
            Remark("white_burnt", f"the {kind} is burnt out, so it gives no white; expose darker")
        )
    if light is not None:
        colours = colours / light[mask]
    colour = np.median(colours[sound], axis=0)
    if colour.min() < DARK_LIGHT:
        return guessed_white(
            Remark("white_dark", f"the {kind} is too dark to give a white; use more light")
        )
    lightness, a, b = surface.lab
    goal = linear_from_lab(np.array([50.0 if lightness is None else lightness, a, b]))
    if lightness is None:
        # Its own lightness stays: only the colour of the light is taken out.
        goal = goal * (_luminance(colour) / _luminance(goal))
    sd = tuple(float(v) for v in np.hypot(surface.sd, ONE_WHITE_SD))
    return White(_gains(colour, goal), kind, lightness is not None, sd)


def estimated_white(light: Illuminant, remarks: tuple[Remark, ...] = ()) -> White:
    """Return the white of a photo whose light is estimated; its exposure stays as it is."""
    colour = light.colour / _luminance(light.colour)
    # What the estimate may be off by, on a grey of L* 50, where most stone colours lie.
    grey = linear_from_lab(np.array([50.0, 0.0, 0.0]))
    moved = grey * [[np.exp(light.sd[0]), 1, 1], [1, 1, np.exp(light.sd[1])]]
    off = lab_from_linear(moved.astype(np.float32)) - np.float32([50, 0, 0])
    sd = np.hypot(np.sqrt(np.sum(np.square(off), axis=0)), ONE_WHITE_SD)
    sd = (UNCALIBRATED_SD[0], float(sd[1]), float(sd[2]))
    return White(_gains(colour, np.ones(3)), ESTIMATED, False, sd, remarks)


def _gains(colour: NDArray, goal: NDArray) -> NDArray[np.float64]:
    """The gains, (3,), that turn one linear colour into another."""
    return (RESPONSES_FROM_LINEAR @ goal) / (RESPONSES_FROM_LINEAR @ colour)


def linear_from_lab(lab: NDArray) -> NDArray[np.float64]:
    """Return linear sRGB of CIELAB (..., 3) that is stated against the D65 white; CIE 15, exact."""
    return xyz_from_lab(lab, WHITE_XYZ) @ np.linalg.inv(XYZ_FROM_LINEAR_SRGB.astype(np.float64)).T


def xyz_from_lab(lab: NDArray, white: NDArray) -> NDArray[np.float64]:
    """Return XYZ of CIELAB (..., 3) that is stated against ``white``; CIE 15."""
    lightness, a, b = np.moveaxis(np.asarray(lab, np.float64), -1, 0)
    fy = (lightness + 16) / 116
    f = np.stack([fy + a / 500, fy, fy - b / 200], axis=-1)
    return np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * white


def _luminance(linear: NDArray) -> NDArray[np.float64]:
    return linear @ XYZ_FROM_LINEAR_SRGB[1].astype(np.float64)


@dataclass(frozen=True)
class LightField:
    """How the light varies over a photo: a quadratic in its logarithm, per channel.

    Attributes
    ----------
    terms : ndarray of shape (3, 5), per channel the factors of x, y, x^2, x y, y^2, where x and y
        run from the photo's middle in units of its longer side.
    spread : ndarray of shape (5, 5), covariance of a channel's terms.
    width_px, height_px : of the photo.
    """

    terms: NDArray[np.float64]
    spread: NDArray[np.float64]
    width_px: int
    height_px: int

    def at(self, x_px: NDArray, y_px: NDArray) -> NDArray[np.float32]:
        """Return the light, (..., 3), at photo px of shapes that broadcast: 1 in the photo's middle."""
        terms = field_terms(x_px, y_px, self.width_px, self.height_px)
        return np.exp((terms @ self.terms.T).astype(np.float32))


def field_terms(x_px: NDArray, y_px: NDArray, width_px: int, height_px: int) -> NDArray[np.float64]:
    """Return x, y, x^2, x y, y^2 of photo px, (..., 5), from the photo's middle in longer sides."""
    side = max(width_px, height_px)
    x = (np.asarray(x_px, np.float64) - width_px / 2) / side
    y = (np.asarray(y_px, np.float64) - height_px / 2) / side
    x, y = np.broadcast_arrays(x, y)
    return np.stack([x, y, x * x, x * y, y * y], axis=-1)


def even_light(width_px: int, height_px: int) -> LightField:
    """Return the field of a photo whose light is taken as even: 1 everywhere, as is said of it."""
    return LightField(np.zeros((3, 5)), np.zeros((5, 5)), width_px, height_px)


def field_from(
    linear: NDArray[np.float32],
    mask: NDArray[np.bool_],
    width_px: int,
    height_px: int,
    *,
    like: NDArray[np.bool_] | None = None,
) -> LightField | None:
    """Return the light field that a surface of one colour shows; ``None`` if too little of it is seen.

    Least squares on the logarithm of the light, with a prior on each term: where the surface is a
    strip, what it cannot tell stays near even and uncertain. Print, dirt and the rim of a shadow lose
    their weight (Huber's function).

    Parameters
    ----------
    linear : ndarray of shape (h, w, 3), linear sRGB of the whole photo, at any size.
    mask : ndarray of shape (h, w), the surface.
    width_px, height_px : of the photo at full size.
    like : ndarray of shape (h, w), the part that is the surface for sure, where things may lie on the rest of
        ``mask``: only what has its colour and is as plain counts.
    """
    points, light, spread = _cells(linear, mask)
    if like is not None:
        same = _alike(light, spread, np.median(linear[like], axis=0))
        points, light = points[same], light[same]
    if len(points) < _LEAST_CELLS:
        return None
    x, y = (points * (width_px / linear.shape[1], height_px / linear.shape[0])).T
    basis = np.column_stack([np.ones(len(x)), field_terms(x, y, width_px, height_px)])
    prior = np.diag([0.0, *(FIELD_PRIOR_SD**-2)])
    terms, spreads = [], []
    for log_light in np.log(light).T:
        weight = np.full(len(basis), _CELL_SD**-2.0)
        for _ in range(_ROUNDS):
            cov = np.linalg.inv(basis.T @ (basis * weight[:, None]) + prior)
            fit = cov @ basis.T @ (weight * log_light)
            off = np.abs(log_light - basis @ fit)
            scale = max(_CELL_SD, 1.4826 * float(np.median(off)))
            weight = np.minimum(1.0, 1.5 * scale / np.maximum(off, 1e-12)) / scale**2
        terms.append(fit[1:])
        spreads.append(cov[1:, 1:])
    return LightField(np.array(terms), np.max(spreads, axis=0), width_px, height_px)


def _cells(linear: NDArray, mask: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """Cells that the surface fills by a third: centres (n, 2), median light (n, 3), spread of its logarithm (n,)."""
    h, w = mask.shape
    step = max(1, -(-max(h, w) // _FIELD_CELLS))
    points, light, spread = [], [], []
    for y in range(0, h, step):
        for x in range(0, w, step):
            here = mask[y : y + step, x : x + step]
            if here.sum() * 3 < step * step:
                continue
            colours = linear[y : y + step, x : x + step][here]
            low, middle, high = np.quantile(colours, (0.1, 0.5, 0.9), axis=0)
            if middle.min() < DARK_LIGHT or middle.max() >= BURNT_LIGHT:
                continue
            rows, columns = np.nonzero(here)
            points.append((x + columns.mean() + 0.5, y + rows.mean() + 0.5))
            light.append(middle)
            spread.append(np.log(high[1] / max(low[1], DARK_LIGHT)))
    return np.array(points).reshape(-1, 2), np.array(light).reshape(-1, 3), np.array(spread)


def _alike(light: NDArray, spread: NDArray, surface: NDArray) -> NDArray[np.bool_]:
    """Which cells, (n,), show a surface of that colour, plain, and no darker than a lamp's fall-off makes it."""
    ratio = np.log(light / surface)
    tint = np.abs(ratio - ratio.mean(axis=1, keepdims=True)).max(axis=1, initial=0)
    return (
        (tint < _SAME_TINT) & (np.abs(ratio.mean(axis=1)) < _SAME_LIGHT) & (spread < _PLAIN_SPREAD)
    )


def hard_shadow(linear: NDArray[np.float32], mask: NDArray[np.bool_]) -> Remark | None:
    """Return a remark if the edge of a hard shadow runs across the face.

    Such an edge is long and straight, all three channels fall there by one factor of 1.6 or more,
    and the stone's own pattern goes on across it: where the lit side is brighter, so is the dark
    side. Between two materials the colour or the pattern differs. An edge over one plain colour
    cannot be told from a contact and is not reported.

    Parameters
    ----------
    linear : ndarray of shape (h, w, 3), linear sRGB of a face.
    mask : ndarray of shape (h, w), the stone.
    """
    factor = min(1.0, _SHADOW_PX / max(mask.shape))
    size = (max(1, round(mask.shape[1] * factor)), max(1, round(mask.shape[0] * factor)))
    small = cv2.resize(np.asarray(linear, np.float32), size, interpolation=cv2.INTER_AREA)
    inside = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    if (inside > 0.9).sum() < _SHADOW_LEAST_PX:
        return None
    # Mean of the logarithms, and two differences that a change of the light's strength leaves.
    parts = np.float32([[1 / 3, 1 / 3, 1 / 3], [1, -1, 0], [0, 1, -1]])
    log = cv2.transform(np.log(np.maximum(small, 0.003)), parts)
    rim = cv2.convexHull(cv2.findNonZero((inside > 0.9).astype(np.uint8)))[:, 0]
    turns = list(range(0, 180, _SHADOW_TURN_DEG))
    edges = [_best_edge(log, inside, rim, turn) for turn in turns]
    best = max(range(len(turns)), key=lambda place: edges[place][0])
    # A contact seen askew drifts across the pattern on both its sides: they must be told apart on the line itself.
    near = [_best_edge(log, inside, rim, turns[best] + askew) for askew in (-2, -1, 1, 2)]
    score, lit, dark = max([edges[best], *near], key=lambda found: found[0])
    if score < _SHADOW_SCORE:
        return None
    fall, *tints = np.median(lit - dark, axis=0)
    plain = min(lit[:, 0].std(), dark[:, 0].std()) < 1e-6
    if (
        abs(fall) < np.log(_SHADOW_FACTOR)
        or np.abs(tints).max() > _SHADOW_TINT * abs(fall)
        or plain
        or np.corrcoef(lit[:, 0], dark[:, 0])[0, 1] < _SHADOW_AGREE
    ):
        return None
    return Remark(
        "hard_shadow",
        "a hard shadow seems to lie across the face; turn the stone or shade the lamp with thin paper",
    )


def _best_edge(
    log: NDArray[np.float32], inside: NDArray[np.float32], rim: NDArray, turn_deg: float
) -> tuple[float, NDArray[np.float32], NDArray[np.float32]]:
    """Return the straight edge of that turn which stands out most: its score, and its two sides, (n, 3).

    The picture is turned, so that edges run down a column, and cut to the stone, whose hull is ``rim``.
    """
    size = (log.shape[1], log.shape[0])
    turn = cv2.getRotationMatrix2D((size[0] / 2, size[1] / 2), float(turn_deg), 1.0)
    ends = rim @ turn[:, :2].T + turn[:, 2]
    start = np.floor(ends.min(axis=0)) - _SHADOW_MARGIN_PX
    turn[:, 2] -= start
    cut = np.ceil(ends.max(axis=0) - start).astype(int) + 1 + _SHADOW_MARGIN_PX
    turned = cv2.warpAffine(log, turn, cut, borderMode=cv2.BORDER_REPLICATE)
    turned = cv2.blur(turned, (1, 5))
    stone = cv2.warpAffine(inside, turn, cut) > 0.9
    apart = 2 * _SHADOW_REACH_PX
    fall, both = turned[:, apart:] - turned[:, :-apart], stone[:, apart:] & stone[:, :-apart]
    rows = np.count_nonzero(both, axis=0)
    # Held, so that a speck of glare or a hole weighs little.
    held = cv2.copyTo(np.minimum(np.maximum(fall, -1.5), 1.5), both.view(np.uint8))
    mean = cv2.reduce(held, 0, cv2.REDUCE_SUM)[0] / np.maximum(rows, 1)[:, None]
    level = np.ascontiguousarray(held[..., 0])
    squares = cv2.reduce(level * level, 0, cv2.REDUCE_SUM)[0]
    scatter = squares / np.maximum(rows, 1) - mean[:, 0] ** 2
    length = rows / np.sqrt((inside > 0.9).sum())
    tint = np.abs(mean[:, 1:]).max(axis=1)
    score = np.abs(mean[:, 0]) / (np.sqrt(np.maximum(scatter, 0)) + 2 * tint + 0.06)
    score = np.where(length < _SHADOW_LENGTH, 0, score * np.sqrt(np.minimum(length, 1)))
    column = int(score.argmax())
    along = both[:, column]
    return float(score[column]), turned[along, column + apart], turned[along, column]
