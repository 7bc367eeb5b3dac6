"""A listing as a PDF for print: its words can be searched, and the same listing gives the same bytes."""

from collections.abc import Iterator
from io import BytesIO

from reportlab.lib.utils import ImageReader, simpleSplit
from reportlab.pdfgen.canvas import Canvas

from grader.errors import harmless
from grader.report.listing import listing_rows, piece_rows, title_words
from grader.report.listing_page import Page
from grader.report.photo_card import BOLD, FONT, PAPERS_MM, POINTS_PER_MM

#: Of the page, mm: its rim, the height of the large picture and of the small ones, the room of labels.
RIM_MM, LARGE_MM, SMALL_MM, LABEL_MM = 15.0, 78.0, 46.0, 32.0
TITLE_PT, TEXT_PT, SMALL_PT = 15.0, 9.0, 7.5
_LEADING = 1.25


class _Sheet:
    """A page that is filled from the top down, and goes over to a new one where there is no room."""

    def __init__(self, title: str, paper: str) -> None:
        width, height = PAPERS_MM[paper]
        self.width_pt, self.height_pt = width * POINTS_PER_MM, height * POINTS_PER_MM
        self.made = BytesIO()
        self.canvas = Canvas(
            self.made, pagesize=(self.width_pt, self.height_pt), invariant=1, pageCompression=1
        )
        self.canvas.setTitle(title)
        self.rim = RIM_MM * POINTS_PER_MM
        self.room = self.width_pt - 2 * self.rim
        self.y = self.height_pt - self.rim

    def need(self, points: float) -> None:
        if self.y - points < self.rim:
            self.canvas.showPage()
            self.y = self.height_pt - self.rim

    def words(self, text: str, size: float, font: str = FONT, left: float = 0.0) -> None:
        """Put text in as many lines as it takes, ``left`` points from the rim."""
        for line in _broken(text, font, size, self.room - left):
            self.need(size * _LEADING)
            self.y -= size * _LEADING
            self.canvas.setFont(font, size)
            self.canvas.drawString(self.rim + left, self.y, line)

    def row(self, label: str, text: str) -> None:
        lines = _broken(text, FONT, TEXT_PT, self.room - LABEL_MM * POINTS_PER_MM)
        self.need(TEXT_PT * _LEADING * min(len(lines), 4) + 2)
        if label:
            self.y -= 2
        top = self.y
        self.words(text, TEXT_PT, left=LABEL_MM * POINTS_PER_MM)
        if label and self.y <= top:
            self.canvas.setFont(BOLD, TEXT_PT)
            self.canvas.drawString(self.rim, top - TEXT_PT * _LEADING, label)

    def pictures(self, shown: list[tuple[bytes, str]], columns: int, height_mm: float) -> None:
        """Put pictures side by side, each with its words below."""
        gap = 4 * POINTS_PER_MM
        wide = (self.room - gap * (columns - 1)) / columns
        tall = height_mm * POINTS_PER_MM
        for first in range(0, len(shown), columns):
            of_row = shown[first : first + columns]
            texts = [_broken(text, FONT, SMALL_PT, wide) for _, text in of_row]
            images = [ImageReader(BytesIO(jpeg)) if jpeg else None for jpeg, _ in of_row]
            sizes = [_fitted(image, wide, tall) for image in images]
            high = max(size[1] for size in sizes)
            words_high = max(map(len, texts)) * SMALL_PT * _LEADING
            self.need(high + words_high + gap)
            for column, (image, size, lines) in enumerate(zip(images, sizes, texts, strict=True)):
                x = self.rim + column * (wide + gap)
                if image:
                    self.canvas.drawImage(image, x, self.y - size[1], *size)
                self.canvas.setFont(FONT, SMALL_PT)
                for number, line in enumerate(lines, start=1):
                    self.canvas.drawString(x, self.y - high - number * SMALL_PT * _LEADING, line)
            self.y -= high + words_high + gap

    def bytes(self) -> bytes:
        self.canvas.save()
        return self.made.getvalue()


def listing_pdf(page: Page, paper: str = "a4") -> bytes:
    """Return a listing as a PDF, the same bytes each time."""
    record, title = page.record, _printable(title_words(page.record))
    sheet = _Sheet(title, paper)
    sheet.words(title, TITLE_PT, BOLD)
    sheet.y -= 6
    shown = [(one.jpeg, one.caption) for one in page.pictures]
    if shown:
        sheet.pictures(shown[:1], 1, LARGE_MM)
    if shown[1:]:
        sheet.pictures(shown[1:], 3, SMALL_MM)
    for label, text in listing_rows(record):
        sheet.row(label, text)
    if record["pieces"]:
        sheet.y -= 8
        members = [
            (page.members.get(code, b""), f"{code}: {words}") for code, words in piece_rows(record)
        ]
        sheet.pictures(members, 4, 34.0)
    sheet.y -= 8
    for line in record["cautions"]:
        sheet.words(line, SMALL_PT)
    sheet.words(
        f"Listed {record['listed']}. All of it is what was recorded; what was not says so.",
        SMALL_PT,
    )
    return sheet.bytes()


def _fitted(image: ImageReader | None, wide: float, tall: float) -> tuple[float, float]:
    if image is None:
        return 0.0, 0.0
    w, h = image.getSize()
    scale = min(wide / w, tall / h)
    return w * scale, h * scale


def _broken(text: str, font: str, size: float, room: float) -> list[str]:
    return list(_lines(_printable(text), font, size, room)) or [""]


def _lines(text: str, font: str, size: float, room: float) -> Iterator[str]:
    """Lines no longer than there is room; a word that is longer is cut."""
    most = max(1, int(room / (0.6 * size)))
    for line in simpleSplit(text, font, size, room):
        yield from (
            (line[i : i + most] for i in range(0, len(line), most))
            if len(line.split()) == 1 and len(line) > most
            else (line,)
        )


def _printable(text: str) -> str:
    """What the fonts that every reader has can show (Windows-1252); a letter that they lack becomes "?"."""
    return harmless(text).encode("cp1252", "replace").decode("cp1252")
