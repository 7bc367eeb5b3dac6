"""Photos on their way to the table: they come in parts, lie in a folder of the table's own, and are there whole or not
at all. What came stays there when the page or the program ends."""

import hashlib
import json
import os
import shutil
import time
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path, PurePosixPath
from threading import RLock

from grader.errors import GraderError, PhotoError, harmless
from grader.files import sync_folder, write_text
from grader.photo.container import HEIC, JPEG, PNG, TIFF, WEBP, other_content, picture_format

#: No photo that is added in the browser is larger, bytes: a 200-megapixel phone's come to some 60 MB.
MOST_BYTES = 150_000_000
#: So much of a photo may come at once, bytes.
MOST_PART = 1_000_000
#: So many photos may be on their way.
MOST_COMING = 2000
#: The disk keeps so much room beside them, bytes.
ROOM = 1_000_000_000
#: By so many bytes at its beginning a photo is known; a brand of HEIC may stand behind others.
_OPENING = 4096
#: What is done is told for a day; what never came whole is given up after a fortnight, seconds.
_TOLD_S, _GIVEN_UP_S = 86_400, 14 * 86_400
_SUFFIX = {JPEG: "jpg", PNG: "png", TIFF: "tif", WEBP: "webp", HEIC: "heic"}
#: What a camera in a browser calls all its photos; the time tells them apart.
_NAMELESS = ("image", "photo", "blob", "upload")

COMING, LANDED, GRADED, REFUSED = "coming", "landed", "graded", "refused"


@dataclass(frozen=True)
class Upload:
    """A photo that was added.

    uid : made by the page, so that the same photo sent twice is one.   name : as the page gave it, cleaned.
    bytes : how many it has.   haul : of which its stones get numbers.   state : one of the four above.
    file : its name in the folder, once it landed.   line : what became of it, in words.
    stones : ids of its stones on the table.   at : when it was begun, s.
    """

    uid: str
    name: str
    bytes: int
    by: str
    at: float
    haul: str | None = None
    state: str = COMING
    file: str | None = None
    line: str | None = None
    stones: tuple[str, ...] = ()


