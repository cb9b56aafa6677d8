"""Sentences: the English text is what it always was, and every place can be filled in any language."""

from __future__ import annotations

import pytest

from swarfline.sentence import Sentence, plainly


def test_places_are_filled_by_their_forms():
    found = Sentence(
        "{count} of {name}: {size:.2f} s, {share:g} %", {"count": 3, "name": "{x}", "size": -1.236, "share": 2.5}
    )
    assert found.told() == "3 of {x}: -1.24 s, 2.5 %"


def test_another_language_may_put_the_places_elsewhere():
    found = Sentence("{count} cycles in {size:.1f} s", {"count": 2, "size": 1.25})
    told = found.told(
        {"{count} cycles in {size:.1f} s": "In {size:.1f} s {count}"}.__getitem__,
        lambda v, d: f"<{plainly(v, d)}>",
    )
    assert told == "In <1.2> s <2>"


def test_sentences_in_a_place_are_listed_and_translated():
    parts = (Sentence("{count} held", {"count": 4}), Sentence("{count} aborted", {"count": 1}))
    found = Sentence("Between: {what}.", {"what": parts})
    assert found.told() == "Between: 4 held, 1 aborted."
    assert found.told(lambda text: text.replace("held", "gehalten")) == "Between: 4 gehalten, 1 aborted."


def test_digits_that_count_are_kept_without_an_exponent():
    found = Sentence("{a:.3g} {b:.6g} {c:g} {d:.3g}", {"a": 12.3456, "b": 12_345_678.0, "c": 0.00001, "d": 8.0})
    assert found.told() == "12.3 12345700 0.00001 8"
    assert Sentence("{a:g}", {"a": float("inf")}).told() == "inf"


def test_a_sentence_in_a_sentence_is_translated_too():
    found = Sentence("{what}: {text}", {"what": Sentence("{count} held", {"count": 4}), "text": "{count} held"})
    assert found.told(lambda text: text.replace("held", "gehalten")) == "4 gehalten: {count} held"


def test_a_place_without_value_is_an_error():
    with pytest.raises(KeyError):
        Sentence("{lost}").told()
