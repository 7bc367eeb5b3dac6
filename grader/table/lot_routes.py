"""Routes of lots, and of what is printed and sent."""

from typing import Annotated, Literal

from fastapi import FastAPI, Path, Query
from fastapi.responses import Response
from pydantic import Field, StringConstraints

from grader.errors import LedgerError
from grader.session import Session
from grader.table import lots, papers
from grader.table.asked import Haul, Name, Sent
from grader.table.tray import Tray
from grader.weight import Weight, grams_of

Code = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9]{1,12}-[A-Z]?[0-9]{1,6}$")]
PathCode = Annotated[str, Path(pattern=r"^[A-Za-z0-9]{1,12}-[A-Z]?[0-9]{1,6}$")]
PathHaul = Annotated[str, Path(pattern=r"^[A-Za-z0-9]{1,12}$")]
Typed = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=40)]
#: A grade is some tens of pieces, a haul some hundreds.
_Tray = Annotated[list[Code], Field(max_length=500)]
_KINDS = {
    "pdf": "application/pdf", "html": "text/html; charset=utf-8", "csv": "text/csv; charset=utf-8",
    "json": "application/json", "png": "image/png",
}  # fmt: skip


class LotsSent(Sent):
    """Which lots are wished for."""

    haul: Haul
    grade: Name
    size: Typed
    fewest: Annotated[int, Field(ge=1, le=500)] = 1
    most: Annotated[int, Field(ge=1, le=500)] | None = None

    @property
    def wish(self) -> lots.LotWish:
        return lots.LotWish(self.haul, self.grade, self.size, self.fewest, self.most)


class TraysSent(LotsSent):
    """Trays as a hand put them."""

    trays: Annotated[list[_Tray], Field(max_length=300)]


class KeptSent(TraysSent):
    """Trays to be kept."""

    by: Name


class ListingSent(Sent):
    """A piece or lot to be listed."""

    code: Code
    by: Name


def add_lots(app: FastAPI, tray: Tray) -> None:
    """Let the application make lots, and what is printed and sent."""
    _lots(app, tray)
    _papers(app, tray.session)
    _listings(app, tray.session)
    _keeping(app, tray.session)


def _lots(app: FastAPI, tray: Tray) -> None:
    @app.get("/api/lots/{haul}")
    def there(haul: PathHaul) -> dict:
        return lots.made_before(haul, tray)

    @app.post("/api/lots/planned")
    def planned(sent: LotsSent) -> dict:
        return lots.planned(sent.wish, tray)

    @app.post("/api/lots/weighed")
    def weighed(sent: TraysSent) -> dict:
        return lots.weighed(sent.wish, sent.trays, tray)

    @app.post("/api/lots/kept")
    def kept(sent: KeptSent) -> dict:
        return {"lines": lots.kept(sent.wish, sent.trays, sent.by, tray)}


def _papers(app: FastAPI, session: Session) -> None:
    @app.get("/files/labels.pdf")
    def labels(
        haul: Annotated[str | None, Query(pattern=r"^[A-Za-z0-9]{1,12}$")] = None,
        code: Annotated[Code | None, Query()] = None,
        paper: Literal["a4", "letter"] = "a4",
    ) -> Response:
        if (haul is None) == (code is None):
            raise LedgerError("labels: name a haul, or one piece or lot")
        name = f"labels-{haul or code}.pdf"
        return _file(name, papers.labels_pdf(session, haul, [code] if code else [], paper))

    @app.get("/api/report/{haul}")
    def report(haul: PathHaul) -> dict:
        lines, files = papers.haul_report(session, haul)
        return {"lines": lines, "files": list(files)}

    @app.get("/files/haul-{haul}.{suffix}")
    def report_file(haul: PathHaul, suffix: Literal["html", "csv"]) -> Response:
        name = f"haul-{haul}.{suffix}"
        return _file(name, papers.haul_report(session, haul)[1][name])


def _listings(app: FastAPI, session: Session) -> None:
    listings = papers.ListingFiles(session)

    @app.post("/api/listings")
    def list_one(sent: ListingSent) -> dict:
        told = papers.list_one(session, sent.code, sent.by)
        files = [f"{told.code}.{suffix}" for suffix in ("html", "pdf", "json", "csv")]
        return {"title": told.title, "lines": told.lines, "cautions": told.cautions, "files": files}

    @app.get("/files/listing/{code}.{suffix}")
    def listing_file(code: PathCode, suffix: Literal["html", "pdf", "json", "csv"]) -> Response:
        return _file(f"{code}.{suffix}", listings.file(code, suffix))


def _keeping(app: FastAPI, session: Session) -> None:
    @app.get("/api/keep/{code}")
    def keep(code: PathCode, parts_of: Annotated[Typed | None, Query()] = None) -> dict:
        told = papers.keep_told(session, code, _weight(parts_of, session))
        return {"lines": told.lines, "cautions": told.cautions}

    @app.get("/files/keep-{code}.png")
    def keep_picture(code: PathCode, parts_of: Annotated[Typed | None, Query()] = None) -> Response:
        picture = papers.keep_told(session, code, _weight(parts_of, session)).picture
        return Response(picture, media_type="image/png")


def _weight(typed: str | None, session: Session) -> Weight | None:
    """A weight as it was typed."""
    if typed is None:
        return None
    try:
        return grams_of(typed, session.settings.unit)
    except ValueError as err:
        raise LedgerError(f"weight of a part: {err}") from err


def _file(name: str, content: bytes) -> Response:
    """A file to be saved: what it holds never runs as a page of the table's."""
    kind = _KINDS[name.rpartition(".")[2]]
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=kind, headers=headers)
