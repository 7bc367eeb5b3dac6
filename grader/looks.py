"""Photos looked at: measured once, kept in the ledger, graded from what is kept as often as a model changes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from grader.errors import PhotoError
from grader.files import path_text
from grader.grading.calls.joining import SAME_STONE, Stones, outline_overlap
from grader.grading.features.facts import StoneFacts, facts_from
from grader.grading.models.model import Model
from grader.grading.proposal import Call
from grader.grading.propose import propose, scene_estimate
from grader.ledger import photo_files, views
from grader.ledger.facts import (
    Entry,
    FaceOfPiece,
    FacePlace,
    Fact,
    Measured,
    NamedPiece,
    PhotoFile,
    SavedLineWord,
    SavedRegionWord,
)
from grader.ledger.facts import Look as Looked
from grader.ledger.joint import calls_on_faces
from grader.ledger.store import Ledger
from grader.measures import MEASUREMENT_VERSION
from grader.photo.file import content_hash
from grader.photo.terms import PhotoTerms, terms_from
from grader.profile import Profile
from grader.report.calls import stones_of
from grader.report.result import graded_record
from grader.report.stone_pictures import SHOWN


@dataclass(frozen=True)
class Ask:
    """A photo to be looked at: where it lies, what to call it, its content, what is said of it and of its lines.

    path : ``None`` where it is still to be found by its content (:func:`located`); where the photo is gone, it is
    measured from what is ``kept`` of it, an earlier look.
    untagged : the look that holds where tags are asked for and the photo shows none, if there is one already.
    """

    path: Path | None
    file: str
    sha256: str
    terms: PhotoTerms
    words: tuple[Call, ...] = ()
    kept: "Look | None" = None
    untagged: "Look | None" = None


@dataclass(frozen=True)
class Look:
    """One photo as it was looked at, in plain data.

    record : of the photo, without proposals and calls.   stones : what each piece is graded by, in its order.
    pictures : by piece, what is kept of it: the working picture, its record and the pictures for sheets.
    files : where the photo and those of the same face lay, if it was measured from them.
    uid : of the measurement in the ledger, ``None`` where none is kept.   known : whether it was there before.
    """

    ask: Ask
    record: dict
    stones: tuple[StoneFacts, ...]
    pictures: Mapping[int, Mapping[str, bytes | Path]] = field(default_factory=dict)
    files: tuple[PhotoFile, ...] = ()
    uid: str | None = None
    known: bool = False

    def sheet_picture(self, piece: int) -> bytes:
        """Return the small JPEG of a piece for sheets."""
        return content_of(self.pictures[piece]["sheet"])

    def stone_pictures(self, piece: int) -> dict[str, bytes]:
        """Return what is kept of a piece to be shown, by its name in ``SHOWN``; of earlier looks not all of it."""
        kept = self.pictures[piece]
        return {what: content_of(kept[what]) for what in SHOWN if what in kept}

    def graded(self, profile: Profile, model: Model) -> dict:
        """Return the record with what a model says of each piece, under the name that the photo has now."""
        scenes = [scene_estimate(facts, model) for facts in self.stones]
        says = [
            (scene, propose(facts, scene, profile, model))
            for facts, scene in zip(self.stones, scenes, strict=True)
        ]
        return graded_record(self.record, says)

    @property
    def on_photo(self) -> Stones:
        """The stones of the photo, as calls are joined to them."""
        return stones_of(self.record)


def place_of(look: Look, piece: int) -> FacePlace:
    """Return where a face lies on its photo, as facts name it."""
    outline = tuple(tuple(map(int, point)) for point in look.on_photo.outlines[piece])
    return FacePlace(look.ask.sha256, piece, tuple(look.on_photo.boxes[piece]), outline)


def ask_for(
    path: str | Path, terms: PhotoTerms, ledger: Ledger | None, file: str | None = None
) -> Ask:
    """Return what it takes to look at a photo, with the words on its lines and patches that hold.

    Raises
    ------
    PhotoError
        It cannot be read, or is no file: one line.
    """
    ask = Ask(Path(path), file or str(path), content_hash(path), terms)
    return with_words([ask], ledger)[0]


def with_words(asks: Sequence[Ask], ledger: Ledger | None) -> list[Ask]:
    """Return the same with what was said of lines and patches on their photos until now."""
    words: dict[str, list[Call]] = {ask.sha256: [] for ask in asks}
    for call in part_calls(words, ledger) if ledger is not None else ():
        words[call.sha256].append(call)
    return [replace(ask, words=tuple(words[ask.sha256])) for ask in asks]


def line_calls(sha256: views.Hashes, ledger: Ledger) -> tuple[Call, ...]:
    """Return what was said of lines on photos, ``None`` for all, in the order of saying."""
    return tuple(_part_call(entry) for entry in views.line_words(ledger, sha256))


def patch_calls(sha256: views.Hashes, ledger: Ledger) -> tuple[Call, ...]:
    """Return what was said of patches on photos, ``None`` for all, in the order of saying."""
    return tuple(_part_call(entry) for entry in views.region_words(ledger, sha256))


def part_calls(sha256: views.Hashes, ledger: Ledger) -> tuple[Call, ...]:
    """Return what was said of parts of stones on photos: of lines, then of patches, each in the order of saying."""
    hashes = sha256 if sha256 is None or isinstance(sha256, str) else list(sha256)
    return (*line_calls(hashes, ledger), *patch_calls(hashes, ledger))


def _part_call(entry: Entry[SavedLineWord] | Entry[SavedRegionWord]) -> Call:
    fact = entry.fact
    of_line = isinstance(fact, SavedLineWord)
    return Call(
        photo=fact.photo,
        sha256=fact.sha256,
        piece=fact.piece_id,
        box=fact.box,
        grade=None,
        scene=None,
        by=entry.author,
        time=entry.time,
        note=fact.note if of_line else None,
        line=fact.word if of_line else None,
        uid=fact.uid,
        outline=fact.outline,
        measured=fact.measured if of_line else None,
        patch=None if of_line else fact.word,
    )


def calls_on(looks: Sequence[Look], ledger: Ledger | None) -> list[Call]:
    """Return the calls that hold on these photos, in the order of making; also those on an earlier content of the same
    file, which then follow the stones that lie where theirs lay, and those on other faces of the same piece."""
    if ledger is None:
        return []
    now = {look.ask.sha256 for look in looks}
    files = {_place(look.ask.path): look.ask.file for look in looks if look.ask.path}
    earlier = {
        sha256: files[path]
        for path, contents in photo_files.contents_at(ledger, files).items()
        for sha256 in contents
        if sha256 not in now
    }
    calls = calls_on_faces(ledger, {*now, *earlier})
    return [replace(c, photo=earlier[c.sha256]) if c.sha256 in earlier else c for c in calls]


def _place(path: Path) -> str:
    """The whole path of a photo as the ledger has it; one that is no UTF-8 leads nowhere later, as if it were gone."""
    return path_text(path.resolve())


def known_looks(asks: Sequence[Ask], profile: Profile, ledger: Ledger | None) -> list[Look | None]:
    """Return, for each photo, the look that the ledger holds, ``None`` without one: same content, terms, words on
    lines, measurement version and profile."""
    if ledger is None:
        return [None] * len(asks)
    ways = [
        views.Way(
            ask.sha256,
            terms_record(ask.terms),
            _uids_of_lines(ask),
            MEASUREMENT_VERSION,
            profile.sha256,
            _uids_of_patches(ask),
        )
        for ask in asks
    ]
    uids: list[str | None] = [None] * len(ways)
    left = list(range(len(ways)))
    while left:
        # One way of each photo at a time: hardly any is asked for in two.
        now = {ways[n].sha256: n for n in left}
        found = views.measured_uids(ledger, [ways[n] for n in now.values()])
        for sha256, n in now.items():
            uids[n] = found.get(sha256)
        left = [n for n in left if now[ways[n].sha256] != n]
    looks = [_kept_again(ask, uid) for ask, uid in zip(asks, uids, strict=True)]
    to_read = [n for n, look in enumerate(looks) if look is None and uids[n]]
    facts = views.measured_by_uid(ledger, [uids[n] for n in to_read])
    for n in to_read:
        looks[n] = _from_ledger(asks[n], facts[uids[n]].fact, ledger)
    return looks


def _uids_of_lines(ask: Ask) -> tuple[str, ...]:
    return tuple(word.uid for word in ask.words if word.line is not None)


def _uids_of_patches(ask: Ask) -> tuple[str, ...]:
    return tuple(word.uid for word in ask.words if word.patch is not None)


def _kept_again(ask: Ask, uid: str | None) -> Look | None:
    """The earlier look that an ask comes with, where it is the one asked for: it need not be read again."""
    kept = ask.kept
    if kept is None or not kept.known or kept.uid != uid:
        return None
    same = (ask.file, ask.terms) == (kept.ask.file, kept.ask.terms)
    return replace(kept, ask=ask) if same else None


def terms_record(terms: PhotoTerms) -> dict:
    """Return the terms as they are kept: photos of the same face by their content."""
    hashes = tuple(
        photo if isinstance(photo, str) and _is_hash(photo) else content_hash(photo)
        for photo in terms.same_face
    )
    return replace(terms, same_face=hashes).as_record()


def _is_hash(text: str) -> bool:
    return len(text) == 64 and not set(text) - set("0123456789abcdef")


def keep(look: Look, profile: Profile, ledger: Ledger | None) -> Look:
    """Return the look as it lies in the ledger: pictures first, then all facts of the photo at once."""
    if ledger is None:
        return look
    ask, photo = look.ask, look.record["photo"]
    names = {
        piece: {
            what: ledger.pictures.put(content_of(content), _SUFFIX[what])
            for what, content in pictures.items()
        }
        for piece, pictures in look.pictures.items()
    }
    measured = Measured(
        sha256=photo["sha256"],
        terms=terms_record(ask.terms),
        line_words=_uids_of_lines(ask),
        region_words=_uids_of_patches(ask),
        measurement_version=MEASUREMENT_VERSION,
        profile=profile.name,
        profile_sha256=profile.sha256,
        record=look.record,
        stones={
            piece["id"]: facts.as_record()
            for piece, facts in zip(look.record["pieces"], look.stones, strict=True)
        },
        pictures=names,
    )
    facts: list[Fact] = [*look.files, measured, *_new_pieces(look.on_photo, ledger)]
    ledger.add(*facts)
    return replace(look, uid=measured.uid)


def photo_file(path: str | Path, sha256: str, width: int, height: int) -> PhotoFile:
    """Return that a photo of this content lies there; width and height in px, upright."""
    path = Path(path)
    return PhotoFile(
        sha256=sha256, name=path_text(path.name), path=_place(path), width=width, height=height
    )


#: What is kept of a stone beside its numbers; the working picture tells its own format.
_SUFFIX = {
    "working": "img",
    "working_record": "json",
    "sheet": "jpg",
    "photo": "jpg",
    "regions": "png",
}


def shown(looks: Sequence[Look], ledger: Ledger | None) -> None:
    """Note that a person saw these looks last of their photos: words on lines mean the numbers of these. And note where
    their photos lie now, if they were moved."""
    if ledger is None:
        return
    last = views.last_looks(ledger, [look.ask.sha256 for look in looks])
    new = [look for look in looks if look.uid and last.get(look.ask.sha256) != look.uid]
    noted = [Looked(sha256=look.ask.sha256, measured=look.uid) for look in new]
    ledger.add(*_moved(looks, ledger), *noted)


def _moved(looks: Sequence[Look], ledger: Ledger) -> list[PhotoFile]:
    """Where photos lie that the ledger knows, but not there."""
    now = {}
    for look in looks:
        if look.known and look.ask.path is not None:
            hashes = [photo["sha256"] for photo in look.record["photos"]]
            now |= zip(hashes, [look.ask.path, *look.ask.terms.same_face], strict=False)
    known, sizes = photo_files.photo_paths(ledger, now), photo_files.photo_sizes(ledger, now)
    return [
        photo_file(path, sha256, *sizes[sha256])
        for sha256, path in now.items()
        if sha256 in sizes and _place(Path(path)) not in known[sha256]
    ]


def last_look(sha256: str, ledger: Ledger) -> Look | None:
    """Return the photo as it was shown last, ``None`` where it never was; its numbers and lines are those then."""
    entry = views.last_look(ledger, sha256)
    return None if entry is None else look_of(entry.fact, ledger)


def look_of(fact: Measured, ledger: Ledger) -> Look | None:
    """Return the look that a fact of the ledger holds, ``None`` where what was kept of it is gone."""
    file = fact.record["photo"]["file"]
    return _from_ledger(Ask(None, file, fact.sha256, terms_from(fact.terms)), fact, ledger)


def asks_again(looks: Sequence[Look], ledger: Ledger) -> list[Ask]:
    """Return what it takes to look at photos again on the terms of earlier looks, with today's words."""
    asks = [Ask(None, look.ask.file, look.ask.sha256, look.ask.terms, kept=look) for look in looks]
    return with_words(asks, ledger)


