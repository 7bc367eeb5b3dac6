"""The page's own styles and scripts: read and packed once, and sent anew only where they changed."""

import gzip
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from fastapi import FastAPI, HTTPException, Request
from fastapi.responses import Response

_KINDS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}


@dataclass(frozen=True)
class PageFile:
    """A file as it is sent. packed : by gzip.   tag : the same as long as its content is."""

    kind: str
    content: bytes
    packed: bytes
    tag: str


def page_file(path: Path) -> PageFile:
    """Return a file as it is sent."""
    content = path.read_bytes()
    packed = gzip.compress(content, mtime=0)
    return PageFile(_KINDS[path.suffix], content, packed, f'"{sha256(content).hexdigest()[:32]}"')


def add_page_files(app: FastAPI, folder: Path) -> None:
    """Let the application send the files of that folder."""
    files = {path.name: page_file(path) for path in folder.iterdir() if path.suffix in _KINDS}

    # No thread of its own: the page waits for these, and a thread would wait for those that reckon.
    @app.get("/static/{name}", include_in_schema=False)
    async def own_file(name: str, request: Request) -> Response:
        file = files.get(name)
        if file is None:
            raise HTTPException(404, "no such file")
        headers = {"etag": file.tag, "cache-control": "no-cache", "vary": "accept-encoding"}
        if request.headers.get("if-none-match") == file.tag:
            return Response(status_code=304, headers=headers)
        if "gzip" not in request.headers.get("accept-encoding", ""):
            return Response(file.content, media_type=file.kind, headers=headers)
        headers["content-encoding"] = "gzip"
        return Response(file.packed, media_type=file.kind, headers=headers)
