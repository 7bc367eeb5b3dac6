"""What was measured on called stones: the same numbers that the seller saw beside the proposal, never others."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from grader.errors import GraderError
from grader.grading.joining import StoneFinder, Stones, house_call, join_calls
from grader.grading.proposal import Call
from grader.grading.rules import Features
from grader.ledger import views
from grader.ledger.store import Ledger
from grader.looks import Ask, Look, asks_again, look_at_all, look_of
from grader.profile import Profile

Stone = tuple[str, int]


@dataclass(frozen=True)
class CalledStones:
    """Calls with what was measured on their stones.

    calls : each on the piece as its photo was shown last.   features : by (photo hash, piece).
    refused : calls that cannot be used, a line each.
    """

    calls: tuple[Call, ...]
    features: Mapping[Stone, Features]
    refused: tuple[str, ...] = ()


def house_calls(
    ledger: Ledger, *, by: str | None = None, decider: str | None = None
) -> tuple[list[Call], list[str]]:
    """Return one word for each called stone, on the piece as its photo was shown last, of ``by`` alone or else the
    house's; and the calls whose stone is not found, a line each."""
    calls = views.calls(ledger, by=by, outlines=True)
    looks = last_looks_of(ledger, {call.sha256 for call in calls})
    joined = join_calls([_by_content(look) for look in looks.values()], calls)
    house = [
        replace(call, sha256=sha256, piece=piece)
        for (sha256, piece), people in joined.by_person.items()
        if (call := house_call(people, decider))
    ]
    return house, [f"{call.photo}: {why}" for call, why in joined.without_stone]


def last_looks_of(ledger: Ledger, photos: Iterable[str]) -> dict[str, Look]:
    """Return, by content, the looks at these photos that were shown last."""
    uids = views.last_looks(ledger, list(photos))
    facts = views.measured_by_uid(ledger, uids.values())
    looks = {sha256: look_of(facts[uid].fact, ledger) for sha256, uid in uids.items()}
    return {sha256: look for sha256, look in looks.items() if look is not None}


def _by_content(look: Look) -> Stones:
    # Two folders may hold photos of one name.
    return replace(look.on_photo, photo=look.ask.sha256)


def measure_called(
    calls: Sequence[Call],
    profile: Profile,
    ledger: Ledger,
    *,
    workers: int | None = None,
    on_photo: Callable[[int, int], None] = lambda done, total: None,
) -> CalledStones:
    """Return the calls with the features of their stones.

    A stone is measured on the terms with which it was called, with today's words on its lines. That is known in the
    ledger unless measuring, profile or words have changed since; then the photo is measured again or, where it is gone,
    what was kept of it.

    Parameters
    ----------
    calls : placed ones, (photo hash, piece) as the photo was shown last.
    workers : processes, as many as there are cores by default.
    on_photo : told how many of how many photos are done.
    """
    last = last_looks_of(ledger, {call.sha256 for call in calls})
    shown = _shown_with(calls, last, ledger)
    asks: dict[str, Ask] = {}
    ask_of: dict[int, str] = {}
    for number, look in enumerate(shown):
        if look is None:
            continue
        # One photo may have been called on two sets of terms.
        name = look.uid
        if name not in asks:
            asks[name] = replace(asks_again(look, ledger), file=name)
        ask_of[number] = name
    looks: dict[str, Look | GraderError] = {}
    for ask, done in look_at_all(list(asks.values()), profile, ledger, workers=workers):
        looks[ask.file] = done
        on_photo(len(looks), len(asks))
    features: dict[Stone, Features] = {}
    refused = []
    for number, call in enumerate(calls):
        look = looks.get(ask_of.get(number, ""))
        if isinstance(look, Look) and (row := _row(look, call)) is not None:
            features[call.sha256, call.piece] = look.stones[row].features
        else:
            why = look if isinstance(look, GraderError) else "its stone is not found; call it again"
            refused.append(f"{call.photo}: {why}")
    used = tuple(call for call in calls if (call.sha256, call.piece) in features)
    return CalledStones(used, features, tuple(refused))


def _shown_with(
    calls: Sequence[Call], last: Mapping[str, Look], ledger: Ledger
) -> list[Look | None]:
    """For each call the look that it stands beside: the one that was shown, else the last one at its photo."""
    facts = views.measured_by_uid(ledger, {call.measured for call in calls if call.measured})
    looks = {uid: look_of(entry.fact, ledger) for uid, entry in facts.items()}
    return [looks.get(call.measured) or last.get(call.sha256) for call in calls]


def _row(look: Look, call: Call) -> int | None:
    """Which of the look's stones a call is on."""
    try:
        piece = StoneFinder([_by_content(look)]).piece(call, look.on_photo)
    except ValueError:
        return None
    return next(i for i, p in enumerate(look.record["pieces"]) if p["id"] == piece)
