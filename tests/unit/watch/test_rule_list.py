"""RULES and the folder of rules tell the same."""

from pathlib import Path

from swarfline.watch import rules


def test_every_rule_is_a_file_of_its_name_and_every_file_a_rule():
    files = {path.stem for path in Path(rules.__file__).parent.glob("*.py")} - {"__init__"}
    assert {rule.name for rule in rules.RULES} == files
    assert len(rules.RULES) == len(files)


def test_every_rule_says_what_it_watches_for():
    for rule in rules.RULES:
        assert rule.about
        assert rule.see([], 0, 0) == []
