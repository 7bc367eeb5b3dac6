"""A parcel in words: which box takes it, and why the others do not."""

from collections import Counter

from grader.report.stock import number_text
from grader.report.weights import weight_text
from grader.trade.parcel import Boxes, Fit, Parcel, lift


def boxes_lines(boxes: Boxes) -> list[str]:
    """Return what was kept of a table of boxes."""
    return [f"{len(boxes.boxes)} boxes kept, from {boxes.begins} on"]


def parcel_lines(parcel: Parcel, unit: str) -> list[str]:
    """Return the weight, then each box with whether it takes it."""
    lines = [f"{_things(parcel)}: {weight_text(parcel.net_g, unit)} net, to {parcel.to}"]
    lines += [f"  {_fit_words(fit, parcel, unit)}" for fit in parcel.fits]
    if parcel.parts:
        lines += _parts_lines(parcel, unit)
    elif not any(fit.takes for fit in parcel.fits):
        heaviest = "It is" if len(parcel.codes) == 1 else "One of these is by itself"
        lines.append(f"{heaviest} too heavy or too large for each of your boxes.")
    lines.append(
        f"By your own table of {parcel.boxes.begins}: stone fills {100 * parcel.boxes.fill[0]:.0f} to "
        f"{100 * parcel.boxes.fill[1]:.0f} % of a box; weigh the packed box, and ask the post what it takes."
    )
    return lines


def _parts_lines(parcel: Parcel, unit: str) -> list[str]:
    """How it is shared out: each parcel with what lies in it, and whether one parcel less might do."""
    (fit,) = parcel.parts[0].fits
    lines = [f"No box takes all of it; in {len(parcel.parts)} parcels of {fit.box.name}:"]
    for number, part in enumerate(parcel.parts, start=1):
        closely = ", packed closely" if part.fits[0].by_volume != "yes" else ""
        lines.append(
            f"  {number}: {_things(part)}: {weight_text(part.net_g, unit)} net{closely}{_LIFT[lift(part.gross_g)]}"
        )
    if len(parcel.parts) > parcel.fewest:
        lines.append(f"By weight {parcel.fewest} might do; no way to share it out so was found.")
    return lines


#: What a parcel's weight means to whoever lifts it.
_LIFT = {None: "", "care": "; lift it with care", "two": "; never lift it alone"}


def _things(parcel: Parcel) -> str:
    """The codes, those of bags with their number."""
    counted = Counter(parcel.codes)
    return ", ".join(code if n == 1 else f"{n} bags of {code}" for code, n in counted.items())


def _fit_words(fit: Fit, parcel: Parcel, unit: str) -> str:
    most = weight_text(fit.box.most_g, unit)
    if not fit.by_weight:
        return f"{fit.box.name}: refused, too heavy: {most} at most"
    if fit.by_volume == "no":
        return f"{fit.box.name}: refused, too small"
    return f"{fit.box.name}: {'fits' if fit.by_volume == 'yes' else 'fits if packed closely'}, {most} at most"


def parcel_record(parcel: Parcel) -> dict:
    """Return a parcel as plain data."""
    return {
        "things": list(dict.fromkeys(parcel.codes)),
        "net_g": number_text(parcel.net_g),
        "to": parcel.to,
        "boxes": [
            {
                "name": fit.box.name,
                "takes": fit.takes,
                "by_weight": fit.by_weight,
                "by_volume": fit.by_volume,
            }
            for fit in parcel.fits
        ],
        "table": parcel.boxes.begins.isoformat(),
        "lift": lift(parcel.gross_g),
        "parcels": [
            {
                "box": part.fits[0].box.name,
                "things": list(part.codes),
                "net_g": number_text(part.net_g),
                "by_volume": part.fits[0].by_volume,
                "lift": lift(part.gross_g),
            }
            for part in parcel.parts
        ],
        "fewest": parcel.fewest if parcel.parts else None,
    }
