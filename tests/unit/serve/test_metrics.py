"""/metrics against prometheus_client's parser of OpenMetrics text, which refuses what the format forbids."""

from __future__ import annotations

from pathlib import Path

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from swarfline.serve.openmetrics import MEDIA_TYPE, Family, exposition
from swarfline.store import Batch

from .client import Client
from .works import NOW, SECOND, status, works

Key = tuple[str, frozenset[tuple[str, str]]]


def samples(text: str) -> dict[Key, float]:
    """Value by name and labels."""
    return {
        (s.name, frozenset(s.labels.items())): s.value
        for family in text_string_to_metric_families(text)
        for s in family.samples
    }


def key(name: str, **labels: str) -> Key:
    return name, frozenset(labels.items())


@pytest.fixture(scope="module")
def told(client: Client) -> dict[Key, float]:
    answer = client.get("/metrics")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == MEDIA_TYPE
    assert answer.text.endswith("\n# EOF\n")
    return samples(answer.text)


def test_the_media_type_is_that_of_the_specification():
    """OpenObservability/OpenMetrics specification/OpenMetrics.md."""
    assert MEDIA_TYPE == "application/openmetrics-text; version=1.0.0; charset=utf-8"


def test_counters_of_a_server(told):
    assert told[key("swarfline_server_changes_total", server="line")] == 5
    for name in ("reconnects", "overflows", "sequence_gaps", "republished", "unmapped_codes"):
        assert told[key(f"swarfline_server_{name}_total", server="line")] == 0


def test_the_present_of_a_server(told):
    states = {
        state: told[key("swarfline_server_state", server="line", swarfline_server_state=state)]
        for state in ("connecting", "connected", "waiting", "unknown")
    }
    assert states == {"connecting": 0, "connected": 1, "waiting": 0, "unknown": 0}
    assert told[key("swarfline_server_clock_offset_seconds", server="line")] == 0.0025
    assert told[key("swarfline_server_refused_signals", server="line")] == 1
    assert told[key("swarfline_server_lag_seconds", server="line")] == 0
    assert told[key("swarfline_server_changes_per_second", server="line")] == 12.5


def test_condition_and_coverage_of_a_machine(told):
    conditions = {dict(labels)["swarfline_machine_condition"]: value for (name, labels), value in told.items()
                  if name == "swarfline_machine_condition" and ("machine", "S1") in labels}  # fmt: skip
    assert [c for c, value in conditions.items() if value] == ["waiting"]
    # planned from 06:00 to 12:00 but for 20 minutes; an hour of it was not observed
    assert told[key("swarfline_machine_coverage_ratio", machine="S1")] == pytest.approx(280 / 340)


def test_what_could_not_be_used_is_counted_by_kind(tmp_path):
    app, store = works(tmp_path)
    store.writer().commit(
        Batch(servers={"line": status(ignored={"not_finite": 4, "unmapped_code": 2})}, seen_us=NOW)
    )
    told = samples(Client(app).get("/metrics").text)
    for kind, count in (("not_finite", 4), ("unmapped_code", 2)):
        assert told[key("swarfline_server_ignored_values_total", server="line", kind=kind)] == count
    assert told[key("swarfline_server_unmapped_codes_total", server="line")] == 2
    store.close()


def test_process_figures(told):
    assert told[key("process_cpu_seconds_total")] > 0
    if Path("/proc/self/statm").exists():
        assert told[key("process_resident_memory_bytes")] > 1_000_000
        assert told[key("process_open_fds")] > 0


def test_a_silent_collector_leaves_the_present_unknown(tmp_path):
    app, store = works(tmp_path, lambda: NOW + 60 * SECOND)
    told = samples(Client(app).get("/metrics").text)
    store.close()
    assert told[key("swarfline_server_state", server="line", swarfline_server_state="unknown")] == 1
    assert told[key("swarfline_machine_condition", machine="S1", swarfline_machine_condition="unobserved")] == 1
    assert not [
        n for n, _ in told if n in ("swarfline_server_clock_offset_seconds", "swarfline_server_lag_seconds")
    ]
    assert told[key("swarfline_server_changes_total", server="line")] == 5


@pytest.mark.parametrize("text", ['C:\\DIR\\F"x"\n', "", "Fräsmaschine 機械", "\\n", 'a="b",c'])
def test_any_text_survives_as_label_and_help(text):
    family = Family("made", "gauge", f"About {text}.")
    family.add({"of": text}, 1.5)
    (parsed,) = text_string_to_metric_families(exposition([family]))
    assert [(s.labels, s.value) for s in parsed.samples] == [({"of": text}, 1.5)]
    assert parsed.documentation == f"About {text}."


def test_what_is_not_known_has_no_sample():
    family = Family("made", "gauge", "Made.")
    family.add({}, None)
    assert samples(exposition([family])) == {}
