"""What a listing asks, as plain data and in words."""

from collections.abc import Sequence
from decimal import Decimal

from grader.report.weights import both_weights, money_text
from grader.report.words import day_words


def price_record(money: Decimal, currency: str, how: str, table=None, per=None) -> dict:
    """Return a price as plain data.

    how : "typed", "by hand", "single" or "by weight" for all of it; of a bin "per weight" or "per bag".   table : that
    it is of.   per : (money, unit) of that weight.
    """
    by_weight = how in ("by weight", "per weight")
    return {
        "money": f"{money:f}",
        "currency": currency,
        "how": how,
        "table": table and {"begins": table.begins.isoformat(), "version": table.version},
        "per": {"money": f"{per[0]:f}", "unit": per[1]} if by_weight and per else None,
        "breaks": [
            {"from_g": _number(grams), "off_percent": _number(100 * share)}
            for grams, share in reversed(table.off)
        ]
        if by_weight and table
        else [],
    }


def bags_record(bags: Sequence[tuple[Decimal, Decimal]], currency: str, table) -> dict:
    """Return the price of chips as plain data. bags : net weight, g, and price of each kind of bag, largest first."""
    told = [{"net_g": _number(grams), "money": f"{money:f}"} for grams, money in bags]
    return price_record(bags[0][1], currency, "per bag", table) | {"bags": told}


def _number(number: Decimal) -> str:
    return f"{number.normalize():f}"


def price_words(price: dict | None) -> str:
    """Return the price and what it is for; where none is known, that it is to be asked for."""
    if price is None:
        return "on request"
    if per := price_per(price):
        return _by_table(
            f"{money_text(Decimal(price['money']), price['currency'])} per {per}", price
        )
    how = {
        "by weight": "by weight",
        "single": "as a single piece",
        "by hand": "for this one",
        "typed": "for this one",
    }[price["how"]]
    if price["per"]:
        how += f": {Decimal(price['per']['money']):,.2f} {price['currency']} per {price['per']['unit']}"
    return _by_table(f"{money_text(Decimal(price['money']), price['currency'])} {how}", price)


def _by_table(text: str, price: dict) -> str:
    table = price["table"]
    return text + (f"; by the price table of {day_words(table['begins'])}" if table else "")


def break_lines(price: dict | None) -> list[str]:
    """Return the further bags and what is taken off for much, a line each."""
    more = [
        f"{money_text(Decimal(one['money']), price['currency'])} per {_bag(one)}"
        for one in (price or {}).get("bags", ())[1:]
    ]
    return more + [
        f"{one['off_percent']} % off from {both_weights(Decimal(one['from_g']))} of one grade on"
        for one in (price or {}).get("breaks", ())
    ]


def price_per(price: dict | None) -> str | None:
    """Return of what the price of a bin is: "lb", "bag of 907.2 g (2.00 lb)"; ``None`` of a price for all of it."""
    if price is None or price["how"] not in ("per weight", "per bag"):
        return None
    return price["per"]["unit"] if price["per"] else _bag(price["bags"][0])


def _bag(one: dict) -> str:
    return f"bag of {both_weights(Decimal(one['net_g']))}"
