"""The live stream: fan-out, ticks, slow viewers, and an end when the service stops."""

from __future__ import annotations

import asyncio
import json
import threading

import httpx
import pytest

from swarfline.live import Live
from swarfline.serve import stream
from swarfline.serve.server import make_server
from swarfline.serve.stream import DEPTH, Hub, Turn, Viewer, changed

from .works import works


class Counting:
    """A picture that changes each time; counts how often it was asked for."""

    def __init__(self) -> None:
        self.looks = 0
        self.wholes: list[bool] = []

    def look(self, whole):
        self.looks += 1
        self.wholes.append(whole)
        machines = {"machines": {"N1": 1}} if whole else {}
        return {"at": str(self.looks), **machines, "cells": {"a": "x", "n": str(self.looks)}, "alerts": []}

    def refresh(self):
        pass


def event(raw: bytes):
    fields = dict(line.split(": ", 1) for line in raw.decode().strip().split("\n"))
    return fields["event"], int(fields["id"]), json.loads(fields["data"])


async def test_a_reader_that_is_slow_loses_the_oldest_and_is_told():
    live = Live(depth=2)
    async with live.subscribe() as reader:
        for number in range(5):
            live.publish("commit", {"n": number})
        first, second = await reader.get(), await reader.get()
    assert (first.data["n"], first.missed) == (3, 3)
    assert (second.data["n"], second.missed) == (4, 0)
    assert live.readers == 0


async def test_readers_do_not_hold_up_one_another():
    live = Live(depth=1)
    async with live.subscribe() as idle, live.subscribe() as quick:
        waiting = asyncio.create_task(quick.get())
        await asyncio.sleep(0)
        live.publish("a", {})
        assert (await waiting).name == "a"
        live.publish("b", {})
        live.publish("c", {})
        assert (await quick.get()) == ("c", {}, 1)
        assert idle.drain() == 3


async def test_a_snapshot_first_then_ticks_with_what_changed():
    hub = Hub(Live(), Counting())
    viewer = hub.watch()
    assert (await anext(viewer)).startswith(b"retry: ")
    name, first, data = event(await anext(viewer))
    assert name == "snapshot" and data["cells"] == {"a": "x", "n": "1"}
    name, second, data = event(await anext(viewer))
    assert (name, second) == ("tick", first + 1)
    assert data == {"at": "2", "machines": {}, "cells": {"n": "2"}}
    await viewer.aclose()


async def test_what_is_published_wakes_the_stream_at_once(monkeypatch):
    # by itself it would only look long after the test has given up
    monkeypatch.setattr(stream, "PERIOD_S", 120.0)
    live = Live()
    hub = Hub(live, Counting())
    viewer = hub.watch()
    await anext(viewer)
    await anext(viewer)
    while not live.readers:
        await asyncio.sleep(0.01)
    live.publish("commit", {})
    await asyncio.wait_for(anext(viewer), 60)
    await viewer.aclose()


async def test_nobody_watches_nothing_is_computed(monkeypatch):
    monkeypatch.setattr(stream, "PERIOD_S", 0.05)
    live, sight = Live(), Counting()
    hub = Hub(live, sight)
    viewer = hub.watch()
    await anext(viewer)
    await anext(viewer)
    await viewer.aclose()
    while live.readers:
        await asyncio.sleep(0.01)
    looks = sight.looks
    await asyncio.sleep(0.5)
    assert sight.looks == looks


async def test_a_viewer_that_fell_behind_gets_a_snapshot():
    viewer, look = Viewer(), {"at": "", "machines": {}, "cells": {}, "alerts": []}
    for number in range(DEPTH + 2):
        viewer.put(Turn(number, look, look))
    assert event(viewer.waiting.get_nowait())[:2] == ("snapshot", DEPTH)
    assert event(viewer.waiting.get_nowait())[:2] == ("tick", DEPTH + 1)


async def test_pages_are_not_told_what_they_do_not_show():
    sight = Counting()
    hub = Hub(Live(), sight)
    page, whole = hub.watch(whole=False), hub.watch()
    await anext(page)
    first = event(await anext(page))
    assert first[0] == "snapshot" and "machines" not in first[2] and sight.wholes == [False]
    await anext(whole)
    name, number, data = event(await anext(whole))
    assert name == "snapshot" and data["machines"] == {"N1": 1}
    while (told := event(await anext(page)))[1] < number:
        pass
    assert told[:2] == ("tick", number) and told[2] == {"at": data["at"], "cells": {"n": data["at"]}}
    await page.aclose()
    await whole.aclose()


class Held(Counting):
    """The first look lasts until it is let go."""

    def __init__(self) -> None:
        super().__init__()
        self.begun, self.go = threading.Event(), threading.Event()

    def look(self, whole):
        found = super().look(whole)
        self.begun.set()
        assert self.go.wait(10)
        return found


async def test_whoever_joins_while_less_is_looked_at_waits_for_the_whole():
    sight = Held()
    hub = Hub(Live(), sight)
    page, whole = hub.watch(whole=False), hub.watch()
    await anext(page)
    assert await asyncio.to_thread(sight.begun.wait, 10)
    await anext(whole)
    sight.go.set()
    assert event(await anext(whole))[2]["machines"] == {"N1": 1}
    assert sight.wholes == [False, True]
    await page.aclose()
    await whole.aclose()


def test_a_turn_is_encoded_once_for_all():
    after = {"at": "2", "machines": {"N1": 1}, "cells": {"a": "x"}, "alerts": []}
    turn = Turn(1, {}, after)
    first, second = Viewer(), Viewer()
    first.put(turn)
    second.put(turn)
    assert first.waiting.get_nowait() is second.waiting.get_nowait()


async def test_close_ends_streams_and_opens_no_more():
    hub = Hub(Live(), Counting())
    viewer = hub.watch()
    await anext(viewer)
    hub.close()
    assert [e async for e in viewer if e.startswith(b"id")] == []
    assert [e async for e in hub.watch()] == []


def test_changed_keeps_the_time_and_leaves_the_rest():
    before = {"at": "1", "machines": {"N1": 1}, "cells": {"a": "x"}, "alerts": [1]}
    assert changed(before, {**before, "at": "2"}) == {"at": "2", "machines": {}, "cells": {}}
    assert changed({}, before) == before


@pytest.mark.system
async def test_the_service_stops_while_streams_are_open(tmp_path):
    app, store = works(tmp_path)
    ports: list[int] = []
    server = make_server(app, "127.0.0.1", 0, ports.append)
    running = asyncio.create_task(server.serve())
    while not ports:
        await asyncio.sleep(0.02)
    async with (
        httpx.AsyncClient(base_url=f"http://127.0.0.1:{ports[0]}") as http,
        http.stream("GET", "/api/v1/live") as events,
    ):
        assert events.headers["content-type"].startswith("text/event-stream")
        assert events.headers["cache-control"] == "no-store"
        text = ""
        async for piece in events.aiter_text():
            text += piece
            if "event: tick" in text:
                break
        assert '"N1.condition":"waiting"' in text
        server.stop()
        await asyncio.wait_for(running, 60)
    store.close()
