"""The pages that every page leads to."""

from __future__ import annotations

from swarfline.serve.tongue import gettext as _


def navigation() -> list[tuple[str, str, str]]:
    """Address, name (a template's ``here``) and title, in the order of the head of the page."""
    return [
        ("/", "plant", _("Plant now")),
        ("/production", "production", _("Production")),
        ("/cycles", "cycles", _("Cycles")),
        ("/tools", "tools", _("Tools")),
        ("/energy", "energy", _("Energy")),
        ("/studies", "studies", _("Studies")),
        ("/run-offs", "run-offs", _("Run-offs")),
        ("/alerts", "alerts", _("Alerts")),
        ("/notifications", "notifications", _("Notifications")),
        ("/reports", "reports", _("Reports")),
        ("/wall", "wall", _("Wall")),
        ("/connections", "connections", _("Connections")),
        ("/api", "api", _("API")),
    ]
