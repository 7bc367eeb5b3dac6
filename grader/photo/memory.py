"""How much memory a photo takes to measure, told by its header, and how much it has on this machine."""

import os
from functools import cache
from pathlib import Path

from grader.errors import SettingsError, quoted
from grader.photo.container import HEIC, JPEG, WEBP

#: Says how many GB of this machine the tool may use, all workers together.
SETTING = "GRADER_MEMORY_GB"
#: Of the machine's memory, where nobody says more.
USUAL_SHARE = 0.75
#: Taken where the system does not say what it has: what a plain computer holds.
UNTOLD_BYTES = 8e9
#: However little there is, a photo has so much: enough for any that a phone takes.
LEAST_BYTES = 1.5e9
#: Networks, libraries and what is measured at working size; then of each px while it is decoded: measured,
#: with a fifth to spare (tests/photo/test_memory.py).
_BASE_BYTES = 700e6
_BYTES_PER_PX = {JPEG: 12, HEIC: 28, WEBP: 28}
_BYTES_PER_OTHER_PX, _BYTES_PER_DEEP_PX = 18, 32
# The kernel's limit on a group of processes: Linux, control groups version 2, then version 1.
_LIMITS = ("/sys/fs/cgroup/memory.max", "/sys/fs/cgroup/memory/memory.limit_in_bytes")

_at_once = 1


def share_among(photos: int) -> None:
    """Tell this process that so many photos are worked on at once on this machine, its own among them."""
    global _at_once
    _at_once = photos


def shared() -> bool:
    """Return whether several photos are worked on at once."""
    return _at_once > 1


def share() -> float:
    """Return the bytes that one photo may take.

    Raises
    ------
    SettingsError
        ``GRADER_MEMORY_GB`` is no number above 0: one line.
    """
    said = os.environ.get(SETTING)
    if said is None:
        return max(LEAST_BYTES, USUAL_SHARE * _machine_bytes() / _at_once)
    try:
        gb = float(said)
    except ValueError:
        gb = 0.0
    if not 0 < gb < float("inf"):
        raise SettingsError(f"{SETTING} is {quoted(said)}; give GB of memory, as 8")
    return max(LEAST_BYTES, gb * 1e9 / _at_once)


def photo_bytes(px: int, form: str, bits: int) -> float:
    """Return what it takes to read and measure a picture of so many px.

    form : by its file, as :func:`~grader.photo.container.picture_format` names it.   bits : of one value.
    """
    deep = _BYTES_PER_DEEP_PX if bits > 8 else 0
    return _BASE_BYTES + px * max(deep, _BYTES_PER_PX.get(form, _BYTES_PER_OTHER_PX))


@cache
def _machine_bytes() -> float:
    sizes = [_limit(place) for place in _LIMITS]
    try:
        sizes.append(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES"))
    except (AttributeError, OSError, ValueError):  # a system that does not say
        sizes.append(None)
    told = [size for size in sizes if size and size > 0]
    return float(min(told, default=UNTOLD_BYTES))


def _limit(place: str) -> int | None:
    try:
        return int(Path(place).read_text("utf-8"))
    except (OSError, ValueError):  # no such limit
        return None
