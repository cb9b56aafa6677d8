"""Every address of deploy/demo.toml leads to a node of the running simulator."""

import subprocess
import sys
from pathlib import Path

import pytest
from asyncua import Client, ua

from swarfline.plant import load
from swarfline.plant.addresses import namespaces

DEMO = Path(__file__).parents[2] / "deploy" / "demo.toml"
READY = "swarfline-sim ready "


@pytest.fixture
def simulator():
    process = subprocess.Popen(
        [sys.executable, "-m", "swarfline_sim", "serve", "--port", "0"], stdout=subprocess.PIPE, text=True
    )
    try:
        line = process.stdout.readline()
        assert line.startswith(READY), line
        yield line.removeprefix(READY).strip()
    finally:
        process.terminate()
        process.communicate(timeout=60)


def browse_path(start: ua.NodeId, text: str, indexes: dict[str, int]) -> ua.BrowsePath:
    steps = [step.partition(":") for step in text.split("/")]
    elements = [
        ua.RelativePathElement(
            ReferenceTypeId=ua.NodeId(ua.ObjectIds.HierarchicalReferences),
            IsInverse=False,
            IncludeSubtypes=True,
            TargetName=ua.QualifiedName(name, indexes[prefix]),
        )
        for prefix, _, name in steps
    ]
    return ua.BrowsePath(start, ua.RelativePath(elements))


@pytest.mark.system
async def test_every_address_of_the_demo_plant_file_is_found(simulator):
    plant = load(DEMO)
    async with Client(simulator) as client:
        uris = await client.get_namespace_array()
        indexes = {prefix: uris.index(uri) for prefix, uri in namespaces(plant).items() if uri in uris}
        objects = ua.NodeId(ua.ObjectIds.ObjectsFolder)
        addresses = [
            f"{machine.root}/{address}"
            for machine in plant.machines
            for address in (
                *(ref.node for ref in plant.nodes_of(machine).values()),
                plant.tools_of(machine).objects,
            )
        ]
        paths = [browse_path(objects, address, indexes) for address in addresses]
        results = await client.uaclient.translate_browsepaths_to_nodeids(paths)
    lost = [address for address, result in zip(addresses, results, strict=True) if not result.Targets]
    assert len(addresses) == 6 * 22 + 2
    assert lost == []
