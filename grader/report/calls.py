"""The seller's calls put beside the proposals, in records that may have been made long before the
call."""

from collections.abc import Iterable, Sequence
from pathlib import Path, PurePosixPath

from grader.face.regions.patch_words import WITHDRAWN, PatchWord
from grader.grading.calls.joining import Stones, house_call, join_calls
from grader.grading.features.facts import LineFacts, position_at
from grader.grading.proposal import Call, Shown
from grader.report.headline import label_words, proposal_of
from grader.report.reasons import line_position_words, position_words
from grader.report.words import calls_words, counted, percent
from grader.spots import ENOUGH_SPOTS, ENOUGH_STONES

LostCall = tuple[Call, str]
#: Warnings that a join writes, and that the next join writes anew.
_CODE = "call_without_stone"


def with_calls(
    records: Sequence[dict], calls: Iterable[Call], decider: str | None = None
) -> tuple[list[dict], list[LostCall]]:
    """Return the records with what each person says of each piece and whose word counts, and the calls that meet no
    stone, with the reason.

    A call whose photo is there and whose stone is not is also told in that photo's warnings.

    calls : that hold, in the order of making.   decider : whose word counts; else that of who spoke last.
    """
    stones = [stones_of(record) for record in records if "error" not in record]
    joined = join_calls(stones, calls)
    lost = list(joined.without_stone)
    return [_joined(record, joined.by_person, lost, decider) for record in records], lost


def stones_of(record: dict) -> Stones:
    """Return the stones of a photo's record, as calls are joined to them."""
    photo, pieces = record["photo"], record["pieces"]
    return Stones(
        photo["file"],
        photo["sha256"],
        {piece["id"]: tuple(piece["box"]) for piece in pieces},
        {piece["id"]: piece["outline"] for piece in pieces},
    )


def about(record: dict, call: Call) -> bool:
    """Whether a call is about this photo: the same content, or else the same name."""
    photo = record["photo"]
    if call.sha256 and call.sha256 == photo.get("sha256"):
        return True
    return PurePosixPath(call.photo).name == PurePosixPath(photo["file"].replace("\\", "/")).name


def lost_words(records: Sequence[dict], lost: Iterable[LostCall]) -> list[str]:
    """Return the calls without a stone in words: a line each where the photo is among these, one for
    all others."""
    lines, elsewhere = [], []
    for call, why in lost:
        if any(about(record, call) for record in records):
            lines.append(f"call without a stone: {call.summary} ({why})")
        else:
            elsewhere.append(call.photo)
    if elsewhere:
        photos = list(dict.fromkeys(elsewhere))
        more = f" and {len(photos) - 3} more" if len(photos) > 3 else ""
        calls = "1 call is" if len(elsewhere) == 1 else f"{len(elsewhere)} calls are"
        lines.append(f"{calls} on photos that are not here: {', '.join(photos[:3])}{more}")
    return lines


def call_record(call: Call) -> dict:
    """Return what is shown of a call; ``scene_by`` where another person than ``by`` said the scene."""
    record = {key: getattr(call, key) for key in ("grade", "scene", "by", "time", "note", "stone")}
    other = call.scene_by if call.scene is not None and call.scene_by != call.by else None
    return record | {"scene_by": other}


def shown_of(piece: dict) -> Shown:
    """Return what a record says of a stone: what a call on it had shown."""
    proposal = proposal_of(piece) or {}
    return Shown(
        proposal.get("grade"),
        (piece.get("piece") or piece)["scene"]["score"],
        proposal.get("model"),
        piece["state"]["value"],
    )


def _joined(
    record: dict,
    by_person: dict[tuple[str, int], tuple[Call, ...]],
    lost: list[LostCall],
    decider: str | None,
) -> dict:
    if "error" in record:
        return record
    file = record["photo"]["file"]
    pieces = []
    for piece in record["pieces"]:
        people = by_person.get((file, piece["id"]), ())
        house = house_call(people, decider)
        pieces.append(
            piece
            | {"call": house and call_record(house) | {"decided": decides(house, people, decider)}}
            | {"calls": [call_record(call) for call in people]}
        )
    warnings = [w for w in record["photo"]["warnings"] if w["code"] != _CODE]
    warnings += [
        {"code": _CODE, "text": f"call without a stone: {call.summary} ({why})"}
        for call, why in lost
        if about(record, call)
    ]
    return record | {"photo": record["photo"] | {"warnings": warnings}, "pieces": pieces}


def decides(house: Call, people: Sequence[Call], decider: str | None) -> str:
    """Return why this word counts: "alone" with one person, "decider", or "last" where it is that of who spoke last."""
    if len(people) < 2:
        return "alone"
    return "decider" if decider is not None and house.by == decider else "last"


#: Told once where a word is said by nobody.
SAVED_UNNAMED = (
    'saved without a name, so it is told as unnamed: say who you are with --by NAME, or once for all with by = "NAME" '
    "in grader.toml"
)


def saved_words(call: Call, piece: dict) -> str:
    """Return what was saved of a call on a stone, beside what is proposed for it; and what counts now, where several
    people called it.

    piece : the stone's graded record, with all calls on it.
    """
    scene = None if call.scene is None else f"scene {call.scene}"
    called = ", ".join(part for part in (call.grade, scene) if part)
    by = f" by {call.by}" if call.by else ""
    proposal = proposal_of(piece)
    beside = "no grade is proposed from this photo"
    if proposal:
        said = f"proposed is {label_words(proposal)}"
        if proposal.get("unfamiliar"):
            said = "the model does not know such stones"
        beside = f"{said}, scene {proposal['scene']} ({proposal['model']})"
    what = f"{call.photo}, stone {call.piece}"
    if piece.get("piece"):
        what = " and ".join(face["file"] for face in piece["piece"]["faces"]) + ", one piece"
    saved = f"saved: {what}: {called}{by}; {beside}"
    return f"{saved}\n{_holds(piece)}" if len(piece["calls"]) > 1 else saved


