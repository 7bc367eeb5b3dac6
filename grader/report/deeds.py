"""Deeds in words: what was taken back, and the history of a piece or lot."""

import json
from collections.abc import Mapping, Sequence
from decimal import Decimal

from grader.ledger import deeds
from grader.ledger.checked import plain, to_text
from grader.ledger.facts import Entry, FaceOfPiece, Fact, SavedCall
from grader.ledger.history import HistoryLine
from grader.ledger.stock import code_of
from grader.report.listing_price import price_per
from grader.report.weights import money_text, weight_text, with_unit
from grader.report.words import counted


def line_words(line: HistoryLine, codes: Mapping[str, str]) -> str:
    """Return a line of a history in words: a deed, a photo or a call."""
    fact = line.entry.fact
    if isinstance(fact, FaceOfPiece):
        return f"photographed: {line.photo or 'a photo'}"
    if isinstance(fact, SavedCall):
        said = [fact.grade, None if fact.scene is None else f"scene {fact.scene}", fact.note]
        return f"called {', '.join(one for one in said if one)}"
    return deed_words(fact, codes)


def deed_words(deed: deeds.Deed, codes: Mapping[str, str] = {}) -> str:
    """Return what was done, in a few words.

    codes : of pieces and lots, by uid.
    """
    return _WORDS[type(deed)](deed, codes)


def _weighed(deed: deeds.Weighed, codes: Mapping[str, str]) -> str:
    marks = [word for word, on in (("wet", deed.wet), ("guessed", deed.guessed)) if on]
    tare = f", {with_unit(deed.tare.typed)} of it the container" if deed.tare else ""
    of = f"{codes[deed.thing]} " if deed.thing in codes else ""
    marks += [f"scale {deed.scale}"] if deed.scale else []
    behind = f" ({', '.join(marks)})" if marks else ""
    return (
        f"{of}weighed: {with_unit(deed.weight.typed)}{tare}, net {weight_text(deed.net_g)}{behind}"
    )


def _rest(deed: deeds.RestNoted, codes: Mapping[str, str]) -> str:
    of = f"{codes[deed.piece]} " if deed.piece in codes else ""
    of = f"{codes[deed.uid]} " if deed.uid in codes else of
    what = f"{deed.what} {deed.grade}" if deed.grade else deed.what
    return f"{of}{what}: {with_unit(deed.weight.typed)}{' (guessed)' if deed.guessed else ''}"


def _sold(deed: deeds.Sold, codes: Mapping[str, str]) -> str:
    names = ", ".join(ware_name(one) for one in deed.snapshot["things"])
    return f"{names} sold for {money_text(deed.price, deed.currency)}"


def ware_name(told: Mapping) -> str:
    """Return what was sold by the snapshot of a sale: its code, and out of a bin how much."""
    if told.get("bags") is None:
        return told["code"]
    grams, bags = Decimal(told["net_g"]), told["bags"]
    each = f"{bags} bags of {weight_text(grams / bags)}" if bags > 1 else weight_text(grams)
    return f"{told['code']} ({told['what']}, {each})"


def _came_back(deed: deeds.CameBack, codes: Mapping[str, str]) -> str:
    why = f": {deed.why}" if deed.why else ""
    some = ", ".join(codes.get(uid, "a thing") for uid in deed.things_back or ())
    what = "stays sold" if deed.stays else "came back"
    return f"{some or 'all of that sale'} {what}, {deed.refund:,.2f} refunded{why}"


def _reserved(deed: deeds.Reserved, codes: Mapping[str, str]) -> str:
    names = ", ".join(codes.get(uid, "a thing") for uid in deed.things_held)
    if deed.until is None:
        return f"{names} free again"
    whom = codes.get(deed.buyer, deed.whom)
    return f"{names} held{f' for {whom}' if whom else ''} until {deed.until}"


def _broken(deed: deeds.Broken, codes: Mapping[str, str]) -> str:
    parts = ", ".join(codes.get(uid, "a part") for uid in deed.parts)
    loss = f", {with_unit(deed.loss.typed)} lost" if deed.loss else ""
    return f"{codes.get(deed.piece, 'a piece')} broken into {parts}{loss}"


