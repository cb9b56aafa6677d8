"""A process that commits until it is killed, and says what it has committed: ``committer.py URL FIRST``."""

from __future__ import annotations

import sys

from swarfline.facts import Condition
from swarfline.signals import Reading
from swarfline.store import Batch, Store


def main(url: str, first: str) -> None:
    """Batches of growing size; every value is its arrival number."""
    writer, number = Store.open(url).writer(), int(first)
    print("ready", flush=True)
    for turn in range(1, 100_000):
        end = number + 50 + 37 * turn % 900
        writer.commit(
            Batch(
                readings=[Reading("N1", ("state", "power")[n % 2], n, n, n) for n in range(number, end)],
                facts=[Condition("N1", n, n + 1, "producing") for n in range(number, end, 10)],
                checkpoints={"N1": {"told": end}},
                now={"N1": {"told": end}},
            )
        )
        number = end
        print(number, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
