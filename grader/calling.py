"""From what the seller says to facts that hold their stone: calls, words on lines, and what is taken back."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any

from grader.errors import CallsError, GraderError
from grader.grading.calls.calls import ReadCalls, RowRemark, known_grade
from grader.grading.calls.calls_csv import read_calls_csv
from grader.grading.calls.joining import place_calls, same_stone
from grader.grading.features.facts import LineFacts
from grader.grading.proposal import Call
from grader.ledger import views
from grader.ledger.facts import Entry, SavedCall, SavedLineWord, TakenBack
from grader.ledger.joint import calls_on_faces
from grader.ledger.store import Ledger
from grader.looking import look_at, look_at_all
from grader.looks import Ask, Look, ask_for, asks_again, calls_on, last_look, shown
from grader.photo.file import content_hash
from grader.photo.terms import PhotoTerms
from grader.pieces import joined_pieces, with_pieces
from grader.profile import Profile
from grader.report.calls import shown_of, with_calls
from grader.session import Session
from grader.workers.pool import Pool


def look_shown(path: Path, terms: PhotoTerms, profile: Profile, ledger: Ledger) -> Look:
    """Return the look at a photo that a person saw last; one that nobody has seen is looked at on these terms.

    Raises
    ------
    GraderError
        The photo cannot be read.
    """
    last = last_look(content_hash(path), ledger)
    if last is not None:
        return replace(last, ask=replace(last.ask, path=path, file=str(path)))
    look = look_at(ask_for(path, terms, ledger), profile, ledger)
    shown([look], ledger)
    return look


def place_on(look: Look, call: Call) -> Call:
    """Return a call on the stone of that look which it means, with what it lies on.

    Raises
    ------
    CallsError
        There is no such stone.
    """
    read = place_calls(ReadCalls((call,), (1,)), [replace(look.on_photo, photo=call.photo)])
    if read.refused:
        raise CallsError(read.refused[0].text)
    return replace(read.calls[0], measured=look.uid)


def fields_of_stone(call: Call) -> dict[str, Any]:
    """Return the fields by which every fact says on which stone of which photo a placed call is."""
    return {
        "sha256": call.sha256,
        "photo": PurePosixPath(call.photo).name,
        "piece_id": call.piece,
        "box": call.box,
        "outline": call.outline,
    }


def line_fact(
    look: Look, call: Call, line: int, says: str, found: str | None = None, how: str | None = None
) -> SavedLineWord:
    """Return the word on the line that bears this number in a look, for a call that is placed on its stone."""
    piece = next(piece for piece in look.record["pieces"] if piece["id"] == call.piece)
    lines = {one["id"]: one for one in piece["cracks"]["lines"]}
    return SavedLineWord(
        **fields_of_stone(call),
        measured=look.uid,
        line=line,
        points=[tuple(point) for point in lines[line]["points"]],
        says=says,
        found=found,
        how=how,
        note=call.note,
    )


def call_fact(call: Call) -> SavedCall:
    """Return a placed call as a fact; one that bears a uid keeps it, so that said twice it is kept once."""
    own = {} if call.uid is None else {"uid": call.uid}
    return SavedCall(
        **own,
        **fields_of_stone(call),
        measured=call.measured,
        grade=call.grade,
        scene=call.scene,
        note=call.note,
        stone=call.stone,
        shown=call.shown,
    )


def save_calls(calls: Sequence[Call], ledger: Ledger) -> None:
    """Add placed calls to the ledger, all or none, each with its own sayer and time."""
    ledger.take([Entry(0, call.by, call.time, call_fact(call)) for call in calls])


def place_table(
    read: ReadCalls,
    folders: Sequence[Path],
    terms: PhotoTerms,
    profile: Profile,
    ledger: Ledger | None,
    *,
    workers: int | None = None,
    on_photo: Callable[[int, int], None] = lambda done, total: None,
) -> tuple[ReadCalls, dict[str, Look]]:
    """Return the calls of a table, each placed on its stone, others refused by row; and the looks that they stand on,
    by the content of the photo.

    A photo that was shown before is taken as it was shown last; any other is looked for in ``folders`` and looked at on
    these terms.

    Parameters
    ----------
    workers : processes, as many as there are cores by default.
    on_photo : told how many of how many photos are done.
    """
    looks, reasons, asks = {}, {}, {}
    photos = {_photo_of(call): call for call in read.calls}
    for call in photos.values():
        try:
            known, ask = _known_or_ask(call, folders, terms, ledger)
        except GraderError as err:
            reasons[_photo_of(call)] = str(err)
            continue
        if known is not None:
            looks[_photo_of(call)] = known
        else:
            asks[_photo_of(call)] = ask
    names = list(asks)
    for number, done in look_at_all(list(asks.values()), profile, ledger, workers=Pool(workers)):
        if isinstance(done, Look):
            looks[names[number]] = done
        else:
            reasons[names[number]] = str(done)
        on_photo(len(looks) + len(reasons), len(photos))
    shown(list(looks.values()), ledger)
    return _placed(read, looks, reasons), {look.ask.sha256: look for look in looks.values()}


def _known_or_ask(
    call: Call, folders: Sequence[Path], terms: PhotoTerms, ledger: Ledger | None
) -> tuple[Look | None, Ask | None]:
    """The look at a call's photo that was shown last, else what it takes to look at it now."""
    sha256 = call.sha256
    if not (sha256 and ledger and (known := last_look(sha256, ledger))):
        ask = ask_for(_found(call, folders), terms, ledger, call.photo)
        if sha256 and ask.sha256 != sha256:
            raise CallsError(f"{call.photo}: is another photo than the one that was called")
        known = ledger and last_look(ask.sha256, ledger)
        return known, ask
    return known, None


