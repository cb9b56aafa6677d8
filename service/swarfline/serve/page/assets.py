"""Own files and the charting library under addresses that change with their content, compressed once."""

from __future__ import annotations

import hashlib
import mimetypes
from collections.abc import Mapping
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable

from fastapi import FastAPI, Request
from starlette.responses import Response

from swarfline.serve.coding import gzipped, takes_gzip
from swarfline.serve.problems import RefusedError

LIBRARY = "plotly.min.js"
_FOREVER = "public, max-age=31536000, immutable"
_MEDIA = {".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml"}


class AssetSet:
    """Files that share one address, so that relative imports between them hold."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self._files = dict(files)
        digest = hashlib.sha256()
        for name, body in sorted(self._files.items()):
            digest.update(name.encode() + b"\0" + body + b"\0")
        self.hash = digest.hexdigest()[:12]

    def url(self, name: str) -> str | None:
        """Address of a file; None when the set does not have it."""
        return f"/assets/{self.hash}/{name}" if name in self._files else None

    def answer(self, name: str, zipped: bool) -> Response | None:
        """The file as a response that may be kept for ever."""
        body = self._files.get(name)
        if body is None:
            return None
        headers = {"cache-control": _FOREVER, "vary": "Accept-Encoding"}
        if zipped:
            headers["content-encoding"] = "gzip"
            body = _zipped(body)
        suffix = name[name.rfind(".") :]
        return Response(body, headers=headers, media_type=_MEDIA.get(suffix) or mimetypes.guess_type(name)[0])


@cache
def _zipped(body: bytes) -> bytes:
    return gzipped(body, 9)


def _read(folder: Traversable) -> dict[str, bytes]:
    if not folder.is_dir():
        return {}
    return {entry.name: entry.read_bytes() for entry in folder.iterdir() if entry.is_file()}


class Assets:
    """The page's own files and, where the build put it there, the charting library."""

    def __init__(self) -> None:
        page = resources.files("swarfline.serve.page")
        self._own = AssetSet(_read(page / "assets"))
        self._library = AssetSet(_read(page / "lib"))

    def url(self, name: str) -> str:
        """Address of an own file; raises KeyError for a file that is not there."""
        found = self._own.url(name)
        if found is None:
            raise KeyError(name)
        return found

    @property
    def library_url(self) -> str | None:
        """Address of the charting library, None when this installation was built without it."""
        return self._library.url(LIBRARY)

    def answer(self, digest: str, name: str, zipped: bool) -> Response:
        """A file by its address; Problem 404 for one that is not there (any more)."""
        for known in (self._own, self._library):
            found = known.answer(name, zipped) if known.hash == digest else None
            if found is not None:
                return found
        raise RefusedError(404, "There is no such file in this version.")


def install(app: FastAPI) -> None:
    """Serve the assets of ``app``."""
    app.state.assets = Assets()

    @app.get("/assets/{digest}/{name}", include_in_schema=False)
    def read_asset(request: Request, digest: str, name: str) -> Response:
        zipped = takes_gzip(request.headers.get("accept-encoding"))
        found = request.app.state.assets.answer(digest, name, zipped)
        assert isinstance(found, Response)
        return found
