"""A price table in words, and as plain data."""

from collections.abc import Sequence

from grader.report.stock import number_text
from grader.report.weights import weight_text
from grader.trade.prices import ANY, PriceTable


def price_lines(table: PriceTable, ladder: Sequence[str]) -> list[str]:
    """Return what a price table asks; a grade that is not on the ladder is told."""
    lines = [f"prices in {table.currency}, from {table.begins} on (version {table.version})"]
    for grade, by_size in table.by_weight.items():
        sizes = ", ".join(
            f"{price}" if size == ANY else f"{price} for {size}" for size, price in by_size.items()
        )
        strange = "" if grade in ladder else "  (no grade of your ladder)"
        lines.append(f"  {grade}: {sizes} per {table.per}{strange}")
    lines += [
        f"  singles of {grade}: {factor} times that" for grade, factor in table.singles.items()
    ]
    lines += [f"  {code}: {price} by hand" for code, price in table.by_hand.items()]
    lines += [
        f"  chips: {price} for a bag of {weight_text(grams, table.per)}"
        for grams, price in table.chips
    ]
    lines += [
        f"  from {weight_text(grams, table.per)} of one grade on: {100 * share:.0f} % off"
        for grams, share in table.off
    ]
    if table.spread != (1.0, 1.0):
        lines.append("  prices come to {:g} to {:g} of that".format(*table.spread))
    lines += [
        f"  {grade}: {low:g} to {high:g} of it is sold"
        for grade, (low, high) in table.sells.items()
    ]
    return lines


def price_record(table: PriceTable) -> dict:
    """Return a price table as plain data; numbers are text."""
    texts = lambda of: {key: number_text(value) for key, value in of.items()}  # noqa: E731
    return {
        "currency": table.currency,
        "begins": table.begins.isoformat(),
        "version": table.version,
        "per": table.per,
        "by_weight": {grade: texts(by_size) for grade, by_size in table.by_weight.items()},
        "singles": texts(table.singles),
        "by_hand": texts(table.by_hand),
        "chips": [{"net_g": f"{g:f}", "price": f"{p:f}"} for g, p in table.chips],
        "spread": list(table.spread),
        "sells": {grade: list(parts) for grade, parts in table.sells.items()},
        "off": [{"from_g": f"{g:f}", "share": f"{s:f}"} for g, s in table.off],
    }
