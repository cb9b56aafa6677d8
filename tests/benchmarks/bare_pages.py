"""The least that FastAPI and uvicorn can do with a page: the baseline of the measurements of pages.

    python tests/benchmarks/bare_pages.py PORT RECORDED.json

Answers recorded bytes under their addresses, with their headers, and tells one recorded event to every open stream
at a set pace. It computes nothing and renders nothing.
"""

from __future__ import annotations

import asyncio
import base64
import json
import sys
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import httpx

KEPT = ("content-type", "content-encoding", "cache-control", "vary")
STREAM = "/bare-stream"


def record(url: str, paths: list[str], event: bytes, period_s: float, file: Path) -> None:
    """Ask a service for each address once and keep the answers as they came over the wire."""
    answers = {}
    with httpx.Client(base_url=url, headers={"accept-encoding": "gzip"}, timeout=60) as client:
        for path in paths:
            with client.stream("GET", path) as answer:
                body = b"".join(answer.iter_raw())
            headers = {name: answer.headers[name] for name in KEPT if name in answer.headers}
            answers[path] = [headers, base64.b64encode(body).decode()]
    told = {"answers": answers, "event": base64.b64encode(event).decode(), "period_s": period_s}
    file.write_text(json.dumps(told), "utf-8")


def main() -> None:
    """Serve until ended."""
    import uvicorn
    from fastapi import FastAPI, Request
    from starlette.responses import Response, StreamingResponse

    told = json.loads(Path(sys.argv[2]).read_text("utf-8"))
    answers = {path: (headers, base64.b64decode(body)) for path, (headers, body) in told["answers"].items()}
    event, period_s = base64.b64decode(told["event"]), told["period_s"]
    app = FastAPI(openapi_url=None)

    async def events() -> AsyncIterator[bytes]:
        while True:
            yield event
            await asyncio.sleep(period_s)

    @app.get(STREAM)
    async def stream() -> StreamingResponse:
        return StreamingResponse(events(), media_type="text/event-stream")

    @app.get("/{path:path}")
    async def answer(request: Request) -> Any:
        found = answers.get(request.url.path)
        return Response(status_code=404) if found is None else Response(found[1], headers=found[0])

    uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[1]), log_level="warning")


if __name__ == "__main__":
    main()
