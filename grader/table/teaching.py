"""Routes of what is taught at the table: what a place is, where to saw."""

from typing import Annotated, Literal

from fastapi import FastAPI, HTTPException, Path, Query, Request, Response
from pydantic import Field, StringConstraints

from grader.comparing import take_comparison_back
from grader.table import asked
from grader.table.agreement import agreement_of
from grader.table.colours import Colours, Marked
from grader.table.cuts import Cuts
from grader.table.pairs import compare, pair_shown
from grader.table.patches import PatchSaid, say_of_patch
from grader.table.second_looks import SecondLooks
from grader.table.share import is_loopback
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


class SpotSent(asked.Sent):
    """A spot of a colour class, or of glare, on a stone."""

    stone: asked.StoneId
    x: Px
    y: Px
    says: asked.Name


class SpotsSent(asked.Sent):
    """Spots to fit a profile to.

    words : count words on places too.   shown : the stone that is shown.   haul : tell of stones without a spot.
    """

    by: asked.Name
    spots: Annotated[list[SpotSent], Field(max_length=200)]
    words: bool = False
    shown: asked.StoneId | None = None
    haul: bool = False


class ProfileSent(SpotsSent):
    """Spots, and the name of the profile that is saved with them."""

    name: Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9_-]{0,39}$")]


def add_teaching(app: FastAPI, tray: Tray) -> None:
    """Add the routes to the table's application."""
    _parts(app, tray)
    _pairs(app, tray)
    _second_looks(app, tray)
    _colours(app, tray)


def _parts(app: FastAPI, tray: Tray) -> None:
    cuts = Cuts(tray)

    @app.post("/api/patches")
    def patch(sent: PatchSent) -> dict:
        kept = say_of_patch(
            PatchSaid(**(sent.model_dump() | {"stone": asked.found(tray, sent.stone)})), tray
        )
        box = {name: getattr(kept.patch, name) for name in ("x", "y", "w", "h")}
        return {"box": box, "before": kept.before, "words": kept.words, "offer": kept.offer}

    @app.get("/api/stones/{id}/cuts")
    def cut_plans(
        id: asked.PathStone, template: Annotated[str, Query(max_length=20)] = "30x22"
    ) -> dict:
        return cuts.plans(asked.found(tray, id), template)


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
        sides = [(asked.found(tray, one.stone), one.measured) for one in (sent.better, sent.other)]
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


def _colours(app: FastAPI, tray: Tray) -> None:
    colours = Colours(tray)

    def marked(sent: SpotsSent) -> list[Marked]:
        return [Marked(asked.found(tray, one.stone), one.x, one.y, one.says) for one in sent.spots]

    @app.post("/api/colours/try")
    def tried(sent: SpotsSent) -> dict:
        shown = sent.shown and asked.found(tray, sent.shown)
        return colours.tried(marked(sent), sent.words, shown, sent.haul)

    @app.post("/api/colours/save")
    def save(request: Request, sent: ProfileSent) -> dict:
        # Who was let in writes no files here.
        if not is_loopback(request.client.host if request.client else ""):
            raise HTTPException(403, "save it on the computer that shares the table")
        return {"words": colours.save(marked(sent), sent.words, sent.name)}