def _placed(read: ReadCalls, looks: Mapping[str, Look], reasons: Mapping[str, str]) -> ReadCalls:
    on_known = [row for row in _rows(read) if _photo_of(row[1]) in looks]
    stones = [
        replace(look.on_photo, photo=name.removeprefix(_NAMED)) for name, look in looks.items()
    ]
    placed = place_calls(ReadCalls(*_columns(on_known)), stones)
    uids = {look.ask.sha256: look.uid for look in looks.values()}
    rows = [(line, replace(call, measured=uids[call.sha256])) for line, call in _rows(placed)]
    refused = [*read.refused, *placed.refused]
    for line, call in _rows(read):
        if (reason := reasons.get(_photo_of(call))) is None:
            continue
        if call.sha256 and call.piece and call.box:
            # The sheet tells all of it: it holds its stone though the photo is not here now.
            rows.append((line, call))
        else:
            refused.append(RowRemark(line, reason))
    rows.sort(key=lambda row: row[0])
    refused.sort(key=lambda remark: remark.line)
    return ReadCalls(*_columns(rows), tuple(refused), (*read.remarks, *placed.remarks))


#: Before the name of a photo of which a row does not tell the content.
_NAMED = "name "


def _photo_of(call: Call) -> str:
    """By which rows of one photo are known: its content, else its name."""
    return call.sha256 or f"{_NAMED}{call.photo}"


def _found(call: Call, folders: Sequence[Path]) -> Path:
    path = next((f / call.photo for f in folders if (f / call.photo).is_file()), None)
    if path is None:
        where = ", ".join(str(folder) for folder in dict.fromkeys(folders))
        raise CallsError(f"{call.photo}: no such photo in {where}; name its folder with --photos")
    return path


def _rows(read: ReadCalls) -> list[tuple[int, Call]]:
    return list(zip(read.lines, read.calls, strict=True))


def _columns(rows: Sequence[tuple[int, Call]]) -> tuple[tuple[Call, ...], tuple[int, ...]]:
    return tuple(call for _, call in rows), tuple(line for line, _ in rows)


def with_shown(call: Call, record: dict) -> Call:
    """Return a placed call with what the tool says of its stone in a graded record, where it does not tell already."""
    piece = _stone(record, call.piece)
    return call if call.shown or piece is None else replace(call, shown=shown_of(piece))


