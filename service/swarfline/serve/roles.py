"""What each route needs: nobody signed in, or a role. A route that is not listed is for engineers only.

A test compares the list with the routes, so that a new route without a role fails at once.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache

from swarfline.users import ENGINEER, OPERATOR, VIEWER, Role

API = "/api/v1"

ANYONE: tuple[str, ...] = (
    "GET /assets/{digest}/{name}",
    "GET /favicon.ico",
    "GET /health/live",
    "GET /sign-in",
    "POST /sign-in",
)

PROBES: tuple[str, ...] = ("/metrics", "/health/ready")
"""What this computer may ask unsigned where the plant file's [listen] says ``probes_open``."""

_LOOKED_AT = (
    "/plant", "/machines", "/machines/{machine_id}", "/machines/{machine_id}/now",
    "/machines/{machine_id}/conditions", "/machines/{machine_id}/alarms", "/machines/{machine_id}/gaps",
    "/machines/{machine_id}/stops", "/machines/{machine_id}/cycles", "/machines/{machine_id}/cycles/series",
    "/machines/{machine_id}/counts", "/machines/{machine_id}/tools", "/machines/{machine_id}/tool-lives",
    "/machines/{machine_id}/energy", "/oee", "/kpis", "/losses", "/cycle-trends", "/level-steps",
    "/planned-cycles", "/tool-forecasts", "/tool-history", "/tool-replacement", "/tool-loads", "/energy",
    "/energy-demand", "/energy-per-cycle", "/pace", "/studies", "/run-offs", "/lots", "/tool-plan",
    "/stop-entries", "/judgements", "/notes", "/targets", "/alerts", "/alerts/{number}",
    "/notifications", "/servers", "/definitions", "/live",
)  # fmt: skip
_PAGES = (
    "/", "/machines", "/machines/{machine_id}", "/machines/{machine_id}/timeline",
    "/machines/{machine_id}/tools", "/tools", "/energy", "/reports",
    "/alerts", "/alerts/{number}", "/production", "/production/stops", "/production/stops.csv", "/cycles",
    "/machines/{machine_id}/cycles", "/machines/{machine_id}/cycles/at", "/studies", "/run-offs",
    "/reports/{ending}", "/wall", "/notifications", "/connections", "/api", "/api/openapi.json", "/account",
)  # fmt: skip
_ENTERED = (
    "/machines/{machine_id}/stop-reasons", "/machines/{machine_id}/judgements", "/machines/{machine_id}/notes",
    "/entries/{number}/undo",
)  # fmt: skip

_SEEN_TO = (
    "/alerts/{number}/acknowledge", "/alerts/{number}/unacknowledge", "/alerts/{number}/shelve",
    "/alerts/{number}/unshelve",
)  # fmt: skip
"""As API and as forms."""
_FORMS = (*_ENTERED, "/machines/{machine_id}/who", *_SEEN_TO)


NEEDS: Mapping[Role, tuple[str, ...]] = {
    VIEWER: (
        *(f"GET {API}{path}" for path in _LOOKED_AT),
        *(f"GET {path}" for path in (*_PAGES, *PROBES)),
        "POST /sign-out",
        "POST /account/password",
        "POST /account/end",
    ),
    OPERATOR: (
        *(f"POST {API}{path}" for path in (*_ENTERED, *_SEEN_TO)),
        *(f"POST {path}" for path in _FORMS),
    ),
    ENGINEER: tuple(f"POST {above}/machines/{{machine_id}}/targets" for above in (API, "")),
}
"""``METHOD /path`` of every route that needs somebody signed in, by the least role that may."""


def needs(method: str, path: str) -> Role | None:
    """The least role that may ask this; None: anybody may."""
    for pattern, role in _patterns():
        if pattern.fullmatch(f"{method} {path}"):
            return role
    return ENGINEER


@cache
def _patterns() -> Sequence[tuple[re.Pattern[str], Role | None]]:
    """Routes as patterns; those without parameters first, as they go before those with."""
    stated: list[tuple[str, Role | None]] = [(route, None) for route in ANYONE]
    stated += [(route, role) for role, routes in NEEDS.items() for route in routes]
    stated.sort(key=lambda one: one[0].count("{"))
    return [(re.compile(re.sub(r"\\{\w+\\}", "[^/]+", re.escape(route))), role) for route, role in stated]
