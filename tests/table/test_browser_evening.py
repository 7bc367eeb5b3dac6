"""A whole evening at the table, in a real browser: stones from real files, the program itself, its ledger read beside.

Four of the drawn photos are measured once and lie there eight times each, under contents of their own: a picture that
is the same px for px measures the same. Prices, people and weights are invented.
"""

import hashlib
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from browsing import (
    HOUSE,
    as_photo,
    ledger_of,
    opened_page,
    wait_for,
    wait_for_next,
    wait_until_sent,
)
from scipy.ndimage import uniform_filter

from grader.deals.hauls import new_haul, number_photos
from grader.deals.sales import set_prices
from grader.deals.weighing import read_typed, weigh
from grader.ledger import listings, stock, views
from grader.looking import kept_face, look_at
from grader.looks import Look, ask_for, keep, shown
from grader.photo.terms import PhotoTerms
from grader.profile import load_profile
from grader.session import Session
from grader.weight import Weight

# CI runs it by name.
pytestmark = pytest.mark.slow

#: What is drawn on each, and what Nell calls it.
STONES = {
    "01_lake_over_shore.jpg": "select",
    "11_cracked.jpg": "select",
    "14_pale_blue.jpg": "tumbling",
    "15_all_host.jpg": "waste",
}
EACH, CALLED = 8, 30
PATIENCE_MS = 400_000
PRICES = """\
# Invented prices.
currency = "USD"
begins = 2025-01-01
per = "lb"
[by_weight]
select = 28
cabbing = 13
tumbling = 6
"""
PHONE = {
    "viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True, "device_scale_factor": 2,
    "color_scheme": "dark",
}  # fmt: skip


@dataclass(frozen=True)
class Dug:
    """A haul that is photographed, measured, numbered and nearly weighed.

    spots : by what is drawn, places of a colour on the first stone of its kind: x and y in px of its photo.
    """

    folder: Path
    spots: dict[str, dict[str, tuple[int, int]]]

    @property
    def ledger(self) -> Path:
        return self.folder / "evening.sqlite"


@pytest.fixture
def dug(tmp_path) -> Dug:
    session = Session(ledger=tmp_path / "evening.sqlite")
    ledger = session.need_ledger("a test")
    photos, spots, bases = {}, {}, {}
    for n, drawn in enumerate(list(STONES) * EACH):
        first, path = n < len(STONES), tmp_path / f"IMG_{n:04}.jpg"
        # Bytes after the end of the picture are no fault; they make it another photo of the same.
        content = (HOUSE / "sample_images" / drawn).read_bytes()
        path.write_bytes(content if first else content + b"%04d" % n)
        ask = ask_for(path, PhotoTerms(mm_per_px=0.1), ledger, path.name)
        if first:
            bases[drawn] = look = look_at(ask, session.profile, ledger)
            assert len(look.stones) == 1
            spots[drawn] = _spots(look)
        else:
            look = keep(as_photo(bases[drawn], ask), session.profile, ledger)
        shown([look], ledger)
        photos[ask.sha256] = path.name
    set_prices(ledger, PRICES, "prices.toml", "Nell")
    new_haul(ledger, "07", Weight("20kg", Decimal(20000)), None, "Nell")
    number_photos(ledger, "07", photos, "Nell")
    # The last two are weighed at the table.
    weigh(ledger, [read_typed(f"{n} {200 + 10 * n}g", "07", "g") for n in range(1, 31)], "Nell")
    session.close()
    return Dug(tmp_path, spots)


def _spots(look: Look) -> dict[str, tuple[int, int]]:
    """Where an eye sees the bluest, the palest and the darkest place of a stone."""
    face = kept_face(look, 1)
    light, chroma, blue = (
        uniform_filter(channel, 9)
        for channel in (face.lab[..., 0], np.hypot(face.lab[..., 1], face.lab[..., 2]), face.lab[..., 2])
    )  # fmt: skip
    inner = uniform_filter(face.mask.astype(np.float32), 21) > 0.999
    found = {}
    for says, value in (("blue", blue), ("white", chroma - light), ("host", -blue)):
        y, x = np.unravel_index(np.where(inner, value, np.inf).argmin(), inner.shape)
        found[says] = tuple(int(v) for v in face.to_photo_px(np.array([[x, y]], np.float32))[0])
    return found


def teach(page, what: str) -> None:
    page.click('[data-view="teach"]')
    page.click(f'[data-sub="{what}"]')


