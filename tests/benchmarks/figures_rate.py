"""How long the figures of a simulated month take, against a bare sqlite3 that reads the conditions behind them.

    python tests/benchmarks/figures_rate.py FOLDER [--days 30] [--rounds 3] [--profile PATH] [--only TEXT]

FOLDER keeps the month (made at the first call, which takes a minute or two). Each address is asked of the
application itself, without a network, for the whole plant of six; the time is CPU time, the best of the rounds.
Bare: every condition of the span fetched as tuples. The ratio says how often that would fit into the answer.
"""

from __future__ import annotations

import argparse
import asyncio
import cProfile
import pstats
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import fastapi.routing
import httpx
from fastapi import FastAPI

from swarfline.calendar import from_us
from swarfline.collect import Pipeline
from swarfline.history import take_history
from swarfline.plant import Plant, load
from swarfline.serve import create_app
from swarfline.store import Store

DAY_US = 86_400_000_000
BEGIN_US = 1_772_406_000_000_000
DEMO = Path(__file__).parents[2] / "deploy" / "demo.toml"
ADDRESSES = (
    *(
        f"{figures}?by={by}"
        for figures in ("oee", "losses", "kpis", "energy")
        for by in ("machine", "day", "shift", "part")
    ),
    "/production?in=time",
    "/production/stops?sort=longest",
)


def month(folder: Path, days: int) -> Plant:
    """The plant and its database of so many days; made where there is none."""
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "plant.toml"
    if not file.exists():
        file.write_text(DEMO.read_text("utf-8"), "utf-8")
        _import(load(file), file, BEGIN_US + days * DAY_US)
    return load(file)


def _import(plant: Plant, file: Path, until_us: int) -> None:
    store = Store.open(plant.store.url, file)
    times = ["--start", from_us(BEGIN_US).isoformat(), "--until", from_us(until_us).isoformat()]
    command = [sys.executable, "-m", "swarfline_sim", "history", *times]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        take_history(process.stdout, Pipeline(plant, store), lambda at_us: None)
    store.close()


def best_s(ask: Callable[[], object], rounds: int) -> float:
    """The shortest of several runs, in s of CPU."""
    spent = []
    for _ in range(rounds):
        began = time.process_time()
        ask()
        spent.append(time.process_time() - began)
    return min(spent)


def answer(app: FastAPI, address: str) -> httpx.Response:
    """One answer that must succeed."""

    async def ask() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://plant") as http:
            return await http.get(address if address.startswith("/") else f"/api/v1/{address}")

    found = asyncio.run(ask())
    found.raise_for_status()
    return found


async def _in_this_thread(work: Callable[..., Any], *args: Any, **named: Any) -> Any:
    """A profile sees only its own thread."""
    return work(*args, **named)


def bare(database: Path) -> int:
    """Every condition as a tuple."""
    with sqlite3.connect(database) as connection:
        return len(connection.execute("SELECT * FROM conditions ORDER BY machine, start_us").fetchall())


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--profile", help="an address whose work is listed")
    parser.add_argument("--only", default="", help="addresses that hold this text")
    args = parser.parse_args()
    plant = month(args.folder, args.days)
    store = Store.open(plant.store.url, args.folder / "plant.toml")
    now_us = BEGIN_US + args.days * DAY_US
    app = create_app(plant, store, clock_us=lambda: now_us)
    span = urlencode({"from": from_us(BEGIN_US).isoformat(), "to": from_us(now_us).isoformat()})
    if args.profile:
        fastapi.routing.run_in_threadpool = _in_this_thread  # type: ignore[attr-defined]
        profile = cProfile.Profile()
        profile.runcall(answer, app, f"{args.profile}&{span}")
        pstats.Stats(profile).sort_stats("tottime").print_stats(18)
        return
    database = next(args.folder.glob("*.db"))
    least = best_s(lambda: bare(database), args.rounds)
    print(f"bare: {bare(database)} conditions in {least:.3f} s")
    for address in (a for a in ADDRESSES if args.only in a):
        spent = best_s(lambda a=address: answer(app, f"{a}&{span}"), args.rounds)  # type: ignore[misc]
        print(f"{address:30} {spent:8.2f} s {spent / least:8.1f} ×")
    store.close()


if __name__ == "__main__":
    main()
