"""By what a computer measures: two of the same build give the same numbers."""

import hashlib
import platform
from collections.abc import Mapping
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files
from pathlib import Path

from grader.measures import MEASUREMENT_VERSION
from grader.photo.net import starter_folder

#: What a picture goes through on its way to numbers, and Dask, both of whose ends must fit.
_LIBRARIES = ("numpy", "opencv-python-headless", "pillow", "pi-heif", "scipy", "distributed")


@cache
def build() -> Mapping[str, str]:
    """Return what measures on this computer, as names and versions: the tool by its content, its networks, libraries
    and the kind of system."""
    package = Path(str(files("grader")))
    code = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        # A checkout on Windows may have other line ends.
        code.update(path.read_bytes().replace(b"\r\n", b"\n"))
    networks = hashlib.sha256()
    for path in sorted(starter_folder().glob("*.onnx")):
        networks.update(path.read_bytes())
    return {
        "version of the tool": code.hexdigest()[:12],
        "measurement version": str(MEASUREMENT_VERSION),
        "networks": networks.hexdigest()[:12],
        "Python": ".".join(platform.python_version_tuple()[:2]),
        "system": f"{platform.system()} {platform.machine()}",
    } | {name: _version(name) for name in _LIBRARIES}


def difference(theirs: Mapping[str, str], ours: Mapping[str, str]) -> str | None:
    """Return in what two builds differ first, in words; ``None`` where they are the same."""
    for name in ours | theirs:
        there, here = theirs.get(name, "none"), ours.get(name, "none")
        if there != here:
            return f"has another {name} ({there}) than this computer ({here})"
    return None


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "none"