def calls_in(path: Path) -> list:
    with ledger_of(path) as ledger:
        return list(views.calls(ledger))


def test_a_whole_evening(chromium, program, dug, shots):
    faults: list[str] = []
    table = program(dug.folder, ["--ledger", str(dug.ledger)])
    page = opened_page(chromium, table.address, "Nell", faults, color_scheme="light")
    page.set_default_timeout(PATIENCE_MS)
    page.wait_for_function("() => document.getElementById('place').innerText === '1 of 32'")
    _thirty_by_keyboard(page, dug, shots)
    _close_up(page, shots)
    _colours_taught(page, dug, shots)
    _second_look(page, dug, shots)
    _weighed(page, dug, shots)
    _lots_swapped(page, dug, shots)
    _papers(page, dug, shots)
    _learned(page, dug, shots)
    page.context.close()
    _phone_out_of_reach(chromium, table, dug, shots, faults)
    assert faults == []


def _thirty_by_keyboard(page, dug, shots) -> None:
    keys = [grade[0] for grade in STONES.values()]
    for n in range(CALLED):
        before = page.inner_text("#words .name")
        assert before.startswith(f"07-{n + 1:03}")
        if n == 3:
            page.keyboard.type("75")
        page.keyboard.press(keys[n % len(keys)])
        wait_for_next(page, before)
        if n == 3:
            page.screenshot(path=shots / "01 sorting.png")
    wait_until_sent(page)
    grades = list(STONES.values())
    expected = [grades[n % len(grades)] for n in range(CALLED)]
    kept = calls_in(dug.ledger)
    assert [one.grade for one in kept] == expected
    assert {one.by for one in kept} == {"Nell"}
    assert [one.scene for one in kept] == [75 if n == 3 else None for n in range(CALLED)]
    # The last one back, and said anew.
    page.keyboard.press("Backspace")
    wait_until_sent(page)
    assert page.inner_text("#words .name").startswith(f"07-{CALLED:03}")
    assert len(calls_in(dug.ledger)) == CALLED - 1
    before = page.inner_text("#words .name")
    page.keyboard.press("c")
    wait_for_next(page, before)
    wait_until_sent(page)
    assert calls_in(dug.ledger)[-1].grade == "cabbing"


def _close_up(page, shots) -> None:
    page.keyboard.press("+")
    page.wait_for_function("() => document.querySelector('#near img')?.naturalWidth > 0")
    page.click("#near-size")
    page.screenshot(path=shots / "02 close-up.png")
    inside = "() => document.querySelector('#near img').clientWidth > document.getElementById('near').clientWidth"
    assert page.evaluate(inside)
    page.keyboard.press("Escape")
    page.wait_for_selector("#near-box", state="hidden")
    page.keyboard.press("Space")
    page.keyboard.press("Space")
    page.wait_for_selector("#told img")
    page.screenshot(path=shots / "03 regions.png")


def _mark(page, says: str, at: tuple[int, int]) -> None:
    """Tap a place on the stone, given in px of its photo."""
    before = page.inner_text("#k-count")
    page.click(f'[data-kind="{says}"]')
    x, y = page.evaluate(
        """([x, y]) => {
          const svg = document.querySelector("#k-picture svg");
          const at = new DOMPoint(x, y).matrixTransform(svg.getScreenCTM());
          return [at.x, at.y];
        }""",
        list(at),
    )
    page.mouse.click(x, y)
    page.wait_for_function(
        "before => document.getElementById('k-count').innerText !== before", arg=before
    )


def _colours_taught(page, dug, shots) -> None:
    teach(page, "colours")
    wanted = {
        0: ("01_lake_over_shore.jpg", ("blue", "white")),
        3: ("15_all_host.jpg", ("host",)),
    }
    page.wait_for_selector("#k-picture svg")
    for n, (drawn, kinds) in wanted.items():
        page.select_option("#k-stone", label=f"07-{n + 1:03}")
        page.wait_for_selector(f'#k-picture img[alt^="07-{n + 1:03}"]')
        page.wait_for_selector("#k-picture svg")
        for says in kinds:
            _mark(page, says, dug.spots[drawn][says])
    page.select_option("#k-stone", label="07-001")
    page.click('[data-k="then"]')
    # It is tried on stones with a spot, then on others, and only then may be saved.
    page.wait_for_selector("#k-save:not([disabled])")
    page.wait_for_selector("#k-picture img[src^='data:image/png']", state="attached")
    page.screenshot(path=shots / "04 colours.png")
    page.fill("#k-name", "evening")
    page.click("#k-save")
    page.wait_for_selector('#k-said:has-text("evening.toml written")')
    profile = load_profile(str(dug.folder / "evening.toml"))
    assert {one.name for one in profile.colours} == {"blue", "white", "host"}
    assert (profile.name, profile.version) == ("evening", load_profile().version + 1)


