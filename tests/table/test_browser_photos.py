"""Photos added in a real browser: chosen, dropped, out of reach, and across a program that is killed in between."""

import pytest
from browsing import HOUSE, wait_for

pytestmark = pytest.mark.slow
SAMPLE = HOUSE / "sample_images" / "01_lake_over_shore.jpg"


def at(browser, table, **looks):
    context = browser.new_context(**({"viewport": {"width": 1280, "height": 800}} | looks))
    page = context.new_page()
    page.set_default_timeout(120_000)
    enter(page, table)
    return page


def enter(page, table) -> None:
    page.goto(table.address)
    page.fill("#who-name", "Nell")
    page.keyboard.press("Enter")
    page.wait_for_selector("#who-box", state="hidden")


def test_a_photo_is_sent_across_a_killed_program_and_a_closed_page_and_graded(
    chromium, program, tmp_path, shots
):
    program = program()
    page = at(chromium, program)
    page.click('[data-view="add"]')
    # So slow a line that the photo is on its way when the program ends.
    net = page.context.new_cdp_session(page)
    net.send("Network.enable")
    slow = {"offline": False, "latency": 0, "downloadThroughput": -1}
    big = tmp_path / "big.jpg"
    # Bytes after the end of the picture are no fault; they make it long.
    big.write_bytes(SAMPLE.read_bytes() + bytes(range(256)) * 12_000)
    net.send("Network.emulateNetworkConditions", slow | {"uploadThroughput": 200_000})
    page.set_input_files("#a-files", [big])
    wait_for(lambda: program.photos().get("big.jpg") == "coming")
    page.wait_for_selector("#a-list progress")
    program.kill()
    page.wait_for_function("() => document.body.innerText.includes('out of reach')")
    # The page is closed as well; another one, opened later, goes on.
    context = page.context
    page.close()
    program.start()
    page = context.new_page()
    page.set_default_timeout(120_000)
    page.goto(program.address)
    wait_for(lambda: program.photos().get("big.jpg") == "graded")
    page.click('[data-view="add"]')
    page.wait_for_selector("text=big.jpg: 1 stone")
    page.screenshot(path=shots / "added.png")
    page.click("text=Sort these")
    page.wait_for_function(
        "() => document.querySelector('#words .name')?.innerText.startsWith('big.jpg')"
    )
    page.context.close()
    kept = list(tmp_path.glob("**/*.photos/*.jpg"))
    assert [one.read_bytes() for one in kept] == [big.read_bytes()]


def test_photos_are_dropped_and_a_bad_one_says_one_line(chromium, program, shots):
    program = program()
    page = at(chromium, program, viewport={"width": 390, "height": 844}, has_touch=True)
    dropped = """async files => {
      const all = new DataTransfer();
      for (const [name, bytes] of files) all.items.add(new File([new Uint8Array(bytes)], name));
      dispatchEvent(new DragEvent("drop", { dataTransfer: all, bubbles: true, cancelable: true }));
    }"""
    files = [
        ["<b>good.jpg", list(SAMPLE.read_bytes())],
        ["notes.pdf", list(b"%PDF-1.7 nothing" * 400)],
    ]
    page.evaluate(dropped, files)
    page.wait_for_selector("text=notes.pdf: a PDF, not a photo")
    wait_for(lambda: program.photos().get("<b>good.jpg") == "graded")
    page.wait_for_selector("text=<b>good.jpg: 1 stone")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.screenshot(path=shots / "dropped.png")
    for label in page.locator("label.press").all():
        assert label.bounding_box()["height"] >= 44
    page.click('[aria-label="Take notes.pdf off the list"]')
    page.wait_for_selector("text=notes.pdf", state="detached")
    assert "notes.pdf" not in program.photos()
    assert page.locator("#a-camera").get_attribute("capture") == "environment"
    page.context.close()
