"""A folder of results: what the tool wrote there it may replace and remove, what a person put or changed there never.

``.written`` tells which content the tool wrote under which name, a line for each, before it is written: so a run that
is killed in between takes its own half-done work for its own. Its first line tells whose results they are.
"""

import hashlib
import json
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from tempfile import TemporaryFile

from grader.errors import GraderError
from grader.files import (
    forget_parts,
    parse_json,
    regular_bytes,
    sync_folder,
    write_bytes,
    write_text,
)

#: In each folder of results.
LIST = ".written"


@dataclass(frozen=True)
class KeptFile:
    """A file of the user's that lay where a result was to be written: where, and where it lies now."""

    name: str
    path: Path

    def __str__(self) -> str:
        text = f"{self.name} was changed, or is not of this tool: kept as {self.path}"
        if self.path.suffix.lower() == ".csv":
            text += f"; take in what you filled in with grader call --from '{self.path}'"
        return text


class OutFolder:
    """Results of one photo folder.

    Parameters
    ----------
    path : the folder, made when the first result is written.
    of : the folder of the photos. It is remembered by the way from here to there, so that both can be moved together.

    Raises
    ------
    GraderError
        It holds results of another photo folder: one line naming both.
    """

    def __init__(self, path: str | Path, of: str | Path) -> None:
        self.path = Path(path)
        self._of = _way(self.path, Path(of))
        noted_of, self._written = _read_list(self.path)
        if noted_of is not None and noted_of != self._of:
            other = os.path.normpath(os.path.join(self.path, noted_of))
            raise GraderError(
                f"{self.path}: holds the results of {other}; choose another folder for these",
                "output",
            )
        self._begun = noted_of is not None
        self._made: set[str] = set()  # what this run wrote, or found as it would have written it
        # What a killed run left half-written.
        for folder in {self._place(name).parent for name in self._written} | {self.path}:
            forget_parts(folder, 0)

    def check(self) -> None:
        """Refuse a folder that cannot be written to, before work is done for it.

        Raises
        ------
        GraderError
            One line naming it.
        """
        there = next(
            place for place in (self.path, *self.path.absolute().parents) if place.exists()
        )
        try:
            with TemporaryFile(dir=there):
                pass
        except OSError as err:
            raise _refused(self.path, err) from err

    def write(self, name: str, content: bytes) -> KeptFile | None:
        """Write a result, whole or not at all; return the user's file that lay there, which is kept under a new name.

        Raises
        ------
        GraderError
            The place cannot be written to, or another run writes there too: one line naming it.
        ValueError
            A name that leads out of the folder.
        """
        path, sha256 = self._place(name), hashlib.sha256(content).hexdigest()
        kept = None
        self._made.add(name)
        if os.path.lexists(path):
            found = _content_hash(path)
            if found == sha256:
                self._note(name, sha256)
                return None
            if found is None or found not in self._written.get(name, ()):
                self._check_alone()
                kept = KeptFile(name, _set_aside(path))
        self._note(name, sha256)
        write_bytes(path, content)
        return kept

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the results that were written."""
        return tuple(self._written)

    def holds(self, name: str) -> bool:
        """Whether that result lies there as the tool wrote it."""
        return _content_hash(self._place(name)) in self._written.get(name, ())

    def keep_only(self, names: Iterable[str]) -> None:
        """Remove the results of earlier runs that are not among ``names``, where nobody changed them; and begin the
        list of what was written anew. To be called last.

        Raises
        ------
        GraderError
            One of them was taken away since it was written, another run writes there too, or the folder cannot be
            written to: one line.
        """
        names = set(names)
        self._check_alone()
        for name in [name for name in self._written if name not in names]:
            if self.holds(name):
                self._place(name).unlink(missing_ok=True)
        self._written = {
            name: [sha256]
            for name in self._written
            if name in names and (sha256 := _content_hash(self._place(name))) in self._written[name]
        }
        if gone := sorted(
            name for name in names & self._made if not os.path.lexists(self._place(name))
        ):
            raise GraderError(
                f"{self._place(gone[0])}: was taken away while results were written; run this again",
                "output",
            )
        lines = [{"of": self._of}]
        lines += [
            {"name": name, "sha256": hashes[0]} for name, hashes in sorted(self._written.items())
        ]
        write_text(self.path / LIST, "".join(json.dumps(line) + "\n" for line in lines))

    def _check_alone(self) -> None:
        """Refuse what another run wrote since this one began: results of the two must not mix."""
        _, listed = _read_list(self.path)
        if any(set(hashes) - set(self._written.get(name, ())) for name, hashes in listed.items()):
            raise GraderError(
                f"{self.path}: another run writes its results there too; run this again once it is done",
                "output",
            )

    def _place(self, name: str) -> Path:
        if not _is_name(name):
            raise ValueError(f"{name!r} is no name of a result")
        return self.path / name

    def _note(self, name: str, sha256: str) -> None:
        """Put down on the disk what is about to be written."""
        if sha256 in self._written.get(name, ()):
            return
        lines = [{"name": name, "sha256": sha256}]
        try:
            self.path.mkdir(parents=True, exist_ok=True)
            with open(self.path / LIST, "a+b") as file:
                if not self._begun or file.seek(0, os.SEEK_END) == 0:
                    lines.insert(0, {"of": self._of})
                # After half a line, as a power cut leaves it, a new one begins.
                text = "".join(json.dumps(line) + "\n" for line in lines)
                file.write((text if _ends_whole(file) else "\n" + text).encode())
                file.flush()
                os.fsync(file.fileno())
        except OSError as err:
            raise _refused(self.path / LIST, err) from err
        self._begun = True
        self._written.setdefault(name, []).append(sha256)


def _refused(path: Path, err: OSError) -> GraderError:
    return GraderError(
        f"{path}: cannot be written ({err.strerror}); choose another folder", "output"
    )


def _is_name(name: str) -> bool:
    """Whether a name stays within its folder."""
    parts = PurePosixPath(name)
    return not (
        parts.is_absolute() or ".." in parts.parts or "\0" in name or name in ("", ".", LIST)
    )


def is_out_folder(path: str | Path) -> bool:
    """Whether that folder holds results."""
    return (Path(path) / LIST).is_file()


def _way(start: Path, goal: Path) -> str:
    start, goal = os.path.realpath(start), os.path.realpath(goal)
    try:
        return Path(os.path.relpath(goal, start)).as_posix()
    except ValueError:  # two drives
        return Path(goal).as_posix()


def _read_list(folder: Path) -> tuple[str | None, dict[str, list[str]]]:
    """Whose results a folder holds, ``None`` where none are told of; and hashes by name. A line that is not whole
    was of a result that was never written."""
    try:
        text = regular_bytes(folder / LIST).decode("utf-8", "replace")
    except FileNotFoundError:
        return None, {}
    except OSError as err:
        raise GraderError(
            f"{folder / LIST}: cannot be read ({err.strerror}); choose another folder", "output"
        ) from err
    of, written = None, {}
    for line in text.split("\n"):
        try:
            row = parse_json(line)
            if "of" in row:
                of = str(row["of"]) if of is None else of
            elif _is_name(name := str(row["name"])):
                written.setdefault(name, []).append(str(row["sha256"]))
        except (ValueError, TypeError, KeyError):
            continue
    return of, written


def _ends_whole(file) -> bool:
    if file.seek(0, os.SEEK_END) == 0:
        return True
    file.seek(-1, os.SEEK_END)
    return file.read(1) == b"\n"


def _content_hash(path: Path) -> str | None:
    """Hash of a file on the disk, ``None`` of all else: a folder, a link, a pipe, or what cannot be read."""
    if path.is_symlink() or not path.is_file():
        return None
    try:
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None


def _set_aside(path: Path) -> Path:
    """Give the user's file a new name beside its old one, and return it."""
    number = 1
    while True:
        more = "" if number == 1 else f" {number}"
        fresh = path.with_name(f"{path.stem} (yours{more}){path.suffix}")
        if not os.path.lexists(fresh):
            break
        number += 1
    try:
        os.rename(path, fresh)
    except OSError as err:
        raise GraderError(
            f"{path}: is yours and cannot be moved aside ({err.strerror}); move it yourself",
            "output",
        ) from err
    sync_folder(path.parent)
    return fresh
