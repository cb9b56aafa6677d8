"""Every text of the pages has its translation, in each catalogue, and no catalogue holds texts that are gone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir

from swarfline.facts import OUTCOMES, STEPS
from swarfline.measure import kpis, oee
from swarfline.serve import definitions
from swarfline.serve.tongue import LANGUAGES, OURS, catalogue
from swarfline.serve.tool_plan import WHYS
from swarfline.watch.rules import RULES

SERVICE = Path(__file__).parents[3] / "service" / "swarfline"
METHODS = [("**.py", "python"), ("**/templates/**.html", "jinja2.ext:babel_extract")]
OPTIONS = {"**/templates/**.html": {"trimmed": "true"}}
PLACE = re.compile(r"%(?:\(\w+\))?[sd%]|\{[^}]*\}")

Text = str | tuple[str, ...]


def texts() -> set[Text]:
    """Texts of the sources; of those with a plural the pair."""
    found: set[Text] = {*definitions.CONDITION_MEANINGS.values(), *WHYS}
    found |= {text for rule in RULES for text in (rule.about, rule.clears, rule.todo)}
    found |= {text for room in (oee, kpis) for name, text in vars(room).items() if name.startswith("HINT_")}
    for name, _, text, _, _ in extract_from_dir(SERVICE, METHODS, OPTIONS):
        assert text, f"{name} has a text that cannot be found without running it"
        found.add(tuple(text) if isinstance(text, tuple | list) else text)
    return found


def held(code: str) -> Iterator[tuple[Text, tuple[str, ...]]]:
    for message in catalogue(code):
        if message.id:
            name = tuple(message.id) if isinstance(message.id, tuple | list) else message.id
            told = message.string if isinstance(message.string, tuple | list) else (message.string,)
            yield name, tuple(text or "" for text in told)


OTHERS = sorted(set(LANGUAGES) - {OURS})


@pytest.mark.parametrize("code", OTHERS)
def test_no_text_is_missing_and_none_is_left_over(code):
    known = dict(held(code))
    wanted = texts()
    assert len(wanted) > 300, "the texts were found at all"
    assert sorted(map(str, wanted - set(known))) == [], f"not in {code}.po"
    assert sorted(map(str, set(known) - wanted)) == [], f"in {code}.po, but nowhere said"
    assert [name for name, said in known.items() if not all(said)] == [], "without translation"


@pytest.mark.parametrize("code", OTHERS)
def test_what_is_filled_in_is_the_same(code):
    for name, said in held(code):
        for source, text in zip((name,) if isinstance(name, str) else name, said, strict=True):
            assert sorted(PLACE.findall(source)) == sorted(PLACE.findall(text)), text
            assert source.count("%%") == text.count("%%"), text


BARE = re.compile(r"\{#.*?#\}|<(style|code)\b.*?</\1>", re.DOTALL)
"""What a template says to nobody, and code, which no language changes."""
SAME_EVERYWHERE = {"OEE", "API", "openapi.json", "CO₂", "kWh", "kW", "kg"}


@pytest.mark.parametrize(
    "template", sorted((SERVICE / "serve/page/templates").glob("*.html")), ids=lambda p: p.name
)
def test_no_template_says_anything_that_is_not_translated(template):
    text = BARE.sub("", template.read_text(encoding="utf-8"))
    text = re.sub(r"\{\{.*?\}\}|\{%.*?%\}", " ", text, flags=re.DOTALL)
    said = re.findall(r">([^<]*)<", text) + re.findall(r'(?:aria-label|data-label|title|alt)="([^"]*)"', text)
    bare = {word for one in said for word in re.findall(r"[^\W\d_][\w.₂]+", one)}
    assert bare - SAME_EVERYWHERE == set()


def test_what_is_shown_by_name_has_words():
    assert set(definitions.STEP_MEANINGS) == set(STEPS) and set(definitions.OUTCOME_MEANINGS) == set(OUTCOMES)
