"""Many open streams of one service at once, in a process of their own.

    python tests/benchmarks/open_pages.py URL STREAMS SECONDS

Each stream is one HTTP/1.1 connection that reads Server-Sent Events as a page does. Printed as JSON, per stream:
how many events came, how many bytes, the first and last number, how many numbers are missing between them, and how
many snapshots came after the first event: the service sends one to whoever fell behind.
"""

from __future__ import annotations

import asyncio
import json
import os
import re
import sys
import time
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlsplit

import httpx

_EVENT = re.compile(rb"id: (\d+)\nevent: (\w+)\n")
_TICK_S = 1.0 / os.sysconf("SC_CLK_TCK")
_PAGE = os.sysconf("SC_PAGE_SIZE")


class Spent(NamedTuple):
    """What a process has used up to now."""

    at_s: float
    cpu_s: float
    resident_mb: float


def spent(pid: int) -> Spent:
    """Processor time of a process without its children, and its resident memory, MB."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    resident = int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * _PAGE / 1e6
    return Spent(time.monotonic(), (int(fields[11]) + int(fields[12])) * _TICK_S, resident)


def share(before: Spent, after: Spent) -> float:
    """Share of one core between two looks."""
    return (after.cpu_s - before.cpu_s) / (after.at_s - before.at_s)


async def read(host: str, port: int, path: str, seconds: float) -> dict[str, Any]:
    """One stream for so long."""
    reader, writer = await asyncio.open_connection(host, port)
    writer.write(f"GET {path} HTTP/1.1\r\nHost: {host}:{port}\r\nAccept: text/event-stream\r\n\r\n".encode())
    body = bytearray()
    try:
        async with asyncio.timeout(seconds):
            while part := await reader.read(65_536):
                body += part
    except TimeoutError:
        pass
    writer.close()
    found = [(int(number), name) for number, name in _EVENT.findall(bytes(body))]
    numbers = [number for number, _ in found]
    return {
        "events": len(found) or body.count(b"event: "),
        "bytes": len(body),
        "first": numbers[0] if numbers else 0,
        "last": numbers[-1] if numbers else 0,
        "missing": numbers[-1] - numbers[0] + 1 - len(numbers) if numbers else 0,
        "late_snapshots": sum(name == b"snapshot" for _, name in found[1:]),
    }


async def read_all(url: str, count: int, seconds: float) -> list[dict[str, Any]]:
    """All of them."""
    parts = urlsplit(url)
    assert parts.hostname is not None and parts.port is not None
    one = [read(parts.hostname, parts.port, f"{parts.path}?{parts.query}", seconds) for _ in range(count)]
    return await asyncio.gather(*one)


def read_one(url: str) -> bytes:
    """A tick as it is sent, one of middle size of the first seven."""
    with httpx.stream("GET", url, timeout=30) as answer:
        found, text = [], ""
        for part in answer.iter_text():
            *whole, text = (text + part).split("\n\n")
            found += [one for one in whole if "event: tick" in one]
            if len(found) >= 7:
                break
    return (sorted(found, key=len)[len(found) // 2] + "\n\n").encode()


if __name__ == "__main__":
    print(json.dumps(asyncio.run(read_all(sys.argv[1], int(sys.argv[2]), float(sys.argv[3])))))
