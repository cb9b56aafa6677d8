"""Plant files that are no TOML: where the mistake is, the line, the likely cause, and what is found behind it."""

import tomllib

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from swarfline.plant.syntax import parse

WORDS = st.text(st.characters(categories=("Ll", "Lu", "Nd")), min_size=1, max_size=12)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("id = MC01", 'column 6: text needs quotes: "MC01"'),
        ("zone = Europe/Madrid   # ours", 'column 8: text needs quotes: "Europe/Madrid"'),
        ("name = Irrigation works, south", 'column 8: text needs quotes: "Irrigation works, south"'),
        ("name = true north", 'column 8: text needs quotes: "true north"'),
        ("name = “Irrigation works”", 'column 8: text needs quotes: "Irrigation works"'),
        ("name = l'Horta", 'column 8: text needs quotes: "l\'Horta"'),
        (r"url = C:\plant.db", r"column 7: text needs quotes: 'C:\plant.db'"),
        ("start = 06:00", 'column 9: text needs quotes: "06:00"'),
        ("node = nsu=urn:x;s=Y", 'column 8: text needs quotes: "nsu=urn:x;s=Y"'),
        ("a = { node = nsu=urn:x;s=Y, index = 0 }", 'column 14: text needs quotes: "nsu=urn:x;s=Y"'),
    ],
)
def test_text_without_quotes_is_told_and_read_as_text(line, told):
    found, (problem,) = parse(f"first = 1\n{line}\nlast = 2\n")
    shown = told.partition("quotes: ")[2]
    assert problem == f"not valid TOML: line 2, {told} (the line reads: {line})"
    assert found["last"] == 2
    assert tomllib.loads(f"x = {shown}")["x"] in [*found.values(), *found.get("a", {}).values()]


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("on = True", "column 6: write true in small letters"),
        ("scale = 0,1", "column 9: numbers have a decimal point: 0.1"),
        ("time_s = 180 s", 'column 10: numbers stand without a unit, and text needs quotes: "180 s"'),
        ("id = 12A", 'column 6: numbers stand without a unit, and text needs quotes: "12A"'),
        ('name = "Irrigation works', "column 25: a closing quote is missing"),
        ("first = 2", "column 10: this key was given before"),
    ],
)
def test_other_likely_causes(line, told):
    assert parse(f"first = 1\n{line}\nlast = 2\n") == (
        None,
        [f"not valid TOML: line 2, {told} (the line reads: {line})"],
    )


def test_all_texts_without_quotes_are_found_with_their_columns_in_the_file():
    line = "breaks = [{ start = 09:30, end = 09:50 }, { start = noon, end = 12:30 }]"
    _, problems = parse(line)
    assert [p.split(": ")[1:4] for p in problems] == [
        ["line 1, column 21", "text needs quotes", f'"{line[20:25]}" (the line reads'],
        ["line 1, column 34", "text needs quotes", f'"{line[33:38]}" (the line reads'],
        ["line 1, column 53", "text needs quotes", f'"{line[52:56]}" (the line reads'],
        ["line 1, column 65", "text needs quotes", f'"{line[64:69]}" (the line reads'],
    ]


def test_a_mistake_at_the_end_of_the_file_has_its_line_too():
    assert parse("a = 1\nb =")[1][0].startswith("not valid TOML: line 2, column 4: ")


def test_a_table_given_twice_is_named_as_the_file_names_it():
    (line,) = parse("[a.b]\n[a.b]\n")[1]
    assert "[a.b] twice" in line


def test_a_long_line_is_shown_in_part():
    (line,) = parse(f"a = [{'1, ' * 100}\n")[1]
    assert line.endswith("1, 1…)")
    assert len(line) < 220


@given(st.lists(WORDS, min_size=1, max_size=5))
@example(["true", "False"])
def test_words_are_read_as_if_they_had_quotes_or_refused(words):
    text = "".join(f"k{n} = {word}\n" for n, word in enumerate(words))
    found, problems = parse(text)
    if found is None:
        assert problems
        return
    told = {p.split("line ")[1].split(",")[0] for p in problems}
    quoted = {str(n + 1) for n, word in enumerate(words) if found[f"k{n}"] == word}
    assert told == quoted


@given(st.text(st.sampled_from("ab1:.,=#\"'\\[]{}\n\t\x01 “é"), max_size=30))
def test_anything_is_read_or_refused_with_a_reason(text):
    try:
        right = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        assert parse(text)[1]
    else:
        assert parse(text) == (right, [])
