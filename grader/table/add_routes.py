"""Routes by which photos are added: begun, sent in parts, told of, dropped."""

from typing import Annotated

from fastapi import FastAPI, HTTPException, Query, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import Field

from grader.table.adding import Adding, shown_uploads
from grader.table.asked import BySent, Haul, Name, PathUid, Sent, Uid
from grader.table.uploads import LANDED, MOST_BYTES, Upload

#: So many of the photos that were added are told of, the last ones.
TOLD = 200


class PhotoSent(Sent):
    """A photo that is going to be sent."""

    uid: Uid
    name: Name
    bytes: Annotated[int, Field(ge=0, le=2**40)]
    by: Name
    haul: Haul | None = None


def add_photos(app: FastAPI, adding: Adding) -> None:
    """Let the application take photos."""
    uploads = adding.uploads

    def told(upload: Upload) -> dict:
        return {"state": upload.state, "have": uploads.have(upload.uid), "line": upload.line}

    @app.get("/api/photos")
    def photos() -> dict:
        watched = adding.watched
        return {
            "photos": shown_uploads(adding)[:TOLD],
            "waiting": adding.waiting,
            "error": adding.error,
            "most_mb": MOST_BYTES // 1_000_000,
            "watched": watched
            and {
                "folder": str(watched.folder),
                "graded": watched.graded,
                "known": watched.known,
                "refused": [line for _, line in watched.refused],
                "lacks": watched.lacks,
            },
        }

    @app.post("/api/photos")
    def begin(sent: PhotoSent) -> dict:
        adding.check_haul(sent.haul)
        return told(uploads.begin(sent.uid, sent.name, sent.bytes, sent.by, sent.haul))

    @app.post("/api/photos/{uid}/part")
    async def part(
        uid: PathUid, at: Annotated[int, Query(ge=0, le=2**40)], request: Request
    ) -> dict:
        content = await request.body()
        upload = await run_in_threadpool(uploads.take, uid, at, content)
        if upload is None:
            raise HTTPException(404, "that photo was not begun, or was dropped")
        if upload.state == LANDED:
            adding.wake()
        return told(upload)

    @app.post("/api/photos/{uid}/again")
    def again(uid: PathUid, sent: BySent) -> dict:
        uploads.again(uid)
        adding.wake()
        return {}

    @app.post("/api/photos/{uid}/drop")
    def drop(uid: PathUid, sent: BySent) -> dict:
        uploads.drop(uid)
        return {}
