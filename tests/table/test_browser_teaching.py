"""What is taught at the table, in a real browser: a place told by keyboard, pairs by key and by finger, a second look
by keys."""

import pytest
from browsing import wait_for_next, wait_until_sent

from grader.ledger import views

pytestmark = pytest.mark.slow

PHONE = {
    "viewport": {"width": 390, "height": 844},
    "is_mobile": True,
    "has_touch": True,
    "device_scale_factor": 2,
}


def teach(page, what: str) -> None:
    page.click('[data-view="teach"]')
    page.click(f'[data-sub="{what}"]')


def test_a_place_is_told_by_keyboard_shown_at_once_and_taken_back(served, opened):
    table = served(1)
    page = opened(table, "Nell")
    page.click('#layers button:has-text("regions")')
    page.locator("#picture .aim").focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    page.click('#place-box [data-is="host"]')
    page.wait_for_selector('#picture svg text:has-text("host")', state="attached")
    page.click("#told button.small")
    page.wait_for_selector('#picture svg text:has-text("host")', state="detached")
    page.wait_for_function("() => !document.getElementById('measuring')")
    assert [e.fact.says for e in views.region_words(table._tray.ledger)] == ["host", "withdrawn"]


def test_pairs_by_key_are_kept_and_taken_back(served, opened):
    table = served(4)
    page = opened(table, "Nell")
    teach(page, "pairs")
    page.wait_for_selector("#two .side")
    for n in (1, 2):
        page.keyboard.press("ArrowLeft")
        words = f"you compared {n} pair{'' if n == 1 else 's'}"
        page.wait_for_selector(f'#pairs-count:has-text("{words}")')
    page.keyboard.press("Backspace")
    page.wait_for_selector("#pairs-back:not([disabled])")
    page.wait_for_function(
        "() => document.getElementById('pairs-count').innerText.includes('1 pair')"
    )
    assert len(views.comparisons(table._tray.ledger)) == 1


def test_both_stones_and_all_choices_are_on_one_screen_of_a_phone(served, opened):
    page = opened(served(3), "Ole", **PHONE)
    teach(page, "pairs")
    page.wait_for_selector("#two .side >> nth=1")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    # All in one look: the sides are drawn anew when their pictures come.
    boxes = page.evaluate(
        "[...document.querySelectorAll('#two .side, #pairs-skip, #pairs-back')].map(e => e.getBoundingClientRect())"
    )
    assert len(boxes) == 4
    for box in boxes:
        assert box["top"] >= 0 and box["bottom"] <= 844 and box["height"] >= 44
    page.tap("#two .side >> nth=1")
    page.wait_for_selector('#pairs-count:has-text("1 pair")')


def test_a_second_look_by_keys_is_answered_taken_back_and_judged(served, opened):
    table = served(3)
    page = opened(table, "Nell")
    for key in "swt":
        page.wait_for_selector(".grade[data-grade]:not([disabled]):not(.mine)")
        before = page.inner_text("#words .name")
        page.keyboard.press(key)
        if key != "t":
            wait_for_next(page, before)
    wait_until_sent(page)
    called = views.calls(table._tray.ledger)
    assert sorted(call.grade for call in called) == ["select", "tumbling", "waste"]

    teach(page, "again")
    page.click('#again-form button[type="submit"]')
    for said, key in (("1 of 3", "s"), ("2 of 3", "w"), ("3 of 3", "t")):
        page.wait_for_selector(f'#again-count-words:has-text("{said}")')
        page.keyboard.press(key)
    page.wait_for_selector('#again-count-words:has-text("all 3 answered")')
    page.keyboard.press("Backspace")
    page.wait_for_selector('#again-count-words:has-text("3 of 3")')
    page.click('[data-again="cabbing"]')
    page.wait_for_selector('#again-count-words:has-text("all 3 answered")')
    page.click("#again-done")
    page.wait_for_selector("#again-report:has-text('3 stones sorted twice')")
    # Its answers are no calls, nor is anything said of the stone that is being sorted.
    assert views.calls(table._tray.ledger) == called
    assert page.locator("#notices .notice").count() == 0
    (looked,) = views.resorts(table._tray.ledger)
    assert looked.done
    assert looked.answers == {0: "select", 1: "waste", 2: "cabbing"}