def new_calls(calls: Sequence[Call], ledger: Ledger) -> list[Call]:
    """Return the calls of a table that say something new: what a person's word on that stone is already is not said
    again, nor what was taken back since, so that a table may be taken in twice. A call that bears a uid is new unless
    it is there already, whatever was said since."""
    photos = {call.sha256 for call in calls}
    before = views.calls(ledger, sha256=photos, also_taken_back=True, outlines=True)
    gone = views.taken_back(ledger)
    there = {one.uid for one in before}
    new = {row for row, call in enumerate(calls) if call.uid and call.uid not in there}
    for rows in _by_sayer_and_stone(calls):
        first = calls[rows[0]]
        earlier = [one for one in before if one.by == first.by and same_stone(one, first)]
        new |= _new_rows({row: _content(calls[row]) for row in rows}, earlier, gone)
    return [call for row, call in enumerate(calls) if row in new]


def _new_rows(
    contents: Mapping[int, tuple], earlier: Sequence[Call], gone: Collection[str]
) -> set[int]:
    """Of one person's rows on one stone those that say something new.

    earlier : what that person said of the stone.   gone : uids of what was taken back.
    """
    withdrawn = {_content(call) for call in earlier if call.uid in gone}
    standing = [_content(call) for call in earlier if call.uid not in gone]
    kept = [(row, content) for row, content in contents.items() if content not in withdrawn]
    # Said twice in a row is said once.
    kept = [one for n, one in enumerate(kept) if n == 0 or one[1] != kept[n - 1][1]]
    known = _known_in_front([content for _, content in kept], standing)
    return {row for row, _ in kept[known:]}


def _by_sayer_and_stone(calls: Sequence[Call]) -> list[list[int]]:
    """The rows without a uid of each person's word on each stone, in their order."""
    groups: list[list[int]] = []
    for row, call in enumerate(calls):
        if call.uid:
            continue
        own = (g for g in groups if calls[g[0]].by == call.by and same_stone(calls[g[0]], call))
        group = next(own, None)
        if group is None:
            groups.append([row])
        else:
            group.append(row)
    return groups


def _known_in_front(words: Sequence[tuple], standing: Sequence[tuple]) -> int:
    """How many of the first words are those with which what stands ends."""
    counts = range(min(len(words), len(standing)), 0, -1)
    return next((n for n in counts if words[:n] == standing[-n:]), 0)


def _content(call: Call) -> tuple:
    return call.grade, call.scene, call.note, call.stone


def last_call(placed: Call, ledger: Ledger) -> Call | None:
    """Return the last call that holds on the stone of ``placed``, on whichever face, by its sayer if it names one;
    ``None`` where there is none."""
    calls = calls_on_faces(ledger, {placed.sha256}, by=placed.by)
    return next((call for call in reversed(calls) if same_stone(call, placed)), None)


def line_of(look: Look, call: Call, line: int) -> tuple[dict, LineFacts]:
    """Return a line of that number on the stone of a call, as a look's record holds it and as its facts.

    Raises
    ------
    CallsError
        The stone shows no such line.
    """
    row = next(i for i, p in enumerate(look.record["pieces"]) if p["id"] == call.piece)
    lines = look.record["pieces"][row]["cracks"]["lines"]
    for one, facts in zip(lines, look.stones[row].lines, strict=True):
        if one["id"] == line:
            return one, facts
    holds = "no line is seen" if not lines else f"it shows lines 1 to {len(lines)}"
    raise CallsError(
        f"{call.photo}: no line {line} on stone {call.piece}, {holds}; "
        "`grader check --json` lists them by id"
    )


