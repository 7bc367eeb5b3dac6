"""The table at 200 % and 400 %: nothing cut, nothing scrolled sideways, picture and choice to be reached.

WCAG 2.2, 1.4.4 "Resize Text" (200 %) and 1.4.10 "Reflow" (320 CSS px wide, which is a desk of 1280 px at 400 %).
"""

from decimal import Decimal
from pathlib import Path

import pytest
from browsing import wait_for_next, wait_until_sent

from grader.deals.hauls import new_haul, number_photos
from grader.deals.weighing import read_typed, weigh
from grader.weight import Weight

pytestmark = pytest.mark.slow

SIZES = {
    "laptop at 200 %": {"viewport": {"width": 640, "height": 400}, "device_scale_factor": 2},
    "desk at 400 %": {"viewport": {"width": 320, "height": 256}, "device_scale_factor": 4},
    "narrow": {"viewport": {"width": 320, "height": 640}},
    "phone": {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True},
    "laptop": {"viewport": {"width": 1280, "height": 800}},
}
#: Where something may go on sideways: the strip of buttons on top, a table of figures, a full-size picture, neighbours.
SIDEWAYS = "nav, .across, #near.full, .strip, .gone, .skip"

FAULTS = (Path(__file__).parent / "cut_off.js").read_text()


@pytest.fixture
def table(served):
    """Six stones of a haul, numbered and weighed, each with a line."""
    table = served(6, "1line")
    ledger = table._tray.ledger
    new_haul(ledger, "07", Weight("5kg", Decimal(5000)), None, None)
    number_photos(ledger, "07", {one.sha256: one.photo for one in table._tray.stones}, "Nell")
    weigh(ledger, [read_typed(f"{n} {n}00g", "07", "g") for n in range(1, 6)], "Nell")
    table._tray.keep_up()
    return table


def call_all(page, keys: str) -> None:
    for n, key in enumerate(keys, start=1):
        before = page.inner_text("#words .name")
        page.keyboard.press(key)
        if n < len(keys):
            wait_for_next(page, before)
    wait_until_sent(page)


def go(page, view: str, sub: str | None = None) -> None:
    page.evaluate("view => document.querySelector(`[data-view=${view}]`).click()", view)
    if sub:
        page.evaluate("sub => document.querySelector(`[data-sub=${sub}]`).click()", sub)


def views(page):
    """Each view as it is used, by name; the next is made when it is asked for."""
    go(page, "sort")
    page.wait_for_selector("#picture img")
    for layer in ("photo", "lines", "regions", "best view", "cut plan"):
        page.evaluate(
            "name => [...document.querySelectorAll('#layers button')].find(one => one.innerText === name).click()",
            layer,
        )
        if layer == "cut plan":
            page.wait_for_selector("#told ul.plan")
        yield f"sort, {layer}", "#sort"
    go(page, "contact")
    page.wait_for_selector("#tiles .tile")
    page.evaluate("document.getElementById('c-more').open = true")
    yield "contact", "#contact"
    go(page, "add")
    yield "add", "#add"
    go(page, "weigh")
    page.wait_for_selector("#w-open button")
    page.evaluate("document.getElementById('w-begin').open = true")
    yield "weigh", "#weigh"
    yield from _lots(page)
    yield from _teach(page)
    go(page, "learn")
    page.wait_for_selector("#l-use:not(:empty)")
    yield "learn", "#learn"


def plan(page, grade: str, size: str) -> None:
    """Lay out lots."""
    go(page, "lots")
    page.wait_for_selector("#o-report:not(:empty)")
    page.select_option("#o-grade", grade)
    page.fill("#o-size", size)
    page.evaluate("document.querySelector('#o-form button').click()")
    page.wait_for_selector("#o-trays .piece")


def _lots(page):
    plan(page, "cabbing", "300g")
    page.evaluate("document.querySelector('#o-trays .piece').click()")
    yield "lots", "#lots"
    page.evaluate("document.querySelector('#o-there [aria-label^=List]').click()")
    page.wait_for_selector("#o-told h3, #o-told .remedy")
    yield "listed", "#lots"
    page.fill("#o-code", "07-006")
    for what in ("label", "keep"):
        page.evaluate("what => document.querySelector(`#o-one [value=${what}]`).click()", what)
        page.wait_for_selector("#o-told a[download], #o-told .remedy")
        yield what, "#lots"


def _teach(page):
    go(page, "teach", "pairs")
    page.wait_for_selector("#two .side")
    yield "pairs", "#teach"
    go(page, "teach", "again")
    page.fill("#again-count", "2")
    yield "second look", "#teach"
    page.evaluate("document.querySelector('#again-form button[type=submit]').click()")
    page.wait_for_selector("#again-picture img")
    yield "second look, a stone", "#teach"
    for n in (1, 2):
        page.wait_for_selector(f'#again-count-words:has-text("{n} of 2")')
        page.evaluate("document.querySelector('[data-again]').click()")
    page.wait_for_selector('#again-count-words:has-text("all 2 answered")')
    page.evaluate("document.getElementById('again-done').click()")
    page.wait_for_selector("#again-report table")
    yield "second look, its end", "#teach"
    go(page, "teach", "agree")
    page.wait_for_selector("#agree-worst figure")
    yield "agreement", "#teach"
    go(page, "teach", "colours")
    page.wait_for_selector("#k-picture img")
    yield "colours", "#teach"


def test_nothing_is_cut_or_scrolled_sideways_however_large_it_is_shown(table, opened, shots):
    first = opened(table, "Nell", **SIZES["laptop"])
    call_all(first, "sssscc")
    # Another one differs, so that there is something to agree on.
    second = opened(table, "Ole", **SIZES["laptop"])
    call_all(second, "ctcscc")
    # What Ole said last counts: one select, of 400 g, and cabbing of 100, 300 and 500 g.
    plan(second, "select", "300g")
    second.click("#o-keep")
    second.wait_for_selector("#o-there .lot")
    found = {}
    for n, (size, looks) in enumerate(SIZES.items()):
        page = opened(table, f"Look {n}", color_scheme=("light", "dark")[n % 2], **looks)
        for name, inside in views(page):
            page.screenshot(path=shots / f"{size}, {name}.png")
            if faults := page.evaluate(FAULTS, [inside, SIDEWAYS]):
                found[f"{size}, {name}"] = faults
        for box in ("who-box", "help-box", "line-box", "place-box", "near-box"):
            page.evaluate("id => document.getElementById(id).showModal()", box)
            page.screenshot(path=shots / f"{size}, {box}.png")
            if faults := page.evaluate(FAULTS, [f"#{box}", SIDEWAYS]):
                found[f"{size}, {box}"] = faults
            page.evaluate("id => document.getElementById(id).close()", box)
        page.context.close()
    assert found == {}
