"""The table's web application: routes over the tray, thin; what is decided is decided elsewhere."""

from functools import lru_cache
from pathlib import Path
from typing import Annotated

from fastapi import FastAPI, HTTPException, Query, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.middleware.gzip import GZipMiddleware

from grader.errors import GraderError, LedgerError, PhotoError
from grader.report.keys import grade_keys
from grader.report.overlay import LARGE_PX
from grader.report.stock import weight_text
from grader.spots import GLARE
from grader.table import asked, scales
from grader.table.add_routes import add_photos
from grader.table.adding import Adding
from grader.table.cards import card, tile
from grader.table.choosing import (
    GROUPS,
    asks_prices,
    choices_of,
    group_rows,
    grouped,
    held_table,
    with_prices,
)
from grader.table.here import said_here
from grader.table.learning import add_learning
from grader.table.lot_routes import add_lots
from grader.table.order import ORDERS, PILES, Wish, counted, totals, wished
from grader.table.page_files import add_page_files
from grader.table.pictures import WHOLE_PX, Pictures
from grader.table.saying import LineSaid, Said, call_lines, say, say_of_line, take_back
from grader.table.share import COOKIE, Sharing, code_rows, entrance, is_loopback
from grader.table.teaching import add_teaching
from grader.table.tray import Tray
from grader.table.uploads import Uploads

#: A picture is known by its content, so it never changes.
_FOR_EVER = {"cache-control": "private, max-age=31536000, immutable"}
#: Tiles asked for at a time.
MOST_TILES = 60
_HERE = Path(__file__).parent


def table_app(tray: Tray, sharing: Sharing | None = None, adding: Adding | None = None) -> FastAPI:
    """Return the application, without its guard."""
    app = FastAPI(title="Sorting table", docs_url=None, redoc_url=None, openapi_url=None)
    app.add_middleware(GZipMiddleware, minimum_size=2000, compresslevel=4)
    add_page_files(app, _HERE / "static")
    _errors(app)
    _page(app, tray, sharing)
    _stones(app, tray)
    _words(app, tray)
    _scales(app, tray)
    add_teaching(app, tray)
    add_lots(app, tray)
    add_learning(app, tray)
    add_photos(app, adding or Adding(tray, Uploads(tray.ledger.path)))
    return app


def _errors(app: FastAPI) -> None:
    @app.exception_handler(GraderError)
    def refused(request: Request, err: GraderError) -> JSONResponse:
        status = 503 if isinstance(err, LedgerError) and "another program" in str(err) else 409
        return JSONResponse({"error": said_here(str(err))}, status)

    @app.exception_handler(RequestValidationError)
    def not_understood(request: Request, err: RequestValidationError) -> JSONResponse:
        # What was sent is not said back: it may be anything.
        fields = [".".join(map(str, one["loc"])) for one in err.errors()[:3]]
        return JSONResponse({"error": f"not understood: {', '.join(fields)}"}, 422)


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
        groups=[{"name": name, "words": words} for name, (words, _) in GROUPS.items()],
        orders=[{"name": name, "words": words} for name, (words, _) in ORDERS.items()],
        classes=[*(colour.name for colour in profile.colours), GLARE],
        shared=sharing is not None,
        pounds=session.settings.unit in ("lb", "oz"),
    )

    @app.get("/")
    async def table() -> Response:
        return Response(shell, media_type="text/html")

    @app.get("/api/people")
    def people() -> dict:
        named = {call["by"] for stone in tray.stones for call in stone.people}
        return {
            "people": sorted((named | {session.settings.by, session.settings.decider}) - {None})
        }

    # Every open page asks every few seconds; all stones are counted only where one of them changed.
    @lru_cache(maxsize=8)
    def counts(version: int, by: str) -> dict:
        stones = tray.stones
        return {
            "stones": len(stones),
            "piles": counted(stones, by),
            "totals": [
                {
                    "grade": row["grade"],
                    "stones": row["stones"],
                    "weighed": row["weighed"],
                    "weight": weight_text(row["grams"], session.settings.unit)
                    if row["weighed"]
                    else None,
                }
                for row in totals(stones, profile.grades)
            ],
            "hauls": sorted({stone.haul for stone in stones if stone.haul}),
        }

    @app.get("/api/progress")
    def progress(by: asked.By = "") -> dict:
        tray.keep_up()
        now = tray.progress
        return counts(tray.version, by) | {
            "photos": now.photos,
            "laid": now.laid,
            "done": now.done,
            "error": now.error,
            "failed": now.failed,
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
    pictures, unit = Pictures(tray), tray.session.settings.unit

    @app.get("/api/stones")
    def stones(wanted: Annotated[asked.WishAsked, Query()]) -> JSONResponse:
        if wanted.pile not in PILES or wanted.first not in ORDERS or wanted.group not in GROUPS:
            raise HTTPException(404, "no such pile, order or group")
        wish = Wish(**wanted.model_dump(exclude={"group"}))
        table = held_table(tray.ledger) if asks_prices(wish, wanted.group) else None
        chosen = wished(with_prices(tray.stones, table), wish)
        rows = grouped(chosen, wanted.group, wanted.by, tray.session.profile.grades)
        groups = [] if wanted.group == "none" else group_rows(rows, table, unit)
        # Sent as it is: what looks each of thousands of ids over takes longer than all else here.
        return JSONResponse({"ids": [one.id for _, own in rows for one in own], "groups": groups})

    @app.get("/api/choices")
    def choices() -> dict:
        return choices_of(tray.stones, held_table(tray.ledger))

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
        shown = card(asked.found(tray, id), by, tray)
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
        stone = asked.found(tray, sent.stone)
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
        take_back(sent.uid, sent.call, asked.found(tray, sent.stone), sent.by, tray)
        now = asked.found(tray, sent.stone)
        return {"tile": tile(now, sent.by, tray.session.settings.unit), "heard": now.heard}

    @app.post("/api/lines")
    def line(sent: asked.LineSent) -> dict:
        said = LineSaid(**(sent.model_dump() | {"stone": asked.found(tray, sent.stone)}))
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

    @app.post("/api/hauls")
    def begin_haul(sent: asked.HaulSent) -> dict:
        return {"words": scales.begin_haul(sent.code, sent.raw, sent.by, tray)}

    @app.post("/api/scales")
    def weigh(sent: asked.WeightSent) -> dict:
        kept = scales.weigh_in(sent.typed, sent.haul, sent.by, sent.new, tray)
        return {"code": kept.code, "lines": kept.lines, "hint": kept.hint}

    @app.post("/api/scales/back")
    def weight_back(sent: asked.BySent) -> dict:
        return {"codes": scales.take_weight_back(sent.by, tray)}
