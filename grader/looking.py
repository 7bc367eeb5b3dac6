"""Photos looked at: from the ledger where they are known, else measured, on every core, and kept."""

import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from threading import Thread
from time import sleep

from grader.errors import GraderError, PhotoError
from grader.face.face import Face
from grader.face.words import NOTHING_SAID
from grader.grade import MeasuredPhoto, MeasuredPiece, facts_of, measure_file, shows_tag
from grader.grading.calls.joining import stone_words
from grader.ledger.store import Ledger
from grader.looks import Ask, Look, content_of, keep, known_looks, located, part_calls, photo_file
from grader.photo import memory
from grader.profile import Profile
from grader.report.result import measured_record, piece_record
from grader.report.stone_pictures import region_map, stone_pictures
from grader.working import measure_again, read_working, working_picture

#: A worker whose program was killed ends after so long.
ORPHAN_ENDS_S = 2.0


def look_at(ask: Ask, profile: Profile, ledger: Ledger | None, *, anew: bool = False) -> Look:
    """Return the look at one photo: from the ledger, else measured and kept there.

    Raises
    ------
    GraderError
        The photo cannot be read or measured: one line.
    """
    if not anew and (look := known_looks([ask], profile, ledger)[0]):
        return look
    if not anew:
        (ask,) = _with_untagged([ask], profile, ledger)
    return keep(_measure(located(ask, ledger), profile, ledger is not None), profile, ledger)


def measured_again(ask: Ask, profile: Profile) -> MeasuredPhoto:
    """Return the photo with its arrays, for pictures; measured as :func:`look_at` does."""
    return measure_file(ask.path, ask.terms, profile, ask.words)


def stone_again(look: Look, piece: int, profile: Profile, ledger: Ledger) -> MeasuredPiece:
    """Return a stone of a kept look measured again, with its arrays, from the picture kept of it."""
    words = stone_words(look.on_photo, part_calls(look.ask.sha256, ledger))
    kept = {what: content_of(look.pictures[piece][what]) for what in ("working", "working_record")}
    return measure_again(
        kept["working"], json.loads(kept["working_record"]), profile, words.get(piece, NOTHING_SAID)
    )


def kept_face(look: Look, piece: int) -> Face:
    """Return the face of a stone of a kept look, from the picture kept of it; nothing is measured."""
    kept = {what: content_of(look.pictures[piece][what]) for what in ("working", "working_record")}
    return read_working(kept["working"], json.loads(kept["working_record"])).face


def look_at_all(
    asks: Sequence[Ask],
    profile: Profile,
    ledger: Ledger | None,
    *,
    workers: int | None = None,
    anew: bool = False,
) -> Iterator[tuple[int, Look | GraderError]]:
    """Yield the looks at many photos with their places in ``asks``: those that are known first, the others as they are
    done, each kept at once.

    Whatever goes wrong with one photo is its own error, so that it never stops the others; a ledger that cannot be
    written does.

    workers : processes, as many as there are cores by default; 1 works in this process.
    """
    known = [None] * len(asks) if anew else known_looks(asks, profile, ledger)
    yield from ((n, look) for n, look in enumerate(known) if look is not None)
    left = [n for n, look in enumerate(known) if look is None]
    new = (
        [asks[n] for n in left]
        if anew
        else _with_untagged([asks[n] for n in left], profile, ledger)
    )
    to_do = [(n, located(ask, ledger)) for n, ask in zip(left, new, strict=True)]
    kept = ledger is not None
    for n, done in _measure_all(to_do, profile, kept, workers or os.cpu_count() or 1):
        yield n, done if isinstance(done, GraderError) else keep(done, profile, ledger)


def _with_untagged(asks: Sequence[Ask], profile: Profile, ledger: Ledger | None) -> list[Ask]:
    """The same; those that ask for tags come with what is known of their photo without."""
    tagged = [n for n, ask in enumerate(asks) if ask.terms.tags]
    plain = [replace(asks[n], terms=replace(asks[n].terms, tags=False)) for n in tagged]
    found = dict(zip(tagged, known_looks(plain, profile, ledger), strict=True))
    return [replace(ask, untagged=found.get(n)) for n, ask in enumerate(asks)]


