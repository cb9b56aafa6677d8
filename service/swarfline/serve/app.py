"""The application: every router, the layers around them, and an OpenAPI description that is true."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Depends, FastAPI
from fastapi.openapi.utils import get_openapi

import swarfline
from swarfline import clock
from swarfline.live import Live
from swarfline.plant import Plant
from swarfline.serve import (
    alerts,
    cycles,
    definitions,
    energy,
    energy_use,
    entries,
    health,
    judgements,
    kpis,
    level_steps,
    losses,
    lots,
    machines,
    metrics,
    notes,
    notifications,
    oee,
    pace,
    planned,
    problems,
    runoffs,
    series,
    servers,
    stop_entries,
    stops,
    stream,
    studies,
    targets,
    timeline,
    tool_history,
    tool_loads,
    tool_plan,
    tool_replacement,
    tools,
    trends,
)
from swarfline.serve import (
    plant as plant_resource,
)
from swarfline.serve.conditional import Conditional
from swarfline.serve.gate import Gate, cookie_name
from swarfline.serve.guard import Guard
from swarfline.serve.headers import SafeHeaders
from swarfline.serve.page import account, assets, sign_in, views
from swarfline.serve.page.board import Board
from swarfline.serve.reply import known_parameters
from swarfline.serve.room import Room
from swarfline.serve.signing import Signing
from swarfline.serve.table import CsvSuffix
from swarfline.serve.tongue import LANGUAGES, Spoken
from swarfline.store import Store

PREFIX = "/api/v1"

RESOURCES: tuple[APIRouter, ...] = (
    plant_resource.router,
    machines.router,
    timeline.router,
    stops.router,
    stop_entries.router,
    judgements.router,
    notes.router,
    targets.router,
    entries.router,
    series.router,
    cycles.router,
    tools.router,
    tool_history.router,
    tool_replacement.router,
    tool_loads.router,
    energy.router,
    energy_use.router,
    oee.router,
    kpis.router,
    losses.router,
    trends.router,
    level_steps.router,
    planned.router,
    pace.router,
    studies.router,
    runoffs.router,
    lots.router,
    tool_plan.router,
    alerts.router,
    notifications.router,
    servers.router,
    definitions.router,
    stream.router,
)

ABOUT = (
    "Figures of one plant. Only POST changes anything, and only what people enter. "
    "Times are RFC 3339 with the plant's offset; units stand in the names. "
    "null means: not known. Every list also comes as CSV, by `Accept: text/csv` or with `.csv` after the path. "
    "Errors are problem documents (RFC 9457). A `+` in a query may be sent as it is."
)


_SCHEMES = {
    "session": {"type": "apiKey", "in": "cookie", "name": cookie_name("https"), "description": "set by /sign-in"},
    "token": {"type": "http", "scheme": "bearer", "description": "made by `swarfline user token`"},
}


def create_app(
    plant: Plant, store: Store, live: Live | None = None, clock_us: Callable[[], int] = clock.now_us
) -> FastAPI:
    """The API and the page of a checked plant over an open store.

    Without ``live``, or with one that nobody publishes to, the stream asks the store each second.
    """
    app = FastAPI(
        title="Swarfline", version=swarfline.__version__, docs_url=None, redoc_url=None, openapi_url=None
    )
    app.state.room = Room.of(plant, store, live or Live(), clock_us)
    app.state.signing = Signing(plant.listen, store.users, clock_us)
    app.state.boards = {code: Board(app.state.room, code) for code in LANGUAGES}
    app.state.hubs = {code: stream.Hub(app.state.room.live, board) for code, board in app.state.boards.items()}
    problems.install(app)
    _include(app)
    _wrap(app, plant)
    app.openapi = lambda: _openapi(app)  # type: ignore[method-assign]
    # now, not in the first requests: those run in several threads, and describing silences warnings process-wide
    app.openapi()
    return app


def _include(app: FastAPI) -> None:
    strict = [Depends(known_parameters)]
    for router in RESOURCES:
        app.include_router(router, prefix=PREFIX, dependencies=strict, responses=problems.RESPONSES)
    app.include_router(health.router)
    app.include_router(metrics.router)
    assets.install(app)
    views.install(app)
    sign_in.install(app)
    account.install(app)


def _wrap(app: FastAPI, plant: Plant) -> None:
    app.add_middleware(problems.CatchAll)
    app.add_middleware(Guard, listen=plant.listen)
    app.add_middleware(Gate, listen=plant.listen, signing=app.state.signing)
    app.add_middleware(CsvSuffix)
    app.add_middleware(Conditional)
    app.add_middleware(Spoken)
    app.add_middleware(SafeHeaders)


def _openapi(app: FastAPI) -> dict[str, Any]:
    if app.openapi_schema is None:
        described = get_openapi(title=app.title, version=app.version, description=ABOUT, routes=app.routes)
        schemas = described.setdefault("components", {}).setdefault("schemas", {})
        whole = problems.ProblemDocument.model_json_schema(ref_template="#/components/schemas/{model}")
        schemas.update(whole.pop("$defs", {}))
        schemas["ProblemDocument"] = whole
        for unused in ("HTTPValidationError", "ValidationError"):
            schemas.pop(unused, None)
        if app.state.signing.needed:
            described["components"]["securitySchemes"] = _SCHEMES
            described["security"] = [{name: []} for name in _SCHEMES]
        app.openapi_schema = described
    return app.openapi_schema
