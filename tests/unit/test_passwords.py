"""Passwords: scrypt as RFC 7914 has it, what is refused, and what is kept."""

from __future__ import annotations

import pytest

from swarfline import passwords
from swarfline.passwords import Cost, hashed, is_outdated, matches, weakness

QUICK = Cost(4, 8, 1)

VECTORS = (
    # RFC 7914, section 12; from memory
    (
        "password", b"NaCl", Cost(10, 8, 16),
        "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b3731622eaf30d92e22a3886ff109279d9830dac727afb94a83"
        "ee6d8360cbdfa2cc0640",
    ),
    (
        "pleaseletmein", b"SodiumChloride", Cost(14, 8, 1),
        "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2d5432955613f0fcf62d49705242a9af9e61e85dc0d65"
        "1e40dfcf017b45575887",
    ),
)  # fmt: skip


@pytest.mark.parametrize(("password", "salt", "cost", "key"), VECTORS)
def test_keys_are_those_of_the_standard(password, salt, cost, key):
    assert passwords._key(password, salt, cost, 64).hex() == key


def test_a_password_matches_itself_and_no_other():
    kept = hashed("four plain words here", QUICK)
    assert matches("four plain words here", kept)
    for other in ("four plain words herE", "four plain words here ", "", "four plain words her"):
        assert not matches(other, kept)


def test_nothing_matches_nobody():
    assert not matches("", None)
    assert not matches("four plain words here", None)


def test_the_same_password_is_kept_differently_each_time_and_never_in_clear():
    one, other = hashed("four plain words here", QUICK), hashed("four plain words here", QUICK)
    assert one != other
    assert "plain" not in one and one.startswith("scrypt$4$8$1$")


def test_the_keyboard_does_not_matter():
    # e with an acute accent in one character or in two (Unicode NFC; RFC 8265, OpaqueString)
    assert matches("caf\u00e9 caf\u00e9 caf\u00e9", hashed("cafe\u0301 cafe\u0301 cafe\u0301", QUICK))


def test_what_was_kept_at_another_cost_still_matches_and_is_known():
    kept = hashed("four plain words here", QUICK)
    assert is_outdated(kept) and matches("four plain words here", kept)
    assert not is_outdated(hashed("four plain words here"))


def test_the_cost_is_one_that_is_recommended():
    # OWASP password storage cheat sheet, choices of equal strength for scrypt; from memory
    assert tuple(passwords.COST) in {(17, 8, 1), (16, 8, 2), (15, 8, 3), (14, 8, 5), (13, 8, 10)}


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("", "has 0 characters; at least 12"),
        ("elevensigns", "has 11 characters"),
        ("x" * 201, "at most 200"),
        ("abababababab", "2 different characters"),
        ("Ana Pérez Gil", "is the user's name"),
        ("ana pérez gilANA PÉREZ GIL", "is the user's name"),
    ],
)
def test_weak_ones_are_refused_with_the_reason(password, why):
    assert why in weakness(password, "Ana Pérez Gil").told()


@pytest.mark.parametrize("password", ["twelve signs", "correct lathe spindle chuck", "ñandú ñandú 1"])
def test_others_are_taken(password):
    assert weakness(password, "Ana") is None
