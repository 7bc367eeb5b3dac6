"""What lies in the folder of the invented season beside its photos: what it is, its settings and its tables."""

from collections.abc import Sequence

from grader.demo.stones import MM_PER_PX

README = """\
An invented season
==================

Everything in this folder is invented: the claim, the place, the people, the prices, the weights, the sales.
The stones are drawn by a program; there are no such stones. Nothing here tells what real stone is worth.

In this folder the tool keeps to the ledger that lies here, season.sqlite, and leaves your own alone.
Throw the folder away when you have seen enough.

photos/07, photos/08   {graded} stones, graded, weighed, called, partly sold
photos/09              {waiting} stones, weighed and numbered but not graded yet: that is left for you
prices.toml            the price table that holds; prices_spring.toml is the one before
boxes.toml             boxes for parcels
grader.toml            what holds in this folder

Stand in this folder, and try

{tries}
"""

SETTINGS = f"""\
# An invented season: invented place, people and prices.
ledger = "season.sqlite"
mm_per_px = {MM_PER_PX}    # the invented camera stands still
unit = "lb"
currency = "USD"
by = "Ada (invented)"
decider = "Ada (invented)"
"""

#: By the day from which a table holds; the last is that of ``prices.toml``.
PRICES = {
    "prices_spring.toml": ("2025-03-01", "24", "12", "6"),
    "prices.toml": ("2025-07-01", "28", "13", "6"),
}
_PRICES = """\
# Invented prices.
currency = "USD"
begins = {}
per = "lb"
[by_weight]
select = {}
cabbing = {}
tumbling = {}
[singles]
select = 1.5
[chips]
"2lb" = 8
[off]
"10lb" = 10
"""

BOXES = """\
# Invented boxes.
begins = 2025-03-01
packing = "0.5lb"
[[boxes]]
name = "home (invented)"
inside = "500 in3"
most = "30lb"
to = "domestic"
[[boxes]]
name = "small (invented)"
inside = "80 in3"
most = "4lb"
to = "abroad"
[[boxes]]
name = "large (invented)"
inside = "800 in3"
most = "20lb"
to = "abroad"
"""


def price_table(name: str) -> str:
    """Return the text of one of the tables ``PRICES``."""
    return _PRICES.format(*PRICES[name])


def readme(graded: int, waiting: int, tries: Sequence[str]) -> str:
    """Return the text of the folder's ``README.txt``."""
    return README.format(graded=graded, waiting=waiting, tries="\n".join(f"    {t}" for t in tries))
