"""The seller's calls put beside the proposals, in records that may have been made long before the
call."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from pathlib import PurePosixPath

from grader.grading.joining import Stones, holding_calls, join_calls
from grader.grading.proposal import Call, Shown

LostCall = tuple[Call, str]
#: Warnings that a join writes, and that the next join writes anew.
_CODE = "call_without_stone"


def with_calls(records: Sequence[dict], calls: Iterable[Call]) -> tuple[list[dict], list[LostCall]]:
    """Return the records with what the seller says of each piece, and the calls that meet no stone,
    with the reason; what was taken back is no call any more.

    A call whose photo is there and whose stone is not is also told in that photo's warnings.
    """
    stones = [stones_of(record) for record in records if "error" not in record]
    joined = join_calls(stones, calls)
    lost = _still_said(joined.without_stone)
    return [_joined(record, joined.standing, lost) for record in records], lost


def stones_of(record: dict) -> Stones:
    """Return the stones of a graded photo's record, as calls are joined to them."""
    photo = record["photo"]
    boxes = {piece["id"]: tuple(piece["box"]) for piece in record["pieces"]}
    return Stones(photo["file"], photo["sha256"], boxes)


def about(record: dict, call: Call) -> bool:
    """Whether a call is about this photo: the same content, or else the same name."""
    photo = record["photo"]
    if call.sha256 and call.sha256 == photo.get("sha256"):
        return True
    return PurePosixPath(call.photo).name == PurePosixPath(photo["file"].replace("\\", "/")).name


def lost_words(records: Sequence[dict], lost: Iterable[LostCall]) -> list[str]:
    """Return the calls without a stone in words: a line each where the photo is among these, one for
    all others."""
    lines, away = [], []
    for call, why in lost:
        if any(about(record, call) for record in records):
            lines.append(f"call without a stone: {call.said} ({why})")
        else:
            away.append(call.photo)
    if away:
        photos = list(dict.fromkeys(away))
        more = f" and {len(photos) - 3} more" if len(photos) > 3 else ""
        calls = "1 call is" if len(away) == 1 else f"{len(away)} calls are"
        lines.append(f"{calls} on photos that are not here: {', '.join(photos[:3])}{more}")
    return lines


def _still_said(lost: Iterable[LostCall]) -> list[LostCall]:
    """Of calls that meet no stone those that nothing later takes back, in their order."""
    by_stone: dict[tuple, list[LostCall]] = defaultdict(list)
    for call, why in lost:
        place = (call.sha256 or call.photo, call.box or call.piece)
        by_stone[*place, call.line and call.line.points].append((call, why))
    still = set()
    for said in by_stone.values():
        calls = [call for call, _ in said]
        # The last word on a line is the one that holds.
        still |= {id(c) for c in (holding_calls(calls) if calls[0].line is None else calls[-1:])}
    return [
        (call, why)
        for call, why in lost
        if id(call) in still and not (call.line and call.line.says == "unsaid")
    ]


def call_record(call: Call) -> dict:
    """Return what is shown of a call."""
    return {key: getattr(call, key) for key in ("grade", "scene", "by", "time", "note")}


def shown_of(piece: dict) -> Shown:
    """Return what a record says of a stone: what a call on it had shown."""
    proposal = piece["proposal"] or {}
    return Shown(
        proposal.get("grade"),
        piece["scene"]["score"],
        proposal.get("model"),
        piece["state"]["value"],
    )


def _joined(record: dict, standing: dict[tuple[str, int], Call], lost: list[LostCall]) -> dict:
    if "error" in record:
        return record
    file = record["photo"]["file"]
    said = {piece["id"]: standing.get((file, piece["id"])) for piece in record["pieces"]}
    pieces = [p | {"call": said[p["id"]] and call_record(said[p["id"]])} for p in record["pieces"]]
    warnings = [w for w in record["photo"]["warnings"] if w["code"] != _CODE]
    warnings += [
        {
            "code": _CODE,
            "text": f"call without a stone: {call.said} ({why})",
        }
        for call, why in lost
        if about(record, call)
    ]
    return record | {"photo": record["photo"] | {"warnings": warnings}, "pieces": pieces}
