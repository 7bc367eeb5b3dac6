"""A photo as a file: what is one, what it is known by, and its bytes."""

import hashlib
import os
from pathlib import Path

from grader.errors import PhotoError

#: By which a photo is told among other files of a folder.
SUFFIXES = frozenset((".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"))
GIVE = "give a JPEG, PNG, TIFF, WebP or HEIC photo"
COPY_AGAIN = "copy it again from the phone or camera"
#: Said of a folder.
CLOSED = "a folder that cannot be opened; check its permissions"
# The widest px read here is 16-bit RGB and alpha; the rest is room for previews.
_FILE_BYTES_PER_PX, _FILE_BYTES_SPARE = 8, 100e6


def content_hash(path: str | Path) -> str:
    """Return the SHA-256 of a photo's content, which is what a photo is known by whatever its file is called.

    Raises
    ------
    PhotoError
        ``missing`` or ``unreadable``: no such file, no file on a disk (a folder, a pipe, a device), or one that
        may not be read: one line. What is no file is never opened: a pipe may never end.
    """
    path = Path(path)
    name = shown_name(path)
    try:
        _check_file(path, name)
        with open(path, "rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except (OSError, ValueError) as err:
        raise _not_readable(name, err) from err


def photo_bytes(path: Path, max_megapixels: float) -> bytes:
    """Return a photo's bytes; more than a photo of so many megapixels can have are not read.

    Raises
    ------
    PhotoError
        ``missing``, ``empty``, ``too_large`` or ``unreadable``: one line.
    """
    name = shown_name(path)
    try:
        _check_file(path, name)
        size = path.stat().st_size
        if size > max_megapixels * 1e6 * _FILE_BYTES_PER_PX + _FILE_BYTES_SPARE:
            raise PhotoError(
                f"{name}: {size / 1e9:.1f} GB is more than any photo within the limit; {GIVE}",
                "too_large",
            )
        data = path.read_bytes()
    except (OSError, ValueError) as err:
        raise _not_readable(name, err) from err
    if not data:
        raise PhotoError(f"{name}: empty (0 bytes); {COPY_AGAIN}", "empty")
    return data


def shown_name(path: Path) -> str:
    """Return a file's name as a message shows it: what cannot be printed is put as a mark of an unknown letter."""
    return _printable(path.name or str(path))


def _check_file(path: Path, name: str) -> None:
    """Refuse what is no file on a disk, before it is opened."""
    if path.is_dir():
        if not os.access(path, os.R_OK | os.X_OK):
            raise PhotoError(f"{name}: {CLOSED}", "unreadable")
        raise PhotoError(f"{name}: a folder, not a photo; give the photos in it", "unreadable")
    if not path.exists():
        raise PhotoError(
            f"{_printable(str(path))}: no such file; check its name and place", "missing"
        )
    if not path.is_file():
        raise PhotoError(f"{name}: not a file on a disk; {GIVE}", "unreadable")


def _not_readable(name: str, err: OSError | ValueError) -> PhotoError:
    # ValueError: a name that no file can have.
    reason = getattr(err, "strerror", None) or err
    return PhotoError(
        f"{name}: cannot be read ({reason}); check the file and its permissions", "unreadable"
    )


def _printable(name: str) -> str:
    return "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in name
    )
