"""Reading photos: formats, turns, depths, profiles, and what cannot be read."""

import hashlib
import os
import struct
import tempfile
import time
import zlib
from io import BytesIO

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from grader.errors import PhotoError
from grader.photo.colour import linear_srgb, srgb_encoding
from grader.photo.file import content_hash
from grader.photo.icc import encoding_of_profile
from grader.photo.read import read_photo, upright
from grader.render.files import stored, write_photo
from grader.render.icc_profile import display_p3_profile

SUFFIXES = ("jpg", "png", "tif", "webp", "heic")
#: Mean difference in codes that coding with losses may leave on a smooth picture.
LOSS = {"jpg": 3.0, "png": 0.0, "tif": 0.0, "webp": 3.0, "heic": 3.0}


def _corners(h: int = 48, w: int = 80) -> np.ndarray:
    """A picture whose four quarters tell every turn and mirroring apart."""
    rgb = np.empty((h, w, 3), np.uint8)
    rgb[: h // 2, : w // 2], rgb[: h // 2, w // 2 :] = (200, 40, 40), (40, 180, 60)
    rgb[h // 2 :, : w // 2], rgb[h // 2 :, w // 2 :] = (40, 60, 190), (225, 225, 215)
    return rgb


def _saved(folder, name: str, picture: Image.Image, **options):
    picture.save(folder / name, **options)
    return folder / name


def _refused(path, **options) -> PhotoError:
    with pytest.raises(PhotoError) as caught:
        read_photo(path, **options)
    text = str(caught.value)
    assert "\n" not in text and text.startswith(path.name + ": ") and "; " in text
    return caught.value


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photo_of_every_turn_comes_out_upright(tmp_path, suffix, orientation):
    rgb = _corners()
    write_photo(tmp_path / f"a.{suffix}", rgb, orientation=orientation)
    photo = read_photo(tmp_path / f"a.{suffix}")
    assert photo.rgb.shape == rgb.shape
    assert photo.rgb.dtype == np.uint8 and photo.rgb.flags.c_contiguous
    assert np.abs(photo.rgb.astype(int) - rgb).mean() <= LOSS[suffix]


@given(
    rgb=st.tuples(st.integers(1, 9), st.integers(1, 9)).flatmap(
        lambda size: st.binary(min_size=3 * size[0] * size[1], max_size=3 * size[0] * size[1]).map(
            lambda codes: np.frombuffer(codes, np.uint8).reshape(*size, 3)
        )
    ),
    orientation=st.integers(1, 8),
    suffix=st.sampled_from(("png", "tif")),
)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_picture_of_any_turn_is_read_as_it_was_written(
    tmp_path_factory, rgb, orientation, suffix
):
    path = tmp_path_factory.getbasetemp() / f"any.{suffix}"
    write_photo(path, rgb, orientation=orientation)
    np.testing.assert_array_equal(read_photo(path).rgb, rgb)


@given(orientation=st.integers(1, 8), h=st.integers(1, 6), w=st.integers(1, 6))
def test_turning_a_stored_picture_upright_gives_the_picture(orientation, h, w):
    picture = np.arange(3 * h * w, dtype=np.uint8).reshape(h, w, 3)
    np.testing.assert_array_equal(upright(stored(picture, orientation), orientation), picture)


@given(orientation=st.sampled_from((1, 2, 3, 4, 5, 7)), h=st.integers(1, 6), w=st.integers(1, 6))
def test_mirroring_or_half_a_turn_done_twice_is_nothing(orientation, h, w):
    picture = np.arange(3 * h * w, dtype=np.uint8).reshape(h, w, 3)
    twice = upright(upright(picture, orientation), orientation)
    np.testing.assert_array_equal(twice, picture)


def test_a_stored_first_row_of_orientation_6_is_the_right_hand_side():
    # TIFF 6.0, tag 274, value 6: row 0 is the right-hand side, column 0 the top.
    picture = np.arange(6, dtype=np.uint8).reshape(2, 3, 1).repeat(3, axis=2)
    np.testing.assert_array_equal(stored(picture, 6)[0, :, 0], picture[:, -1, 0])
    np.testing.assert_array_equal(stored(picture, 6)[::-1, 0, 0], picture[0, :, 0])


def test_a_photo_knows_its_name_hash_and_size(tmp_path):
    path = tmp_path / "IMG_12.jpg"
    write_photo(path, _corners())
    photo = read_photo(path)
    assert photo.name == "IMG_12.jpg"
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (photo.height, photo.width) == (48, 80)
    assert photo.scale.mm_per_px is None and photo.scale.source is None and photo.remarks == ()


def test_a_scale_given_by_hand_is_kept(tmp_path):
    write_photo(tmp_path / "a.png", _corners())
    scale = read_photo(tmp_path / "a.png", mm_per_px=0.05).scale
    assert (scale.mm_per_px, scale.source) == (0.05, "hand")


@pytest.mark.parametrize("wrong", [0, -1, float("nan"), float("inf")])
def test_a_scale_that_is_none_is_a_mistake_of_the_caller(tmp_path, wrong):
    with pytest.raises(ValueError, match="mm_per_px"):
        read_photo(tmp_path / "a.png", mm_per_px=wrong)


def test_what_a_file_is_called_does_not_matter(tmp_path):
    write_photo(tmp_path / "a.png", _corners())
    os.rename(tmp_path / "a.png", tmp_path / "a.jpeg")
    np.testing.assert_array_equal(read_photo(tmp_path / "a.jpeg").rgb, _corners())


def test_a_progressive_jpeg_is_read(tmp_path):
    path = _saved(tmp_path, "a.jpg", Image.fromarray(_corners()), quality=95, progressive=True)
    assert np.abs(read_photo(path).rgb.astype(int) - _corners()).mean() < 3


def test_the_first_picture_of_several_in_a_phone_jpeg_is_read(tmp_path):
    first, second = Image.fromarray(_corners()), Image.new("RGB", (20, 10), "black")
    stream = BytesIO()
    first.save(stream, "MPO", save_all=True, append_images=[second])
    (tmp_path / "a.jpg").write_bytes(stream.getvalue())
    assert b"MPF" in stream.getvalue()
    assert read_photo(tmp_path / "a.jpg").rgb.shape == (48, 80, 3)


def test_bytes_behind_the_end_of_a_jpeg_do_no_harm(tmp_path):
    write_photo(tmp_path / "a.jpg", _corners())
    (tmp_path / "b.jpg").write_bytes((tmp_path / "a.jpg").read_bytes() + b"\0film\xff" * 99)
    photo = read_photo(tmp_path / "b.jpg")
    np.testing.assert_array_equal(photo.rgb, read_photo(tmp_path / "a.jpg").rgb)
    assert photo.remarks == ()


@pytest.mark.parametrize("name", ["a.png", "a.tif", "a.jpg", "a.webp"])
def test_a_grey_picture_becomes_three_equal_channels(tmp_path, name):
    grey = np.full((16, 24), 119, np.uint8)
    rgb = read_photo(_saved(tmp_path, name, Image.fromarray(grey))).rgb
    assert rgb.shape == (16, 24, 3)
    assert np.abs(rgb.astype(int) - 119).max() <= 1


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
@pytest.mark.parametrize("channels", [1, 3])
def test_16_bits_are_kept(tmp_path, name, channels):
    deep = np.arange(8 * 9 * channels, dtype=np.uint16).reshape(8, 9, channels) * 257 + 3
    bgr = deep[..., ::-1] if channels == 3 else deep
    (tmp_path / name).write_bytes(cv2.imencode(os.path.splitext(name)[1], bgr)[1].tobytes())
    photo = read_photo(tmp_path / name)
    assert photo.rgb.dtype == np.uint16
    np.testing.assert_array_equal(photo.rgb, np.broadcast_to(deep, (8, 9, 3)))
    assert photo.encoding.curves.shape == (3, 65536)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_16_bit_tiff_of_every_turn_comes_out_upright(tmp_path, orientation):
    tifffile = pytest.importorskip("tifffile")
    deep = np.arange(5 * 7 * 3, dtype=np.uint16).reshape(5, 7, 3) * 601
    turn = [(274, "H", 1, orientation, True)]
    for order in "<>":
        tifffile.imwrite(
            tmp_path / "a.tif",
            stored(deep, orientation),
            photometric="rgb",
            byteorder=order,
            extratags=turn,
        )
        np.testing.assert_array_equal(read_photo(tmp_path / "a.tif").rgb, deep)


def test_a_palette_is_resolved(tmp_path):
    picture = Image.fromarray(_corners()).quantize(8)
    np.testing.assert_array_equal(
        read_photo(_saved(tmp_path, "a.png", picture)).rgb, np.asarray(picture.convert("RGB"))
    )


@pytest.mark.parametrize("name", ["a.png", "a.tif", "a.webp"])
def test_transparent_parts_are_laid_on_white_and_said(tmp_path, name):
    rgba = np.zeros((8, 8, 4), np.uint8)
    rgba[:, 4:] = (10, 20, 200, 255)
    rgba[0, 0] = (100, 0, 0, 51)  # a fifth of red 100 on white: 100 / 5 + 255 * 4 / 5 = 224
    options = {"lossless": True, "exact": True} if name == "a.webp" else {}
    photo = read_photo(_saved(tmp_path, name, Image.fromarray(rgba), **options))
    assert tuple(photo.rgb[4, 0]) == (255, 255, 255)
    assert tuple(photo.rgb[4, 6]) == (10, 20, 200)
    assert tuple(photo.rgb[0, 0]) == (224, 204, 204)
    assert [remark.code for remark in photo.remarks] == ["transparent"]


def test_an_opaque_alpha_channel_changes_and_says_nothing(tmp_path):
    rgba = np.dstack([_corners(), np.full((48, 80), 255, np.uint8)])
    photo = read_photo(_saved(tmp_path, "a.png", Image.fromarray(rgba)))
    np.testing.assert_array_equal(photo.rgb, _corners())
    assert photo.remarks == ()


def test_16_bit_alpha_is_laid_on_white(tmp_path):
    bgra = np.zeros((6, 6, 4), np.uint16)
    bgra[:, 3:] = (60000, 300, 9, 65535)
    (tmp_path / "a.png").write_bytes(cv2.imencode(".png", bgra)[1].tobytes())
    rgb = read_photo(tmp_path / "a.png").rgb
    assert tuple(rgb[2, 1]) == (65535, 65535, 65535) and tuple(rgb[2, 4]) == (9, 300, 60000)


def test_cmyk_without_a_profile_is_read_and_said(tmp_path):
    cmyk = Image.fromarray(_corners()).convert("CMYK")
    photo = read_photo(_saved(tmp_path, "a.jpg", cmyk, quality=95))
    assert np.abs(photo.rgb.astype(int) - _corners()).mean() < 4
    assert [remark.code for remark in photo.remarks] == ["profile_ignored"]


def test_without_a_profile_a_photo_is_srgb(tmp_path):
    write_photo(tmp_path / "a.jpg", _corners())
    assert read_photo(tmp_path / "a.jpg").encoding is srgb_encoding()


def test_the_usual_srgb_profile_is_srgb(tmp_path):
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    write_photo(tmp_path / "a.jpg", _corners(), icc=icc)
    assert read_photo(tmp_path / "a.jpg").encoding is srgb_encoding()


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_p3_profile_is_read_from_every_format(tmp_path, suffix):
    write_photo(tmp_path / f"a.{suffix}", _corners(), icc=display_p3_profile())
    photo = read_photo(tmp_path / f"a.{suffix}")
    assert photo.encoding.name == "Display P3" and photo.remarks == ()


def test_a_p3_photo_is_the_same_light_as_a_colour_engine_says(tmp_path):
    # An independent reader of ICC profiles (LittleCMS), on colours that sRGB can hold.
    rng = np.random.default_rng(3)
    codes = rng.integers(90, 170, (40, 40, 3), np.uint8)
    write_photo(tmp_path / "a.png", codes, icc=display_p3_profile())
    photo = read_photo(tmp_path / "a.png")
    engine = ImageCms.profileToProfile(
        Image.fromarray(codes),
        ImageCms.ImageCmsProfile(BytesIO(display_p3_profile())),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    theirs = linear_srgb(np.asarray(engine), srgb_encoding())
    # Half an 8-bit code of rounding is 0.004 of light at these tones.
    assert np.abs(linear_srgb(photo.rgb, photo.encoding) - theirs).max() < 0.006


def _matrix_profile(curve: bytes, version: int = 0x02100000) -> bytes:
    """The P3 profile with other curves, padded to their place, and a version 2 header."""
    data = bytearray(display_p3_profile())
    data[8:12] = struct.pack(">I", version)
    (count,) = struct.unpack_from(">I", data, 128)
    for n in range(count):
        at = 132 + 12 * n
        if data[at + 1 : at + 4] == b"TRC":
            struct.pack_into(">II", data, at + 4, len(data), len(curve))
    data += curve
    data[0:4] = struct.pack(">I", len(data))
    return bytes(data)


def _para(kind: int, *numbers: float) -> bytes:
    fixed = b"".join(struct.pack(">i", round(n * 65536)) for n in numbers)
    return b"para\0\0\0\0" + struct.pack(">HH", kind, 0) + fixed


@pytest.mark.parametrize(
    ("curve", "of_half"),
    [
        (b"curv\0\0\0\0" + struct.pack(">I", 0), 0.5),
        (b"curv\0\0\0\0" + struct.pack(">IH", 1, 0x0240), 0.5**2.25),
        (b"curv\0\0\0\0" + struct.pack(">I3H", 3, 0, 13107, 65535), 0.2),
        (_para(0, 2.0), 0.25),
        (_para(1, 2.0, 1.25, -0.25), (1.25 * 0.5 - 0.25) ** 2),
        (_para(2, 2.0, 0.8, 0.0, 0.1), 0.16 + 0.1),
        (_para(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045), 0.214041),
        (_para(4, 2.0, 0.9, 0.0, 0.5, 0.1, 0.05, 0.0), 0.45**2 + 0.05),
    ],
)
def test_every_type_of_curve_is_read(curve, of_half):
    # ICC.1:2022, curveType and parametricCurveType 0 to 4; hand-worked values at 0.5.
    curves = encoding_of_profile(_matrix_profile(curve), 65536).curves
    assert (curves[0, 32767] + curves[0, 32768]) / 2 == pytest.approx(of_half, abs=3e-5)


def test_a_grey_profile_is_read(tmp_path):
    tag = b"curv\0\0\0\0" + struct.pack(">IH", 1, 0x0200)
    header = struct.pack(
        ">I4sI4s4s4s12x4s88x", 0, b"", 0x02100000, b"mntr", b"GRAY", b"XYZ ", b"acsp"
    )
    profile = header + struct.pack(">I4sII", 1, b"kTRC", 144, len(tag)) + tag
    picture = Image.fromarray(np.full((8, 8), 128, np.uint8))
    photo = read_photo(_saved(tmp_path, "a.png", picture, icc_profile=profile))
    light = linear_srgb(photo.rgb, photo.encoding)
    np.testing.assert_allclose(light, (128 / 255) ** 2, atol=1e-5)


@pytest.mark.parametrize(
    "broken",
    [
        b"nonsense",
        display_p3_profile()[:300],
        display_p3_profile().replace(b"para", b"xxxx"),
        display_p3_profile().replace(b"XYZ \0\0\0\0", b"abcd\0\0\0\0"),
        _matrix_profile(_para(0, -2.0)),
        _matrix_profile(b"curv\0\0\0\0" + struct.pack(">I", 4_000_000_000)),
    ],
)
def test_a_broken_profile_is_left_out_and_said(tmp_path, broken):
    write_photo(tmp_path / "a.png", _corners(), icc=broken)
    photo = read_photo(tmp_path / "a.png")
    np.testing.assert_array_equal(photo.rgb, _corners())
    assert photo.encoding is srgb_encoding()
    assert [remark.code for remark in photo.remarks] == ["profile_ignored"]


def _profile_of_tables() -> bytes:
    """A version 2 profile by lut8Type: any colour is the grey whose L* is its mean code / 2.55."""
    straight = bytes(range(256)) * 3
    corners = bytes(
        value
        for corner in np.ndindex(2, 2, 2)
        for value in (round(255 * sum(corner) / 3), 128, 128)
    )
    identity = b"".join(struct.pack(">i", 65536 * (n % 4 == 0)) for n in range(9))
    table = b"mft1\0\0\0\0" + bytes((3, 3, 2, 0)) + identity + straight + corners + straight
    white = b"XYZ \0\0\0\0" + struct.pack(">3i", 63190, 65536, 54061)
    start = 132 + 24
    tags = struct.pack(">I4sII4sII", 2, b"A2B0", start, len(table), b"wtpt", start + len(table), 20)
    header = struct.pack(
        ">I4sI4s4s4s12x4s28x3i48x",
        start + len(table) + len(white),
        b"",
        0x02100000,
        b"mntr",
        b"RGB ",
        b"Lab ",
        b"acsp",
        *(63190, 65536, 54061),
    )
    return header + tags + table + white


@pytest.mark.parametrize("name", ["a.png", "a.jpg"])
def test_a_profile_of_tables_is_converted_by_a_colour_engine(tmp_path, name):
    assert encoding_of_profile(_profile_of_tables(), 256) is None
    write_photo(tmp_path / name, np.full((8, 8, 3), 128, np.uint8), icc=_profile_of_tables())
    photo = read_photo(tmp_path / name)
    assert photo.encoding is srgb_encoding() and photo.remarks == ()
    # Code 128 is L* 50.2 by the table, which is code 119 of sRGB (L* 50.03, CIE 15).
    assert np.abs(photo.rgb.astype(int) - 119).max() <= 1


def test_a_profile_of_tables_for_other_channels_is_left_out_and_said(tmp_path):
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    write_photo(tmp_path / "a.png", _corners(), icc=lab)
    photo = read_photo(tmp_path / "a.png")
    np.testing.assert_array_equal(photo.rgb, _corners())
    assert [remark.code for remark in photo.remarks] == ["profile_ignored"]


def test_a_missing_file_is_named_with_its_place(tmp_path):
    with pytest.raises(PhotoError) as caught:
        read_photo(tmp_path / "no" / "IMG_1.jpg")
    assert caught.value.code == "missing"
    assert (
        str(caught.value)
        == f"{tmp_path / 'no' / 'IMG_1.jpg'}: no such file; check its name and place"
    )


def test_an_empty_file_is_said(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"")
    error = _refused(tmp_path / "a.jpg")
    assert error.code == "empty"
    assert str(error) == "a.jpg: empty (0 bytes); copy it again from the phone or camera"


def test_a_folder_is_said(tmp_path):
    (tmp_path / "photos.jpg").mkdir()
    assert _refused(tmp_path / "photos.jpg").code == "unreadable"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_is_refused_rather_than_waited_for(tmp_path):
    os.mkfifo(tmp_path / "a.jpg")
    assert _refused(tmp_path / "a.jpg").code == "unreadable"


def test_a_file_that_may_not_be_read_is_said(tmp_path, monkeypatch):
    # Permissions do not bind every user that tests run as, so the refusal itself is put in place.
    write_photo(tmp_path / "a.jpg", _corners())

    def refuse(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.read_bytes", refuse)
    error = _refused(tmp_path / "a.jpg")
    assert error.code == "unreadable" and "Permission denied" in str(error)


@pytest.mark.parametrize(
    ("content", "seems"),
    [
        (b"IMG 12, shelf 3\n", "a text"),
        (b"<!doctype html><html></html>", "a web page"),
        (b"PK\x03\x04" + b"\0" * 60, "a zip archive"),
        (b"%PDF-1.7\n%\xe2\xe3", "a PDF"),
        (b"GIF89a" + b"\0" * 20, "a GIF picture"),
        (b"\0\0\0\x20ftypavif\0\0\0\0avifmif1miafMA1B", "an AVIF picture"),
        (b"\0\0\0\x18ftypisom\0\0\0\0isommp41", "a video"),
        (bytes(range(200, 256)), "something else"),
    ],
)
def test_what_is_no_photo_is_named(tmp_path, content, seems):
    (tmp_path / "IMG_3.jpg").write_bytes(content)
    error = _refused(tmp_path / "IMG_3.jpg")
    assert error.code == "not_a_photo" and f"IMG_3.jpg: {seems}" in str(error)


def test_a_raw_camera_file_is_not_read_as_its_preview(tmp_path):
    picture = Image.fromarray(_corners())
    for tags in ({50706: b"\1\4\0\0"}, {254: 1}):
        path = _saved(tmp_path, "a.tif", picture, tiffinfo=tags)
        assert _refused(path).code == "not_a_photo"


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("kept", [0.3, 0.6, 0.97])
def test_a_cut_off_photo_is_said_to_be_cut_off(tmp_path, suffix, kept):
    rng = np.random.default_rng(4)
    rgb = cv2.GaussianBlur(rng.integers(0, 256, (96, 128, 3), np.uint8), (0, 0), 1)
    write_photo(tmp_path / f"a.{suffix}", rgb)
    whole = (tmp_path / f"a.{suffix}").read_bytes()
    (tmp_path / f"b.{suffix}").write_bytes(whole[: int(kept * len(whole))])
    error = _refused(tmp_path / f"b.{suffix}")
    assert error.code == "truncated" and "cut off" in str(error)


def test_how_much_is_left_is_told_where_the_file_says_its_length(tmp_path):
    write_photo(
        tmp_path / "IMG_12.webp", np.random.default_rng(1).integers(0, 256, (64, 64, 3), np.uint8)
    )
    whole = (tmp_path / "IMG_12.webp").read_bytes()
    (tmp_path / "IMG_12.webp").write_bytes(whole[: round(0.61 * len(whole) + 1)])
    assert str(_refused(tmp_path / "IMG_12.webp")) == (
        "IMG_12.webp: cut off after 61 %; copy it again from the phone or camera"
    )


def test_a_progressive_jpeg_cut_between_its_scans_is_cut_off(tmp_path):
    path = _saved(tmp_path, "a.jpg", Image.fromarray(_corners()), quality=90, progressive=True)
    whole = path.read_bytes()
    second_scan = whole.index(b"\xff\xda", whole.index(b"\xff\xda") + 2)
    path.write_bytes(whole[:second_scan])
    assert _refused(path).code == "truncated"


def test_an_end_mark_behind_half_a_jpeg_does_not_make_it_whole(tmp_path, capfd):
    rng = np.random.default_rng(4)
    write_photo(tmp_path / "a.jpg", rng.integers(0, 256, (96, 128, 3), np.uint8))
    half = (tmp_path / "a.jpg").read_bytes()
    (tmp_path / "a.jpg").write_bytes(half[: len(half) // 2] + b"\xff\xd9")
    assert _refused(tmp_path / "a.jpg").code == "truncated"
    assert capfd.readouterr() == ("", "")


def test_a_jpeg_with_a_flaw_inside_is_read_with_a_remark(tmp_path, capfd):
    rng = np.random.default_rng(4)
    write_photo(tmp_path / "a.jpg", rng.integers(0, 256, (96, 128, 3), np.uint8))
    data = (tmp_path / "a.jpg").read_bytes()
    (tmp_path / "a.jpg").write_bytes(data[:-2] + b"\x12\x34\x56" * 9 + data[-2:])
    assert [remark.code for remark in read_photo(tmp_path / "a.jpg").remarks] == ["damaged"]
    assert capfd.readouterr() == ("", "")


def test_a_jpeg_of_thousands_of_passes_is_refused_before_it_is_decoded(tmp_path):
    path = _saved(tmp_path, "a.jpg", Image.fromarray(_corners()), quality=90, progressive=True)
    whole = path.read_bytes()
    last = whole.rindex(b"\xff\xda")
    path.write_bytes(whole[:last] + whole[last:-2] * 5000 + whole[-2:])
    error = _refused(path)
    assert error.code == "unreadable" and "JPEG in 500" in str(error) and "\n" not in str(error)


def test_a_heic_whose_picture_is_said_to_lie_behind_its_end_is_cut_off(tmp_path):
    # ISO/IEC 14496-12, 8.11.3 (from memory): an iloc box says where the parts of each item lie.
    rng = np.random.default_rng(4)
    path = tmp_path / "a.heic"
    write_photo(path, rng.integers(0, 256, (96, 128, 3), np.uint8))
    data = bytearray(path.read_bytes())
    at = data.index(b"iloc")
    assert tuple(data[at + n] for n in (4, 8, 9)) == (
        0,
        0x44,
        0x40,
    )  # version 0; all places in four bytes
    base = at + 12 + 2 + 2  # of the first item: behind its number and its file
    data[base : base + 4] = (5 * len(data)).to_bytes(4, "big")
    path.write_bytes(data)
    assert _refused(path).code == "truncated"


def test_a_png_that_does_not_fit_its_checksum_is_damaged(tmp_path):
    write_photo(tmp_path / "a.png", _corners())
    data = bytearray((tmp_path / "a.png").read_bytes())
    data[data.index(b"IDAT") + 20] ^= 255
    (tmp_path / "a.png").write_bytes(data)
    error = _refused(tmp_path / "a.png")
    assert error.code == "unreadable" and "damaged PNG" in str(error)


@pytest.mark.parametrize("compression", [None, "tiff_lzw", "tiff_adobe_deflate"])
@pytest.mark.parametrize("kept", [0.3, 0.6, 0.99])
def test_a_tiff_cut_behind_its_directory_is_refused(tmp_path, compression, kept):
    # Pillow writes the directory in front, so that it is there whatever is cut off behind.
    rng = np.random.default_rng(4)
    picture = Image.fromarray(rng.integers(0, 256, (96, 128, 3), np.uint8))
    path = _saved(tmp_path, "a.tif", picture, compression=compression)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(kept * len(whole))])
    assert _refused(path).code == "truncated"


def test_a_16_bit_tiff_cut_behind_its_directory_is_refused(tmp_path):
    tifffile = pytest.importorskip("tifffile")
    rgb = np.random.default_rng(4).integers(0, 65536, (96, 128, 3), np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", rgb, photometric="rgb", rowsperstrip=8)
    whole = (tmp_path / "a.tif").read_bytes()
    (tmp_path / "a.tif").write_bytes(whole[: len(whole) * 9 // 10])
    assert _refused(tmp_path / "a.tif").code == "truncated"


@pytest.mark.parametrize("name", [b"IDAT", b"iCCP"])
def test_no_part_of_a_png_goes_unchecked(tmp_path, name):
    path = _saved(tmp_path, "a.png", Image.fromarray(_corners()), icc_profile=bytes(300))
    data = bytearray(path.read_bytes())
    data[data.index(name) + 8] ^= 1
    path.write_bytes(data)
    assert _refused(path).code == "unreadable"


def _png_header(width: int, height: int, idat: bytes = b"") -> bytes:
    def chunk(name, content):
        return (
            struct.pack(">I", len(content))
            + name
            + content
            + struct.pack(">I", zlib.crc32(name + content))
        )

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + chunk(b"IDAT", zlib.compress(idat)) + chunk(b"IEND", b"")


def test_a_picture_above_the_limit_is_refused_by_its_header(tmp_path):
    (tmp_path / "a.png").write_bytes(_png_header(20_000, 15_000))
    start = time.perf_counter()
    error = _refused(tmp_path / "a.png")
    assert time.perf_counter() - start < 1
    assert error.code == "too_large"
    assert "300 megapixels (20000 x 15000), above the limit of 250" in str(error)


def test_a_header_that_promises_far_more_than_its_bytes_is_refused(tmp_path):
    (tmp_path / "a.png").write_bytes(_png_header(15_000, 15_000, b"\0" * 10_000_000))
    assert _refused(tmp_path / "a.png").code == "too_large"


def test_the_limit_is_the_callers(tmp_path):
    write_photo(tmp_path / "a.jpg", np.zeros((1000, 1200, 3), np.uint8))
    assert _refused(tmp_path / "a.jpg", max_megapixels=1).code == "too_large"
    assert read_photo(tmp_path / "a.jpg", max_megapixels=2).width == 1200


def test_a_name_with_a_line_break_stays_on_one_line(tmp_path):
    (tmp_path / "a\nb.jpg").write_bytes(b"x")
    with pytest.raises(PhotoError) as caught:
        read_photo(tmp_path / "a\nb.jpg")
    assert "\n" not in str(caught.value)


def test_pillow_stays_as_it_was(tmp_path):
    limit, registered = Image.MAX_IMAGE_PIXELS, set(Image.registered_extensions())
    for suffix in ("png", "jpg"):
        write_photo(tmp_path / f"a.{suffix}", _corners())
        read_photo(tmp_path / f"a.{suffix}")
    assert limit == Image.MAX_IMAGE_PIXELS
    assert set(Image.registered_extensions()) == registered


@pytest.mark.slow
def test_a_photo_of_108_megapixels_is_read(tmp_path):
    rgb = np.tile(_corners(300, 400), (30, 30, 1))
    write_photo(tmp_path / "a.jpg", rgb)
    photo = read_photo(tmp_path / "a.jpg")
    assert photo.rgb.shape == (9000, 12000, 3)
    assert np.abs(photo.rgb[::97, ::89].astype(int) - rgb[::97, ::89]).mean() < 3


def _no_temporary_file(*_, **__):
    raise OSError(28, "No space left on device")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_full_temporary_folder_does_not_matter_where_files_can_be_in_memory(
    tmp_path, monkeypatch, suffix
):
    if not hasattr(os, "memfd_create"):
        pytest.skip("no files in memory here")
    write_photo(tmp_path / f"a.{suffix}", _corners())
    for name in ("TemporaryFile", "mkstemp", "mkdtemp", "gettempdir"):
        monkeypatch.setattr(tempfile, name, _no_temporary_file)
    assert read_photo(tmp_path / f"a.{suffix}").rgb.shape == _corners().shape


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_full_temporary_folder_is_told_as_such_and_no_photo_is_called_damaged(
    tmp_path, monkeypatch, suffix
):
    write_photo(tmp_path / f"a.{suffix}", _corners())
    monkeypatch.delattr(os, "memfd_create", raising=False)
    monkeypatch.setattr(tempfile, "TemporaryFile", _no_temporary_file)
    monkeypatch.setenv("TMPDIR", "/full")
    text = str(_refused(tmp_path / f"a.{suffix}"))
    assert "the temporary folder (/full) takes no file (No space left on device)" in text
    assert "damaged" not in text and "make room there" in text


def test_a_damaged_photo_is_told_without_files_in_memory_too(tmp_path, monkeypatch):
    monkeypatch.delattr(os, "memfd_create", raising=False)
    noise = np.random.default_rng(0).integers(0, 255, (64, 64, 3), np.uint8)
    data = bytearray(cv2.imencode(".jpg", noise)[1].tobytes())
    middle = len(data) // 2
    data[middle : middle + 200] = bytes(200)
    (tmp_path / "a.jpg").write_bytes(data)
    assert [remark.code for remark in read_photo(tmp_path / "a.jpg").remarks] == ["damaged"]


def test_a_photo_is_known_by_its_content(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"abc")
    # FIPS 180-2, appendix B.1.
    assert content_hash(tmp_path / "a.jpg") == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_what_is_no_file_is_not_hashed(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "zero.jpg").symlink_to("/dev/zero")
    (tmp_path / "folder.jpg").mkdir()
    for name, message, code in (
        ("pipe.jpg", "not a file on a disk", "unreadable"),
        ("zero.jpg", "not a file on a disk", "unreadable"),
        ("folder.jpg", "a folder, not a photo", "unreadable"),
        ("gone.jpg", "no such file", "missing"),
        ("a\0.jpg", "", "missing"),
    ):
        with pytest.raises(PhotoError) as err:
            content_hash(tmp_path / name)
        assert message in str(err.value) and "\n" not in str(err.value)
        assert err.value.code in (code, "unreadable")


@pytest.mark.parametrize("suffix", ["heic", "webp"])
def test_a_copy_whose_second_half_is_zeros_is_cut_off(tmp_path, suffix):
    # ITU-T H.265, 7.4.2 (from memory): no coded picture holds three zero bytes on end.
    rng = np.random.default_rng(5)
    rgb = np.kron(rng.integers(0, 256, (30, 40, 3)), np.ones((8, 8, 1))).astype(np.uint8)
    path = tmp_path / f"copy.{suffix}"
    write_photo(path, rgb)
    whole = path.read_bytes()
    assert read_photo(path).rgb.shape == rgb.shape
    half = len(whole) // 2
    path.write_bytes(whole[:half] + bytes(len(whole) - half))
    with pytest.raises(PhotoError, match=r"cut off after \d+ %") as err:
        read_photo(path)
    assert err.value.code == "truncated"
