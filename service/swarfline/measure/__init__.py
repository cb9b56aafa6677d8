"""Measuring: facts in, figures out. Pure. FIGURES lists what can be asked for; docs/figures.md explains it."""

from __future__ import annotations

from swarfline.measure import (
    attribution,
    changes,
    elements,
    energy,
    energy_use,
    forecast,
    kpis,
    lives,
    loads,
    losses,
    lots,
    oee,
    pace,
    planned,
    production,
    replacement,
    runoff,
    study,
    trend,
    weibull,
)
from swarfline.measure.definition import Definition

FIGURES: tuple[Definition, ...] = (
    *elements.FIGURES,
    *oee.FIGURES,
    *kpis.FIGURES,
    *production.FIGURES,
    *losses.FIGURES,
    *trend.FIGURES,
    *attribution.FIGURES,
    *planned.FIGURES,
    *forecast.FIGURES,
    *lives.FIGURES,
    *weibull.FIGURES,
    *replacement.FIGURES,
    *loads.FIGURES,
    *lots.FIGURES,
    *changes.FIGURES,
    *energy.FIGURES,
    *energy_use.FIGURES,
    *pace.FIGURES,
    *study.FIGURES,
    *runoff.FIGURES,
)
"""Every figure that can be shown, family by family; a test compares it with docs/figures.md."""
