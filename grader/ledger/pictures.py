"""Pictures beside the ledger, named by their content: one that is there is never written again, nor changed."""

import glob
import re
from hashlib import sha256
from pathlib import Path

from grader.errors import LedgerError
from grader.files import sync_folder, write_bytes

#: What an SQLite file begins with.
HEADER = b"SQLite format 3\0"
_NAME = re.compile(r"[0-9a-f]{64}\.[a-z0-9]{1,5}")


class Pictures:
    """The pictures of one ledger, in the folder beside it that has its name and ends in ``.pictures``."""

    def __init__(self, ledger: str | Path) -> None:
        path = Path(ledger)
        self.folder = path.with_name(f"{path.stem}.pictures")

    def put(self, content: bytes, suffix: str) -> str:
        """Keep a picture and return its name; on the disk when this returns, so that a fact may name it.

        Parameters
        ----------
        suffix : as "jpg", without the point.

        Raises
        ------
        GraderError
            The place cannot be written to.
        """
        name = f"{sha256(content).hexdigest()}.{suffix}"
        path = self.path(name)
        if not _holds(path, content):
            write_bytes(path, content)
            sync_folder(path.parent)
        return name

    def get(self, name: str) -> bytes:
        """Return a picture.

        Raises
        ------
        LedgerError
            It is not there, cannot be read or is not what it was.
        """
        path = self.path(name)
        try:
            content = path.read_bytes()
        except FileNotFoundError as err:
            raise LedgerError(
                f"{path}: is gone; grade its photo again or restore a backup"
            ) from err
        except OSError as err:
            raise LedgerError(
                f"{path}: cannot be read ({err.strerror}); mend its permissions"
            ) from err
        if not is_picture(name, content):
            raise LedgerError(f"{path}: was changed; remove it and grade its photo again")
        return content

    def has(self, name: str) -> bool:
        """Whether a picture is there; it is not read.

        Raises
        ------
        LedgerError
            The name is none of a picture.
        """
        return self.path(name).is_file()

    def path(self, name: str) -> Path:
        """Return where a picture lies.

        Raises
        ------
        LedgerError
            The name is none of a picture.
        """
        if not _NAME.fullmatch(name):
            raise LedgerError(f"picture {name!r}: is no name of one; take it from the ledger")
        return self.folder / name[:2] / name

    def names(self) -> list[str]:
        """Return the names of all pictures, sorted."""
        return sorted(p.name for p in self.folder.glob("??/*") if _NAME.fullmatch(p.name))


def is_pictures_folder(path: Path) -> bool:
    """Whether that folder holds the pictures of a ledger: a database beside it has its name."""
    if path.suffix != ".pictures":
        return False
    beside = path.parent.glob(f"{glob.escape(path.stem)}.*")
    return any(other.stem == path.stem and _is_database(other) for other in beside)


def _is_database(path: Path) -> bool:
    try:
        with open(path, "rb") as file:
            return file.read(len(HEADER)) == HEADER
    except OSError:
        return False


def is_picture(name: str, content: bytes) -> bool:
    """Whether a picture of that name has this content."""
    return name.partition(".")[0] == sha256(content).hexdigest()


def _holds(path: Path, content: bytes) -> bool:
    try:
        return path.stat().st_size == len(content)
    except OSError:
        return False
