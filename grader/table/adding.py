"""Photos added while the table is open: graded one after the other behind the page, from the browser and from a folder
that is watched."""

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Event, Thread

from grader.batch import find_photos
from grader.deals.hauls import number_photos
from grader.deals.tagging import tagged_photo
from grader.errors import GraderError
from grader.ledger import stock, views
from grader.looks import Ask, Look, ask_for
from grader.photo.terms import PhotoTerms
from grader.report.words import counted
from grader.table.tray import Tray
from grader.table.uploads import COMING, LANDED, REFUSED, Upload, Uploads

#: So many photos are graded in one go.
AT_ONCE = 8
#: A file that was written to within so many seconds may still be on its way.
SETTLES_S = 1.5
#: After what went wrong with the ledger or the disk it is tried again in so many seconds.
AGAIN_S = 5.0


@dataclass(frozen=True)
class Watched:
    """The folder that is watched. graded : photos of it since the start.   known : photos graded before, of any name.
    refused : why some are not, by file.   lacks : why it is not watched."""

    folder: Path
    graded: int = 0
    known: int = 0
    refused: tuple[tuple[str, str], ...] = ()
    lacks: str | None = None


class Adding:
    """What grades added photos, behind the page.

    watched : a folder whose new photos are graded where they lie.
    """

    def __init__(self, tray: Tray, uploads: Uploads, watched: Path | None = None) -> None:
        self._tray, self.uploads = tray, uploads
        self.watched = None if watched is None else Watched(watched)
        self._stop, self._wake = Event(), Event()
        self._seen: dict[Path, tuple[int, int]] = {}
        #: Uid of the photo that is being graded; why nothing is graded just now.
        self.grading: str | None = None
        self.error: str | None = None

    def begin(self) -> None:
        """Begin to grade, each in a thread of its own."""
        Thread(target=self._grade_on, name="table-adding", daemon=True).start()
        if self.watched is not None:
            Thread(target=self._watch, name="table-watching", daemon=True).start()

    def end(self) -> None:
        """Begin no further photo."""
        self._stop.set()
        self._wake.set()

    def check_haul(self, haul: str | None) -> None:
        """Refuse a haul that is not there, before a photo is sent for it.

        Raises
        ------
        LedgerError
            No such haul: one line.
        """
        if haul is not None:
            stock.haul(self._tray.ledger, haul)

    def wake(self) -> None:
        """Say that a photo landed."""
        self._wake.set()

    @property
    def waiting(self) -> int:
        """How many photos landed and are not graded yet."""
        return sum(one.state == LANDED for one in self.uploads.all)

    def _grade_on(self) -> None:
        while not self._stop.is_set():
            self._wake.clear()
            try:
                worked = self.grade_landed()
                self.error = None
            except GraderError as err:  # The ledger or the disk; the photos wait.
                self.error, worked = str(err), False
            self.grading = None
            if not worked:
                self._wake.wait(None if self.error is None else AGAIN_S)

    def grade_landed(self) -> bool:
        """Grade what landed, some photos in one go; return whether there were any.

        Raises
        ------
        GraderError
            The ledger or the disk cannot be written to; what is not graded stays as it was.
        """
        landed = [one for one in self.uploads.all if one.state == LANDED][:AT_ONCE]
        asks: list[tuple[Upload, Ask]] = []
        for one in landed:
            try:
                asks.append((one, self._ask(self.uploads.path(one), one.name, one.haul)))
            except GraderError as err:
                self.uploads.refuse(one, str(err))
        if asks:
            self.grading = asks[0][0].uid
        for n, done in self._tray.lay_more([ask for _, ask in asks]):
            one = asks[n][0]
            if isinstance(done, Look):
                self.uploads.done(one, *self._came_of(one, done))
            else:
                # Where it lies it has another name than the one it came with.
                line = str(done).replace(self.uploads.path(one).name, one.name)
                self.uploads.refuse(one, line)
            self.grading = next((u.uid for u, _ in asks if self._waits(u)), None)
        return bool(landed)

    def _waits(self, upload: Upload) -> bool:
        return any(one.uid == upload.uid and one.state == LANDED for one in self.uploads.all)

    def _ask(self, path: Path, name: str | None, haul: str | None) -> Ask:
        session = self._tray.session
        terms = session.with_usual_scale(PhotoTerms(tags=haul is not None))
        return ask_for(path, terms, self._tray.ledger, name)

    def _came_of(self, upload: Upload, look: Look) -> tuple[str, tuple[str, ...]]:
        """What came of a photo, in words, and its stones by their ids; of a haul they get their numbers first, as
        ``batch --haul`` gives them."""
        ledger, sha256 = self._tray.ledger, look.ask.sha256
        remarks: Sequence[str] = ()
        if upload.haul is not None and look.record["pieces"]:
            tags = tagged_photo(look.record, upload.haul)
            number_photos(ledger, upload.haul, {sha256: upload.name}, upload.by, {sha256: tags})
            self._tray.lay_again([sha256])
            remarks = tags.remarks
        stones = self._tray.on_photo(sha256)
        if not stones:
            return f"{upload.name}: no stone found; photograph it on a plain ground", ()
        told = ", ".join(f"{one.code}: {one.label}" if one.code else one.label for one in stones)
        line = "; ".join((f"{upload.name}: {counted(len(stones), 'stone')}, {told}", *remarks))
        return line, tuple(one.id for one in stones)

    def _watch(self) -> None:
        from watchfiles import watch

        while not self._tray.progress.done:
            if self._stop.wait(0.2):
                return
        folder = self.watched.folder
        unsettled = self._took_in()
        try:
            changes = watch(
                folder, stop_event=self._stop, watch_filter=None, debounce=800, rust_timeout=2000,
                yield_on_timeout=True, ignore_permission_denied=True, raise_interrupt=False,
            )  # fmt: skip
            for changed in changes:
                if changed or unsettled:
                    unsettled = self._took_in()
        except (OSError, RuntimeError) as err:
            self.watched = replace(self.watched, lacks=f"{folder}: is watched no more ({err})")

    def _took_in(self) -> bool:
        """The same as :meth:`take_in`; where the ledger or the disk cannot be written to, it is tried again."""
        try:
            unsettled = self.take_in()
        except GraderError as err:
            self._seen.clear()
            self.watched = replace(self.watched, lacks=f"{err}; it is tried again")
            return True
        self.watched = replace(self.watched, lacks=None)
        return unsettled

    def take_in(self) -> bool:
        """Grade the photos of the watched folder that are new or changed; return whether some are still being written.

        Raises
        ------
        GraderError
            The ledger or the disk cannot be written to.
        """
        folder, unsettled = self.watched.folder, False
        refused = dict(self.watched.refused)
        new: dict[str, tuple[str, Ask]] = {}
        found = find_photos(folder, folder / "graded")
        for file, path in found.items():
            try:
                stat = path.stat()
            except OSError:
                continue
            if self._seen.get(path) == (stamp := (stat.st_size, stat.st_mtime_ns)):
                continue
            # A camera whose clock is fast, or ours set back, gives times that are still to come.
            if abs(time.time() - stat.st_mtime) < SETTLES_S:
                unsettled = True
                continue
            self._seen[path] = stamp
            refused.pop(file, None)
            try:
                ask = self._ask(path, None, None)
            except GraderError as err:
                refused[file] = str(err)
            else:
                new.setdefault(ask.sha256, (file, ask))
        known = views.last_looks(self._tray.ledger, list(new))
        to_do = [one for sha256, one in new.items() if sha256 not in known]
        self.watched = replace(self.watched, known=self.watched.known + len(new) - len(to_do))
        self._tell(refused, 0)
        for n, done in self._tray.lay_more([ask for _, ask in to_do]):
            if not isinstance(done, Look):
                refused[to_do[n][0]] = str(done)
            self._tell(refused, int(isinstance(done, Look)))
        return unsettled

    def _tell(self, refused: dict[str, str], more: int) -> None:
        self.watched = replace(
            self.watched, graded=self.watched.graded + more, refused=tuple(refused.items())
        )


def shown_uploads(adding: Adding) -> list[dict]:
    """Return added photos as the page tells them, the last first."""
    return [
        {
            "uid": one.uid,
            "name": one.name,
            "by": one.by,
            "state": "grading" if one.uid == adding.grading and one.state == LANDED else one.state,
            "share": adding.uploads.have(one.uid) / one.bytes if one.state == COMING else None,
            "line": one.line,
            "again": one.state == REFUSED and one.file is not None,
            "stones": list(one.stones),
        }
        for one in reversed(adding.uploads.all)
    ]
