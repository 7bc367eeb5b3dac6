"""A profile fitted to marked spots, in words: how its ranges lie now, and what they change."""

from collections.abc import Sequence
from pathlib import Path

from grader.report.words import percent
from grader.spots import ENOUGH_SPOTS, ENOUGH_STONES, GLARE, FaceShares, FittedProfile, Judgement

#: Above this share of the marked px, 0 to 1, there is nothing left that spots could show.
ALL_NAMED = 0.99
#: Of fewer spots of a class it is said that they are few.
FEW_OF_CLASS = 2


def fitted_lines(fitted: FittedProfile) -> list[str]:
    """Return what was marked, how the ranges lie now, and what that changes, a line each."""
    spots = ", ".join(f"{name} {count}" for name, count in fitted.spots.items())
    lines = [f"spots marked: {spots}", f"{'class':<10} {'L*':>12} {'C*ab':>12} {'h_ab':>14}"]
    for colour in fitted.profile.colours:
        light, chroma, hue = (
            f"{low:g} to {high:g}"
            for low, high in (colour.lightness, colour.chroma, colour.hue_deg)
        )
        lines.append(f"{colour.name:<10} {light:>12} {chroma:>12} {hue:>14}")
    for face in fitted.shares:
        changes = ", ".join(
            f"{name} {percent(share)} -> {percent(face.after[name])}"
            for name, share in face.before.items()
        )
        lines.append(f"{face.photo} stone {face.piece}: {changes}")
    for spot in fitted.off_stone:
        lines.append(f"{spot.where}: on no stone that was found; its colour counts all the same")
    for spot in fitted.wrong:
        lines.append(f"{spot.where}: marked {spot.name}, still named otherwise")
    few = [n for n, c in fitted.spots.items() if c < FEW_OF_CLASS and n != GLARE]
    if few:
        lines.append(
            f"only one spot of {' and of '.join(few)}; two or three of each class tell more"
        )
    return [*lines, *judged_lines(fitted.judgement)]


def mean_shares(faces: Sequence[FaceShares]) -> list[tuple[str, float, float]]:
    """Return for each class its share before and after, 0 to 1, on average over stones, each counting alike."""
    names = faces[0].before if faces else ()
    return [
        (name, *(sum(of[name] for of in column) / len(faces) for column in _columns(faces)))
        for name in names
    ]


def _columns(faces: Sequence[FaceShares]) -> tuple[list[dict], list[dict]]:
    return [face.before for face in faces], [face.after for face in faces]


def elsewhere_words(faces: Sequence[FaceShares], names: Sequence[str]) -> str:
    """Return how far a profile moves the shares of stones that hold no spot, and which stone most.

    names : what each stone is called.
    """
    if not faces:
        return "no other stone lies here on which the change could be seen"
    moved = [max(abs(f.after[n] - f.before[n]) for n in f.before) for f in faces]
    most = moved.index(max(moved))
    stones = _stones(len(faces))
    if percent(moved[most]) == percent(0.0):
        return f"on {stones} without a spot nothing changes"
    points = f"{100 * moved[most]:.0f}"
    return f"on {stones} without a spot; {names[most]} changes most, by {points} point{'' if points == '1' else 's'}"


def judged_lines(judgement: Judgement) -> list[str]:
    """Return what the profile gains on stones that it has not learned from, a line for each of them and one for all."""
    lines = [
        f"{stone.photo} stone {stone.piece}, judged without its own {_spots(stone.spots)}: "
        f"{percent(stone.before)} named as you marked them before, {percent(stone.after)} now"
        for stone in judgement.stones
    ]
    counted = f"{_spots(judgement.spots)} on {_stones(len(judgement.stones))} held out in turn"
    if not judgement.stones:
        return [
            "too few to tell whether that gains: a stone is judged by the spots of the others, so mark two "
            f"classes on other stones too; {ENOUGH_SPOTS} spots on {ENOUGH_STONES} stones or more"
        ]
    figures = (
        f"the profile you had names {percent(judgement.before)} as you marked it, the new one "
        f"{percent(judgement.after)}; {judgement.better} of the spots better, {judgement.worse} worse"
    )
    if judgement.verdict != "gain" and judgement.before > ALL_NAMED:
        figures += (
            "; all was named right already, so no gain can show: mark places that are named wrong"
        )
    said = {
        "gain": f"a gain, by {counted}: {figures}",
        "no gain": f"no gain, by {counted}: {figures}; keep the profile you had",
        "too few": f"too few to tell, {counted}: {figures}; "
        f"mark {ENOUGH_SPOTS} spots on {ENOUGH_STONES} stones or more",
    }
    return [*lines, said[judgement.verdict]]


def _spots(count: int) -> str:
    return "1 spot" if count == 1 else f"{count} spots"


def _stones(count: int) -> str:
    return "1 stone" if count == 1 else f"{count} stones"


def written_words(path: Path, fitted: FittedProfile) -> str:
    """Return that the profile is written, and how it is used where that gains, or tried where nobody can tell yet."""
    use = {
        "gain": f"; use it: grader check PHOTO --profile {path}",
        "too few": f"; look at it first: grader check PHOTO --profile {path}",
        "no gain": "",
    }
    return f"{path} written{use[fitted.judgement.verdict]}"


def grid_words(photo: Path, grid: Path) -> str:
    """Return that the grid is laid, and how spots are told by it."""
    return (
        f"{grid} written; the point in the middle of a cell is the spot: "
        f"grader colours --spot {photo},C4=white,F9=blue --out mine.toml"
    )