def _described(deed: deeds.Described, codes: Mapping[str, str]) -> str:
    of = f"{codes[deed.thing]} " if deed.thing in codes else ""
    return f"{of}{deed.what}: {deed.says}" if deed.says else f"{of}{deed.what} taken back"


def _listed(deed: deeds.Listed, codes: Mapping[str, str]) -> str:
    price = "price on request" if deed.price is None else money_text(deed.price, deed.currency)
    per = price_per(deed.snapshot.get("price"))
    return f"{deed.snapshot['code']} listed: {price}{f' per {per}' if per else ''}"


_WORDS = {
    deeds.Described: _described,
    deeds.Listed: _listed,
    deeds.Withdrawn: lambda d, codes: f"listing of {codes.get(d.thing, 'a piece')} withdrawn",
    deeds.TripBegun: lambda d, _: f"trip {d.number} begun: {d.name}",
    deeds.HaulBrought: lambda d, _: f"haul {d.code} brought: {with_unit(d.raw.typed)} raw",
    deeds.Numbered: lambda d, codes: f"number {codes.get(d.piece, d.number)} given",
    deeds.TagsPrinted: lambda d, _: (
        f"tags {code_of(d.code, d.first)} to {code_of(d.code, d.last)} printed; their numbers stay given"
    ),
    deeds.Weighed: _weighed,
    deeds.RestNoted: _rest,
    deeds.TableSet: lambda d, _: f"{d.what} set from {d.begins} on",
    deeds.LotMade: lambda d, codes: (
        f"lot {codes.get(d.uid, d.number)} of {counted(len(d.pieces), 'piece')} made up"
    ),
    deeds.Sold: _sold,
    deeds.CameBack: _came_back,
    deeds.Reserved: _reserved,
    deeds.CostNoted: lambda d, _: (
        f"cost of a trip: {money_text(d.money, d.currency)}{f', {d.note}' if d.note else ''}"
    ),
    deeds.LimitNoted: lambda d, _: (
        f"limit {d.name}: {with_unit(d.most.typed)} a {d.each}, as typed, from {d.begins} on"
    ),
    deeds.Broken: _broken,
}

#: So many deeds of an act are told; of more, the first ones and how many.
_TOLD = 3


def undone_lines(act: Sequence[Entry[deeds.Deed]], codes: Mapping[str, str]) -> list[str]:
    """Return which act was taken back, by whom and when it was done."""
    # A number is given on the way to something else, unless that is all that was done.
    main = [e for e in act if e.fact.kind != "numbered"] or list(act)
    told = [deed_words(entry.fact, codes) for entry in main[:_TOLD]]
    more = f" and {len(main) - _TOLD} more" if len(main) > _TOLD else ""
    by = f" by {act[-1].author}" if act[-1].author else ""
    return [f"taken back: {'; '.join(told)}{more} ({act[-1].time}{by})"]


def history_lines(lines: Sequence[HistoryLine], codes: Mapping[str, str]) -> list[str]:
    """Return a line each: when, what, by whom, and whether it was taken back."""
    return [
        f"{line.entry.time[:16].replace('T', ' ')}  {line_words(line, codes)}"
        + (f"  by {line.entry.author}" if line.entry.author else "")
        + ("  (taken back)" if line.taken_back else "")
        for line in lines
    ]


def line_record(line: HistoryLine, codes: Mapping[str, str]) -> dict:
    """Return a line of a history as plain data."""
    record = fact_record(line.entry) | {"words": line_words(line, codes)}
    return record | {"taken_back": line.taken_back}


def deed_record(entry: Entry[deeds.Deed], codes: Mapping[str, str]) -> dict:
    """Return a deed as plain data; numbers are text, as exact as they are kept."""
    return fact_record(entry) | {"words": deed_words(entry.fact, codes)}


def fact_record(entry: Entry[Fact]) -> dict:
    """Return a fact as plain data, without an exact place; numbers are text, as exact as they are kept."""
    data = json.loads(to_text({k: v for k, v in plain(entry.fact).items() if k != "place"}))
    return {
        "kind": entry.fact.kind,
        "time": entry.time,
        "by": entry.author,
        "data": data,
    }
