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


def both_weights(grams: Decimal) -> str:
    """Return "612.3 g (1.35 lb)", or in kg from 2 kg on."""
    pounds = weight_text(grams, "lb" if grams >= 100 else "oz")
    return f"{weight_text(grams, 'kg' if grams >= 2000 else 'g')} ({pounds})"


def money_text(money: Decimal, currency: str | None) -> str:
    """Return money with its currency: "1,272.00 USD"."""
    return f"{money:,.2f} {currency or ''}".rstrip()


def with_unit(typed: str) -> str:
    """Return a weight as it was typed, with the g that is meant where no unit stands: "60 g", "120lb"."""
    return f"{typed} g" if typed[-1:].isdigit() else typed
