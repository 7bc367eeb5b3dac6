"""Photographs worked out from spectra: reflectance x light x camera, then what a phone makes of it.

The outside check of ``grader.photo.chart`` and ``grader.photo.light``. Sensitivities, illuminants,
chart reflectances and the standard observer are those of the package colour-science, a test
dependency; nothing here comes from the grader but the decoding of Display P3.
"""

import warnings
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

with warnings.catch_warnings():
    # It says at import that drawing needs another package; nothing is drawn here.
    warnings.simplefilter("ignore")
    import colour

WAVELENGTHS_NM = np.arange(400, 701, 10)
#: The issue's lights, by the package's names: daylight, lamps, a fluorescent and a white LED.
LIGHTS = ("A", "D50", "D65", "D75", "FL2", "LED-B3")
#: Measured reflectances that stand for the chart in the photo.
CHART = "ColorChecker N Ohta"
#: 30 reflectances of skin, fruit, plants and sky: none is on the chart, greys aside.
OTHER_CHART = "PMC"
#: Shifts (nm, of the red, green and blue curve) that make five more cameras of the package's two.
SHIFTS_NM = ((0, (8, 8, 8)), (0, (-8, -8, -8)), (0, (-10, 2, 6)), (1, (8, 4, -4)), (1, (-6, 4, 8)))
#: Height of a photo / its width.
ASPECT = 0.75
#: IEC 61966-2-1:1999, XYZ to linear sRGB is the inverse of this.
XYZ_FROM_SRGB = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
#: SMPTE EG 432-1 primaries: linear Display P3 to linear sRGB (computed from them, to 2e-4).
SRGB_FROM_P3 = np.array([[1.2249, -0.2249, 0], [-0.0421, 1.0421, 0], [-0.0196, -0.0786, 1.0983]])


def _table(spectra, kind: str = "sds") -> NDArray[np.float64]:
    """Return spectra on ``WAVELENGTHS_NM``, (n, 31) for a dict, (31, n) for a multi-spectrum."""
    shape = colour.SpectralShape(400, 700, 10)
    if kind == "sds":
        return np.array([sd.copy().align(shape).values for sd in spectra])
    return spectra.copy().align(shape).values


@cache
def chart_reflectances(name: str = CHART) -> NDArray[np.float64]:
    """Return the 24 patches' reflectance, (24, 31), in the chart's row order."""
    return _table(colour.SDS_COLOURCHECKERS[name].values())


@cache
def other_reflectances() -> NDArray[np.float64]:
    """Return 30 measured reflectances that are not on the chart, (30, 31)."""
    return _table(colour.SDS_COLOURCHECKERS[OTHER_CHART].values())


def stone_reflectances(rng: np.random.Generator, n: int) -> NDArray[np.float64]:
    """Return smooth reflectances of stone-like colours, (n, 31): a level and broad humps.

    A third is blue (a hump at 420 to 490 nm), a third near white, a third brown or grey (a slow
    rise towards the red).
    """
    nm = WAVELENGTHS_NM[None]
    kind = rng.integers(3, size=(n, 1))
    low, high = np.array([0.02, 0.35, 0.03])[kind], np.array([0.2, 0.75, 0.25])[kind]
    level = rng.uniform(low, high)
    out = np.repeat(level, len(WAVELENGTHS_NM), 1)
    for _ in range(3):
        centre, width = rng.uniform(400, 700, (n, 1)), rng.uniform(40, 120, (n, 1))
        out = out + rng.uniform(-0.25, 0.35, (n, 1)) * level * _hump(nm, centre, width)
    blue = _hump(nm, rng.uniform(420, 490, (n, 1)), rng.uniform(25, 60, (n, 1)))
    rise = 1 / (1 + np.exp(-(nm - rng.uniform(540, 620, (n, 1))) / rng.uniform(15, 50, (n, 1))))
    out = out + (kind == 0) * rng.uniform(0.05, 0.45, (n, 1)) * blue
    out = out + (kind == 2) * rng.uniform(0.0, 0.35, (n, 1)) * rise
    return np.clip(out, 0.01, 0.95)


