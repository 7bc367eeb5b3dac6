"""What is there already is replaced only where the tool made it and nobody changed it since."""

import os
import xml.etree.ElementTree as ET

import cv2
import numpy as np
import pytest
from PIL import Image

from grader.errors import GraderError
from grader.made import is_made, marked, why_kept, write_made
from grader.report.overlay import PICTURE_SUFFIXES, write_picture

SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><g id="outline"/></svg>\n'


def picture(seed=0) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 255, (40, 60, 3), np.uint8)


def encoded(suffix: str, seed=0) -> bytes:
    return SVG if suffix == ".svg" else cv2.imencode(suffix, picture(seed))[1].tobytes()


@pytest.mark.parametrize("suffix", [*PICTURE_SUFFIXES, ".svg"])
def test_the_mark_is_found_again_until_one_byte_is_changed(suffix):
    content = marked(encoded(suffix))
    assert is_made(content) and not is_made(encoded(suffix))
    for at in (1, len(content) // 2, len(content) - 30):
        changed = bytearray(content)
        changed[at] ^= 1
        assert not is_made(bytes(changed))


@pytest.mark.parametrize("suffix", PICTURE_SUFFIXES)
def test_other_programs_read_a_marked_picture_as_the_same(tmp_path, suffix):
    (tmp_path / f"a{suffix}").write_bytes(marked(encoded(suffix)))
    plain = cv2.imdecode(np.frombuffer(encoded(suffix), np.uint8), cv2.IMREAD_COLOR)
    assert (cv2.imread(str(tmp_path / f"a{suffix}")) == plain).all()
    with Image.open(tmp_path / f"a{suffix}") as image:
        image.load()
        assert image.size == (60, 40)
        comment = image.info.get("comment") or image.info.get("Comment") or b""
    if suffix in (".jpg", ".png"):
        comment = comment.encode() if isinstance(comment, str) else comment
        assert comment.startswith(b"made by grader ")


def test_a_marked_webp_tells_its_length_and_a_drawing_is_still_whole():
    content = marked(encoded(".webp"))
    assert int.from_bytes(content[4:8], "little") == len(content) - 8 and len(content) % 2 == 0
    assert ET.fromstring(marked(SVG)).tag.endswith("svg")


@pytest.mark.parametrize("suffix", PICTURE_SUFFIXES)
def test_an_original_is_never_replaced_and_our_own_picture_is(tmp_path, suffix):
    original = tmp_path / f"b{suffix}"
    original.write_bytes(encoded(suffix))
    with pytest.raises(GraderError, match="is there already and was not made by this tool") as err:
        write_picture(original, picture(1))
    assert "\n" not in str(err.value)
    assert original.read_bytes() == encoded(suffix)
    own = tmp_path / f"own{suffix}"
    write_picture(own, picture(1))
    first = own.read_bytes()
    write_picture(own, picture(2))
    assert own.read_bytes() != first and why_kept(own) is None


def test_a_drawing_that_the_seller_changed_is_kept(tmp_path):
    write_made(tmp_path / "plan.svg", SVG)
    (tmp_path / "plan.svg").write_bytes((tmp_path / "plan.svg").read_bytes().replace(b"<g", b"<g "))
    with pytest.raises(GraderError, match="or was changed since"):
        write_made(tmp_path / "plan.svg", SVG)


@pytest.mark.parametrize("content", [b"", b"\xff\xd8", b"\x89PNG", b"RIFF0000WEBP", b"notes"])
def test_whatever_else_lies_there_is_kept(tmp_path, content):
    (tmp_path / "a.jpg").write_bytes(content)
    with pytest.raises(GraderError, match="choose another name"):
        write_made(tmp_path / "a.jpg", encoded(".jpg"))
    assert (tmp_path / "a.jpg").read_bytes() == content


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name")
def test_a_pipe_is_neither_read_nor_replaced(tmp_path):
    os.mkfifo(tmp_path / "a.jpg")
    with pytest.raises(GraderError, match=r"is there already \(not a file on a disk\)"):
        write_made(tmp_path / "a.jpg", encoded(".jpg"))
