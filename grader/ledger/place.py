"""Where the ledger lies, and whether that is a good place."""

import re
from pathlib import Path

#: Types of mounts whose files lie on another machine, as Linux names them (from memory).
_AFAR = ("nfs", "cifs", "smb", "afs", "ceph", "gluster", "9p", "davfs", "fuse.sshfs", "fuse.rclone")
#: Words in the names of folders that a program keeps the same on several machines.
_KEPT_ELSEWHERE = re.compile(
    r"cloud|sync|dropbox|(one|google|my|shared?)[ _-]?drive", re.IGNORECASE
)


def default_path() -> Path:
    """Return where the ledger lies on this machine for this user."""
    from platformdirs import user_data_path

    return user_data_path("stone-face-grader", appauthor=False) / "ledger.sqlite"


def place_remarks(path: Path, mounts: Path = Path("/proc/mounts")) -> tuple[str, ...]:
    """Return what a person should know of the place of a ledger, a line each.

    A network's mount is told by its type, where the system lists its mounts in ``mounts``; a folder that a program
    copies to other machines by its name alone, so neither is sure.
    """
    kind = _mount_type(path, mounts)
    if kind.startswith(_AFAR):
        return (
            f"{path}: lies on a network drive ({kind}); put it on this machine's own disk, or it may be damaged",
        )
    named = next((part for part in path.parent.parts if _KEPT_ELSEWHERE.search(part)), None)
    if named:
        return (
            f"{path}: folder {named!r} sounds as if it is copied to other machines while in use, which may damage "
            "the ledger; put it elsewhere and copy its backups",
        )
    return ()


def _mount_type(path: Path, mounts: Path) -> str:
    """Type of the mount that a path lies on, empty where the system does not tell."""
    try:
        lines = mounts.read_text("utf-8", "replace").splitlines()
    except OSError:
        return ""
    # Device, place, type; blanks in a place are written in octal.
    mount_types = [
        (place.replace("\\040", " "), kind) for _, place, kind, *_ in map(str.split, lines)
    ]
    over = [(len(place), kind) for place, kind in mount_types if path.is_relative_to(place)]
    # The last of two on one place lies on top.
    return max(reversed(over), key=lambda pair: pair[0], default=(0, ""))[1]