def _second_look(page, dug, shots) -> None:
    teach(page, "again")
    page.fill("#again-count", "3")
    page.click('#again-form button[type="submit"]')
    for n, key in enumerate("swt", start=1):
        page.wait_for_selector(f'#again-count-words:has-text("{n} of 3")')
        page.wait_for_function(
            "() => document.querySelector('#again-picture img')?.naturalWidth > 0"
        )
        if n == 2:
            page.screenshot(path=shots / "05 second look.png")
        page.keyboard.press(key)
    page.wait_for_selector('#again-count-words:has-text("all 3 answered")')
    page.click("#again-done")
    page.wait_for_selector("#again-report:has-text('3 stones sorted twice')")
    page.screenshot(path=shots / "06 second look, its end.png")
    with ledger_of(dug.ledger) as ledger:
        (looked,) = views.resorts(ledger)
        assert looked.done
        assert list(looked.answers.values()) == ["select", "waste", "tumbling"]
        assert len(views.calls(ledger)) == CALLED


def _weighed(page, dug, shots) -> None:
    page.click('[data-view="weigh"]')
    page.wait_for_selector('#w-open button:has-text("07-031")')
    # Two one after the other, as fast as they are typed: none is lost while the first is kept.
    page.keyboard.type("31 450g")
    page.keyboard.press("Enter")
    page.keyboard.type("32 1lb")
    page.keyboard.press("Enter")
    page.wait_for_selector('#w-list li:has-text("07-032")')
    page.wait_for_selector("#w-open li:has-text('all of this haul are weighed')")
    page.screenshot(path=shots / "07 weighed.png")
    with ledger_of(dug.ledger) as ledger:
        weights = {one.code: one.net_g for one in stock.pieces(ledger).values()}
    assert weights["07-031"] == 450
    # 1 lb = 453.59237 g: International yard and pound agreement of 1959.
    assert weights["07-032"] == pytest.approx(Decimal("453.59237"))


def _lots_swapped(page, dug, shots) -> None:
    page.click('[data-view="lots"]')
    page.wait_for_function(
        "() => document.querySelector('#o-grade option[value=select]')?.innerText.includes('15')"
    )
    page.select_option("#o-grade", "select")
    page.fill("#o-size", "900g")
    page.click("text=Lay out lots")
    page.wait_for_selector("#o-trays .lot:nth-of-type(2) .piece")

    def trays() -> list[list[str]]:
        return page.evaluate(
            """() => [...document.querySelectorAll("#o-trays .lot:not(.left)")].map(
              lot => [...lot.querySelectorAll(".piece > span:last-child")].map(one => one.firstChild.data))"""
        )

    laid = trays()
    one, other = laid[0][0], laid[1][0]
    page.click(f'#o-trays .piece:has-text("{one}")')
    page.click(f'#o-trays .piece:has-text("{other}")')
    page.wait_for_function(
        "words => document.getElementById('o-now').innerText.startsWith(words)",
        arg=f"{one} and {other} swapped. {len(laid)} lots",
    )
    now = trays()
    assert [one in now[1], other in now[0]] == [True, True]
    # Lighter by the swap, a lot may be short; then it is laid out as before.
    if page.is_disabled("#o-keep"):
        page.click("#o-again")
        page.wait_for_selector("#o-keep:not([disabled])")
        now = trays()
    page.screenshot(path=shots / "08 lots.png")
    page.click("#o-keep")
    page.wait_for_selector('#o-there .lot:has-text("07-L1")')
    with ledger_of(dug.ledger) as ledger:
        pieces = stock.pieces(ledger)
        kept = [[pieces[uid].code for uid in lot.pieces] for lot in stock.lots(ledger).values()]
    assert sorted(map(sorted, kept)) == sorted(map(sorted, now))


