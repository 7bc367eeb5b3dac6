"""Photos looked at: from the ledger where they are known, else measured, on every core, and kept."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from grader.errors import GraderError, PhotoError
from grader.face.face import Face
from grader.face.words import NOTHING_SAID
from grader.grade import MeasuredPhoto, MeasuredPiece, facts_of, measure_file, shows_tag
from grader.grading.calls.joining import stone_words
from grader.ledger.store import Ledger
from grader.looks import Ask, Look, content_of, keep, known_looks, located, part_calls, photo_file
from grader.photo import patience
from grader.profile import Profile
from grader.report.result import measured_record, piece_record
from grader.report.stone_pictures import region_map, stone_pictures
from grader.workers.pool import Pool
from grader.workers.workers import Workers, internal, spread
from grader.working import measure_again, read_working, working_picture


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
    return keep(_in_time(located(ask, ledger), profile, ledger is not None), profile, ledger)


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
    workers: Workers | None = None,
    anew: bool = False,
) -> Iterator[tuple[int, Look | GraderError]]:
    """Yield the looks at many photos with their places in ``asks``: those that are known first, the others as they are
    done, each kept at once.

    Whatever goes wrong with one photo is its own error, so that it never stops the others; a ledger that cannot be
    written does.

    workers : who measures what is not known; by default processes of this computer, one a core.
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
    work = partial(_work, profile, ledger is not None)
    here = dict(to_do)
    for n, done in spread(work, to_do, workers or Pool()):
        yield (
            n,
            done if isinstance(done, GraderError) else keep(_at(here[n], done), profile, ledger),
        )


def _at(ask: Ask, look: Look) -> Look:
    """The same with its photos where they lie here: another computer may have seen them elsewhere."""
    paths = [ask.path, *ask.terms.same_face] if look.files else []
    files = [
        photo_file(path, file.sha256, file.width, file.height)
        for path, file in zip(paths, look.files, strict=True)
    ]
    return replace(look, ask=replace(look.ask, path=ask.path), files=tuple(files))


def _with_untagged(asks: Sequence[Ask], profile: Profile, ledger: Ledger | None) -> list[Ask]:
    """The same; those that ask for tags come with what is known of their photo without."""
    tagged = [n for n, ask in enumerate(asks) if ask.terms.tags]
    plain = [replace(asks[n], terms=replace(asks[n].terms, tags=False)) for n in tagged]
    found = dict(zip(tagged, known_looks(plain, profile, ledger), strict=True))
    return [replace(ask, untagged=found.get(n)) for n, ask in enumerate(asks)]


def _in_time(ask: Ask, profile: Profile, to_keep: bool) -> Look:
    """The same as :func:`_measure`; a photo that takes far longer than any good one is refused."""
    return patience.within(
        patience.LOOK_S, lambda: _measure(ask, profile, to_keep), ask.file, "look at"
    )


def _measure(ask: Ask, profile: Profile, to_keep: bool) -> Look:
    """The look at a photo, measured now; ``to_keep`` adds what it takes to measure its stones again without it.

    Where no tag is found, there is no more to measure than without asking for tags.
    """
    if ask.path is None:
        return _measure_kept(ask, profile)
    alone = not ask.terms.same_face
    if ask.untagged and alone and not shows_tag(ask.path, profile):
        record = ask.untagged.record
        return replace(
            ask.untagged,
            ask=replace(ask, untagged=None),
            record=record | {"photo": record["photo"] | {"tags": []}},
        )
    measured = measure_file(ask.path, ask.terms, profile, ask.words)
    if measured.photo.sha256 != ask.sha256:
        raise PhotoError(
            f"{measured.photo.name}: changed while it was looked at; run it again once it is copied",
            "changed",
        )
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
    patience.allow(patience.LOOK_S_PER_STONE * len(ask.kept.pictures))
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


def _work(profile: Profile, to_keep: bool, ask: Ask) -> Look | GraderError:
    """What is done with one photo, here or elsewhere; whatever goes wrong with it is its own error."""
    try:
        return _in_time(ask, profile, to_keep)
    except GraderError as err:
        return err
    except Exception as err:
        return internal(ask, f"{type(err).__name__}: {err}")
