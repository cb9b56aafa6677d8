"""Parameters that choose machines."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query

MachineName = Annotated[str | None, Query(description="only this machine")]
CellName = Annotated[str | None, Query(description="only the machines of this cell")]
