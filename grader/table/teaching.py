"""Routes of what is taught at the table: what a place is, where to saw."""

from typing import Annotated

from fastapi import FastAPI, HTTPException, Query
from pydantic import Field

from grader.table import asked
from grader.table.cuts import Cuts
from grader.table.patches import PatchSaid, say_of_patch
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


def add_teaching(app: FastAPI, tray: Tray) -> None:
    """Add the routes to the table's application."""
    _parts(app, tray)


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