def _papers(page, dug, shots) -> None:
    with page.expect_download() as saved:
        page.click("#o-labels")
    pdf = pypdfium2.PdfDocument(saved.value.path())
    text = "".join(one.get_textpage().get_text_bounded() for one in pdf)
    assert "07-L1" in text
    page.click('[aria-label="List 07-L1"]')
    page.wait_for_selector("#o-told h3:has-text('Listed: ')")
    with ledger_of(dug.ledger) as ledger:
        assert [one.code for one in listings.open_listings(ledger).values()] == ["07-L1"]
    # A cracked one that lies in no lot: both ways and the cautions, as its picture.
    loose = page.evaluate("[...document.querySelectorAll('#o-codes option')].map(one => one.value)")
    cracked = next(code for code in loose if int(code[3:]) % len(STONES) == 2)
    page.fill("#o-code", cracked)
    page.click('#o-one button[value="keep"]')
    page.wait_for_selector("#o-told .keep, #o-told .remedy")
    told = page.inner_text("#o-told")
    assert "advice: " in told or "no line seen" in told, told
    page.wait_for_function(
        "() => [...document.querySelectorAll('.keep')].every(one => one.naturalWidth > 0)"
    )
    page.screenshot(path=shots / "09 keep or break.png")
    assert "haul 07: 20.000 kg raw" in page.inner_text("#o-report")


def _learned(page, dug, shots) -> None:
    page.click('[data-view="learn"]')
    page.click("#l-begin")
    page.wait_for_selector("#l-answers:visible")
    assert "made from 30 called stones" in page.inner_text("#l-from")
    page.screenshot(path=shots / "10 learned.png")
    with ledger_of(dug.ledger) as ledger:
        # The report comes first: nothing is used before somebody says so.
        assert views.model_uses(ledger) == ()
    page.click("#l-take")
    page.wait_for_selector("#l-now:has-text('Nell took the new model')")
    with ledger_of(dug.ledger) as ledger:
        (use,) = views.model_uses(ledger)
    assert Path(use.fact.folder).is_dir()
    assert page.inner_text("#l-use") == f"In use: {use.fact.label}."


def _phone_out_of_reach(browser, table, dug, shots, faults) -> None:
    page = opened_page(browser, table.address, "Ole", faults, **PHONE)
    page.set_default_timeout(PATIENCE_MS)
    page.wait_for_function("() => document.getElementById('place').innerText === '1 of 32'")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    before = page.inner_text("#words .name")
    page.tap('.grade[data-grade="cabbing"]')
    wait_for_next(page, before)
    wait_until_sent(page)
    page.screenshot(path=shots / "11 phone.png")
    # A photo is on its way, over so slow a line that it still is when the program ends.
    big = dug.folder / "big.jpg"
    sample = (HOUSE / "sample_images" / "24_second_lake.jpg").read_bytes()
    big.write_bytes(sample + bytes(range(256)) * 12_000)
    net = page.context.new_cdp_session(page)
    net.send("Network.enable")
    slow = {"offline": False, "latency": 0, "downloadThroughput": -1}
    page.tap('[data-view="add"]')
    page.wait_for_function("() => document.querySelectorAll('#a-haul option').length === 2")
    page.select_option("#a-haul", "07")
    net.send("Network.emulateNetworkConditions", slow | {"uploadThroughput": 200_000})
    page.set_input_files("#a-files", [big])
    wait_for(lambda: table.photos().get("big.jpg") == "coming")
    page.tap('[data-view="sort"]')
    page.wait_for_function(
        "() => document.querySelectorAll('.grade[data-grade]:not([disabled])').length"
    )
    before = page.inner_text("#words .name")
    table.kill()
    page.tap('.grade[data-grade="select"]')
    page.wait_for_function(
        "() => document.getElementById('waiting').innerText.startsWith('1 word waiting')"
    )
    page.screenshot(path=shots / "12 out of reach.png")
    assert len(calls_in(dug.ledger)) == CALLED + 1
    net.send("Network.emulateNetworkConditions", slow | {"uploadThroughput": -1})
    table.start()
    wait_until_sent(page)
    ole = [one for one in calls_in(dug.ledger) if one.by == "Ole"]
    assert [one.grade for one in ole] == ["cabbing", "select"]
    wait_for(lambda: table.photos().get("big.jpg") == "graded")
    page.tap('[data-view="add"]')
    page.wait_for_selector("text=big.jpg: 1 stone")
    page.screenshot(path=shots / "13 graded after all.png")
    with ledger_of(dug.ledger) as ledger:
        kept = hashlib.sha256(big.read_bytes()).hexdigest()
        assert kept in views.last_looks(ledger)
        assert "07-033" in {one.code for one in stock.pieces(ledger).values()}
    page.context.close()