class Uploads:
    """The photos that were added to one ledger, in the folder beside it that has its name and ends in ``.photos``.

    A photo lies there under its content; on its way it lies in ``coming``, with a note of what is known of it.
    """

    def __init__(self, ledger: str | Path) -> None:
        path = Path(ledger)
        self.folder = path.with_name(f"{path.stem}.photos")
        self._coming = self.folder / "coming"
        self._lock = RLock()
        self._known: dict[str, Upload] = {}
        self._read_notes()

    @property
    def all(self) -> list[Upload]:
        """All that is known of, in the order of beginning."""
        with self._lock:
            return sorted(self._known.values(), key=lambda one: one.at)

    def path(self, upload: Upload) -> Path:
        """Return where a photo that landed lies."""
        return self.folder / str(upload.file)

    def have(self, uid: str) -> int:
        """Return how many bytes of a photo are there."""
        with self._lock:
            known = self._known.get(uid)
            if known is None or known.state == REFUSED:
                return 0
            return known.bytes if known.state != COMING else _size(self._part(uid))

    def begin(self, uid: str, name: str, size: int, by: str, haul: str | None = None) -> Upload:
        """Return the photo of that uid, noted as coming where it is not known yet.

        Raises
        ------
        PhotoError
            It is too large, or there is no room for it: one line.
        """
        with self._lock:
            if uid in self._known:
                return self._known[uid]
            name = _cleaned(name, datetime.now())
            if size > MOST_BYTES:
                raise PhotoError(
                    f"{name}: {size / 1e6:.0f} MB is more than {MOST_BYTES / 1e6:.0f} MB; save it smaller",
                    "too_large",
                )
            if size < 1:
                raise PhotoError(f"{name}: empty; copy it again from the phone or camera", "empty")
            if sum(one.state == COMING for one in self._known.values()) >= MOST_COMING:
                raise PhotoError(f"{name}: {MOST_COMING} photos are on their way; wait for them")
            upload = Upload(uid, name, size, by, time.time(), haul)
            self._note(upload)
            if shutil.disk_usage(self.folder).free < ROOM + size:
                self.drop(uid)
                raise PhotoError(f"{name}: the disk is nearly full; make room, then send it again")
            return upload

    def take(self, uid: str, at: int, content: bytes) -> Upload | None:
        """Put a part of a photo behind what is there, and return the photo; ``None`` where no such photo was begun.

        at : where the part begins, bytes; one that does not go on where the last one ended is left out, :meth:`have`
        tells where to go on.
        """
        with self._lock:
            upload = self._known.get(uid)
            if upload is None or upload.state != COMING:
                return upload
            have = _size(self._part(uid))
            if at != have or not content:
                return upload
            if have + len(content) > upload.bytes:
                return self._refuse(
                    upload, f"{upload.name}: more came than was said; send it again"
                )
            try:
                with open(self._part(uid), "ab") as file:
                    file.write(content)
                    file.flush()
                    os.fsync(file.fileno())
            except OSError as err:
                raise GraderError(
                    f"{self.folder}: cannot be written ({err.strerror}); make room there", "output"
                ) from err
            now = have + len(content)
            if now < min(_OPENING, upload.bytes):
                return upload
            return self._checked(upload, whole=now == upload.bytes, seen=have >= _OPENING)

    def _checked(self, upload: Upload, *, whole: bool, seen: bool) -> Upload:
        """Refuse what is no photo by its opening bytes; let it land once it is whole."""
        form = JPEG
        if whole or not seen:
            with open(self._part(upload.uid), "rb") as file:
                opening = file.read(_OPENING)
            form = picture_format(opening)
            if form is None:
                return self._refuse(
                    upload,
                    f"{upload.name}: {other_content(opening)}, not a photo; give a JPEG, PNG, TIFF, WebP or HEIC photo",
                )
        return self._land(upload, form) if whole else upload

    def _land(self, upload: Upload, form: str) -> Upload:
        part = self._part(upload.uid)
        with open(part, "rb") as file:
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        landed = replace(upload, state=LANDED, file=f"{sha256}.{_SUFFIX[form]}")
        # The note first: a part that is whole and noted lands at the next start, if this one ends here.
        self._note(landed)
        os.replace(part, self.path(landed))
        sync_folder(self.folder)
        return landed

    def done(self, upload: Upload, line: str, stones: tuple[str, ...]) -> None:
        """Note that a photo was graded, and what came of it."""
        with self._lock:
            self._note(replace(upload, state=GRADED, line=line, stones=stones))

    def refuse(self, upload: Upload, line: str) -> None:
        """Note that a photo that landed cannot be used, and why; it lies there until it is dropped."""
        with self._lock:
            self._note(replace(upload, state=REFUSED, line=line))

    def again(self, uid: str) -> None:
        """Let a photo that landed and was refused be tried again."""
        with self._lock:
            upload = self._known.get(uid)
            if upload is not None and upload.state == REFUSED and upload.file:
                self._note(replace(upload, state=LANDED, line=None))

    def _refuse(self, upload: Upload, line: str) -> Upload:
        refused = replace(upload, state=REFUSED, line=line)
        self._note(refused)
        self._part(upload.uid).unlink(missing_ok=True)
        return refused

    def drop(self, uid: str) -> None:
        """Forget a photo that is not whole, was refused, or is graded; one that waits to be graded stays."""
        with self._lock:
            upload = self._known.get(uid)
            if upload is None or upload.state == LANDED:
                return
            del self._known[uid]
            files = {one.file for one in self._known.values()}
            if upload.state == REFUSED and upload.file and upload.file not in files:
                self.path(upload).unlink(missing_ok=True)
            self._part(uid).unlink(missing_ok=True)
            self._note_path(uid).unlink(missing_ok=True)

    def _note(self, upload: Upload) -> None:
        write_text(self._note_path(upload.uid), json.dumps(asdict(upload)))
        self._known[upload.uid] = upload

    def _part(self, uid: str) -> Path:
        return self._coming / f"{uid}.part"

    def _note_path(self, uid: str) -> Path:
        return self._coming / f"{uid}.json"

    def _read_notes(self) -> None:
        """Take up what earlier programs noted: what landed half lands now, what is over is cleared away."""
        now = time.time()
        for path in self._coming.glob("*.json"):
            try:
                upload = Upload(**json.loads(path.read_text("utf-8")))
            except (OSError, ValueError, TypeError):
                continue  # No note of this program's; it is left as it is.
            part = self._part(upload.uid)
            if upload.state == LANDED and not self.path(upload).is_file():
                if _size(part) == upload.bytes:
                    os.replace(part, self.path(upload))
                else:
                    upload = replace(upload, state=COMING, file=None)
            self._known[upload.uid] = upload
            told_s = _TOLD_S if upload.state == GRADED else _GIVEN_UP_S
            if now - upload.at > told_s:
                self.drop(upload.uid)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


def _cleaned(name: str, at: datetime) -> str:
    """The name of a photo as it is told: no folders, nothing that steers a screen, and not that of all others."""
    last = PurePosixPath(name.replace("\\", "/").replace("\0", "")).name.strip()
    text = "".join(letter for letter in harmless(last) if letter.isprintable())[-100:] or "photo"
    path = PurePosixPath(text)
    if path.stem.casefold() in _NAMELESS:
        return f"{path.stem} {at:%Y-%m-%d %H%M%S}.{at.microsecond // 10_000:02}{path.suffix}"
    return text
