"""The table in a real browser: by keyboard alone, with a finger on a phone, by two at once, and out of reach.

Debian's chromium, without a window. Where it is missing these tests are left out; in CI they fail (``CI`` is set).
"""

import socket
from contextlib import closing

import pytest
from browsing import wait_for, wait_for_next, wait_until_sent

from grader.ledger import views
from grader.table.serve import open_socket

# Together they take longer than ten seconds; CI runs them all by name.
pytestmark = pytest.mark.slow


#: Whether the cards of so many stones are here.
CARDS_HERE = """many => new Set(performance.getEntriesByType("resource").map(one => new URL(one.name).pathname)
  .filter(path => /^\\/api\\/stones\\/./.test(path))).size >= many"""


def shown(page) -> str:
    return page.inner_text("#words .name")


def holding(served) -> list[tuple]:
    return [
        (call.photo, call.grade, call.scene, call.by) for call in views.calls(served._tray.ledger)
    ]


def test_ten_stones_by_keyboard_alone_and_the_last_taken_back(served, opened):
    table = served(10)
    page = opened(table, "Nell")
    for n in range(10):
        before = shown(page)
        assert before.startswith(f"IMG_{n:04}")
        if n == 3:
            page.keyboard.type("75")
        page.keyboard.press("swtc"[n % 4])
        if n < 9:
            wait_for_next(page, before)
    wait_until_sent(page)
    grades = ["select", "waste", "tumbling", "cabbing"]
    assert holding(table) == [
        (f"IMG_{n:04}.jpg", grades[n % 4], 75 if n == 3 else None, "Nell") for n in range(10)
    ]
    page.keyboard.press("Backspace")
    page.keyboard.press("Backspace")
    wait_until_sent(page)
    assert len(holding(table)) == 8
    assert shown(page).startswith("IMG_0008")
    page.keyboard.press("?")
    wait_for(lambda: len(holding(table)) == 9)
    page.select_option("#pile", "left")
    page.wait_for_function("() => document.getElementById('place').innerText === '1 of 1'")


def test_picture_and_choice_are_on_one_screen_of_a_phone_and_a_finger_sorts(
    served, opened, tmp_path
):
    table = served(3, "1line")
    page = opened(
        table,
        "Ole",
        viewport={"width": 390, "height": 844},
        is_mobile=True,
        has_touch=True,
        device_scale_factor=2,
    )
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    for selector in ("#picture", ".grade >> nth=0", ".grade >> nth=3", "#next", "#scene"):
        box = page.locator(selector).bounding_box()
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= 844, selector
        assert box["height"] >= 44, selector
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 390, selector
    before = shown(page)
    page.tap('.grade[data-grade="cabbing"]')
    wait_for_next(page, before)
    wait_until_sent(page)
    assert [one[1] for one in holding(table)] == ["cabbing"]
    page.tap('#layers button:has-text("lines")')
    page.wait_for_selector("#picture .hit", state="attached")
    page.screenshot(path=tmp_path / "phone.png")


def test_a_line_is_told_by_a_click(served, opened):
    table = served(1, "1line")
    page = opened(table, "Nell")
    page.click('#layers button:has-text("lines")')
    page.locator("#picture .hit").focus()
    page.keyboard.press("Enter")
    page.click('#line-box [data-says="pattern"]')
    page.wait_for_selector("#notices .notice")
    assert "a pattern line by Nell" in page.inner_text("#notices")
    (word,) = views.line_words(table._tray.ledger)
    assert (word.fact.says, word.author) == ("pattern", "Nell")


def test_of_two_at_one_stone_the_later_sees_both_words(served, opened):
    table = served(2)
    nell, ole = opened(table, "Nell"), opened(table, "Ole")
    # Ole's card is here and is not on its way again, or it would show him Nell's word before he speaks.
    ole.reload()
    ole.wait_for_selector("#words .name")
    ole.wait_for_load_state("networkidle")
    nell.keyboard.press("s")
    wait_until_sent(nell)
    ole.keyboard.press("c")
    ole.wait_for_selector("#notices .notice")
    told = ole.inner_text("#notices")
    assert "Nell said select" in told
    assert "you said cabbing" in told
    assert nell.locator("#notices .notice").count() == 0
    assert {one[1:] for one in holding(table)} == {
        ("select", None, "Nell"),
        ("cabbing", None, "Ole"),
    }


def test_out_of_reach_words_wait_and_are_sent_once(served, opened):
    table = served(3)
    page = opened(table, "Nell")
    page.wait_for_function("() => document.querySelectorAll('#strip img').length === 3")
    # The cards of the next ones are fetched in front.
    page.wait_for_function(CARDS_HERE, arg=3)
    table.down()
    for key in "sc":
        before = shown(page)
        page.keyboard.press(key)
        wait_for_next(page, before)
    page.wait_for_function(
        "() => document.getElementById('waiting').innerText.startsWith('2 words waiting')"
    )
    assert holding(table) == []
    page.keyboard.press("Backspace")
    table.up()
    wait_until_sent(page)
    assert [one[1] for one in holding(table)] == ["select"]


def test_nothing_but_loopback_is_opened():
    with closing(open_socket("127.0.0.1", 0)) as listening:
        assert listening.getsockname()[0] == "127.0.0.1"
        own = socket.gethostbyname(socket.gethostname())
        if not own.startswith("127."):
            with closing(socket.socket()) as asking:
                asking.settimeout(2)
                assert asking.connect_ex((own, listening.getsockname()[1])) != 0
