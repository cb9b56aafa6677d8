"""Reports that are made by themselves: each occasion once, put into the outbox as a mail.

The outbox remembers what was queued by its key, the report and its span; so neither a restart nor a second look
makes an occasion twice, and one that was missed is made up when the service runs again.
"""

from __future__ import annotations

import asyncio
import logging
import os
import signal
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from multiprocessing import get_context
from pathlib import Path

from swarfline import clock
from swarfline.calendar import Calendar
from swarfline.live import Live
from swarfline.messages import REPORT, Attachment, Message
from swarfline.outlook import plant_now_us
from swarfline.plant import Plant, ReportTable
from swarfline.report import Report
from swarfline.schedule import Occasion, newest
from swarfline.serve.reports.build import build
from swarfline.serve.reports.formats import FORMATS
from swarfline.serve.reports.letter import letter
from swarfline.serve.reports.pdf import MISSING, can_set
from swarfline.serve.reports.subject import Subject, subject
from swarfline.serve.room import Room
from swarfline.serve.spans import SHIFT, Asked
from swarfline.serve.times import show
from swarfline.serve.tongue import speaking
from swarfline.store import Store

EVERY_S = 20.0
"""So often is looked whether a report is due."""
NICENESS = 10
"""Of the process that makes a report: the collector goes before it."""

log = logging.getLogger("swarfline.reports")

Make = Callable[[Plant, ReportTable, Occasion, int], Message]


class Reporting:
    """Makes the reports of a plant file when they are due. ``run`` once, as a task of its own, and ``stop`` it."""

    def __init__(
        self,
        plant: Plant,
        store: Store,
        clock_us: Callable[[], int] = clock.now_us,
        make: Make | None = None,
        every_s: float = EVERY_S,
    ) -> None:
        self._plant = plant
        self._store = store
        self._calendar = plant.calendar()
        self._clock_us = clock_us
        self._make = make or apart
        self._every_s = every_s
        self._stopping = asyncio.Event()

    def stop(self) -> None:
        """Make ``run`` return, once the report that is being made is done."""
        self._stopping.set()

    async def run(self) -> None:
        """Look for reports that are due until told to stop; faults are told in the log and tried again."""
        while not self._stopping.is_set():
            await asyncio.to_thread(self.step)
            with suppress(TimeoutError):
                await asyncio.wait_for(self._stopping.wait(), self._every_s)

    def step(self) -> list[str]:
        """Make what is due and was not made yet; the keys of what was queued."""
        made = []
        for table in self._plant.reports:
            try:
                made += self._of(table)
            except Exception:
                # the next report may be made, and this one by the next look
                log.exception("report %s could not be made; it is tried again", table.id)
        return made

    def _of(self, table: ReportTable) -> list[str]:
        now_us = plant_now_us(self._plant, self._store.queries, self._clock_us)
        due = newest(table, self._calendar, machines_of(self._plant, table), now_us)
        there = self._store.outbox.keys(occasion.key for occasion in due)
        missing = [o for o in due if (table.channel, o.key) not in there]
        for occasion in missing:
            self._store.outbox.add([self._make(self._plant, table, occasion, now_us)])
            log.info("report %s of %s was queued", table.id, show(occasion.start_us, self._calendar.zone))
        return [occasion.key for occasion in missing]


def apart(plant: Plant, table: ReportTable, occasion: Occasion, now_us: int) -> Message:
    """``message`` in a process of its own, for a week of many machines takes seconds that the collector needs."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_behind) as pool:
        return pool.submit(message, plant, table, occasion, now_us).result()


def _behind() -> None:
    """Let others go first, and leave Ctrl-C to the service, which waits for the report."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(NICENESS)


def machines_of(plant: Plant, table: ReportTable) -> list[str]:
    """The machines that a report of the plant file is about."""
    wanted = (m for m in plant.machines if table.cell in (None, m.cell))
    return [m.id for m in wanted if not table.machines or m.id in table.machines]


def message(plant: Plant, table: ReportTable, occasion: Occasion, now_us: int) -> Message:
    """The mail of one occasion; ``now_us`` is the plant's present. Raises StoreError."""
    store = Store.open(plant.store.url, Path(plant.path))
    try:
        return _message(Room.of(plant, store, Live(), lambda: now_us), table, occasion, now_us)
    finally:
        store.close()


def _message(room: Room, table: ReportTable, occasion: Occasion, now_us: int) -> Message:
    with speaking(table.language):
        made = build(_subject(room, table, occasion, now_us))
        remarks = () if can_set() or "pdf" not in table.formats else (MISSING,)
        text = letter(made, remarks)
        files = tuple(_file(made, ending) for ending in _endings(table))
    span = {"from": show(occasion.start_us, room.zone), "to": show(occasion.end_us, room.zone)}
    return Message(
        channel=table.channel,
        key=occasion.key,
        subject=f"{made.title}, {made.subtitle}",
        text=text,
        # our own clock, as the outbox goes by it
        created_us=clock.now_us(),
        kind=REPORT,
        attachments=files,
        data={"report": table.id, **span},
    )


def _subject(room: Room, table: ReportTable, occasion: Occasion, now_us: int) -> Subject:
    name = occasion.name if table.span == SHIFT else table.span
    asked = Asked(occasion.start_us, occasion.end_us, now_us, occasion.end_us, name)
    chosen = machines_of(room.plant, table)
    if table.span == SHIFT:
        chosen = [m for m in chosen if _works(room.calendar, m, occasion)]
    only = [] if len(chosen) == len(room.plant.machines) else chosen
    return subject(room, table.span, asked, None, table.cell, only)


def _works(calendar: Calendar, machine: str, occasion: Occasion) -> bool:
    """Whether a machine works in the shift that an occasion is about."""
    shift = calendar.shift_at(machine, occasion.start_us)
    return shift is not None and shift.name == occasion.name


def _file(report: Report, ending: str) -> Attachment:
    write, media_type = FORMATS[ending]
    # a mail tells no character set for bytes
    return Attachment(f"{report.file_name}.{ending}", media_type.partition(";")[0], write(report))


def _endings(table: ReportTable) -> list[str]:
    """The formats asked for; without the typesetter HTML stands in for PDF, and the mail says why."""
    wanted = ("html" if ending == "pdf" and not can_set() else ending for ending in table.formats)
    return list(dict.fromkeys(wanted))
