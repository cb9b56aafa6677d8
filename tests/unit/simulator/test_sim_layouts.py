"""The simulator as a control of no standard, and of half of one: the same plant, said otherwise."""

from datetime import UTC, datetime

import pytest
from asyncua import ua

from swarfline_sim.controlnames import DECOYS, LANGUAGES, NAMES, STATUS_WORDS, name_of
from swarfline_sim.controlvariables import SIGNALS
from swarfline_sim.machine import Machine
from swarfline_sim.scenario import plant
from swarfline_sim.server import build_server

START_US = int(datetime(2026, 3, 2, 8, tzinfo=UTC).timestamp()) * 1_000_000
HOUR_US = 3_600_000_000


async def shown(layout, language="en", machine="N1"):
    """(value by browse name of every variable of ours, last event value by signal) after two hours."""
    model = Machine(plant([machine], "brisk")[0], 7, START_US)
    server, (display,) = await build_server(0, [model], layout, language)
    events = model.advance(START_US + 2 * HOUR_US).events
    display.note(events)
    await display.show_all()
    space = server.iserver.aspace
    values = {}
    for node in list(space.keys()):
        data = space[node].attributes
        # nodes of the base model are there in every layout
        if node.NamespaceIndex > 0 and data[ua.AttributeIds.NodeClass].value.Value.Value == ua.NodeClass.Variable:
            name = data[ua.AttributeIds.BrowseName].value.Value.Value
            values[name.Name] = data[ua.AttributeIds.Value].value.Value
    return values, {event.signal: event.value for event in events}


@pytest.mark.parametrize("language", ["de", "ja"])
async def test_flat_names_every_signal_in_the_language(language):
    values, last = await shown("flat", language)
    for signal in SIGNALS:
        name = f"N1_{name_of(NAMES[signal], language)}"
        assert name in values, name
    assert values[f"N1_{name_of(NAMES['part_count'], language)}"].Value == last["part_count"] % 65536
    assert values[f"N1_{name_of(NAMES['state'], language)}"].Value == STATUS_WORDS[last["state"]]


async def test_flat_tells_units_by_name_and_tools_as_arrays():
    values, last = await shown("flat")
    assert values["N1_ActivePower_kW"].Value * 1000 == pytest.approx(last["power"], rel=1e-6)
    assert values["N1_EnergyMeter_kWh"].Value * 1000 == pytest.approx(last["energy"])
    magazine = plant(["N1"], "brisk")[0].magazine
    used, limit = values["N1_ToolLifeUsed"].Value, values["N1_ToolLifeLimit"].Value
    assert len(used) == len(limit) == len(magazine)
    for at, spec in enumerate(magazine):
        key = f"tools[{spec.pot}]."
        told = last.get(key + "used", None)
        assert used[at] == pytest.approx(told if told is not None else spec.limit - last[key + "remaining"])
        assert limit[at] == pytest.approx(last[key + "limit"])
        assert values["N1_ToolNumbers"].Value[at] == last[key + "number"]


async def test_partial_keeps_state_and_program_of_the_standard_only():
    values, last = await shown("partial", "de")
    assert values["OperationMode"].VariantType == ua.VariantType.Int32
    assert values["N1.Teilezaehler"].Value == last["part_count"] % 65536
    assert "PartsProducedInLifetime" not in values
    assert "ActLoad" not in values
    assert "N1.Maschinenstatus" not in values
    assert all(f"N1.{names[1]}" in values for names in DECOYS)


def test_names_differ_within_a_language():
    for language in LANGUAGES:
        names = [name_of(entry, language) for entry in (*NAMES.values(), *DECOYS)]
        assert len(set(names)) == len(names)


async def test_flat_says_nothing_of_a_standard():
    values, _ = await shown("flat")
    assert not {"CurrentState", "PartsProducedInLifetime", "ActLoad", "OperationMode"} & set(values)
