"""What a database takes: every number in a fact is finite and fits into 64 bits."""

import math
from dataclasses import fields


def numbers_of(fact):
    """Every number in a fact, however deep."""
    deep = [getattr(fact, f.name) for f in fields(fact)]
    while deep:
        value = deep.pop()
        if isinstance(value, tuple):
            deep += value
        elif isinstance(value, int | float):
            yield value


def assert_storable(facts):
    numbers = [n for fact in facts for n in numbers_of(fact)]
    assert all(math.isfinite(n) and abs(n) < 2**63 for n in numbers)
