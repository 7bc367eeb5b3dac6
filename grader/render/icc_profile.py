"""A Display P3 colour profile, written from the published numbers, for samples and tests."""

import struct

import numpy as np

from grader.photo.icc import D50_XYZ, adaptation

# SMPTE EG 432-1: primaries of P3 as x, y; white D65 (CIE 15).
P3_PRIMARIES_XY = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
D65_XY = (0.3127, 0.3290)
# IEC 61966-2-1 decoding as parametricCurveType 3: exponent, a, b, c, d.
_SRGB_CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def display_p3_profile() -> bytes:
    """Return a version 4 matrix profile of Display P3; ICC.1:2022. The same bytes every time."""
    white = _xyz(*D65_XY)
    primaries = np.stack([_xyz(x, y) for x, y in P3_PRIMARIES_XY], axis=1)
    xyz_d65 = primaries * np.linalg.solve(primaries, white)
    to_d50 = adaptation(white, D50_XYZ)
    red, green, blue = (to_d50 @ xyz_d65).T
    curve = b"para\0\0\0\0" + struct.pack(">HH", 3, 0) + _fixed(_SRGB_CURVE)
    return _profile(
        {
            b"desc": _text("Display P3"),
            b"cprt": _text("No copyright"),
            b"wtpt": _xyz_type(D50_XYZ),
            b"chad": b"sf32\0\0\0\0" + _fixed(to_d50.ravel()),
            b"rXYZ": _xyz_type(red),
            b"gXYZ": _xyz_type(green),
            b"bXYZ": _xyz_type(blue),
            b"rTRC": curve,
            b"gTRC": curve,
            b"bTRC": curve,
        }
    )


def _profile(tags: dict[bytes, bytes]) -> bytes:
    table, body, start = struct.pack(">I", len(tags)), b"", 132 + 12 * len(tags)
    places: dict[bytes, int] = {}
    for name, content in tags.items():
        if content not in places:  # equal contents are stored once, as the specification allows
            places[content] = start + len(body)
            body += content + b"\0" * (-len(content) % 4)
        table += struct.pack(">4sII", name, places[content], len(content))
    header = struct.pack(
        ">I4sI4s4s4s6H4s4sI4sIQI12s4s44x",
        start + len(body),
        b"\0\0\0\0",
        0x04400000,
        b"mntr",
        b"RGB ",
        b"XYZ ",
        *(2024, 1, 1, 0, 0, 0),
        b"acsp",
        b"\0\0\0\0",
        0,
        b"\0\0\0\0",
        0,
        0,
        0,
        _fixed(D50_XYZ),
        b"\0\0\0\0",
    )
    return header + table + body


def _xyz(x: float, y: float) -> np.ndarray:
    return np.array([x / y, 1.0, (1 - x - y) / y])


def _fixed(numbers) -> bytes:
    """Numbers as s15Fixed16."""
    return b"".join(struct.pack(">i", round(float(n) * 65536)) for n in numbers)


def _xyz_type(xyz: np.ndarray) -> bytes:
    return b"XYZ \0\0\0\0" + _fixed(xyz)


def _text(text: str) -> bytes:
    """One English text as multiLocalizedUnicodeType."""
    coded = text.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II4sII", 1, 12, b"enUS", len(coded), 28) + coded