def call_on(photo: Path, call: Call, terms: PhotoTerms, session: Session) -> tuple[Look, Call]:
    """Return the look at a photo that was shown last, and the call on the stone of it which it means.

    call : its grade as a person wrote it.   terms : on which a photo is looked at that nobody saw before.

    Raises
    ------
    GraderError
        The photo cannot be read, there is no such stone, or no such grade on the ladder: one line.
    """
    try:
        grade = call.grade and known_grade(call.grade, session.profile.grades)
    except ValueError as err:
        raise CallsError(str(err)) from err
    look = look_shown(photo, terms, session.profile, session.need_ledger("a call"))
    return look, place_on(look, replace(call, grade=grade, sha256=look.ask.sha256))


def save_call(look: Look, placed: Call, session: Session) -> tuple[Call, dict]:
    """Save a call on a stone; return it with what was proposed beside it, and the stone's record with all its calls."""
    record = _graded(look, session)
    call = with_shown(placed, record)
    save_calls([call], session.ledger)
    return call, stone_called(look, record, call.piece, session)


def _graded(look: Look, session: Session) -> dict:
    """The record of a photo with proposals, for pieces with several faces too."""
    profile, model, ledger = session.profile, session.model(), session.ledger
    pieces = joined_pieces([look], ledger)
    return with_pieces([look.graded(profile, model)], [look], pieces, profile, model, ledger)[0]


@dataclass(frozen=True)
class LineCalled:
    """What a word on a line was said of, and what it changed.

    line, facts : of the line as it was shown.   before, now : the stone's graded record; ``now`` is ``None`` where
    the stone is not found again.
    """

    line: dict
    facts: LineFacts
    before: dict | None
    now: dict | None


def save_line_word(
    look: Look,
    placed: Call,
    line: int,
    says: str,
    found: str | None,
    how: str | None,
    session: Session,
) -> LineCalled:
    """Save a word on a line and measure its stone with it.

    Raises
    ------
    CallsError
        The stone shows no such line.
    """
    shown_line, facts = line_of(look, placed, line)
    word = line_fact(look, placed, line, says, found, how)
    session.ledger.add(word, author=placed.by)
    again = look_at(asks_again([look], session.ledger)[0], session.profile, session.ledger)
    before, now = (
        _stone(one.graded(session.profile, session.model()), placed.piece) for one in (look, again)
    )
    return LineCalled(shown_line, facts, before, now)


def take_back(look: Look, placed: Call, session: Session) -> tuple[Call, dict]:
    """Take back the last call that holds on a stone; return it, and the stone's record with the calls that hold now.

    Raises
    ------
    CallsError
        None holds there.
    """
    back = last_call(placed, session.ledger)
    if back is None:
        whose = f" by {placed.by}" if placed.by else ""
        raise CallsError(
            f"{placed.photo}: nothing to take back, no call{whose} on stone {placed.piece} holds"
        )
    session.ledger.add(TakenBack(call=back.uid), author=placed.by)
    return back, stone_called(look, look.record, placed.piece, session)


def take_table(
    table: Path,
    folders: Sequence[Path],
    terms: PhotoTerms,
    session: Session,
    *,
    by: str | None,
    time: str,
    on_photo: Callable[[int, int], None] = lambda done, total: None,
) -> tuple[ReadCalls, list[Call]]:
    """Save what a table of calls says anew; return its calls as they are placed, and those that were new.

    Parameters
    ----------
    folders : where its photos lie.   terms : on which photos are looked at that nobody saw before.
    by, time : who says what names nobody, and when what tells no time is said.

    Raises
    ------
    CallsError
        The table cannot be read.
    """
    ledger = session.need_ledger("a call")
    read = read_calls_csv(table, session.profile.grades, time, by)
    placed, _ = place_table(read, folders, terms, session.profile, ledger, on_photo=on_photo)
    new = new_calls(placed.calls, ledger)
    save_calls(new, ledger)
    return placed, new


def _stone(record: dict, number: int) -> dict | None:
    return next((piece for piece in record["pieces"] if piece["id"] == number), None)


def stone_called(look: Look, record: dict, number: int, session: Session) -> dict:
    """Return the record of a stone with all calls on it that hold."""
    calls = calls_on([look], session.ledger)
    (joined,), _ = with_calls([record], calls, session.settings.decider)
    return _stone(joined, number)