def place_words(patch: PatchWord, piece: dict) -> str:
    """Return where on its stone a patch lies, as one says it: "the place at the upper edge".

    piece : the stone's graded record.
    """
    left, top, w, h = piece["box"]
    x, y = patch.x + patch.w / 2 - left, patch.y + patch.h / 2 - top
    return f"the place {position_words(position_at(x / w, y / h))}"


def saved_patch_words(call: Call, place: str, before: dict, now: dict | None) -> str:
    """Return what was saved of a word on a patch, and what it changes: the shares of the stone, and the grade.

    place : of the patch, in words or as it was typed.   before, now : the stone's graded record, ``None`` where it is
    not found again.
    """
    patch = call.patch
    by = f" by {call.by}" if call.by else ""
    says = "taken back what was said of it" if patch.says == WITHDRAWN else patch.says
    parts = [f"saved: {call.photo}, stone {call.piece}, {place}: {says}{by}"]
    if now is None:
        return parts[0]
    changes = [
        f"{name} {percent(new)}, before {percent(old)}"
        for name, old, new in _changed_shares(before, now)
        if percent(old) != percent(new)
    ]
    parts.append(
        "by this word " + "; ".join(changes) if changes else "the shares stay as they were"
    )
    old, new = (piece["proposal"] and piece["proposal"]["grade"] for piece in (before, now))
    if old != new and new is not None:
        parts.append(f"proposed is now {new}, before {old}")
    return "; ".join(parts)


def enough_patches(patches: int, photos: int, way: str) -> str | None:
    """Return that a profile can be made of the words on patches, ``None`` while they are too few to judge it.

    way : what makes it, as a subject.
    """
    if patches < ENOUGH_SPOTS or photos < ENOUGH_STONES:
        return None
    return f"{patches} patches said on {photos} photos: {way} makes a profile of them, and shows what it gains"


def _changed_shares(before: dict, now: dict) -> list[tuple[str, float, float]]:
    shares = [(n, s["value"], now["shares"][n]["value"]) for n, s in before["shares"].items()]
    return [*shares, ("glare", before["glare"]["value"], now["glare"]["value"])]


def saved_line_words(
    call: Call,
    line: tuple[dict, LineFacts],
    says: str,
    found: str | None,
    stone: tuple[dict, dict | None],
) -> str:
    """Return what was saved of a word on a line, how that line is known again, and what it changes: the cracks that
    count, and the grade.

    line : as it was shown, its record and its facts.   stone : its graded record before and now, ``None`` where it is
    not found again.
    """
    shown, facts = line
    before, now = stone
    words = {
        "crack": "a crack",
        "pattern": "a pattern line",
        "withdrawn": "taken back what was said of it",
    }
    also = f", found {found}" if found else ""
    by = f" by {call.by}" if call.by else ""
    length = f"{shown['length_px']:.0f} px"
    if shown["length_mm"] is not None:
        length = f"{shown['length_mm']:.0f} mm"
    known = f"line {shown['id']} ({shown['class']}, {length}, {line_position_words(facts)})"
    parts = [f"saved: {call.photo}, stone {call.piece}, {known}: {words[says]}{also}{by}"]
    if now is None:
        return parts[0]
    old, new = (piece["cracks"]["count"] for piece in (before, now))
    if old != new:
        parts.append(f"cracks by this word {new}, before {old}")
    old, new = (piece["proposal"] and piece["proposal"]["grade"] for piece in (before, now))
    if old != new and new is not None:
        parts.append(f"proposed is now {new}, before {old}")
    return "; ".join(parts)


def taken_in_words(new: int, known: int) -> str:
    """Return "2 calls saved, 1 known before": what a table of calls brought."""
    before = f", {known} known before" if known else ""
    return f"{new} call{'' if new == 1 else 's'} saved{before}"


def saved_tables_lines(folder: Path, new: int, known: int, strange: Sequence[Path]) -> list[str]:
    """Return what else lies where sheets save calls, a line each.

    new, known : how many tables brought something, and how many were taken in before.   strange : of other photos.
    """
    lines = [
        f"{path}: of photos that this ledger does not hold; left alone, name it behind --from to take it in"
        for path in strange
    ]
    before = f"{counted(known, 'table')} taken in before" if known else ""
    if before or not new:
        lines.append(
            f"{folder}: " + "; ".join(filter(None, ("" if new else "nothing new", before)))
        )
    return lines


def taken_back_words(placed: Call, back: Call | None, piece: dict) -> str:
    """Return which call was taken back, and what holds on its stone now.

    placed : on the stone, as it was asked for.   back : ``None`` where none held, and faces were only parted.
    piece : the stone's record, with the calls that hold.
    """
    if back is None:
        return f"taken back: {placed.photo}: its faces stand each alone again\n{_holds(piece)}"
    by = f" by {back.by}" if back.by else ""
    taken_back = (
        f"taken back: {placed.photo}, stone {placed.piece}: {back.summary}{by}, {back.time[:10]}"
    )
    return f"{taken_back}\n{_holds(piece)}"


def _holds(piece: dict) -> str:
    """What counts on a stone now, behind its proposal's line."""
    return f"  holds now: {calls_words(piece) or 'no call'}"
