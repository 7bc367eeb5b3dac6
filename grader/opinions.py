"""What people said, over the whole ledger: every call with its stone, where people differ, and who becomes stricter."""

import os
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path, PurePath

import numpy as np

from grader.errors import CallsError
from grader.grading.calls.joining import StoneFinder, Stones, house_call, join_calls
from grader.grading.disagreement import gap, pairs_of, stone_name
from grader.grading.features.facts import facts_from
from grader.grading.learning.drift import SecondLookShift, call_seasons, second_look_shift, shifts
from grader.grading.models.model import Model
from grader.grading.proposal import Call
from grader.ledger import photo_files, views
from grader.ledger.checked import Box
from grader.ledger.facts import Measured
from grader.ledger.joint import (
    JointPiece,
    calls_on_faces,
    joint_pieces,
    later_faces,
    piece_at,
    same_face,
)
from grader.ledger.store import Ledger
from grader.looks import Ask, Look, part_calls
from grader.photo.file import content_hash
from grader.photo.terms import terms_from
from grader.profile import Profile
from grader.report.call_list import ListedCall
from grader.report.calls import call_record, decides
from grader.report.disagreement import Disagreement, DisputedStone
from grader.report.drift import Drift

#: So many stones, those that divide people most, are enough to talk over at a table.
MOST_SHOWN = 20

#: A stone among all photos: content of the photo, and its piece as it was shown last.
Place = tuple[str, int]


@dataclass(frozen=True)
class Wanted:
    """Which calls are meant; all where nothing is said.

    by : whose.   stone : the seller's own name of a stone, or the name of a photo.   photo : file, or its name where it
    is gone.   since, until : first and last day, as the calls tell it.
    """

    by: str | None = None
    stone: str | None = None
    photo: Path | None = None
    since: date | None = None
    until: date | None = None


def listed_calls(
    ledger: Ledger, wanted: Wanted | None = None, *, lines: bool = False, taken_back: bool = False
) -> list[ListedCall]:
    """Return the calls that hold, the newest last, each with what is known of its stone.

    Parameters
    ----------
    lines : also words on lines and patches, behind the calls of their day.   taken_back : also calls that hold no more.

    Raises
    ------
    CallsError
        Nobody of that name has said anything; the names that there are are told.
    """
    wanted = wanted or Wanted()
    calls = views.calls(ledger, also_taken_back=True)
    pieces = joint_pieces(ledger)
    words = part_calls(None, ledger) if lines else ()
    _check_name(wanted.by, [*calls, *words])
    withdrawn = views.taken_back(ledger)
    holding = [call for call in calls if call.uid not in withdrawn]
    listed = [*(calls if taken_back else holding), *words]
    if wanted.photo is not None:
        contents = _contents(wanted.photo, ledger)
        listed = [call for call in listed if _on(call, wanted.photo, contents, pieces)]
    if lines:
        # Two tables have been put one behind the other; within a day each keeps its order.
        listed.sort(key=lambda call: call.time[:10])
    found = _with_stones(listed, holding, wanted, withdrawn, ledger)
    return _with_other_faces(found, pieces, ledger)


def _with_other_faces(
    listed: Sequence[ListedCall], pieces: Sequence[JointPiece], ledger: Ledger
) -> list[ListedCall]:
    """The same, each with the photos on which other faces of its piece were seen."""
    paths = photo_files.photo_paths(ledger, {face.sha256 for p in pieces for face in p.faces})
    names = {sha256: PurePath(places[0]).name for sha256, places in paths.items()}
    found = []
    for one in listed:
        piece = None if one.call.on_part else piece_at(one.call, pieces)
        faces = piece.faces if piece else ()
        others = [face.sha256 for face in faces if not same_face(face, one.call)]
        found.append(replace(one, faces=tuple(names.get(other, other[:12]) for other in others)))
    return found


def _with_stones(
    listed: Sequence[Call],
    holding: Sequence[Call],
    wanted: Wanted,
    withdrawn: Collection[str],
    ledger: Ledger,
) -> list[ListedCall]:
    """The calls that are meant, each with the name of its stone, which another call may have given, and why it is not
    found."""
    stones, lost = _places([*holding, *listed], ledger)
    names = {stones.get(call.uid, call.uid): call.stone for call in holding if call.stone}
    meant = [
        ListedCall(
            call,
            call.stone or names.get(stones.get(call.uid, call.uid)),
            lost.get(call.uid),
            call.uid in withdrawn,
        )
        for call in listed
        if _meant(call, wanted)
    ]
    if wanted.stone is None:
        return meant
    return [one for one in meant if wanted.stone in (one.name, one.call.photo)]


