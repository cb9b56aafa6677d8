"""Interpretation: readings in, facts out. Pure: no I/O, no clock. ``fold.Fold`` is the one entry."""
