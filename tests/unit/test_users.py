"""Names and roles of users."""

from __future__ import annotations

import pytest

from swarfline.users import ENGINEER, OPERATOR, ROLES, VIEWER, allows, clean, key_of, lesser, name_error


def test_each_role_may_what_those_before_it_may():
    may = {role: [needed for needed in ROLES if allows(role, needed)] for role in ROLES}
    assert may == {VIEWER: [VIEWER], OPERATOR: [VIEWER, OPERATOR], ENGINEER: [VIEWER, OPERATOR, ENGINEER]}
    assert lesser(ENGINEER, VIEWER) == lesser(VIEWER, OPERATOR) == VIEWER


@pytest.mark.parametrize("name", ["Ana", "Zoë Østby", "hall-1", "o.neill@north", "李雷", "x" * 40, "O'Hara"])
def test_names_that_are_taken(name):
    assert name_error(clean(name)) is None


@pytest.mark.parametrize(
    "name", ["", " ", "-ana", "x" * 41, "a\x00b", "<b>", "a/b", "a;b", "a\u202eb", "_x", "ana-"]
)
def test_names_that_are_not(name):
    assert name_error(clean(name)) is not None


def test_names_that_read_the_same_are_the_same():
    assert len({key_of(name) for name in ("Zoë  Østby", " zoë østby ", "ZOE\u0308 ØSTBY", "Ｚoë Østby")}) == 1
