"""ICC profiles that are three curves and a matrix, as phones and cameras write them, read in float.

After the published specification ICC.1:2022 (and ICC.1:2001-04 for version 2): header, tag table,
and the types XYZType, curveType and parametricCurveType.
"""

import struct

import numpy as np
from numpy.typing import NDArray

from grader.photo.colour import WHITE_XYZ, XYZ_FROM_LINEAR_SRGB, srgb_encoding
from grader.photo.photo import ColourEncoding

# White of the profile connection space, ICC.1:2022 section 7.2.16.
D50_XYZ = np.array([0.9642, 1.0, 0.8249])
# Bradford cone responses (Lam 1985), as ICC.1:2022 annex E gives them.
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
#: Nearer to sRGB than this in every curve and matrix entry is sRGB: half an 8-bit code.
SAME_AS_SRGB = 0.5 / 255
# A device white further from the neutral axis than this is no photo's encoding.
_WHITE_SLACK = 0.2


def encoding_of_profile(profile: bytes, codes: int) -> ColourEncoding | None:
    """Return the encoding of a matrix or grey profile; ``None`` if it works with tables only.

    Parameters
    ----------
    profile : the profile's bytes, version 2 or 4.
    codes : 256 or 65536, how many codes a value has.

    Raises
    ------
    ValueError
        The profile is broken.
    """
    try:
        tags = _tags(profile)
        space = profile[16:20]
        if space == b"GRAY" and "kTRC" in tags:
            curves = np.repeat(_curve(tags["kTRC"], codes)[None], 3, axis=0)
            return _encoding(tags, curves, np.eye(3))
        if (
            space != b"RGB "
            or profile[20:24] != b"XYZ "
            or not {"rXYZ", "gXYZ", "bXYZ", "rTRC", "gTRC", "bTRC"} <= tags.keys()
        ):
            return None
        curves = np.stack([_curve(tags[c + "TRC"], codes) for c in "rgb"])
        xyz_d50 = np.stack([_xyz(tags[c + "XYZ"]) for c in "rgb"], axis=1)
    except (struct.error, IndexError, UnicodeDecodeError) as err:
        raise ValueError(f"the colour profile is cut off or garbled: {err}") from err
    return _encoding(tags, curves, _to_linear_srgb(xyz_d50))


def adaptation(from_white: NDArray, to_white: NDArray) -> NDArray[np.float64]:
    """Return the Bradford matrix, shape (3, 3), from XYZ under one white to XYZ under another."""
    scale = (BRADFORD @ to_white) / (BRADFORD @ from_white)
    return np.linalg.solve(BRADFORD, scale[:, None] * BRADFORD)


def _to_linear_srgb(xyz_d50: NDArray) -> NDArray[np.float64]:
    matrix = np.linalg.solve(
        XYZ_FROM_LINEAR_SRGB.astype(np.float64), adaptation(D50_XYZ, WHITE_XYZ) @ xyz_d50
    )
    white = matrix.sum(axis=1)
    if not np.all(np.abs(white - 1) < _WHITE_SLACK):
        raise ValueError("the colour profile's white is not white")
    # Rounded entries leave white a little off; the encoding's white is white.
    return matrix / white[:, None]


def _encoding(tags: dict[str, bytes], curves: NDArray, matrix: NDArray) -> ColourEncoding:
    srgb = srgb_encoding(curves.shape[1])
    if (
        np.abs(matrix - np.eye(3)).max() < SAME_AS_SRGB
        and np.abs(curves - srgb.curves).max() < SAME_AS_SRGB
    ):
        return srgb
    return ColourEncoding(_description(tags), curves.astype(np.float32), matrix.astype(np.float32))


def _tags(profile: bytes) -> dict[str, bytes]:
    if len(profile) < 132 or profile[36:40] != b"acsp":
        raise ValueError("not a colour profile")
    (count,) = struct.unpack_from(">I", profile, 128)
    if count > 200:
        raise ValueError(f"a colour profile with {count} tags")
    tags = {}
    for n in range(count):
        name, offset, size = struct.unpack_from(">4sII", profile, 132 + 12 * n)
        tags[name.decode("latin-1")] = profile[offset : offset + size]
    return tags


def _xyz(tag: bytes) -> NDArray[np.float64]:
    if tag[:4] != b"XYZ ":
        raise ValueError("a colorant of the colour profile is no XYZ")
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536


def _curve(tag: bytes, codes: int) -> NDArray[np.float64]:
    v = np.linspace(0.0, 1.0, codes)
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count == 0:
            return v
        numbers = struct.unpack_from(f">{min(count, 65536)}H", tag, 12)
        light = (
            v ** (numbers[0] / 256)
            if count == 1
            else np.interp(v, np.linspace(0, 1, len(numbers)), np.array(numbers) / 65535)
        )
    elif tag[:4] == b"para":
        light = _parametric(tag, v)
    else:
        raise ValueError("a curve of the colour profile is of no known type")
    if (
        not np.all(np.isfinite(light))
        or light[-1] <= light[0]
        or light.min() < -0.1
        or light.max() > 1.1
    ):
        raise ValueError("a curve of the colour profile is no curve")
    return light


def _parametric(tag: bytes, v: NDArray) -> NDArray[np.float64]:
    """Function types 0 to 4 of parametricCurveType, ICC.1:2022 table 68, all written as type 4."""
    (kind,) = struct.unpack_from(">H", tag, 8)
    if kind > 4:
        raise ValueError("a curve of the colour profile is of no known function")
    p = [n / 65536 for n in struct.unpack_from(f">{(1, 3, 4, 5, 7)[kind]}i", tag, 12)]
    g, a, b, c, d, e, f = p[0], 1.0, 0.0, 0.0, 0.0, 0.0, 0.0
    if kind:
        a, b = p[1], p[2]
    if a <= 0 or g <= 0:
        raise ValueError("a curve of the colour profile is no curve")
    if kind in (1, 2):
        d = -b / a
        e = f = p[3] if kind == 2 else 0.0
    if kind >= 3:
        c, d = p[3], p[4]
    if kind == 4:
        e, f = p[5], p[6]
    return np.where(v >= d, np.maximum(a * v + b, 0) ** g + e, c * v + f)


def _description(tags: dict[str, bytes]) -> str:
    """The profile's own name: ``mluc`` in version 4, ``desc`` in version 2."""
    tag = tags.get("desc", b"")
    text = ""
    if tag[:4] == b"mluc" and len(tag) >= 28:
        size, offset = struct.unpack_from(">II", tag, 20)
        text = tag[offset : offset + size].decode("utf-16-be", "replace")
    elif tag[:4] == b"desc" and len(tag) >= 12:
        (size,) = struct.unpack_from(">I", tag, 8)
        text = tag[12 : 12 + size].decode("latin-1")
    text = "".join(letter for letter in text if letter.isprintable()).strip()
    return text[:60] or "unnamed profile"
