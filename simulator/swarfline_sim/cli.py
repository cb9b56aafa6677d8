"""``swarfline-sim``: ``history`` writes a stream of readings, ``serve`` shows the plant over OPC UA."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import os
import sys
import time
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

from swarfline_sim.controlnames import LANGUAGES, LAYOUTS
from swarfline_sim.machine import Machine
from swarfline_sim.scenario import MACHINES, PROFILES, plant
from swarfline_sim.timeline import Timeline
from swarfline_sim.writer import Sink, history, no_truth, truth_sink

OK, FAILED = 0, 1


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit code: 0 done, 1 failed (argparse exits with 2 on wrong use)."""
    args = _parser().parse_args(argv)
    try:
        return int(args.run(args))
    except (ValueError, OSError) as problem:
        print(f"swarfline-sim: {problem}", file=sys.stderr)
        return FAILED


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="swarfline-sim", description="A simulated plant of machining centres.")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    past = commands.add_parser("history", help="write the readings of a span to standard output")
    past.add_argument("--start", required=True, type=moment_us, metavar="TIME", help="RFC 3339, with offset")
    past.add_argument("--until", required=True, type=moment_us, metavar="TIME", help="RFC 3339, not included")
    past.set_defaults(run=_history)
    live = commands.add_parser("serve", help="show the plant over OPC UA on the loopback, until stopped")
    live.add_argument("--port", type=int, default=4840, help="TCP port; 0: any free one (default 4840)")
    live.add_argument("--speed", type=_speed, default=1.0, help="plant seconds per second (default 1)")
    live.add_argument("--start", type=moment_us, metavar="TIME", help="plant time at the epoch (default: now)")
    live.add_argument("--epoch", type=moment_us, metavar="TIME", help="real time of the start (default: now)")
    live.add_argument("--history", action="store_true", help="nodes keep what they showed, to be read later")
    live.add_argument("--with-stdin", action="store_true", help="end when standard input ends, as a child process")
    live.add_argument(
        "--layout", choices=LAYOUTS, default="standard", help="companion specifications in full, in part, or not"
    )
    live.add_argument("--language", choices=LANGUAGES, default="en", help="of the names that no standard gives")
    live.set_defaults(run=_serve)
    for command in (past, live):
        command.add_argument("--seed", type=int, default=1, help="same seed and start: same run (default 1)")
        command.add_argument(
            "--machines", type=_names, default=list(MACHINES), metavar="N1,N2", help="default: all"
        )
        command.add_argument(
            "--profile", choices=PROFILES, default="scenario", help="brisk: short cycles, no shifts"
        )
        command.add_argument("--calm", action="store_true", help="nothing goes wrong")
        command.add_argument("--truth", type=Path, metavar="FILE", help="write what really happened, JSON Lines")
    return parser


def moment_us(text: str) -> int:
    """An RFC 3339 time with offset, as microseconds UTC; argparse's error for anything else."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as problem:
        raise argparse.ArgumentTypeError(f"{text!r} is no RFC 3339 time") from problem
    if moment.tzinfo is None:
        raise argparse.ArgumentTypeError(f"{text!r} has no offset from UTC; add Z or +hh:mm")
    return int(moment.replace(microsecond=0).timestamp()) * 1_000_000 + moment.microsecond


def _speed(text: str) -> float:
    speed = float(text)
    if not 0 < speed <= 10_000:
        raise argparse.ArgumentTypeError(f"{text} is not above 0 and at most 10000")
    return speed


def _names(text: str) -> list[str]:
    names = [name.strip() for name in text.split(",") if name.strip()]
    unknown = [name for name in names if name not in MACHINES]
    if unknown or not names:
        raise argparse.ArgumentTypeError(f"unknown machine {', '.join(unknown)!r}; known: {', '.join(MACHINES)}")
    return list(dict.fromkeys(names))


def _machines(args: argparse.Namespace, start_us: int) -> list[Machine]:
    return [Machine(spec, args.seed, start_us) for spec in plant(args.machines, args.profile, args.calm)]


@contextlib.contextmanager
def _truth(path: Path | None) -> Iterator[Sink]:
    if path is None:
        yield no_truth
        return
    with path.open("w", encoding="utf-8") as stream:
        yield truth_sink(stream)


def _history(args: argparse.Namespace) -> int:
    if args.until <= args.start:
        raise ValueError("--until must lie after --start")
    with _truth(args.truth) as truth:
        try:
            for line in history(_machines(args, args.start), args.until, truth):
                sys.stdout.write(line + "\n")
            sys.stdout.flush()
        except BrokenPipeError:
            # the reader has gone; without this the interpreter complains once more when it closes stdout
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return FAILED
    return OK


def _serve(args: argparse.Namespace) -> int:
    # imported here: asyncua takes a second to load and the history does not need it
    from swarfline_sim.serve import serve

    now_us = time.time_ns() // 1000
    start_us = now_us if args.start is None else args.start
    timeline = Timeline(start_us, now_us if args.epoch is None else args.epoch, args.speed)
    with _truth(args.truth) as truth:
        asyncio.run(
            serve(
                _machines(args, start_us), timeline, args.port, truth, args.with_stdin, args.layout, args.language,
                args.history,
            )
        )  # fmt: skip
    return OK
