"""What really happened, as the simulator wrote it down."""

from __future__ import annotations

import json
from collections import defaultdict
from pathlib import Path
from typing import Any

Record = dict[str, Any]


class Truth:
    """The records of a truth file so far, by machine and kind, in the order in which they were told."""

    def __init__(self, file: Path) -> None:
        self._records: dict[tuple[str, str], list[Record]] = defaultdict(list)
        text = file.read_text("utf-8") if file.exists() else ""
        # a line that is just being written has no end yet
        for line in text[: text.rfind("\n") + 1].splitlines():
            record = json.loads(line)
            self._records[record["machine"], record["kind"]].append(record)

    def of(self, machine: str, kind: str) -> list[Record]:
        """Records of one kind of one machine."""
        return self._records[machine, kind]

    def totals(self, machine: str) -> Record:
        """The totals, which are there when the simulator was ended in order."""
        (record,) = self.of(machine, "totals")
        return record

    def cycles_after(self, machine: str, since_us: int) -> int:
        """How many complete cycles lie wholly after a moment."""
        cycles = self.of(machine, "cycle")
        return sum(c["start_us"] > since_us and c["outcome"] == "complete" for c in cycles)
