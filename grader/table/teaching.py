"""Routes of what is taught at the table: what a place is, where to saw."""

from typing import Annotated, Literal

from fastapi import FastAPI, HTTPException, Path, Query, Response
from pydantic import Field

from grader.comparing import take_comparison_back
from grader.table import asked
from grader.table.agreement import agreement_of
from grader.table.cuts import Cuts
from grader.table.pairs import compare, pair_shown
from grader.table.patches import PatchSaid, say_of_patch
from grader.table.second_looks import SecondLooks
from grader.table.stones import TableStone
from grader.table.tray import Tray

#: Where a photo has a px.
Px = Annotated[int, Field(ge=0, le=200_000)]
Side = Annotated[int, Field(ge=1, le=200_000)]


class PatchSent(asked.Sent):
    """What a place is."""

    stone: asked.StoneId
    measured: asked.Uid
    by: asked.Name
    x: Px
    y: Px
    w: Side | None = None
    h: Side | None = None
    says: asked.Name


class SideSent(asked.Sent):
    """A stone of two, as it was shown."""

    stone: asked.StoneId
    measured: asked.Uid


class PairSent(asked.Sent):
    """The better of two stones."""

    uid: asked.Uid
    by: asked.Name
    of: Literal["scene", "grade"]
    better: SideSent
    other: SideSent


class PairBackSent(asked.Sent):
    """A comparison taken back."""

    by: asked.Name
    pair: asked.Uid


class LookSent(asked.Sent):
    """A second look to sit down to."""

    by: asked.Name
    of: asked.Name | None = None
    count: Annotated[int, Field(ge=1, le=1000)] = 30
    new: bool = False


class SittingSent(asked.Sent):
    """A second look under way."""

    by: asked.Name
    sitting: asked.Uid


class AnswerSent(SittingSent):
    """An answer of a second look. number : of its stone, from 0."""

    number: Annotated[int, Field(ge=0, le=100_000)]
    grade: asked.Name


def add_teaching(app: FastAPI, tray: Tray) -> None:
    """Add the routes to the table's application."""
    _parts(app, tray)
    _pairs(app, tray)
    _second_looks(app, tray)


def found(tray: Tray, id: str) -> TableStone:
    """Return a stone on the table; 404 where there is none."""
    stone = tray.stone(id)
    if stone is None:
        raise HTTPException(404, "no such stone on the table")
    return stone


def _parts(app: FastAPI, tray: Tray) -> None:
    cuts = Cuts(tray)

    @app.post("/api/patches")
    def patch(sent: PatchSent) -> dict:
        kept = say_of_patch(
            PatchSaid(**(sent.model_dump() | {"stone": found(tray, sent.stone)})), tray
        )
        box = {name: getattr(kept.patch, name) for name in ("x", "y", "w", "h")}
        return {"box": box, "before": kept.before, "words": kept.words, "offer": kept.offer}

    @app.get("/api/stones/{id}/cuts")
    def cut_plans(
        id: asked.PathStone, template: Annotated[str, Query(max_length=20)] = "30x22"
    ) -> dict:
        return cuts.plans(found(tray, id), template)


def _pairs(app: FastAPI, tray: Tray) -> None:
    @app.get("/api/pairs")
    def pair(
        of: Literal["scene", "grade"],
        by: asked.By = "",
        skip: Annotated[int, Query(ge=0, le=100_000)] = 0,
    ) -> dict:
        return pair_shown(of, by, tray, skip)

    @app.post("/api/pairs")
    def better(sent: PairSent) -> dict:
        sides = [(found(tray, one.stone), one.measured) for one in (sent.better, sent.other)]
        compare(*sides, sent.of, sent.by, sent.uid, tray)
        return pair_shown(sent.of, sent.by, tray)

    @app.post("/api/pairs/back")
    def back(sent: PairBackSent) -> dict:
        take_comparison_back(sent.pair, sent.by, tray.ledger)
        return {}

    @app.get("/api/agreement")
    def agreement() -> dict:
        return agreement_of(tray)


def _second_looks(app: FastAPI, tray: Tray) -> None:
    looks = SecondLooks(tray)

    @app.get("/api/again")
    def whose() -> dict:
        return {"people": looks.people()}

    @app.post("/api/again")
    def sit(sent: LookSent) -> dict:
        return looks.sit(sent.by, sent.of, sent.count, sent.new)

    @app.post("/api/again/answer")
    def answer(sent: AnswerSent) -> dict:
        return looks.answer(sent.sitting, sent.by, sent.number, sent.grade)

    @app.post("/api/again/back")
    def back(sent: SittingSent) -> dict:
        return looks.back(sent.sitting, sent.by)

    @app.post("/api/again/done")
    def done(sent: SittingSent) -> dict:
        return looks.done(sent.sitting, sent.by)

    @app.get("/again/{sitting}/{number}.jpg")
    def picture(sitting: asked.PathUid, number: Annotated[int, Path(ge=0, le=100_000)]) -> Response:
        # Under the sitting's own name: none of a photo tells which stone it is.
        return Response(looks.picture(sitting, number), media_type="image/jpeg")