def paper_reflectance(b_star: float) -> NDArray[np.float64]:
    """Return office paper, (1, 31), whose brighteners (a hump at 440 nm) bring it to about that b*."""
    hump = _hump(WAVELENGTHS_NM[None], 440, 18)
    sizes = np.linspace(-0.05, 0.5, 56)[:, None]
    blue = lab_of(true_linear(0.86 + sizes * hump))[:, 2]
    return 0.86 + np.interp(-b_star, -blue, sizes[:, 0]) * hump


def _hump(nm: NDArray, centre: NDArray | float, width: NDArray | float) -> NDArray[np.float64]:
    return np.exp(-0.5 * ((nm - centre) / width) ** 2)


@cache
def light_power(name: str) -> NDArray[np.float64]:
    """Return an illuminant's power, (31,), scaled to a mean of 1."""
    power = _table([colour.SDS_ILLUMINANTS[name]])[0]
    return power / power.mean()


@cache
def _observer() -> NDArray[np.float64]:
    return _table(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"], "msds")


def true_xyz(reflectances: NDArray, light: str = "D65") -> NDArray[np.float64]:
    """Return XYZ (Y of the perfect white 1) of reflectances (n, 31) under a light; CIE 15."""
    weights = light_power(light)[:, None] * _observer()
    return reflectances @ weights / weights[:, 1].sum()


def true_linear(reflectances: NDArray) -> NDArray[np.float64]:
    """Return linear sRGB (D65) that reflectances (n, 31) have in even daylight; white is exactly 1."""
    xyz = true_xyz(reflectances)
    white = true_xyz(np.ones((1, len(WAVELENGTHS_NM))))[0]
    return (xyz * XYZ_FROM_SRGB.sum(1) / white) @ np.linalg.inv(XYZ_FROM_SRGB).T


@cache
def cameras() -> tuple[NDArray[np.float64], ...]:
    """Return sensitivities of seven cameras, (31, 3) each: the package's two, five shifted ones."""
    keys = [k for k in colour.MSDS_CAMERA_SENSITIVITIES if k.endswith("(NPL)")]
    own = [_table(colour.MSDS_CAMERA_SENSITIVITIES[k], "msds") for k in keys]
    nm = WAVELENGTHS_NM.astype(float)
    shifted = [
        np.stack([np.interp(nm - s, nm, own[of][:, c]) for c, s in enumerate(shifts)], 1)
        for of, shifts in SHIFTS_NM
    ]
    return (*own, *shifted)


@cache
def own_matrix(camera: int) -> NDArray[np.float64]:
    """Return the phone's matrix, (3, 3): balanced raw under D65 to linear sRGB, white kept.

    Fitted on the chart's patches, as makers do; each row sums to 1.
    """
    raw = raw_of(chart_reflectances(), "D65", camera) / _white_raw("D65", camera)
    goal = true_linear(chart_reflectances())
    # Rows that sum to 1: fit the deviation from the third channel.
    a = raw[:, :2] - raw[:, 2:]
    part = np.linalg.lstsq(a, goal - raw[:, 2:], rcond=None)[0].T
    return np.concatenate([part, 1 - part.sum(1, keepdims=True)], 1)


def raw_of(reflectances: NDArray, light: str, camera: int) -> NDArray[np.float64]:
    """Return raw responses (n, 3): sum of reflectance x light x sensitivity."""
    return reflectances @ (light_power(light)[:, None] * cameras()[camera])


def _white_raw(light: str, camera: int) -> NDArray[np.float64]:
    return raw_of(np.ones((1, len(WAVELENGTHS_NM))), light, camera)[0]


@dataclass(frozen=True)
class Shot:
    """How one photo is taken.

    camera : place in ``cameras()``.   balance : (3,) left-over gains of the phone's white balance.
    exposure : linear light of a perfect white in the middle of the frame.
    lamp : x, y (as shares of the frame, from its left and top) and height (in frame widths) of a near
    lamp; the light falls off as the square of the distance.   p3 : filed as Display P3.
    """

    light: str
    camera: int
    balance: NDArray[np.float64]
    exposure: float
    lamp: tuple[float, float, float]
    p3: bool

    def fall_off(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """Return the light at places of the frame (0 to 1 each), 1 in its middle."""
        a, b, height = self.lamp

        def near(u, v):
            return 1 / ((u - a) ** 2 + ASPECT**2 * (v - b) ** 2 + height**2)

        return near(np.asarray(x), np.asarray(y)) / near(0.5, 0.5)


#: Linear light of a perfect white in the middle of the frame at 0 EV: at +1 EV it is just not burnt out.
NOMINAL_WHITE = 0.45


def draw_shot(rng: np.random.Generator, light: str, camera: int) -> Shot:
    """Return a shot: its white balance takes out 70 to 100 % of the light's colour (in the logarithm,
    as seen on a white), give or take 3 % a channel; exposure is off by up to 1 EV; and the light
    falls off by up to half across the frame.
    """
    cast = np.linalg.solve(XYZ_FROM_SRGB, true_xyz(np.ones((1, len(WAVELENGTHS_NM))), light)[0])
    left_cast = cast ** rng.uniform(0, 0.3) * np.exp(rng.normal(0, 0.03, 3))
    # The gains act on the sensor's channels; their sizes are such that white gets that cast.
    balance = np.linalg.solve(own_matrix(camera), left_cast / left_cast[1])
    return Shot(
        light,
        camera,
        balance,
        NOMINAL_WHITE * 2 ** rng.uniform(-1, 1),
        _lamp_for(rng, rng.uniform(1, 2)),
        bool(rng.random() < 0.5),
    )


def _lamp_for(rng: np.random.Generator, fall: float) -> tuple[float, float, float]:
    """Return a near lamp in any direction, 1 to 3 frame widths above, so far aside that across the
    frame the light falls by that factor.
    """
    heights = np.linspace(1, 3, 41)
    # Aside by this much a lamp of each height lights the two sides most unequally.
    most = _fall(np.sqrt(heights**2 + 0.25), heights)
    height = rng.uniform(1, heights[most >= fall].max())
    aside = np.linspace(0, np.sqrt(height**2 + 0.25), 400)
    d, turn = np.interp(fall, _fall(aside, height), aside), rng.uniform(0, 2 * np.pi)
    return (0.5 + d * np.cos(turn), 0.5 + d * np.sin(turn) / ASPECT, height)


def _fall(aside: NDArray, height: NDArray | float) -> NDArray[np.float64]:
    return ((aside + 0.5) ** 2 + height**2) / ((aside - 0.5) ** 2 + height**2)


def phone_linear(reflectances: NDArray, shot: Shot) -> NDArray[np.float64]:
    """Return linear light in the phone's own encoding before filing, (n, 3): 1 is full."""
    raw = raw_of(reflectances, shot.light, shot.camera) / _white_raw(shot.light, shot.camera)
    linear = (raw * shot.balance) @ own_matrix(shot.camera).T * shot.exposure
    return linear @ np.linalg.inv(SRGB_FROM_P3).T if shot.p3 else linear


def codes_of(linear: NDArray) -> NDArray[np.uint8]:
    """Return 8-bit codes of linear light by the sRGB curve; IEC 61966-2-1:1999."""
    v = np.clip(linear, 0, 1)
    v = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    return np.rint(v * 255).astype(np.uint8)


def filed(linear: NDArray, shot: Shot) -> NDArray[np.float64]:
    """Return linear sRGB as a reader gets it back from the 8-bit file of phone light, (n, 3)."""
    v = codes_of(linear) / 255
    v = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    return v @ SRGB_FROM_P3.T if shot.p3 else v


def lab_of(linear: NDArray) -> NDArray[np.float64]:
    """Return CIELAB (D65) of linear sRGB (..., 3); CIE 15, exact, apart from the grader's own."""
    xyz = linear @ XYZ_FROM_SRGB.T / XYZ_FROM_SRGB.sum(1)
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(np.maximum(xyz, 0)), xyz * (29 / 6) ** 2 / 3 + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


#: A scene's places: table, the chart's frame, paper; then 24 patches, then swatches.
TABLE, FRAME, PAPER, FIRST_PATCH = 0, 1, 2, 3
FIRST_SWATCH = FIRST_PATCH + 24
#: Pitch and side of the chart's patches, in units of the pitch: a 2 mm gap in 41 mm (by eye).
_PATCH_SIDE = 0.86


@dataclass(frozen=True)
class Scene:
    """What lies where in a photo: ``places`` (H, W) codes of the list above, drawn at twice the size."""

    places: NDArray[np.uint8]
    width_px: int
    height_px: int

    def inner(self, first: int, count: int) -> NDArray[np.int64]:
        """Return (H, W) labels of the places from ``first`` on, 3 px inside their rims; ``count`` elsewhere."""
        small = self.places[::2, ::2]
        wide = np.ones((7, 7), np.uint8)
        alike = cv2.erode(small, wide) == cv2.dilate(small, wide)
        labels = small.astype(np.int64) - first
        return np.where(alike & (labels >= 0) & (labels < count), labels, count)

    def mask(self, place: int) -> NDArray[np.bool_]:
        """Return where in the photo a place fills the px."""
        share = (self.places == place).reshape(self.height_px, 2, self.width_px, 2).mean((1, 3))
        return share == 1


def lay_scene(
    rng: np.random.Generator,
    swatches: int,
    *,
    chart: bool = True,
    paper: bool = True,
    width_px: int = 1200,
    height_px: int = 900,
    turn_deg: float | None = None,
    tilt: float | None = None,
) -> Scene:
    """Return a scene: paper along the top and left edge, swatches in the middle, a chart below right,
    at any quarter turn and a little askew, its far side narrower by ``tilt``.
    """
    h, w = 2 * height_px, 2 * width_px
    places = np.full((h, w), TABLE, np.uint8)
    if paper:
        places[: h // 8] = PAPER
        places[:, : w // 10] = PAPER
    columns = int(np.ceil(np.sqrt(swatches * 2.5)))
    size = 0.8 * w / max(columns, 1)
    for k in range(swatches):
        x = 0.15 * w + (k % columns) * size
        y = 0.17 * h + (k // columns) * size * 0.62
        places[int(y) : int(y + 0.52 * size), int(x) : int(x + 0.85 * size)] = FIRST_SWATCH + k
    if chart:
        corners = _chart_corners(rng, w, h, turn_deg, tilt)
        flat = np.full((4 * 60 + 24, 6 * 60 + 24), FRAME, np.uint8)
        for k in range(24):
            y, x = 12 + (k // 6) * 60 + 4, 12 + (k % 6) * 60 + 4
            side = int(60 * _PATCH_SIDE)
            flat[y : y + side, x : x + side] = FIRST_PATCH + k
        fh, fw = flat.shape
        ends = np.float32([[0, 0], [fw, 0], [fw, fh], [0, fh]])
        to_photo = cv2.getPerspectiveTransform(ends, corners.astype(np.float32))
        warped = cv2.warpPerspective(
            flat, to_photo, (w, h), flags=cv2.INTER_NEAREST, borderValue=255
        )
        places = np.where(warped == 255, places, warped)
    return Scene(places, width_px, height_px)


def _chart_corners(rng, w: int, h: int, turn_deg: float | None, tilt: float | None) -> NDArray:
    turn = turn_deg if turn_deg is not None else rng.choice([0, 90, 180, 270]) + rng.uniform(-8, 8)
    tilt = tilt if tilt is not None else rng.uniform(0, 0.12)
    wide = 0.36 * h
    box = np.array([[-1.5, -1], [1.5, -1], [1.5, 1], [-1.5, 1]]) * wide / 3
    box[:2, 0] *= 1 - tilt
    t = np.radians(turn)
    turned = box @ np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])
    middle = np.array([rng.uniform(0.3, 0.75) * w, 0.77 * h])
    return middle + turned


def take(
    rng: np.random.Generator, scene: Scene, shot: Shot, swatches: NDArray, paper: NDArray
) -> NDArray[np.uint8]:
    """Return the photo (H, W, 3) in the phone's encoding: light, lens blur, noise, curve, 8 bit."""
    chart = chart_reflectances()
    flat = np.concatenate([np.full((1, 31), 0.2), chart[23:] * 0.9, paper, chart, swatches])
    linear = phone_linear(flat, shot)[scene.places]
    h, w = scene.height_px, scene.width_px
    linear = linear.reshape(h, 2, w, 2, 3).mean((1, 3))
    linear = cv2.GaussianBlur(linear, (0, 0), 0.9)
    x, y = (np.arange(w) + 0.5) / w, (np.arange(h) + 0.5) / h
    linear = linear * shot.fall_off(x[None], y[:, None])[..., None]
    noise = np.sqrt(np.maximum(linear, 0) * 1e-4 + 1e-6)
    return codes_of(linear + rng.standard_normal(linear.shape) * noise)