def located(ask: Ask, ledger: Ledger | None) -> Ask:
    """Return the same with the files of the photo and of those of the same face, found by their content; without the
    photo's where one of them is gone."""
    if ask.path is not None or ledger is None:
        return ask
    wanted = [ask.sha256, *map(str, ask.terms.same_face)]
    paths = [path_of(sha256, ledger) for sha256 in wanted]
    if None in paths:
        return ask
    return replace(ask, path=paths[0], terms=replace(ask.terms, same_face=tuple(paths[1:])))


def path_of(sha256: str, ledger: Ledger) -> Path | None:
    """Return where a photo of that content lies now, of the places where it was seen; ``None`` where it is gone."""
    for path in photo_files.photo_paths(ledger, sha256).get(sha256, ()):
        try:
            if content_hash(path) == sha256:
                return Path(path)
        except PhotoError:
            continue
    return None


def _new_pieces(photo: Stones, ledger: Ledger) -> list[Fact]:
    """A piece for each face that no piece has yet: the same face photographed or measured twice is one."""
    known = [entry.fact for entry in views.faces(ledger, photo.sha256)]
    facts: list[Fact] = []
    for piece, outline in photo.outlines.items():
        if any(
            face.outline and outline_overlap(face.outline, outline) >= SAME_STONE for face in known
        ):
            continue
        new = NamedPiece()
        points = tuple((int(x), int(y)) for x, y in outline)
        face = FaceOfPiece(
            piece=new.uid, sha256=photo.sha256, box=photo.boxes[piece], outline=points
        )
        facts += [new, face]
    return facts


def _from_ledger(ask: Ask, fact: Measured, ledger: Ledger) -> Look | None:
    """The look that a fact holds; ``None`` where a picture of it is gone, so that it is made anew."""
    pictures = {
        piece: {what: ledger.pictures.path(name) for what, name in names.items()}
        for piece, names in fact.pictures.items()
    }
    if not all(path.is_file() for paths in pictures.values() for path in paths.values()):
        return None
    record = fact.record | {"photo": fact.record["photo"] | {"file": ask.file}}
    further = [str(photo) for photo in ask.terms.same_face]
    names = [ask.file, *further][: len(record["photos"])]
    record["photos"] = [
        shown | {"file": name} for shown, name in zip(record["photos"], names, strict=True)
    ]
    stones = tuple(facts_from(fact.stones[piece["id"]]) for piece in record["pieces"])
    return Look(ask, record, stones, pictures, uid=fact.uid, known=True)


def content_of(picture: bytes | Path) -> bytes:
    """Return a picture of a look, wherever it lies."""
    return picture if isinstance(picture, bytes) else picture.read_bytes()
