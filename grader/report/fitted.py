"""A profile fitted to marked spots, in words: how its ranges lie now, and what they change."""

from pathlib import Path

from grader.report.words import percent
from grader.spots import FittedProfile


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
    if not fitted.better:
        lines.append(
            f"no gain on these spots: {len(fitted.wrong_before)} named otherwise before, "
            f"{len(fitted.wrong)} now; mark more spots, or keep the profile you had"
        )
    return lines


def written_words(path: Path, fitted: FittedProfile) -> str:
    """Return that the profile is written, and how it is used where it is better."""
    use = f"; use it: grader check PHOTO --profile {path}" if fitted.better else ""
    return f"{path} written{use}"