def _measure(ask: Ask, profile: Profile, to_keep: bool) -> Look:
    """The look at a photo, measured now; ``to_keep`` adds what it takes to measure its stones again without it.

    Where no tag is found, there is no more to measure than without asking for tags.
    """
    if ask.path is None:
        return _measure_kept(ask, profile)
    if ask.untagged and not shows_tag(ask.path, profile):
        record = ask.untagged.record
        return replace(
            ask.untagged,
            ask=replace(ask, untagged=None),
            record=record | {"photo": record["photo"] | {"tags": []}},
            pictures={
                piece: {what: content_of(content) for what, content in of_piece.items()}
                for piece, of_piece in ask.untagged.pictures.items()
            },
        )
    measured = measure_file(ask.path, ask.terms, profile, ask.words)
    photos = [measured.photo, *(other.photo for other in measured.same_face)]
    files = tuple(
        photo_file(path, photo.sha256, photo.width, photo.height)
        for path, photo in zip([ask.path, *ask.terms.same_face], photos, strict=True)
    )
    return Look(
        ask,
        measured_record(measured, ask.file),
        tuple(facts_of(piece, profile) for piece in measured.pieces),
        {piece.piece.id: _pictures(piece, measured, to_keep) for piece in measured.pieces},
        files,
    )


def _measure_kept(ask: Ask, profile: Profile) -> Look:
    """A look from the working pictures of an earlier one; what is said of the photo as a whole stays as it was."""
    if ask.kept is None:
        raise PhotoError(f"{ask.file}: the photo is gone; put it back", "missing")
    words = stone_words(ask.kept.on_photo, ask.words)
    pictures = {
        piece: {what: content_of(content) for what, content in of_piece.items()}
        for piece, of_piece in ask.kept.pictures.items()
    }
    pieces = [
        measure_again(
            of_piece["working"],
            json.loads(of_piece["working_record"]),
            profile,
            words.get(piece, NOTHING_SAID),
        )
        for piece, of_piece in sorted(pictures.items())
    ]
    old = ask.kept.record
    size = old["photo"]["width"], old["photo"]["height"]
    for piece in pieces:
        pictures[piece.piece.id]["regions"] = region_map(piece, *size)
    record = old | {"pieces": [piece_record(piece, *size) for piece in pieces]}
    return Look(ask, record, tuple(facts_of(piece, profile) for piece in pieces), pictures)


def _pictures(piece: MeasuredPiece, measured: MeasuredPhoto, to_keep: bool) -> dict[str, bytes]:
    shown = stone_pictures(measured.photo, piece)
    if not to_keep:
        return shown
    working, record = working_picture(piece, measured.photo, measured.reference)
    return shown | {
        "working": working,
        "working_record": json.dumps(record, allow_nan=False).encode(),
    }


def _measure_all(
    asks: list[tuple[int, Ask]], profile: Profile, to_keep: bool, workers: int
) -> Iterator[tuple[int, Look | GraderError]]:
    """Looks with their numbers, in the order in which they are done."""
    workers = min(workers, len(asks))
    if workers <= 1:
        yield from ((n, _work(ask, profile, to_keep)) for n, ask in asks)
        return
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import BrokenProcessPool

    left = dict(asks)
    pool = Parallel(n_jobs=workers, return_as="generator_unordered", pre_dispatch="2*n_jobs")
    try:
        work = delayed(_numbered_work)
        jobs = (work(os.getpid(), workers, n, ask, profile, to_keep) for n, ask in asks)
        for n, done in pool(jobs):
            del left[n]
            yield n, done
    except BrokenProcessPool:
        # One photo brought its process down, and the pool with it: the rest one by one, each in its own process.
        for n, ask in list(left.items()):
            yield n, _work_apart(ask, profile, to_keep)


def _numbered_work(
    parent: int, workers: int, n: int, ask: Ask, profile: Profile, to_keep: bool
) -> tuple[int, Look | GraderError]:
    import cv2

    _end_with(parent)
    memory.share_among(workers)
    cv2.setNumThreads(1)  # One photo per core; threads inside would only fight.
    return n, _work(ask, profile, to_keep)


@cache
def _end_with(parent: int) -> None:
    """Let this worker end soon after the process that it works for, which cannot call it off when it is killed."""

    def watch() -> None:
        # Whose parent is gone belongs to another one; where the system does not say so, this waits in vain.
        while os.getppid() == parent:
            sleep(ORPHAN_ENDS_S)
        os._exit(1)

    Thread(target=watch, daemon=True).start()


def _work(ask: Ask, profile: Profile, to_keep: bool) -> Look | GraderError:
    try:
        return _measure(ask, profile, to_keep)
    except GraderError as err:
        return err
    except Exception as err:
        return _internal(ask.file, f"{type(err).__name__}: {err}")


def _work_apart(ask: Ask, profile: Profile, to_keep: bool) -> Look | GraderError:
    from joblib.externals.loky import get_reusable_executor
    from joblib.externals.loky.process_executor import BrokenProcessPool

    try:
        return get_reusable_executor(max_workers=1).submit(_work, ask, profile, to_keep).result()
    except BrokenProcessPool:
        return _internal(ask.file, "the process ended, perhaps for lack of memory")


def _internal(file: str, what: str) -> PhotoError:
    line = " ".join(what.split())
    return PhotoError(
        f"{file}: could not be measured ({line}); the others are not touched", "internal"
    )
