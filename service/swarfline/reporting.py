"""Reports that are made by themselves: each occasion once, put into the outbox as a mail.

The outbox remembers what was queued by its key, the report and its span; so neither a restart nor a second look
makes an occasion twice, and one that was missed is made up when the service runs again.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from contextlib import suppress

from swarfline import clock
from swarfline.live import Live
from swarfline.messages import REPORT, Attachment, Message
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

log = logging.getLogger("swarfline.reports")


class Reporting:
    """Makes the reports of a plant file when they are due. ``run`` once, as a task of its own, and ``stop`` it."""

    def __init__(
        self,
        plant: Plant,
        store: Store,
        clock_us: Callable[[], int] = clock.now_us,
        every_s: float = EVERY_S,
    ) -> None:
        self._plant = plant
        self._store = store
        self._clock_us = clock_us
        self._every_s = every_s
        self._room = Room.of(plant, store, Live(), clock_us)
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
        now_us = self._room.now_us()
        due = newest(table, self._room.calendar, self._machines(table), now_us)
        there = self._store.outbox.keys(occasion.key for occasion in due)
        missing = [o for o in due if (table.channel, o.key) not in there]
        for occasion in missing:
            self._store.outbox.add([self._message(table, occasion, now_us)])
            log.info("report %s of %s was queued", table.id, show(occasion.start_us, self._room.zone))
        return [occasion.key for occasion in missing]

    def _machines(self, table: ReportTable) -> list[str]:
        wanted = (m for m in self._plant.machines if table.cell in (None, m.cell))
        return [m.id for m in wanted if not table.machines or m.id in table.machines]

    def _message(self, table: ReportTable, occasion: Occasion, now_us: int) -> Message:
        with speaking(table.language):
            about = self._subject(table, occasion, now_us)
            made = build(about)
            remarks = () if can_set() or "pdf" not in table.formats else (MISSING,)
            text = letter(made, remarks)
            files = tuple(self._file(made, ending) for ending in _endings(table))
        zone = self._room.zone
        return Message(
            channel=table.channel,
            key=occasion.key,
            subject=f"{made.title}, {made.subtitle}",
            text=text,
            created_us=self._clock_us(),
            kind=REPORT,
            attachments=files,
            data={
                "report": table.id,
                "from": show(occasion.start_us, zone),
                "to": show(occasion.end_us, zone),
            },
        )

    def _subject(self, table: ReportTable, occasion: Occasion, now_us: int) -> Subject:
        name = occasion.name if table.span == SHIFT else table.span
        asked = Asked(occasion.start_us, occasion.end_us, now_us, occasion.end_us, name)
        return subject(self._room, table.span, asked, None, table.cell, self._of_shift(table, occasion))

    def _of_shift(self, table: ReportTable, occasion: Occasion) -> list[str]:
        """The machines of the report; of a shift only those that work in it."""
        chosen = self._machines(table)
        if table.span == SHIFT:
            calendar, start_us = self._room.calendar, occasion.start_us
            chosen = [m for m in chosen if (s := calendar.shift_at(m, start_us)) and s.name == occasion.name]
        return [] if len(chosen) == len(self._plant.machines) else chosen

    def _file(self, report: Report, ending: str) -> Attachment:
        write, media_type = FORMATS[ending]
        return Attachment(f"{report.file_name}.{ending}", media_type, write(report))


def _endings(table: ReportTable) -> list[str]:
    """The formats asked for; without the typesetter HTML stands in for PDF, and the mail says why."""
    wanted = ("html" if ending == "pdf" and not can_set() else ending for ending in table.formats)
    return list(dict.fromkeys(wanted))
