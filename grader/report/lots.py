"""Lots and bags of chips, in words and as a record."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from grader.report.weights import weight_text
from grader.trade.chips import RULES, Bags, NetContents, may_be_short_g
from grader.trade.lots import Lot, Lots
from grader.weight import PieceWeight


def lots_record(lots: Lots, pieces: Sequence[PieceWeight]) -> dict:
    """Return lots as plain data, pieces by name; weights in whole grams."""
    return {
        "size_g": lots.size_g,
        "lots": [
            {"pieces": [pieces[i].piece for i in lot.pieces], "grams": lot.grams, "over_g": lot.over_g}
            for lot in lots.lots
        ],
        "left": [pieces[i].piece for i in lots.left],
        "most": lots.most,
        "proved": lots.proved,
    }  # fmt: skip


def lots_lines(lots: Lots, pieces: Sequence[PieceWeight]) -> list[str]:
    """Return each lot on a line, then what is left over, and how good that is."""
    lines = [
        f"lot {number}: {lot.grams} g ({over_words(lot.over_g)}): "
        + ", ".join(_named(pieces[i]) for i in lot.pieces)
        for number, lot in enumerate(lots.lots, start=1)
    ]
    left = sum(int(pieces[i].weight.grams) for i in lots.left)
    names = ", ".join(_named(pieces[i]) for i in lots.left)
    lines.append(f"left over: {left} g: {names}" if lots.left else "left over: nothing")
    count = len(lots.lots)
    lots_word = "1 lot" if count == 1 else f"{count} lots"
    more = "no way gives more" if lots.proved else f"{lots.most} would be the most there can be"
    given = f"; given away {100 * lots.over_share:.1f} %" if count else ""
    lines.append(f"{lots_word} of {lots.size_g} g, {more}{given}")
    heavy = [pieces[lot.pieces[0]].piece for lot in lots.lots if _too_heavy(lot, lots.size_g)]
    if heavy:
        lines.append(
            f"{', '.join(heavy)}: alone in a lot and half as heavy again as it, or more; that may earn more as a "
            "single, by its own weight. --fewest 2 makes no lot of one piece."
        )
    if count:
        lines.append("Weigh each finished lot: that weight decides.")
    return lines


def kept_record(
    lots: Lots, pieces: Sequence[PieceWeight], codes: Sequence[str], left_out: Mapping[str, str]
) -> dict:
    """Return lots that were kept, as :func:`lots_record` does, with their codes and what was left out."""
    record = lots_record(lots, pieces)
    coded = [{"lot": code, **lot} for code, lot in zip(codes, record["lots"], strict=True)]
    return record | {"lots": coded, "left_out": dict(left_out)}


def kept_lines(
    lots: Lots, pieces: Sequence[PieceWeight], codes: Sequence[str], left_out: Mapping[str, str]
) -> list[str]:
    """Return lots that were kept, as :func:`lots_lines` does, each under its code, and what was left out."""
    lines = lots_lines(lots, pieces)
    for place, code in enumerate(codes):
        lines[place] = f"lot {code}" + lines[place][len(f"lot {place + 1}") :]
    out = [f"left out: {code}, {why}" for code, why in left_out.items()]
    return [*out, *lines]


def over_words(over_g: int, unit: str = "g") -> str:
    """Return how a lot stands to the weight asked for: "3 g over", "12 g short", and beside pounds "0.4 oz over"."""
    if not over_g:
        return "nothing over"
    grams, small = Decimal(abs(over_g)), "oz" if unit in ("lb", "oz") else "g"
    # A gram or two are nothing in ounces, and yet not nothing.
    text = "under 0.1 oz" if small == "oz" and grams < 2 else weight_text(grams, small)
    return f"{text} {'short' if over_g < 0 else 'over'}"


def _too_heavy(lot: Lot, size_g: int) -> bool:
    """One piece that gives away at least half a lot."""
    return len(lot.pieces) == 1 and 2 * lot.over_g >= size_g


def _named(piece: PieceWeight) -> str:
    return f"{piece.piece} {int(piece.weight.grams)} g"


def chips_record(bags: Bags, contents: NetContents | None = None, rule: str = "EU") -> dict:
    """Return bags as plain data, and how filled ones stand to their label; weights in g."""
    short = may_be_short_g(bags.bag_g, rule)
    return {
        "net_g": float(bags.net_g),
        "bag_g": float(bags.bag_g),
        "bags": bags.count,
        "rest_g": float(bags.rest_g),
        "rule": rule,
        "may_be_short_g": None if short is None else float(short),
        "packed": contents
        and {
            "bags": contents.packs,
            "mean_g": float(contents.mean_g),
            "doubt_g": float(contents.doubt_g),
            "short": contents.short,
            "far_short": contents.far_short,
            "holds": contents.holds,
        },
    }


def chips_lines(bags: Bags, contents: NetContents | None = None, rule: str = "EU") -> list[str]:
    """Return how many bags there are and what is left, what a bag may be short by, and how filled ones stand."""
    many = "1 bag" if bags.count == 1 else f"{bags.count} bags"
    lines = [
        f"{many} of {_plain(bags.bag_g)} g from {_plain(bags.net_g)} g net, {_plain(bags.rest_g)} g left",
        _rule_line(bags.bag_g, rule),
    ]
    if contents is not None:
        doubt = f" (off by up to {_plain(contents.doubt_g)} g)" if contents.doubt_g else ""
        lines.append(
            f"{contents.packs} weighed: {_plain(contents.mean_g)} g on average{doubt}, {contents.short} short by "
            f"more, {contents.far_short} by more than any may be: "
            f"{'they hold it' if contents.holds else 'fill them up'}"
        )
    return lines


def _rule_line(bag_g: Decimal, rule: str) -> str:
    """What a bag may be short by, by the table that counts."""
    table, short = RULES[rule], may_be_short_g(bag_g, rule)
    own = f"({table.source}; your own rules come first)"
    if short is None:
        return f"The {rule} table has no row for a label of {_plain(bag_g)} g {own}."
    if not table.few_share:
        return (
            f"In the {rule}, bags with that label must hold it on average; none may be short by more than "
            f"{_plain(short)} g {own}."
        )
    return (
        f"In the {rule}, bags with that label must hold it on average; 1 in {table.few_share.denominator} may be short "
        f"by more than {_plain(short)} g, none by more than {_plain(table.far * short)} g {own}."
    )


def _plain(grams: Decimal) -> str:
    """Tenths of a gram where there are any."""
    return f"{grams:.1f}".removesuffix(".0")
