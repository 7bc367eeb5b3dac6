"""What a haul may still come to, its first guess, its sampled bins and its best singles: in words and as plain data."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from grader.report.stock import number_text
from grader.report.weights import money_text, weight_text
from grader.trade.haul import money_per
from grader.trade.outlook import Outlook, Ranges, Spread, wilson


@dataclass(frozen=True)
class FirstAndNow:
    """A grade as the tool proposed it first, and as it stands now, of the numbered pieces: how many, and g."""

    grade: str
    first: int
    first_g: Decimal
    now: int
    now_g: Decimal


@dataclass(frozen=True)
class SampledBin:
    """A bin told by pieces drawn from it at random. counts : pieces by grade."""

    code: str
    what: str
    grams: Decimal
    counts: Mapping[str, int]


@dataclass(frozen=True)
class TopSingle:
    """One of the dearest singles. jpeg : its kept picture, ``None`` without one."""

    code: str
    grade: str | None
    grams: Decimal | None
    money: Decimal
    sold: bool
    jpeg: bytes | None = None


@dataclass(frozen=True)
class More:
    """What a haul's report tells beyond its balance and worth. got : money that is in already."""

    outlook: Outlook
    spread: Spread
    got: Decimal = Decimal(0)
    first: tuple[FirstAndNow, ...] = ()
    bins: tuple[SampledBin, ...] = ()
    top: tuple[TopSingle, ...] = ()

    @property
    def money(self) -> tuple[float, float, float]:
        """What it all comes to with what was got, low, middle and high."""
        return tuple(float(self.got) + one for one in self.outlook.total.money)


def may_line(more: More, currency: str | None) -> str:
    """Return what all may come to, with what that rests on."""
    low, middle, high = more.money
    if _whole(low) == _whole(high):
        return f"may come to {money_text(_whole(high), currency)}; {rests_on(more)}"
    money = f"{money_text(_whole(low), None)} to {money_text(_whole(high), currency)}"
    near = money_text(_whole(middle), None)
    return f"may come to {money}, most likely near {near} (8 of 10 drawn hauls); {rests_on(more)}"


def rests_on(more: More) -> str:
    """Return what the ranges rest on, and what the seller did not say."""
    if more.spread.said:
        return "by the chances of grades, your spread of prices and what you say is sold"
    return (
        "by the chances of grades alone: your price table tells no spread and no part that is sold"
    )


def kind_rows(more: More, currency: str | None, unit: str) -> list[dict[str, str]]:
    """Return a row for each grade and size class of what is not sold yet, weight and money as ranges."""
    return [
        {
            "name": f"{grade}, {size or 'no size class'}",
            "weight": _range(
                [weight_text(Decimal(f"{g:.1f}"), unit) for g in ranges.grams], f" {unit}"
            ),
            "money": _range([money_text(_whole(m), currency) for m in ranges.money], f" {currency}")
            if ranges.priced
            else "no price is set",
        }
        for (grade, size), ranges in more.outlook.by_kind.items()
    ]


def first_rows(more: More, unit: str) -> list[dict[str, str]]:
    """Return a row for each grade: what the tool proposed first, and what the pieces are now."""
    return [
        {
            "grade": one.grade,
            "first": f"{one.first} ({weight_text(one.first_g, unit)})",
            "now": f"{one.now} ({weight_text(one.now_g, unit)})",
        }
        for one in more.first
    ]


def bin_lines(more: More, unit: str) -> list[str]:
    """Return what a random sample tells of each bin, as shares of its pieces with their 95 % interval."""
    return [
        f"{one.code}, {one.what}, {weight_text(one.grams, unit)}: of {sum(one.counts.values())} pieces drawn "
        + (
            ", ".join(f"{grade} {_percent(one, grade)}" for grade in one.counts)
            or "none has a grade yet"
        )
        for one in more.bins
    ]


#: Behind the bins.
BIN_WORD = (
    "Shares of pieces with their 95 % interval (Wilson 1927), if the pieces were drawn at random; by weight they may "
    "differ where large and small pieces have other grades."
)


def _percent(one: SampledBin, grade: str) -> str:
    told = wilson(one.counts[grade], sum(one.counts.values()))
    return f"{100 * told.share:.0f} % ({100 * told.low:.0f} to {100 * told.high:.0f} %)"


def top_words(one: TopSingle, currency: str | None, unit: str) -> str:
    """Return a single with its weight, grade and money."""
    weight = weight_text(one.grams, unit) if one.grams else "not weighed"
    money = f"{money_text(one.money, currency)} {'got' if one.sold else 'asked'}"
    return f"{one.code}: {money}, {weight}, {one.grade or 'no grade'}"


def more_lines(more: More, currency: str | None, unit: str) -> list[str]:
    """Return all of it as text."""
    lines = [may_line(more, currency)] if any(more.outlook.total.money) else []
    lines += [
        f"  {r['name']}: {r['weight']}, {r['money']}" for r in kind_rows(more, currency, unit)
    ]
    for row in first_rows(more, unit):
        lines.append(f"  {row['grade']}: proposed first {row['first']}, now {row['now']}")
    lines += [*bin_lines(more, unit), *([BIN_WORD] if more.bins else [])]
    return [*lines, *(f"  best: {top_words(one, currency, unit)}" for one in more.top)]


def rate_range(more: More, grams: Decimal, unit: str) -> tuple[Decimal | None, Decimal | None]:
    """Return what all may come to by so much weight, low and high: money for one of a unit."""
    return tuple(money_per(_whole(one), grams, unit) for one in (more.money[0], more.money[2]))


def more_record(more: More) -> dict:
    """Return the same as plain data."""
    return {
        "may_come_to": [round(one, 2) for one in more.money],
        "spread": list(more.spread.price),
        "sells": {grade: list(parts) for grade, parts in more.spread.sells.items()},
        "by_kind": [
            {"grade": grade, "size": size, **_ranges_record(ranges)}
            for (grade, size), ranges in more.outlook.by_kind.items()
        ],
        "first_guess": [
            {
                "grade": one.grade,
                "proposed_first": one.first,
                "proposed_first_g": number_text(one.first_g),
                "now": one.now,
                "now_g": number_text(one.now_g),
            }
            for one in more.first
        ],
        "bins": [
            {
                "bin": one.code,
                "what": one.what,
                "grams": number_text(one.grams),
                "shares": {
                    grade: vars(wilson(count, sum(one.counts.values())))
                    for grade, count in one.counts.items()
                },
            }
            for one in more.bins
        ],
        "top": [
            {
                "piece": one.code,
                "grade": one.grade,
                "net_g": number_text(one.grams),
                "money": number_text(one.money),
                "sold": one.sold,
            }
            for one in more.top
        ],
    }


def _ranges_record(ranges: Ranges) -> dict:
    return {
        "grams": [round(one, 1) for one in ranges.grams],
        "money": [round(one, 2) for one in ranges.money] if ranges.priced else None,
    }


def _whole(money: float) -> Decimal:
    # A cent of a guess tells nothing; small sums keep theirs.
    return Decimal(f"{money:.0f}" if money >= 100 else f"{money:.2f}")


def _range(texts: list[str], unit: str) -> str:
    """ "20 to 30 g", or one of them where both ends are the same."""
    low, _, high = texts
    return high if low == high else f"{low.removesuffix(unit)} to {high}"
