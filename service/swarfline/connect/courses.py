"""How values go while they are watched: read in a cycle, changes kept, bounded in nodes and samples."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence

from asyncua import ua

from swarfline import clock
from swarfline.connect.decode import Decoder
from swarfline.connect.names import Names
from swarfline.connect.services import Services
from swarfline.connect.sight import plain_value
from swarfline.connect.sighting import Course
from swarfline.connect.stamps import stamp_us
from swarfline.connect.status import Tally
from swarfline.connect.walk import Progress

MOST_WATCHED = 2000
MOST_SAMPLES = 600
PERIOD_S = 1.0


async def watch_values(
    services: Services, names: Names, nodes: Mapping[str, ua.NodeId], watch_s: float, progress: Progress
) -> dict[str, Course]:
    """The course of each node, by its key, over ``watch_s`` seconds; the first MOST_WATCHED only.

    Values are read every second. Good and uncertain ones count; a value is kept when it differs from the last one.
    """
    some = dict(list(nodes.items())[:MOST_WATCHED])
    simple = Decoder(names, Tally()).simple
    samples: dict[str, list[tuple[int, object]]] = {key: [] for key in some}
    loop = asyncio.get_running_loop()
    begin_s = loop.time()
    while True:
        values = await services.read(list(some.values()))
        _keep(samples, list(some), [(_stamp(data), plain_value(simple(_usable(data)))) for data in values])
        elapsed_s = loop.time() - begin_s
        progress("seconds watched", int(min(elapsed_s, watch_s)), int(watch_s))
        if elapsed_s >= watch_s:
            return {key: Course(tuple(kept), elapsed_s) for key, kept in samples.items()}
        await asyncio.sleep(min(PERIOD_S, watch_s - elapsed_s))


def _keep(
    samples: dict[str, list[tuple[int, object]]], keys: Sequence[str], values: Sequence[tuple[int, object]]
) -> None:
    for key, (at_us, value) in zip(keys, values, strict=True):
        kept = samples[key]
        if value is not None and len(kept) < MOST_SAMPLES and (not kept or kept[-1][1] != value):
            kept.append((at_us, value))


def _usable(data: ua.DataValue) -> object:
    return data.Value.Value if data.Value is not None and data.StatusCode.value >> 30 < 2 else None


def _stamp(data: ua.DataValue) -> int:
    for stamp in (data.SourceTimestamp, data.ServerTimestamp):
        us = stamp_us(stamp)
        if us is not None:
            return us
    return clock.now_us()
