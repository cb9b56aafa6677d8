"""How long OEE of a plant takes over a year, against a week.

    python tests/benchmarks/year_rate.py [--machines 50] [--days 365] [--cycle-s 600] [--folder DIR] [--without]

Writes a year of made-up facts (conditions, counts, energy; two shifts, five days a week) through the store's
writer, tallies the days that are over, and asks the application over ASGI, each span ending at noon of the last
day so that its edges are ragged. Medians of the rounds. Budget of the design: a year at most 10 times a week, and
under 0.5 s. ``--without`` asks for the first five machines without tallies too, once. A plant that is there
already in DIR is taken as it is. Building the year takes some minutes and 0.5 GB.
"""

from __future__ import annotations

import argparse
import asyncio
import statistics
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
from fastapi import FastAPI

from swarfline.facts import FAULT, OFF, PRODUCING, SCRAP, TOTAL, WAITING, Condition, Count, Energy, Fact
from swarfline.plant import Plant, load
from swarfline.serve import create_app
from swarfline.store import Batch, Store
from swarfline.tallying import Tallying

SECOND = 1_000_000
HOUR = 3600 * SECOND
DAY = 24 * HOUR
QUARTER = 900 * SECOND
FIRST = datetime(2025, 3, 2, 23, tzinfo=UTC)
"""A Monday's midnight in the plant's zone."""
BATCH_DAYS = 5
ASKED = ("oee", "oee?by=plant", "oee?by=month", "oee?by=week", "oee?by=day")

HEAD = """
plant = { name = "Many machines", time_zone = "Europe/Madrid" }

[[shifts]]
name = "early"
start = "06:00"
end = "14:00"
breaks = [{ start = "09:30", end = "09:50" }]

[[shifts]]
name = "late"
start = "14:00"
end = "22:00"

[[parts]]
id = "PH-12"
planned_cycle_time_s = 160

[[servers]]
id = "line"
endpoint = "opc.tcp://127.0.0.1:4840"
"""
MACHINE = """
[[servers.machines]]
id = "{id}"
signals = {{ state = "mch:{id}S", part_count = "mch:{id}P", scrap_count = "mch:{id}X", power = "mch:{id}W" }}
"""


def us_of(moment: datetime) -> int:
    """A time in µs UTC."""
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def names(count: int) -> list[str]:
    """Ids of the machines."""
    return [f"M{n:02}" for n in range(1, count + 1)]


def day_of(machine: str, start: int, cycle_us: int, number: int) -> Iterator[Fact]:
    """One working day: off to 05:57, cycles and waits to 22:00 with a fault on the way, off."""
    at, end = start + 6 * HOUR - 3 * 60 * SECOND, start + 22 * HOUR
    yield from lasting(machine, start, at, OFF, 300.0)
    made = 0
    while at < end:
        done = min(end, at + cycle_us * 9 // 10)
        yield from lasting(machine, at, done, PRODUCING, 4200.0)
        made += 1
        yield Count(machine, done, TOTAL, 1, "PH-12", "L1")
        if (made + number) % 60 == 0:
            yield Count(machine, done, SCRAP, 1, "PH-12", "L1")
        at = min(end, at + cycle_us * (4 if made == 20 else 1))
        yield from lasting(machine, done, at, FAULT if made == 20 else WAITING, 900.0)
    yield from lasting(machine, end, start + DAY, OFF, 300.0)


def lasting(machine: str, start: int, end: int, condition: str, watts: float) -> Iterator[Fact]:
    """A condition and its energy by quarters of an hour."""
    if start < end:
        yield Condition(machine, start, end, condition)
    while start < end:
        until = min(end, (start // QUARTER + 1) * QUARTER)
        yield Energy(machine, start, until, condition, watts * (until - start) / 1e6, "power")
        start = until


def write(store: Store, machines: list[str], days: int, cycle_us: int) -> int:
    """Write the facts; how many."""
    writer, count, begin = store.writer(), 0, us_of(FIRST)
    for first in range(0, days, BATCH_DAYS):
        for machine in machines:
            facts: list[Fact] = []
            for number in range(first, min(days, first + BATCH_DAYS)):
                start = begin + number * DAY
                if number % 7 < 5:
                    facts += day_of(machine, start, cycle_us, number)
                else:
                    facts += lasting(machine, start, start + DAY, OFF, 300.0)
            writer.commit(Batch(facts=facts))
            count += len(facts)
    return count


def plant_of(folder: Path, machines: list[str]) -> Plant:
    """The plant file, loaded."""
    path = folder / "plant.toml"
    path.write_text(HEAD + "".join(MACHINE.format(id=machine) for machine in machines), "utf-8")
    return load(path)


async def ask(app: FastAPI, path: str, start: int, end: int, rounds: int) -> float:
    """Median seconds of an answer."""
    spent = []
    async with httpx.AsyncClient(
        transport=httpx.ASGITransport(app), base_url="http://plant", timeout=None
    ) as http:
        span = {"from": _moment(start), "to": _moment(end), **dict(httpx.URL(path).params)}
        for _ in range(rounds):
            began = time.perf_counter()
            answer = await http.get(f"/api/v1/{path.partition('?')[0]}", params=span)
            spent.append(time.perf_counter() - began)
            assert answer.status_code == 200, answer.text
    return statistics.median(spent)


def _moment(us: int) -> str:
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=us)).isoformat()


def measure(store: Store, plant: Plant, days: int, rounds: int) -> None:
    """Ask and print."""
    now = us_of(FIRST) + (days - 1) * DAY + 12 * HOUR
    app = create_app(plant, store, clock_us=lambda: now)
    year = us_of(FIRST) + 5 * HOUR
    print(f"{'':18}{'week':>10}{'year':>10}{'ratio':>8}")
    for path in ASKED:
        short, long = (asyncio.run(ask(app, path, start, now, rounds)) for start in (now - 7 * DAY, year))
        kept = "kept" if long < 0.5 and long <= 10 * short else "MISSED"
        print(f"{path:18}{short:9.3f}s{long:9.3f}s{long / short:8.1f}  {kept}")


def without(store: Store, folder: Path, machines: list[str], days: int) -> None:
    """The year from facts alone, once."""
    plant_of(folder, machines)
    # a break of a minute more, so that the tallies there are do not hold
    edited = folder / "edited.toml"
    edited.write_text((folder / "plant.toml").read_text("utf-8").replace('"09:50"', '"09:51"'), "utf-8")
    plant = load(edited)
    print(f"without tallies, {len(machines)} machines")
    measure(store, plant, days, 1)


def main() -> None:
    """Build, tally, ask."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--machines", type=int, default=50)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--cycle-s", type=int, default=600)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--folder", type=Path, help="where the plant is, or is to be made")
    parser.add_argument("--without", action="store_true")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = args.folder or Path(made)
        machines = names(args.machines)
        plant = plant_of(folder, machines)
        fresh = not (folder / "facts.db").exists()
        store = Store.open(f"sqlite:///{folder / 'facts.db'}")
        if fresh:
            began = time.perf_counter()
            count = write(store, machines, args.days, args.cycle_s * SECOND)
            print(f"{count} facts written in {time.perf_counter() - began:.0f} s", flush=True)
        began = time.perf_counter()
        days = Tallying(plant, store).fill()
        print(f"{days} days tallied in {time.perf_counter() - began:.0f} s", flush=True)
        measure(store, plant, args.days, args.rounds)
        if args.without:
            without(store, folder, machines[:5], args.days)
        store.close()


if __name__ == "__main__":
    main()
