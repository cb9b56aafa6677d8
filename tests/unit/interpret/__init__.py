"""Tests of the interpret room; ``told`` is the little language of the cases."""
