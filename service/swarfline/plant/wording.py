"""Wording shared by the checks of the plant file: what is near to a mistyped word, what there is instead."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that was most likely meant, or None."""
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.5)
    return near[0] if near else None


def hint(word: str, known: Iterable[str]) -> str:
    """What to append to an error about an unknown word."""
    listed = list(known)
    near = nearest(word, listed)
    return f"; did you mean {near!r}?" if near else f" (there are: {', '.join(listed) or 'none'})"


def unknown(what: str, word: str, known: Iterable[str]) -> str:
    """Says that ``word`` names nothing, and what it may have meant."""
    return f"no {what} {word!r}{hint(word, known)}"