def _check_name(by: str | None, calls: Sequence[Call]) -> None:
    if by is None or any(call.by == by for call in calls):
        return
    names = sorted({call.by for call in calls if call.by})
    known = f"; calls there are by {', '.join(names)}" if names else ""
    raise CallsError(f"no call by {by}{known}")


def _meant(call: Call, wanted: Wanted) -> bool:
    day = call.time[:10]
    return (
        (wanted.by is None or call.by == wanted.by)
        and (wanted.since is None or day >= wanted.since.isoformat())
        and (wanted.until is None or day <= wanted.until.isoformat())
    )


def _contents(photo: Path, ledger: Ledger) -> set[str]:
    """What that file holds, and what it held when it was graded before."""
    path = str(photo.resolve())
    contents = set(photo_files.contents_at(ledger, [path]).get(path, ()))
    return contents | ({content_hash(photo)} if photo.is_file() else set())


def _on(call: Call, photo: Path, contents: set[str], pieces: Sequence[JointPiece]) -> bool:
    """Whether a call is on a stone of that photo, or on another face of the same piece."""
    if not contents:
        return call.photo == photo.name
    piece = None if call.sha256 in contents or call.on_part else piece_at(call, pieces)
    return call.sha256 in contents or bool(
        piece and any(face.sha256 in contents for face in piece.faces)
    )


def _places(calls: Iterable[Call], ledger: Ledger) -> tuple[dict[str, Place], dict[str, str]]:
    """By uid of the call: its stone as the photo was shown last, and why it has none or the photo is not there."""
    calls = {call.uid: call for call in calls}
    photos = {call.sha256 for call in calls.values()}
    boxes, last = views.boxes(ledger, photos), views.last_looks(ledger, photos)
    gone = _missing_photos(photos, ledger)
    places: dict[str, Place] = {}
    lost: dict[str, str] = {}
    unsure = []
    for uid, call in calls.items():
        stones = boxes.get(call.sha256, {})
        piece = call.piece if call.measured and call.measured == last.get(call.sha256) else None
        piece = piece if piece in stones else _same_box(call.box, stones)
        if piece is not None:
            places[uid] = call.sha256, piece
        elif call.sha256 in last:
            unsure.append(call)
        else:
            lost[uid] = "stone not found: its photo was never graded with this ledger"
    for uid, found in _by_outline(unsure, ledger).items():
        if isinstance(found, tuple):
            places[uid] = found
        else:
            lost[uid] = f"stone not found: {found}"
    for uid, call in calls.items():
        if uid not in lost and (why := gone.get(call.sha256)):
            lost[uid] = why
    return places, lost


def _same_box(box: Box, stones: Mapping[int, Box]) -> int | None:
    return next((piece for piece, other in stones.items() if other == box), None)


def _by_outline(calls: Sequence[Call], ledger: Ledger) -> dict[str, Place | str]:
    """The stones of calls that were made beside another measurement: by outlines, which take time to read."""
    if not calls:
        return {}
    photos = {call.sha256 for call in calls}
    outlined = {call.uid: call for call in views.calls(
        ledger, sha256=photos, also_taken_back=True, outlines=True
    )}  # fmt: skip
    finder = StoneFinder([_stones(look) for look in _looks(photos, ledger).values()])
    found: dict[str, Place | str] = {}
    for call in calls:
        call = outlined.get(call.uid, call)
        try:
            found[call.uid] = call.sha256, finder.piece(call, finder.photos(call)[0])
        except ValueError:
            found[call.uid] = "none overlaps the called one by half or more; call it again"
    return found


def _missing_photos(photos: Iterable[str], ledger: Ledger) -> dict[str, str]:
    """Photos of which no file is left where one was seen, with that in words; their content is not read again."""
    return {
        sha256: f"photo gone from {paths[0]}"
        for sha256, paths in photo_files.photo_paths(ledger, photos).items()
        if not any(map(os.path.isfile, paths))
    }


def _looks(photos: Iterable[str], ledger: Ledger) -> dict[str, Look]:
    """The last looks at photos, by content, also where photo and pictures are gone: for stones and proposals."""
    uids = views.last_looks(ledger, list(photos))
    facts = views.measured_by_uid(ledger, uids.values())
    return {sha256: _bare_look(facts[uid].fact, ledger) for sha256, uid in uids.items()}


