"""Measuring: facts in, figures out. Pure. FIGURES lists what can be asked for; docs/figures.md explains it."""

from __future__ import annotations

from swarfline.measure import changes, elements, energy, forecast, losses, lots, oee, pace, production, trend
from swarfline.measure.definition import Definition

FIGURES: tuple[Definition, ...] = (
    *elements.FIGURES,
    *oee.FIGURES,
    *production.FIGURES,
    *losses.FIGURES,
    *trend.FIGURES,
    *forecast.FIGURES,
    *lots.FIGURES,
    *changes.FIGURES,
    *energy.FIGURES,
    *pace.FIGURES,
)
"""Every figure that can be shown, family by family; a test compares it with docs/figures.md."""
