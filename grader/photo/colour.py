"""From stored numbers to linear light and CIELAB, in float, colours outside sRGB unclipped."""

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.photo.photo import ColourEncoding

# IEC 61966-2-1:1999, linear sRGB to XYZ (D65).
XYZ_FROM_LINEAR_SRGB = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], np.float32
)
# The white that this matrix gives: its row sums, so that sRGB white is L* 100, a* b* 0.
WHITE_XYZ = XYZ_FROM_LINEAR_SRGB.sum(axis=1)
# CIE 15: L* = 116 f(Y) - 16, a* = 500 (f(X) - f(Y)), b* = 200 (f(Y) - f(Z)); f below.
_LAB_FROM_ROOTS = np.array([[0, 116, 0, -16], [500, -500, 0, 0], [0, 200, -200, 0]], np.float32)
_CUBE_FROM = np.float32((6 / 29) ** 3)


def srgb_curve(codes: int = 256) -> NDArray[np.float32]:
    """Return linear light (0 to 1) of every sRGB code, shape (codes,); IEC 61966-2-1:1999."""
    v = np.linspace(0.0, 1.0, codes)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


def srgb_encoding(codes: int = 256) -> ColourEncoding:
    """Return the encoding of sRGB numbers with that many codes: what no profile means."""
    return _srgb_encoding(codes)


@lru_cache(maxsize=2)
def _srgb_encoding(codes: int) -> ColourEncoding:
    curves, identity = np.stack([srgb_curve(codes)] * 3), np.eye(3, dtype=np.float32)
    curves.flags.writeable = identity.flags.writeable = False
    return ColourEncoding("sRGB", curves, identity)


def linear_srgb(rgb: NDArray, encoding: ColourEncoding) -> NDArray[np.float32]:
    """Return linear sRGB of decoded numbers; outside sRGB values leave 0 to 1.

    Parameters
    ----------
    rgb : ndarray of shape (..., 3), uint8 or uint16.
    encoding : its ``curves`` must have an entry for every code of that dtype.
    """
    if not rgb.size:
        return np.empty(rgb.shape, np.float32)
    if rgb.dtype == np.uint8:
        table = np.ascontiguousarray(encoding.curves.T)[None]
        light = cv2.LUT(np.ascontiguousarray(rgb).reshape(1, -1, 3), table)
    else:
        planes = [encoding.curves[channel][rgb[..., channel]] for channel in range(3)]
        light = np.stack(planes, axis=-1).reshape(1, -1, 3)
    if not np.array_equal(encoding.to_linear_srgb, np.eye(3, dtype=np.float32)):
        light = cv2.transform(light, encoding.to_linear_srgb)
    return light.reshape(rgb.shape)


def codes_from_linear(linear: NDArray[np.float32], encoding: ColourEncoding) -> NDArray[np.uint8]:
    """Return the nearest codes of linear sRGB, (h, w, 3), in an encoding of 8 bits; light beyond it is clipped.

    Codes that ``linear_srgb`` made into light come back as they were.
    """
    light = cv2.transform(linear, np.linalg.inv(encoding.to_linear_srgb.astype(np.float64)))
    codes = np.empty(light.shape, np.uint8)
    for channel, curve in enumerate(encoding.curves.astype(np.float64)):
        # A curve of a file may dip.
        rising = np.maximum.accumulate(curve)
        halfway = (rising[1:] + rising[:-1]) / 2
        codes[..., channel] = np.searchsorted(halfway, light[..., channel])
    return codes


def lab_from_linear(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return CIELAB (D65, 2 degrees) of linear sRGB: L* 0 to 100, a*, b*; shape (..., 3), float32.

    Exact to float32, unlike an 8-bit conversion (up to 2.9 CIEDE2000 off). Negative light is taken
    along the straight part of the curve, as CIE 15 defines it, so colours outside sRGB keep their
    hue.
    """
    if not linear.size:
        return np.empty(linear.shape, np.float32)
    flat = np.ascontiguousarray(linear, np.float32).reshape(1, -1, 3)
    xyz = cv2.transform(flat, XYZ_FROM_LINEAR_SRGB / WHITE_XYZ[:, None])
    # CIE 15: cube root above (6/29)^3, a straight line below.
    f = cv2.pow(np.maximum(xyz, _CUBE_FROM), 1 / 3)
    low = xyz <= _CUBE_FROM
    f[low] = xyz[low] * np.float32((29 / 6) ** 2 / 3) + np.float32(4 / 29)
    return cv2.transform(f, _LAB_FROM_ROOTS).reshape(linear.shape)


def scaled_lab(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return CIELAB of shape (..., 3), each channel brought near -1 to 1: what the networks read.

    Channel by channel in memory, as networks take it, and many times faster than colour by colour.
    """
    planes = np.empty((3, *lab.shape[:-1]), np.float32)
    for plane, channel, middle, half in zip(
        planes, np.moveaxis(lab, -1, 0), (50, 0, 0), (50, 40, 40), strict=True
    ):
        np.divide(channel - np.float32(middle), np.float32(half), out=plane)
    return np.moveaxis(planes, 0, -1)


def chroma_hue(lab: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return C*ab and h_ab (degrees, 0 to 360) of CIELAB; each of shape ``lab.shape[:-1]``."""
    a, b = lab[..., 1], lab[..., 2]
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def delta_e_2000(lab1: NDArray, lab2: NDArray) -> NDArray[np.float64]:
    """Return CIEDE2000 between CIELAB colours of broadcastable shape (..., 3).

    References
    ----------
    Sharma, Wu & Dalal 2005, Color Res. Appl. 30(1):21-30, equations 2 to 22.
    """
    l1, a1, b1 = np.moveaxis(np.asarray(lab1, np.float64), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(lab2, np.float64), -1, 0)
    c_mean7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    g = 0.5 * (1 - np.sqrt(c_mean7 / (c_mean7 + 25.0**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    grey = c1 * c2 == 0
    dh = (h2 - h1 + 180) % 360 - 180
    dh = np.where(grey, 0.0, np.where(h2 - h1 == 180, 180.0, dh))
    h_sum = h1 + h2
    h_mean = np.where(
        np.abs(h1 - h2) <= 180, h_sum / 2, np.where(h_sum < 360, h_sum / 2 + 180, h_sum / 2 - 180)
    )
    h_mean = np.where(grey, h_sum, h_mean)
    d_hue = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(dh / 2))
    l_mean, c_mean = (l1 + l2) / 2, (c1 + c2) / 2
    t = (
        1
        - 0.17 * np.cos(np.radians(h_mean - 30))
        + 0.24 * np.cos(np.radians(2 * h_mean))
        + 0.32 * np.cos(np.radians(3 * h_mean + 6))
        - 0.20 * np.cos(np.radians(4 * h_mean - 63))
    )
    s_l = 1 + 0.015 * (l_mean - 50) ** 2 / np.sqrt(20 + (l_mean - 50) ** 2)
    s_c, s_h = 1 + 0.045 * c_mean, 1 + 0.015 * c_mean * t
    r_t = (
        -np.sin(np.radians(60 * np.exp(-(((h_mean - 275) / 25) ** 2))))
        * 2
        * np.sqrt(c_mean**7 / (c_mean**7 + 25.0**7))
    )
    dl, dc, dh_ = (l2 - l1) / s_l, (c2 - c1) / s_c, d_hue / s_h
    return np.sqrt(dl**2 + dc**2 + dh_**2 + r_t * dc * dh_)