def _bare_look(fact: Measured, ledger: Ledger) -> Look:
    ask = Ask(None, fact.record["photo"]["file"], fact.sha256, terms_from(fact.terms))
    stones = tuple(facts_from(fact.stones[piece["id"]]) for piece in fact.record["pieces"])
    pictures = {
        piece: {what: ledger.pictures.path(name) for what, name in names.items()}
        for piece, names in fact.pictures.items()
    }
    return Look(ask, fact.record, stones, pictures, uid=fact.uid)


def _stones(look: Look) -> Stones:
    # Two folders may hold photos of one name.
    return replace(look.on_photo, photo=look.ask.sha256)


def disagreement(
    ledger: Ledger,
    profile: Profile,
    model: Model,
    decider: str | None = None,
    *,
    on_stone: Callable[[int, int], None] = lambda done, total: None,
) -> Disagreement:
    """Return where people differ: in another grade, or scenes that lie far apart; the stones that divide them most.

    decider : whose word counts; else that of who spoke last.   on_stone : told how many of how many stones are done.
    """
    callers = defaultdict(set)
    for call in views.calls(ledger):
        callers[call.sha256].add(call.by)
    pieces = joint_pieces(ledger)
    photos = {sha256 for sha256, people in callers.items() if len(people) > 1}
    photos |= {face.sha256 for piece in pieces for face in piece.faces}
    looks = _looks(photos, ledger)
    stones_on = {sha256: _stones(look) for sha256, look in looks.items()}
    joined = join_calls(stones_on.values(), calls_on_faces(ledger, set(looks))).by_person
    # Of a piece with several faces one tells of it.
    later = later_faces(pieces, stones_on)
    several = {p: people for p, people in joined.items() if len(people) > 1 and p not in later}
    apart = {place: gap(people, profile.grades) for place, people in several.items()}
    farthest_first = sorted(filter(apart.get, several), key=apart.get, reverse=True)
    order = _one_photo_a_piece(farthest_first, several)
    shown = order[:MOST_SHOWN]
    graded: dict[str, dict] = {}
    stones = []
    for number, (sha256, piece) in enumerate(shown, start=1):
        look = looks[sha256]
        if sha256 not in graded:
            graded[sha256] = look.graded(profile, model)
        stones.append(_disputed(several[sha256, piece], graded[sha256], piece, decider, look))
        on_stone(number, len(shown))
    in_grade = sum(len({c.grade for c in several[place]} - {None}) > 1 for place in order)
    return Disagreement(
        tuple(stones),
        pairs_of(several.values(), profile.grades, np.random.default_rng(0)),
        len(_one_photo_a_piece(several, several)),
        in_grade,
        len(order) - in_grade,
        drift_of_people(ledger, profile.grades),
    )


def _one_photo_a_piece(
    order: Iterable[Place], people: Mapping[Place, Sequence[Call]]
) -> list[Place]:
    """The places in this order, of several photos of a named piece the first one alone."""
    first: dict[str | Place, Place] = {}
    for place in order:
        first.setdefault(stone_name(people[place]) or place, place)
    return list(first.values())


def _disputed(
    people: Sequence[Call], record: dict, number: int, decider: str | None, look: Look
) -> DisputedStone:
    piece = next(piece for piece in record["pieces"] if piece["id"] == number)
    house = house_call(people, decider)
    return DisputedStone(
        # Its name when it was called: in the record it may have its path.
        people[-1].photo,
        number,
        _sheet_picture(look, number),
        tuple(call_record(call) for call in people),
        call_record(house) | {"decided": decides(house, people, decider)},
        piece["proposal"],
        tuple(call.shown and call.shown.grade for call in people),
    )


def _sheet_picture(look: Look, piece: int) -> bytes | None:
    try:
        return look.sheet_picture(piece)
    except (OSError, KeyError):
        return None


def drift_of_people(ledger: Ledger, grades: Sequence[str]) -> Drift:
    """Return whether people have become stricter or milder: by their calls beside a model, and by their last second
    look at what they had called themselves."""
    calls = views.calls(ledger)
    people = {call.by for call in calls}
    looks: dict[str | None, SecondLookShift] = {}
    for resort in views.resorts(ledger):
        # A look at everybody's calls is one at one's own where nobody else called.
        own = resort.of == resort.author if resort.of is not None else people == {resort.author}
        rungs = [
            (grades.index(resort.first[stone]), grades.index(grade))
            for stone, grade in resort.answers.items()
            if grade in grades and resort.first[stone] in grades
        ]
        look = second_look_shift(resort.author, resort.time[:10], rungs) if own else None
        if look:
            looks[resort.author] = look
    return Drift(call_seasons(calls, grades), shifts(calls, grades), tuple(looks.values()))
