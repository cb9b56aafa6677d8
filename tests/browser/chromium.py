"""Where Chromium is, for the tests of the pages and for their measurements."""

from __future__ import annotations

import os
import shutil

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")


def chromium() -> str | None:
    """Where Chromium is: as SWARFLINE_CHROMIUM says, else the first one found."""
    told = os.environ.get("SWARFLINE_CHROMIUM")
    return told or next((found for name in NAMES if (found := shutil.which(name))), None)
