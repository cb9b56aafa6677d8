"""The list of what figures need names only signals and figures that there are."""

from __future__ import annotations

import pytest

from swarfline import capability
from swarfline.measure import FIGURES
from swarfline.signals import SIGNALS, TOOL_FIELDS

KNOWN = {*SIGNALS, *(f"tools.{field}" for field in TOOL_FIELDS)}


@pytest.mark.parametrize("need", capability.NEEDS, ids=lambda n: n.family)
def test_every_need_is_a_signal_and_every_figure_is_known(need):
    assert {s for group in need.needs for s in group} <= KNOWN
    assert set(need.figures) <= {f.name for f in FIGURES}
