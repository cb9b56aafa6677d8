"""What every table of a plant file is made of."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints

ID_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$"

Id = Annotated[str, StringConstraints(pattern=ID_PATTERN)]
Text = Annotated[str, StringConstraints(min_length=1, max_length=200)]


class Table(BaseModel):
    """Base of every table: frozen, nothing unknown."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
