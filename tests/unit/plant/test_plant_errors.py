"""Bad plant files: each ``bad/*.bad.toml`` begins with the exact messages it brings, as ``# expect:`` lines."""

from pathlib import Path

import pytest

from swarfline.plant import PlantError, load

BAD = sorted((Path(__file__).parent / "bad").glob("*.bad.toml"))
EXPECT = "# expect: "


def errors_of(path: Path) -> list[str]:
    with pytest.raises(PlantError) as caught:
        load(path)
    assert caught.value.path == str(path)
    assert str(caught.value) == "\n".join(caught.value.lines)
    return list(caught.value.lines)


def expected(path: Path) -> list[str]:
    lines = path.read_text(encoding="utf-8").splitlines()
    return [f"{path}: {line.removeprefix(EXPECT)}" for line in lines if line.startswith(EXPECT)]


def test_there_are_bad_files():
    assert len(BAD) > 40


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.name.removesuffix(".bad.toml"))
def test_a_bad_file_brings_exactly_its_messages(path):
    assert expected(path), "a bad file says what to expect"
    assert errors_of(path) == expected(path)


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.name.removesuffix(".bad.toml"))
def test_no_message_speaks_of_the_program_instead_of_the_file(path):
    for line in errors_of(path):
        for word in ("Value error", "pydantic", "dict", "tuple", "NoneType", "(path)"):
            assert word not in line


def test_what_is_no_toml_is_told_with_its_line(write_plant):
    path = write_plant('[plant]\nname = "Irrigation works"\n[listen\nport = 8750\n')
    (line,) = errors_of(path)
    # the rest of the message is the parser's own and differs between versions of Python
    assert line.startswith(f"{path}: not valid TOML: ")
    assert "line 3" in line


def test_a_missing_file(tmp_path):
    path = tmp_path / "plant.toml"
    assert errors_of(path) == [f"{path}: cannot be read: No such file or directory"]


def test_a_folder_in_the_place_of_the_file(tmp_path):
    assert errors_of(tmp_path) == [f"{tmp_path}: cannot be read: Is a directory"]


def test_a_file_in_another_encoding(tmp_path):
    path = tmp_path / "plant.toml"
    path.write_bytes('[plant]\nname = "Motril, café"\n'.encode("latin-1"))
    assert errors_of(path) == [f"{path}: is not UTF-8 text"]


def test_mistakes_in_form_and_across_tables_come_together(write_plant):
    path = write_plant(
        'plant = { name = "Irrigation works", time_zone = "Europe/Madird" }\n'
        "listen = { prot = 1 }\n"
        '[[servers]]\nid = "line"\nendpoint = "opc.tcp://h:1"\n'
        'machines = [{ id = "N1", signals = { state = "xy:State" } }]\n'
    )
    text = "\n".join(errors_of(path))
    for piece in ("'prot'", "'Europe/Madird'", "'xy'", "'part_count'"):
        assert piece in text


def test_two_shifts_that_lack_something_do_not_hide_the_rest(write_plant):
    path = write_plant(
        'plant = { name = "Irrigation works", time_zone = "Nowhere/Land" }\n'
        '[[shifts]]\nname = "early"\nstart = "x"\nend = "y"\n'
        '[[shifts]]\nname = "late"\nstart = "14:00"\nend = "z"\n'
        '[[servers]]\nid = "line"\nendpoint = "opc.tcp://h:1"\n'
        'machines = [{ id = "N1", signals = { state = "mch:S", part_count = "mch:C" } }]\n'
    )
    lines = errors_of(path)
    assert [line.count("HH:MM") for line in lines] == [1, 1, 1, 0]
    assert "'Nowhere/Land'" in lines[-1]
