"""What lies on the table: photos from the ledger, read and graded while the page is open already, and kept up with what
others add to the ledger meanwhile."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from threading import Event, RLock, Thread
from typing import Any

from grader.batch import find_photos
from grader.errors import CallsError, GraderError
from grader.ledger import stock, views
from grader.ledger.facts import FacePlace
from grader.ledger.history import last_sequence
from grader.ledger.joint import (
    JointPiece,
    calls_on_faces,
    joint_pieces,
    same_face,
    standing_faces,
)
from grader.ledger.store import Ledger
from grader.looking import look_at_all
from grader.looks import Ask, Look, ask_for, look_of, shown
from grader.photo.terms import PhotoTerms
from grader.pieces import with_pieces
from grader.report.calls import with_calls
from grader.session import Session
from grader.table.stones import TableStone, heard_on, table_stones

#: Photos read and graded at a time; then the page has them.
CHUNK = 20
#: Facts that change what a piece is called, weighs, or lies in.
_OF_STOCK = ("numbered", "weighed", "undone", "lot", "broken", "sold", "rest")
#: Looks with their records that are kept at hand; each of them is large.
AT_HAND = 48


@dataclass(frozen=True)
class Progress:
    """How far the table is laid.

    photos : to be laid, and how many are.   failed : what cannot be read or measured, a line each.   error : why
    nothing more comes.
    """

    photos: int = 0
    laid: int = 0
    failed: tuple[str, ...] = ()
    error: str | None = None
    done: bool = False


class Tray:
    """The stones on the table, by id, in the order of laying. Read from several threads, laid by one.

    photos : files and folders; without any, all photos that were ever shown.
    """

    def __init__(self, session: Session, photos: Sequence[Path] = ()) -> None:
        self.session, self._photos = session, tuple(photos)
        self.ledger = session.need_ledger("the table")
        self._lock, self._stop = RLock(), Event()
        self._stones: dict[str, TableStone] = {}
        self._of_photo: dict[str, list[str]] = {}
        self._sequence = 0
        #: Another one as soon as anything on the table is.
        self.version = 0
        self.progress = Progress()
        self._graded = lru_cache(maxsize=AT_HAND)(self._read)

    def lay(self) -> Thread:
        """Begin to lay the photos out in a thread of its own, and return it."""
        thread = Thread(target=self._lay, name="table-tray", daemon=True)
        thread.start()
        return thread

    def clear_away(self) -> None:
        """Lay no more."""
        self._stop.set()

    @property
    def stones(self) -> list[TableStone]:
        """The stones that lie there now; of a piece with several faces the first."""
        with self._lock:
            return list(self._stones.values())

    def stone(self, id: str) -> TableStone | None:
        """Return a stone by its id, ``None`` where none lies there."""
        with self._lock:
            return self._stones.get(id)

    def on_photo(self, sha256: str) -> list[TableStone]:
        """The stones of a photo that lie there."""
        with self._lock:
            return [self._stones[id] for id in self._of_photo.get(sha256, ())]

    def look(self, measured: str) -> tuple[Look, dict] | None:
        """Return a look that lies on the table or did, and its graded record without calls; ``None`` for any other."""
        return self._graded(measured)

    def look_shown(self, stone: TableStone, measured: str) -> tuple[Look, dict]:
        """Return the look at a stone that a page showed, and its graded record without calls.

        Raises
        ------
        CallsError
            Its photo lies on the table no more: one line.
        """
        graded = self.look(measured)
        if graded is None or graded[0].ask.sha256 != stone.sha256:
            raise CallsError(
                f"{stone.name}: its photo is not on the table any more; reload the page"
            )
        return graded

    def lay_again(self, photos: Iterable[str]) -> None:
        """Read photos anew, by content: their looks, calls, numbers and weights as the ledger has them now."""
        photos = [sha256 for sha256 in photos if sha256]
        uids = views.last_looks(self.ledger, photos)
        joint = joint_pieces(self.ledger)
        looks = [self._graded(uids[sha256]) for sha256 in photos if sha256 in uids]
        self._place([one for one in looks if one is not None], joint)

    def keep_up(self) -> None:
        """Read what was added to the ledger since it was read last, by this table or by anybody."""
        with self._lock:
            if not self.progress.done:
                return
            photos, stocked, remodelled = self._touched()
            if remodelled:
                self._graded.cache_clear()
                self.lay()
                return
            wanted = list(self._with_faces(photos))
            for first in range(0, len(wanted), CHUNK):
                self.lay_again(wanted[first : first + CHUNK])
            if stocked:
                self._number_again()

    def _touched(self) -> tuple[set[str], bool, bool]:
        """The photos of which something was added since it was read last, whether anything was done with pieces, and
        whether another model is in use."""
        photos: set[str] = set()
        back: set[str] = set()
        stocked = remodelled = False
        for entry in self.ledger.entries(after=self._sequence):
            self._sequence, fact = entry.sequence, entry.fact
            if fact.kind in ("call", "face", "look"):
                photos.add(fact.sha256)
            elif fact.kind == "taken_back":
                back.add(fact.call)
            stocked |= fact.kind in _OF_STOCK
            remodelled |= fact.kind == "model_use"
        if back:
            photos |= {one.sha256 for one in self._stones.values() if back.intersection(one.heard)}
        return photos, stocked, remodelled

    def _with_faces(self, photos: set[str]) -> set[str]:
        """These photos, and those of other faces of their pieces; of chosen photos only those that lie here."""
        if not photos:
            return photos
        for piece in joint_pieces(self.ledger):
            of_piece = {face.sha256 for face in piece.faces}
            if of_piece & photos:
                photos = photos | of_piece
        return photos & set(self._of_photo) if self._photos else photos - {""}

    def _number_again(self) -> None:
        """Take numbers and weights of pieces as they are now."""
        pieces = stock.pieces(self.ledger)
        lots = _lot_codes(self.ledger, pieces)
        self.version += 1
        for id, stone in self._stones.items():
            self._stones[id] = replace(stone, **_of_piece(stone.of_piece, pieces, lots))

    def _lay(self) -> None:
        try:
            self._sequence = last_sequence(self.ledger)
            failed = self._from_files() if self._photos else self._from_ledger()
            self.progress = replace(self.progress, failed=tuple(failed), done=True)
        except GraderError as err:
            self.progress = replace(self.progress, error=str(err), done=True)

    def _from_ledger(self) -> list[str]:
        uids = list(views.last_looks(self.ledger).values())
        self.progress = replace(self.progress, photos=len(uids))
        joint = joint_pieces(self.ledger)
        for first in range(0, len(uids), CHUNK):
            if self._stop.is_set():
                break
            part = uids[first : first + CHUNK]
            facts = views.measured_by_uid(self.ledger, part)
            looks = [look_of(facts[uid].fact, self.ledger) for uid in part if uid in facts]
            self._place([(look, self._grade(look)) for look in looks if look], joint)
            self.progress = replace(self.progress, laid=first + len(part))
        return []

    def _from_files(self) -> list[str]:
        """Lay photos out that may not have been looked at; returns why some are not, a line each."""
        terms, failed, asks = self.session.with_usual_scale(PhotoTerms()), [], {}
        for given in self._photos:
            found = find_photos(given, given / "graded") if given.is_dir() else {str(given): given}
            for path in found.values():
                try:
                    ask = ask_for(path, terms, self.ledger)
                except GraderError as err:
                    failed.append(str(err))
                    continue
                asks.setdefault(ask.sha256, ask)
        self.progress = replace(self.progress, photos=len(asks), failed=tuple(failed))
        before = views.last_looks(self.ledger, list(asks))
        joint = joint_pieces(self.ledger)
        known = list(before.items())
        for first in range(0, len(known), CHUNK):
            part = [self._graded(uid) for _, uid in known[first : first + CHUNK]]
            self._place([one for one in part if one], joint)
            self._count(len(part))
        new = [ask for sha256, ask in asks.items() if sha256 not in before]
        for _, done in self.lay_more(new):
            if not isinstance(done, Look):
                failed.append(str(done))
                self.progress = replace(self.progress, failed=tuple(failed))
            self._count(1)
        return failed

    def lay_more(self, asks: Sequence[Ask]) -> Iterator[tuple[int, Look | GraderError]]:
        """Look at photos, lay each on the table as soon as it is done, and yield it with its place in ``asks``.

        Raises
        ------
        GraderError
            The ledger cannot be written to.
        """
        for n, done in look_at_all(asks, self.session.profile, self.ledger):
            if self._stop.is_set():
                return
            if isinstance(done, Look):
                shown([done], self.ledger)
                self._place([(done, self._grade(done))], joint_pieces(self.ledger))
            yield n, done

    def _count(self, more: int) -> None:
        self.progress = replace(self.progress, laid=self.progress.laid + more)

    def _read(self, measured: str) -> tuple[Look, dict] | None:
        entry = views.measured_by_uid(self.ledger, [measured]).get(measured)
        look = entry and look_of(entry.fact, self.ledger)
        return None if look is None else (look, self._grade(look))

    def _grade(self, look: Look) -> dict:
        return look.graded(self.session.profile, self.session.model())

    def called(self, look: Look, record: dict, joint: Sequence[JointPiece] | None = None) -> dict:
        """Return a graded record with what is said of pieces with several faces, and all calls that hold."""
        joint = joint_pieces(self.ledger) if joint is None else joint
        of_photo = [p for p in joint if any(face.sha256 == look.ask.sha256 for face in p.faces)]
        session = self.session
        if of_photo:
            (record,) = with_pieces(
                [record], [look], of_photo, session.profile, session.model(), self.ledger
            )
        calls = calls_on_faces(self.ledger, {look.ask.sha256}, pieces=of_photo)
        return with_calls([record], calls, session.settings.decider)[0][0]

    def _place(self, looks: Sequence[tuple[Look, dict]], joint: Sequence[JointPiece]) -> None:
        """Put the stones of photos on the table, or in the place of what lay there of them."""
        if not looks:
            return
        decider, photos = self.session.settings.decider, {look.ask.sha256 for look, _ in looks}
        calls = calls_on_faces(self.ledger, photos, pieces=joint)
        numbers = _numbers(self.ledger, photos)
        of_pieces = [p for p in joint if any(face.sha256 in photos for face in p.faces)]
        later = self._later(of_pieces, [look for look, _ in looks])
        rows: dict[str, list[TableStone]] = {}
        for look, record in looks:
            sha256, own = look.ask.sha256, [c for c in calls if c.sha256 == look.ask.sha256]
            record = self.called(look, record, of_pieces) if of_pieces else (
                with_calls([record], own, decider)[0][0]
            )  # fmt: skip
            heard = heard_on(look, own)
            rows[sha256] = [
                replace(stone, heard=heard.get(stone.piece, ()), **_numbered(stone, look, numbers))
                for stone in table_stones(look, record, decider)
                if (sha256, stone.piece) not in later
            ]
        with self._lock:
            self.version += 1
            for sha256, stones in rows.items():
                for id in self._of_photo.get(sha256, ()):
                    if id not in {stone.id for stone in stones}:
                        del self._stones[id]
                self._stones |= {stone.id: stone for stone in stones}
                self._of_photo[sha256] = [stone.id for stone in stones]

    def _later(self, pieces: Sequence[JointPiece], looks: Sequence[Look]) -> set[tuple[str, int]]:
        """The stones on these photos that are further faces of what lies on the table, or of what comes before them."""
        photos = {look.ask.sha256: replace(look.on_photo, photo=look.ask.sha256) for look in looks}
        later: set[tuple[str, int]] = set()
        for piece in pieces:
            laid = [face for face in piece.faces if face.sha256 in self._of_photo]
            coming = [face for face in piece.faces if face.sha256 in photos]
            home = next(iter([*laid, *coming]), None)
            others = tuple(face for face in piece.faces if face is not home)
            later |= set(replace(piece, faces=others).places(photos))
        return later


@dataclass(frozen=True)
class _Numbers:
    """The faces on photos and the numbered pieces that they are of."""

    faces: Mapping[str, list[Any]]
    pieces: Mapping[str, stock.Piece]
    lots: Mapping[str, str]


def _numbers(ledger: Ledger, photos: set[str]) -> _Numbers:
    faces: dict[str, list[Any]] = {}
    for face in standing_faces(ledger, photos):
        faces.setdefault(face.sha256, []).append(face)
    uids = [face.piece for of_photo in faces.values() for face in of_photo]
    pieces = stock.pieces(ledger, uids=uids)
    return _Numbers(faces, pieces, _lot_codes(ledger, pieces))


def _lot_codes(ledger: Ledger, pieces: Mapping[str, stock.Piece]) -> dict[str, str]:
    """The numbers of the lots in which these pieces lie, by uid."""
    uids = {piece.lot for piece in pieces.values() if piece.lot}
    return {uid: lot.code for uid, lot in stock.lots(ledger, uids=uids).items()}


def _numbered(stone: TableStone, look: Look, numbers: _Numbers) -> dict[str, Any]:
    """The piece of which a stone is a face, with its number, haul and weight."""
    photo = look.on_photo
    place = FacePlace(
        stone.sha256, stone.piece, tuple(photo.boxes[stone.piece]),
        tuple(tuple(map(int, point)) for point in photo.outlines[stone.piece]),
    )  # fmt: skip
    here = (face for face in numbers.faces.get(stone.sha256, ()) if same_face(face, place))
    uid = next((face.piece for face in here), None)
    return {"of_piece": uid, **_of_piece(uid, numbers.pieces, numbers.lots)}


def _of_piece(
    uid: str | None, pieces: Mapping[str, stock.Piece], lots: Mapping[str, str]
) -> dict[str, Any]:
    """Number, haul, weight and lot of a piece; ``None`` where it bears no number."""
    piece = pieces.get(uid or "")
    if piece is None:
        return dict.fromkeys(("code", "haul", "net_g", "lot"))
    haul, lot = stock.read_code(piece.code)[0], lots.get(piece.lot or "")
    return {"code": piece.code, "haul": haul, "net_g": piece.net_g, "lot": lot}
