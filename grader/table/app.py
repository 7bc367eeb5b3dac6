"""The table's web application: routes over the tray, thin; what is decided is decided elsewhere."""

from pathlib import Path
from typing import Annotated

from fastapi import FastAPI, HTTPException, Query, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware

from grader.errors import GraderError, LedgerError, PhotoError
from grader.report.keys import grade_keys
from grader.report.overlay import LARGE_PX
from grader.report.stock import weight_text
from grader.table import asked, scales
from grader.table.cards import card, tile
from grader.table.order import ORDERS, PILES, Wish, counted, totals, wished
from grader.table.pictures import WHOLE_PX, Pictures
from grader.table.saying import LineSaid, Said, call_lines, say, say_of_line, take_back
from grader.table.share import COOKIE, Sharing, code_rows, entrance, is_loopback
from grader.table.stones import TableStone
from grader.table.tray import Tray

#: A picture is known by its content, so it never changes.
_FOR_EVER = {"cache-control": "private, max-age=31536000, immutable"}
#: Tiles asked for at a time.
MOST_TILES = 60
_HERE = Path(__file__).parent


def table_app(tray: Tray, sharing: Sharing | None = None) -> FastAPI:
    """Return the application, without its guard."""
    app = FastAPI(title="Sorting table", docs_url=None, redoc_url=None, openapi_url=None)
    app.add_middleware(GZipMiddleware, minimum_size=2000, compresslevel=4)
    app.mount("/static", StaticFiles(directory=_HERE / "static"), name="static")
    _errors(app)
    _page(app, tray, sharing)
    _stones(app, tray)
    _words(app, tray)
    _scales(app, tray)
    return app


def _errors(app: FastAPI) -> None:
    @app.exception_handler(GraderError)
    def refused(request: Request, err: GraderError) -> JSONResponse:
        status = 503 if isinstance(err, LedgerError) and "another program" in str(err) else 409
        return JSONResponse({"error": str(err)}, status)

    @app.exception_handler(RequestValidationError)
    def not_understood(request: Request, err: RequestValidationError) -> JSONResponse:
        # What was sent is not said back: it may be anything.
        fields = [".".join(map(str, one["loc"])) for one in err.errors()[:3]]
        return JSONResponse({"error": f"not understood: {', '.join(fields)}"}, 422)


def _found(tray: Tray, id: str) -> TableStone:
    stone = tray.stone(id)
    if stone is None:
        raise HTTPException(404, "no such stone on the table")
    return stone


def _page(app: FastAPI, tray: Tray, sharing: Sharing | None) -> None:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    page = Environment(
        loader=PackageLoader("grader.table"), autoescape=True, undefined=StrictUndefined
    ).get_template("page.html")

    session, profile = tray.session, tray.session.profile
    keys = grade_keys(profile.grades)
    shell = page.render(
        grades=[
            {"name": rung.grade, "meaning": rung.meaning, "key": keys[rung.grade]}
            for rung in reversed(profile.ladder)
        ],
        piles=[{"name": name, "words": words} for name, (words, _) in PILES.items()],
        orders=[{"name": name, "words": words} for name, (words, _) in ORDERS.items()],
        shared=sharing is not None,
    )

    @app.get("/")
    def table() -> Response:
        return Response(shell, media_type="text/html")

    @app.get("/api/people")
    def people() -> dict:
        named = {call["by"] for stone in tray.stones for call in stone.people}
        return {
            "people": sorted((named | {session.settings.by, session.settings.decider}) - {None})
        }

    @app.get("/api/progress")
    def progress(by: asked.By = "") -> dict:
        tray.keep_up()
        stones, now = tray.stones, tray.progress
        unit, grades = tray.session.settings.unit, tray.session.profile.grades
        rows = totals(stones, grades)
        return {
            "photos": now.photos,
            "laid": now.laid,
            "done": now.done,
            "error": now.error,
            "failed": now.failed,
            "stones": len(stones),
            "piles": counted(stones, by),
            "totals": [
                {
                    "grade": row["grade"],
                    "stones": row["stones"],
                    "weighed": row["weighed"],
                    "weight": weight_text(row["grams"], unit) if row["weighed"] else None,
                }
                for row in rows
            ],
            "hauls": sorted({stone.haul for stone in stones if stone.haul}),
            "devices": sharing.devices if sharing else 0,
        }

    @app.post("/api/code")
    def code(request: Request, sent: asked.BySent) -> dict:
        # Who was let in lets nobody else in.
        if sharing is None or not is_loopback(request.client.host if request.client else ""):
            raise HTTPException(403, "only the computer that shares the table shows a code")
        host = next(iter(sharing.hosts))
        return {"host": host, "rows": code_rows(entrance(host, sharing))}

    @app.get("/enter")
    def enter(code: Annotated[str, Query(max_length=100)] = "") -> Response:
        value = sharing.enter(code) if sharing else None
        if value is None:
            raise HTTPException(
                403, "this code was used or is too old; let the computer show a new one"
            )
        answer = RedirectResponse("/", 303)
        answer.set_cookie(COOKIE, value, httponly=True, samesite="lax", path="/")
        return answer


