"""What the codes of the companion specifications mean here.

Numbers and NodeId identifiers: the state machine and enumeration definitions of OPC 40001-1 (Machinery 1.04.1)
and OPC 40501-1 (MachineTool 1.02.0). A NodeId is written ``prefix:identifier``, as in ``mch:5006``.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

Code = int | str

_STATE: dict[Code, str] = {
    0: "not_available", "mch:5005": "not_available",
    1: "out_of_service", "mch:5004": "out_of_service",
    2: "not_executing", "mch:5007": "not_executing",
    3: "executing", "mch:5006": "executing",
}  # fmt: skip

# Automatic with manual intervention (3) is a guarded special mode: someone stands at the machine, so manual.
# The state None of the Machinery mode says nothing and is left out on purpose: it stays unknown.
_MODE: dict[Code, str] = {
    0: "manual", 1: "automatic", 2: "setup", 3: "manual", 4: "service", 5: "other",
    "mch:5025": "service", "mt:5058": "service",
    "mch:5027": "setup", "mt:5061": "setup",
    "mch:5026": "automatic", "mt:5060": "automatic",
}  # fmt: skip

_PROGRAM_STATES = ("ready", "running", "ended", "interrupted", "aborted")
# The base state machine and its subtypes for program, job and part re-declare every state.
_PROGRAM_STATE_IDS = (
    (135, 138, 140, 139, 141),
    (5039, 5041, 5038, 5040, 5037),
    (5015, 5017, 5014, 5016, 5013),
    (5020, 5036, 5019, 5021, 5018),
)
_PROGRAM_STATE: dict[Code, str] = {
    **dict(enumerate(_PROGRAM_STATES)),
    **{
        f"mt:{identifier}": state
        for identifiers in _PROGRAM_STATE_IDS
        for identifier, state in zip(identifiers, _PROGRAM_STATES, strict=True)
    },
}

_LIFE_BASIS: dict[Code, str] = {0: "time", 1: "count", 2: "count", 3: "distance", 4: "distance"}

STANDARD: Mapping[str, Mapping[Code, str]] = MappingProxyType(
    {"state": _STATE, "mode": _MODE, "program_state": _PROGRAM_STATE, "life_basis": _LIFE_BASIS}
)
"""Our value by code, by signal, for nodes that follow the companion specifications."""
