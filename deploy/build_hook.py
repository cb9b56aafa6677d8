"""Puts the charting library into the package when a wheel (or an editable install) is built.

The library comes from the wheel of the charting project that the build requires, so that neither the repository
nor a running service needs a copy of its own or the internet. Its first lines, the licence banner, stay.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

TARGET = Path("service/swarfline/serve/page/lib/plotly.min.js")
BANNER = ("plotly.js v", "MIT license")
BANNER_LENGTH = 500


class ChartLibraryHook(BuildHookInterface):  # type: ignore[type-arg]
    """Writes the library's file below the source tree, where the wheel's ``artifacts`` pick it up."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Called before each build; ``version`` is ``standard`` or ``editable``."""
        if self.target_name == "wheel":
            write_library(Path(self.root))


def write_library(root: Path) -> Path:
    """Write the library below ``root``; the file's path. Raises RuntimeError when the licence is not in it."""
    from plotly.offline import get_plotlyjs

    text = get_plotlyjs()
    if not all(word in text[:BANNER_LENGTH] for word in BANNER):
        raise RuntimeError("the charting library came without the licence banner that has to go with it")
    path = root / TARGET
    content = text.encode("utf-8")
    if not path.is_file() or path.read_bytes() != content:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return path
