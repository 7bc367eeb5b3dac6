"""Pictures and drawings that the tool makes, marked so that it knows them again: what is there already is replaced
only where the tool made it and nobody has changed it since. So no original is ever lost to a name typed twice.

The mark is a comment that picture programs leave alone: a COM segment of a JPEG (ITU-T T.81, B.2.4.5), a tEXt chunk
of a PNG (W3C PNG, 11.3.3), a chunk of its own at the end of a WebP's container, a comment of an SVG, a comment behind
the end of a PDF, and bytes behind that of a TIFF. It holds the SHA-256 of all the rest.
"""

import hashlib
import re
import zlib
from pathlib import Path

from grader.errors import GraderError
from grader.files import regular_bytes, write_bytes

_MARK = re.compile(rb"made by grader ([0-9a-f]{64})")
#: No picture that the tool makes is larger.
_MOST_BYTES = 1_000_000_000


def write_made(path: str | Path, content: bytes) -> None:
    """Write a picture, PNG, JPEG, WebP, TIFF or SVG, or a PDF, with its mark; whole or not at all.

    Raises
    ------
    GraderError
        There is a file that the tool did not make, or that was changed since; or the place cannot be written to:
        one line naming it.
    """
    why = why_kept(path)
    if why:
        raise GraderError(why, "output")
    write_bytes(path, marked(content))


def why_kept(path: str | Path) -> str | None:
    """Return why what lies there must not be replaced, as a line for a person; ``None`` where it may be."""
    try:
        content = regular_bytes(path, _MOST_BYTES)
    except FileNotFoundError:
        return None
    except OSError as err:
        return f"{path} is there already ({err.strerror}); choose another name"
    if is_made(content):
        return None
    return (
        f"{path} is there already and was not made by this tool, or was changed since; "
        "choose another name"
    )


def marked(content: bytes) -> bytes:
    """Return a picture with its mark in it."""
    mark, at = _segment(content, _digest(content)), _place(content)
    content = content[:at] + mark + content[at:]
    if _is_webp(content):
        content = content[:4] + (len(content) - 8).to_bytes(4, "little") + content[8:]
    return content


def is_made(content: bytes) -> bool:
    """Whether a picture holds the mark and is as the tool wrote it."""
    for found in _MARK.finditer(content):
        mark = _segment(content, found[1].decode())
        if mark in content and _digest(content.replace(mark, b"", 1)) == found[1].decode():
            return True
    return False


def _digest(content: bytes) -> str:
    """Hash of all but the bytes in which a WebP tells its length, which the mark changes."""
    return hashlib.sha256(content[:4] + bytes(4) + content[8:]).hexdigest()


def _is_webp(content: bytes) -> bool:
    return content[:4] == b"RIFF" and content[8:12] == b"WEBP"


def _segment(content: bytes, digest: str) -> bytes:
    """The mark as this format holds it."""
    words = b"made by grader " + digest.encode()
    if content.startswith(b"\xff\xd8"):
        return b"\xff\xfe" + (len(words) + 2).to_bytes(2, "big") + words
    if content.startswith(b"\x89PNG"):
        chunk = b"tEXtComment\0" + words
        return (len(chunk) - 4).to_bytes(4, "big") + chunk + zlib.crc32(chunk).to_bytes(4, "big")
    if _is_webp(content):
        return b"NOTE" + len(words).to_bytes(4, "little") + words + bytes(len(words) % 2)
    if content.startswith(b"%PDF"):
        return b"%% " + words + b"\n"
    return b"<!-- " + words + b" -->\n"


def _place(content: bytes) -> int:
    """Where in the picture the mark is put."""
    if content.startswith(b"\xff\xd8\xff\xe0"):
        # JFIF wants its own segment first.
        return 4 + int.from_bytes(content[4:6], "big")
    if content.startswith(b"\xff\xd8"):
        return 2
    if content.startswith(b"\x89PNG"):
        return len(content) - 12  # before the chunk IEND
    return len(content)
