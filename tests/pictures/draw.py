"""Draws the kept pictures from the sample photos: ``python tests/pictures/draw.py [NAME]...`` from the repository.

Look at each before it is kept: a test only sees that they have not changed since. Pages are drawn by Debian's chromium,
without a window; names, numbers and prices in them are invented.
"""

import os
import shutil
import sys
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
import pypdfium2

from grader.cli.main import app
from grader.grade import grade_photo
from grader.grading.learning.second_look import Looked, judge
from grader.report.overlay import piece_picture
from grader.report.second_look import write_second_look

HERE = Path(__file__).parent
SAMPLES = HERE.parents[1] / "sample_images"
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
#: Longest side of a kept picture, px.
SIDE_PX = 900
#: Width of a page in the browser, px.
PAGE_PX = 900
#: By name, the command that draws it; its last argument is where it is written. README shows them.
COMMANDS = {
    "check": ("check", SAMPLES / "02_two_pieces.jpg", "--picture"),
    "counted": ("check", SAMPLES / "01_lake_over_shore.jpg", "--view", "regions", "--picture"),
    "cutplan": ("cutplan", SAMPLES / "04_dry_slab.jpg", "--picture"),
}
PRICES = 'currency = "USD"\nbegins = 2025-03-01\nper = "lb"\n[by_weight]\nselect = 24\n'


def run(*args: object) -> None:
    """Run a command of the tool; what it says is told only where it fails."""
    told = StringIO()
    with redirect_stdout(told), redirect_stderr(told):
        try:
            code = app([str(arg) for arg in args], standalone_mode=False)
        except SystemExit as end:
            code = end.code
    if code:
        raise RuntimeError(told.getvalue())


def by_command(name: str, folder: Path) -> np.ndarray:
    path = folder / f"{name}.png"
    run(*COMMANDS[name], path, "--no-ledger")
    return cv2.imread(str(path))


def of_pdf(path: Path) -> np.ndarray:
    """The first page of a PDF, at 80 dots an inch."""
    page = pypdfium2.PdfDocument(path)[0]
    return np.ascontiguousarray(page.render(scale=80 / 72).to_numpy()[..., :3])


def of_page(path: Path, opened: str | None = None) -> np.ndarray:
    """A page as a browser shows it: whole, or what one screen shows once the button ``opened`` was clicked."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tool:
        browser = tool.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport={"width": PAGE_PX, "height": PAGE_PX})
        page.goto(path.as_uri())
        if opened:
            page.click(opened)
            page.wait_for_load_state("networkidle")
            page.wait_for_timeout(300)
        shot = page.screenshot(full_page=not opened)
        browser.close()
    return cv2.imdecode(np.frombuffer(shot, np.uint8), cv2.IMREAD_COLOR)


def sold(folder: Path) -> None:
    """A graded, called, weighed and priced stone, numbered 07-001, with a ledger of its own."""
    photos = folder / "photos"
    photos.mkdir()
    shutil.copy(SAMPLES / "01_lake_over_shore.jpg", photos)
    (folder / "prices.toml").write_text(PRICES, "utf-8")
    (folder / "grader.toml").write_text('ledger = "drawn.sqlite"\n', "utf-8")
    os.chdir(folder)
    run("trip", "new", "North bench", "--begins", "2025-03-02")
    run("haul", "new", "07", "--trip", "1", "--raw", "9kg")
    run("batch", photos, "--haul", "07", "--mm-per-px", "0.08722", "--workers", "1")
    run("call", photos / "01_lake_over_shore.jpg", "--grade", "select", "--by", "Nell")
    run("weigh", "07-001", "412g")
    run("prices", "set", "prices.toml")


def labels(folder: Path) -> np.ndarray:
    sold(folder)
    run("labels", "07-001", "--out", "labels.pdf")
    page = of_pdf(folder / "labels.pdf")
    # The first of three columns and eight rows.
    return page[: len(page) // 8, : page.shape[1] // 3]


def listing(folder: Path) -> np.ndarray:
    sold(folder)
    run("listing", "07-001", "--out", "listed")
    return of_pdf(next((folder / "listed").rglob("*.pdf")))


def sheet_card(folder: Path) -> np.ndarray:
    sold(folder)
    run("batch", "photos", "--haul", "07", "--mm-per-px", "0.08722", "--workers", "1")
    return of_page(folder / "photos" / "graded" / "sheet.html", opened="#tile-1 button")


def second_look(folder: Path) -> np.ndarray:
    grades = ("waste", "tumbling", "cabbing", "select")
    first, second = (
        np.array([0, 1, 1, 2, 2, 3, 3, 2, 0, 1]),
        np.array([0, 1, 2, 2, 2, 3, 1, 2, 0, 1]),
    )
    looked = Looked(
        tuple(map(str, range(10))), first, second, np.array([0, 1, 1, 2, 3, 3, 3, 2, 0, 1])
    )
    graded = grade_photo(SAMPLES / "04_dry_slab.jpg")
    picture = piece_picture(graded.photo, graded.measured.pieces[0])
    path = folder / "second_look.html"
    judged = judge(looked, 4, np.random.default_rng(0))
    write_second_look(path, looked, judged, grades, [(f"{n}.jpg", 1, picture) for n in range(10)])
    return of_page(path)


#: By name, what draws it; held by the test, shown nowhere.
PAGES: dict[str, Callable[[Path], np.ndarray]] = {
    "labels": labels,
    "listing": listing,
    "second_look": second_look,
    "sheet_card": sheet_card,
}


def drawn(name: str, folder: Path) -> np.ndarray:
    """Return a picture, sBGR uint8, drawn now."""
    here = Path.cwd()
    try:
        picture = PAGES[name](folder) if name in PAGES else by_command(name, folder)
    finally:
        os.chdir(here)
    factor = min(1.0, SIDE_PX / max(picture.shape))
    return cv2.resize(picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)


def main() -> None:
    for name in sys.argv[1:] or [*COMMANDS, *PAGES]:
        with TemporaryDirectory() as folder:
            path, quality = HERE / f"{name}.jpg", [cv2.IMWRITE_JPEG_QUALITY, 85]
            cv2.imwrite(str(path), drawn(name, Path(folder)), quality)
            print(path)


if __name__ == "__main__":
    main()
