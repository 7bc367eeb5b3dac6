"""Weights and money as a person reads them."""

from decimal import ROUND_HALF_UP, Decimal

from grader.weight import GRAMS_IN

#: Decimals that are shown, by unit; of g those that were typed, one at most.
DECIMALS = {"g": 1, "kg": 3, "lb": 2, "oz": 1, "ct": 1}
_STEP = {unit: Decimal(1).scaleb(-decimals) for unit, decimals in DECIMALS.items()}


def weight_text(grams: Decimal, unit: str = "g") -> str:
    """Return a weight in a unit: "612.3 g", "1.35 lb"."""
    # Lists have thousands: grams need no division.
    shown = (grams if unit == "g" else grams / GRAMS_IN[unit]).quantize(_STEP[unit], ROUND_HALF_UP)
    text = f"{shown:f}"
    return f"{text.removesuffix('.0') if unit == 'g' else text} {unit}"


def money_text(money: Decimal, currency: str | None) -> str:
    """Return money with its currency: "1,272.00 USD"."""
    return f"{money:,.2f} {currency or ''}".rstrip()
