"""The documented stream of a history, and the command that writes it."""

import io
import json

import pytest

from swarfline_sim.cli import main, moment_us
from swarfline_sim.events import WARM_UP
from swarfline_sim.machine import Machine
from swarfline_sim.scenario import plant
from swarfline_sim.writer import BLOCK_US, history, no_truth, truth_sink

START = "2026-03-02T05:30:00+01:00"
UNTIL = "2026-03-02T12:10:00+01:00"


def _lines(machines=("N1", "S1"), seed=5):
    start_us, until_us = moment_us(START), moment_us(UNTIL)
    made = [Machine(spec, seed, start_us) for spec in plant(machines)]
    return [json.loads(line) for line in history(made, until_us, no_truth)]


def test_stream_has_head_readings_and_end():
    head, *body, end = _lines()
    assert head == {
        "format": "swarfline-readings",
        "version": 1,
        "start_us": moment_us(START),
        "until_us": moment_us(UNTIL),
        "machines": ["N1", "S1"],
    }
    assert end == {"end": True, "readings": sum(len(line["readings"]) for line in body)}
    assert all(0 < len(line["readings"]) <= 400 for line in body)


def test_stream_is_the_model_without_its_inner_signal():
    _, *body, _ = _lines()
    for name in ("N1", "S1"):
        (spec,) = plant([name])
        events = Machine(spec, 5, moment_us(START)).advance(moment_us(UNTIL)).events
        told = [tuple(reading) for line in body if line["machine"] == name for reading in line["readings"]]
        assert told == [(e.signal, e.t_us, e.value) for e in events if e.signal != WARM_UP]
    assert any(e.signal == WARM_UP and e.value for e in events), "S1 warms up at the start of the shift"


def test_machines_take_turns_within_a_quarter_of_an_hour():
    _, *body, _ = _lines()
    reached = {}
    for line in body:
        first_us, last_us = line["readings"][0][1], line["readings"][-1][1]
        assert last_us - first_us < BLOCK_US
        assert first_us >= reached.get(line["machine"], 0)
        reached[line["machine"]] = last_us
        assert all(first_us // BLOCK_US >= other_us // BLOCK_US for other_us in reached.values())


def test_first_readings_are_the_full_set_of_values():
    _, *body, _ = _lines(("N1",))
    first = {signal for signal, t_us, _ in body[0]["readings"] if t_us == moment_us(START)}
    later = {reading[0] for line in body for reading in line["readings"]}
    assert later == first
    assert {f"tools[{pot}].number" for pot in range(1, 7)} <= first


def test_truth_is_one_line_per_record(tmp_path):
    stream = io.StringIO()
    (spec,) = plant(["N2"], "brisk")
    list(history([Machine(spec, 1, 0)], 3_600_000_000, truth_sink(stream)))
    records = [json.loads(line) for line in stream.getvalue().splitlines()]
    assert records[-1]["kind"] == "totals"
    assert records[-1]["at_us"] == 3_600_000_000
    assert {r["kind"] for r in records} >= {"cycle", "condition", "tool_life", "energy", "totals"}


def test_command_writes_stream_and_truth(tmp_path, capsys):
    truth = tmp_path / "truth.jsonl"
    span = ["--start", START, "--until", UNTIL]
    assert main(["history", *span, "--machines", "N1,S1", "--seed", "5", "--truth", str(truth)]) == 0
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert told == _lines()
    assert sum(json.loads(line)["kind"] == "totals" for line in truth.read_text().splitlines()) == 2


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["--start", "yesterday", "--until", UNTIL], "no RFC 3339 time"),
        (["--start", "2026-03-02T00:00:00", "--until", UNTIL], "no offset from UTC"),
        (["--start", START, "--until", UNTIL, "--machines", "N1,Q7"], "unknown machine 'Q7'"),
    ],
)
def test_wrong_use_is_explained(arguments, complaint, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["history", *arguments])
    assert stopped.value.code == 2
    assert complaint in capsys.readouterr().err


def test_span_must_run_forwards(capsys):
    assert main(["history", "--start", UNTIL, "--until", START]) == 1
    assert "--until must lie after --start" in capsys.readouterr().err