def _stones(app: FastAPI, tray: Tray) -> None:
    pictures = Pictures(tray)

    @app.get("/api/stones")
    def stones(
        by: asked.By = "",
        pile: asked.Some = None,
        grade: asked.Some = None,
        proposed: asked.Some = None,
        haul: asked.Some = None,
        text: asked.Some = None,
        first: asked.Some = None,
    ) -> dict:
        if pile not in (None, *PILES) or first not in (None, *ORDERS):
            raise HTTPException(404, "no such pile or order")
        wish = Wish(by, pile or "open", grade, proposed, haul, text, first or "laid")
        return {"ids": [stone.id for stone in wished(tray.stones, wish)]}

    @app.get("/api/tiles")
    def tiles(
        ids: Annotated[str, Query(max_length=24 * MOST_TILES, pattern=r"^[0-9a-f,-]*$")],
        by: asked.By = "",
    ) -> list[dict]:
        known = [tray.stone(id) for id in ids.split(",")[:MOST_TILES]]
        unit = tray.session.settings.unit
        return [tile(stone, by, unit) for stone in known if stone is not None]

    @app.get("/api/stones/{id}")
    def one(id: asked.PathStone, by: asked.By = "") -> dict:
        shown = card(_found(tray, id), by, tray)
        if shown is None:
            raise HTTPException(404, "what was kept of this stone is gone; grade its photo again")
        return shown

    @app.get("/pictures/{name}")
    def kept(name: asked.PathPicture) -> Response:
        try:
            content = pictures.kept(name)
        except LedgerError as err:
            raise HTTPException(404, "no such picture") from err
        kind = "image/jpeg" if name.endswith("jpg") else "image/png"
        return Response(content, media_type=kind, headers=_FOR_EVER)

    def cut(measured: str, piece: int, longest_px: int) -> Response:
        try:
            content = pictures.cut(measured, piece, longest_px)
        except (PhotoError, GraderError) as err:
            raise HTTPException(404, str(err)) from err
        return Response(content, media_type="image/jpeg", headers=_FOR_EVER)

    @app.get("/large/{measured}/{piece}.jpg")
    def large(measured: asked.PathUid, piece: asked.PathPiece) -> Response:
        return cut(measured, piece, LARGE_PX)

    @app.get("/whole/{measured}/{piece}.jpg")
    def whole(measured: asked.PathUid, piece: asked.PathPiece) -> Response:
        return cut(measured, piece, WHOLE_PX)


def _words(app: FastAPI, tray: Tray) -> None:
    @app.post("/api/calls")
    def call(sent: asked.CallSent) -> dict:
        if sent.grade is None and sent.scene is None and sent.note is None and not sent.left:
            raise HTTPException(422, "it says nothing")
        stone = _found(tray, sent.stone)
        said = Said(**(sent.model_dump() | {"stone": stone}))
        others = say(said, tray)
        now = tray.stone(sent.stone) or stone
        return {
            "others": call_lines(others),
            "tile": tile(now, sent.by, tray.session.settings.unit),
            "heard": now.heard,
        }

    @app.post("/api/back")
    def back(sent: asked.BackSent) -> dict:
        take_back(sent.uid, sent.call, _found(tray, sent.stone), sent.by, tray)
        now = _found(tray, sent.stone)
        return {"tile": tile(now, sent.by, tray.session.settings.unit), "heard": now.heard}

    @app.post("/api/lines")
    def line(sent: asked.LineSent) -> dict:
        said = LineSaid(**(sent.model_dump() | {"stone": _found(tray, sent.stone)}))
        return {"words": say_of_line(said, tray)}


def _scales(app: FastAPI, tray: Tray) -> None:
    @app.get("/api/scales")
    def scale() -> dict:
        unit = tray.session.settings.unit
        rows = scales.hauls(tray)
        return {
            "unit": unit,
            "hauls": [
                row | {"grams": None, "weight": weight_text(row["grams"], unit)} for row in rows
            ],
        }

    @app.post("/api/scales")
    def weigh(sent: asked.WeightSent) -> dict:
        kept = scales.weigh_in(sent.typed, sent.haul, sent.by, sent.new, tray)
        return {"code": kept.code, "lines": kept.lines, "hint": kept.hint}

    @app.post("/api/scales/back")
    def weight_back(sent: asked.BySent) -> dict:
        return {"codes": scales.take_weight_back(sent.by, tray)}
