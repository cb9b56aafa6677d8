"""How names are taken apart: words, whatever the language and the way of writing."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache

from swarfline.connect.ranking.words import IDEAS

_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})
_SEAMS = re.compile(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])|(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z])")
_APART = re.compile(r"[\W_]+")
_SHORT = 3
LONGEST = 300


def fold(text: str) -> str:
    """Small letters, umlauts written out, no accents, full-width forms as usual ones."""
    plain = unicodedata.normalize("NFKC", text).translate(_UMLAUTS)
    bare = "".join(c for c in unicodedata.normalize("NFD", plain) if not unicodedata.combining(c) or c in "゙゚")
    return unicodedata.normalize("NFC", bare).lower()


def split(text: str) -> list[str]:
    """The words of a name as they are written, cut where case or kind of character changes."""
    cut = _SEAMS.sub(" ", unicodedata.normalize("NFKC", text[:LONGEST]).translate(_UMLAUTS))
    return [fold(word) for word in _APART.split(cut) if word]


_STEMS = {idea: tuple(fold(stem) for stem in stems.split()) for idea, stems in IDEAS.items()}


def holds(words: Iterable[str], stems: Iterable[str]) -> bool:
    """Whether one of the stems is in a name given as its words."""
    known = list(words)
    run = "".join(known)
    return any(stem in known if _is_short(stem) else stem in run for stem in stems)


def _is_short(stem: str) -> bool:
    return len(stem) <= _SHORT and stem.isascii()


@lru_cache(maxsize=20_000)
def ideas_in(text: str) -> frozenset[str]:
    """The ideas that a name speaks of."""
    words = split(text)
    return frozenset(idea for idea, stems in _STEMS.items() if holds(words, stems))


def means(text: str, stems: str) -> bool:
    """Whether a text, such as the name of a state, holds one of these stems (separated by spaces)."""
    return holds(split(text), [fold(stem) for stem in stems.split()])
