"""Weights and money as commands take them."""

import typer

from grader.cli.options import number


def a_weight(text):
    """Return the weight above 0 that a person wrote; without a unit, in that of the settings."""
    from grader.settings import load_settings
    from grader.weight import Weight, grams_of

    if isinstance(text, Weight):
        return text
    try:
        weight = grams_of(text, load_settings().unit)
    except ValueError as err:
        raise typer.BadParameter(str(err)) from None
    if weight.grams <= 0:
        raise typer.BadParameter(f"{text}: give a weight above 0, as 500g, 1.35lb or 21.6oz")
    return weight


def weight_in_words(parts):
    """Return the weight that a person wrote in one word or in several, as 1.35 lb."""
    try:
        return a_weight(" ".join(parts)) if parts else None
    except typer.BadParameter as err:
        raise typer.BadParameter(err.message, param_hint="WEIGHT") from None


def weight_option(flag: str, help: str):
    """Return an option that takes a weight."""
    return typer.Option(flag, metavar="WEIGHT", parser=a_weight, help=help)


def some_range(least: float, most: float):
    """Return the parser of one number or of two with a dash between, as a range."""

    def parse(text):
        if isinstance(text, tuple):
            return text
        low, _, high = text.partition("-")
        ends = number(least, most)(low), number(least, most)(high or low)
        if ends[0] > ends[1]:
            raise typer.BadParameter(f"{text}: give the lower number first")
        return ends

    return parse


def some_money(text):
    """Return the money, 0 or more, that a person wrote, as a decimal number."""
    from decimal import Decimal

    if isinstance(text, Decimal):
        return text
    number(0, 1e9)(text)
    return Decimal(text.strip().replace(",", "."))
