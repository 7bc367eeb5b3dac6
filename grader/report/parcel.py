"""A parcel in words: which box takes it, and why the others do not."""

from grader.report.stock import number_text
from grader.report.weights import weight_text
from grader.trade.parcel import Boxes, Fit, Parcel, lift


def boxes_lines(boxes: Boxes) -> list[str]:
    """Return what was kept of a table of boxes."""
    return [f"{len(boxes.boxes)} boxes kept, from {boxes.begins} on"]


def parcel_lines(parcel: Parcel, unit: str) -> list[str]:
    """Return the weight, then each box with whether it takes it."""
    lines = [f"{', '.join(parcel.codes)}: {weight_text(parcel.net_g, unit)} net, to {parcel.to}"]
    lines += [f"  {_fit_words(fit, parcel, unit)}" for fit in parcel.fits]
    if not any(fit.takes for fit in parcel.fits):
        lines.append("No box of yours takes it: send it in parts.")
    lines.append(
        f"By your own table of {parcel.boxes.begins}: stone fills {parcel.boxes.fill[0]:.0%} to "
        f"{parcel.boxes.fill[1]:.0%} of a box; weigh the packed box, and ask the post what it takes."
    )
    return lines


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
        "things": list(parcel.codes),
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
    }
