"""Reports that are made by themselves: each occasion once, whatever restarts lie between. Real SQLite files."""

from __future__ import annotations

import asyncio
import email
import email.policy
import io
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from serve.client import Client
from serve.works import MIDNIGHT, NOW, PLANT, facts
from watch.channels.receivers import Mailbox, mail_server

from swarfline.live import Live
from swarfline.messages import REFUSED, REPORT
from swarfline.plant import Plant
from swarfline.plant.load import load
from swarfline.reporting import Reporting, message
from swarfline.serve import create_app
from swarfline.serve.page.mailed_reports import mailed_reports
from swarfline.serve.room import Room
from swarfline.store import Batch, Store

MINUTE = 60_000_000
SHIFT_END = MIDNIGHT + 14 * 60 * MINUTE
DUE = SHIFT_END + 15 * MINUTE
TABLE = """
[[reports]]
id = "shifts"
span = "shift"
channel = "office"
formats = ["pdf", "csv"]
"""
CHANNEL = """
[[channels]]
id = "office"
mail = { host = "127.0.0.1", port = 9, encryption = "none", sender = "a@x.example", recipients = ["b@x.example"] }
"""


class Works:
    """A plant with a database of its own and a clock that is set by hand."""

    def __init__(self, folder: Path, table: str = TABLE) -> None:
        path = folder / "plant.toml"
        path.write_text(PLANT + CHANNEL + table, encoding="utf-8")
        self.plant: Plant = load(path)
        self.now_us = NOW
        store = self.store()
        store.writer().commit(Batch(facts=facts(), seen_us=NOW))
        store.close()

    def store(self) -> Store:
        return Store.open("sqlite:///swarfline.db", Path(self.plant.path))

    def reporting(self, store: Store, **more: Any) -> Reporting:
        """In this process: what a process of its own makes is the same, and comes later."""
        return Reporting(self.plant, store, lambda: self.now_us, message, **more)

    def look(self, *moments: int) -> list[str]:
        """A service that starts anew and looks at each of these moments."""
        store = self.store()
        reporting = self.reporting(store)
        made = []
        for self.now_us in moments:
            made += reporting.step()
        store.close()
        return made

    def messages(self):
        store = self.store()
        found = [d.message for d in reversed(store.outbox.due("office", 2**62, 100))]
        store.close()
        return found


@pytest.fixture
def works(tmp_path) -> Works:
    return Works(tmp_path)


def test_each_occasion_is_made_once_over_looks_and_restarts(works):
    before = works.look(DUE - 1)
    assert before == [
        f"report/shifts/{(MIDNIGHT - 18 * 60 * MINUTE) // 10**6}-{(MIDNIGHT - 10 * 60 * MINUTE) // 10**6}"
    ]
    assert works.look(DUE - 1, DUE - 1) == []
    made = works.look(DUE, DUE, DUE + MINUTE)
    assert made == [f"report/shifts/{(MIDNIGHT + 6 * 60 * MINUTE) // 10**6}-{SHIFT_END // 10**6}"]
    assert works.look(DUE + 2 * MINUTE) == []
    assert len(works.messages()) == 2


def test_of_those_that_were_missed_the_newest_is_made_up(works):
    days = 24 * 60 * MINUTE
    assert len(works.look(DUE + 3 * days)) == 1
    (message,) = works.messages()
    assert message.data["from"] == "2026-03-13T06:00:00+01:00"


def test_the_mail_carries_the_report(works):
    works.look(DUE)
    (message,) = works.messages()
    assert message.kind == REPORT and message.channel == "office"
    assert message.subject == "Shift report, early, Tue 10 Mar 2026, 06:00–14:00, Irrigation works"
    assert "OEE: " in message.text and "Time zone: Europe/Madrid (UTC+01:00)" in message.text
    assert "not a safety device" in message.text
    assert message.data == {
        "report": "shifts", "from": "2026-03-10T06:00:00+01:00", "to": "2026-03-10T14:00:00+01:00",
    }  # fmt: skip
    pdf, table = message.attachments
    assert (pdf.name, pdf.media_type) == ("report-shift-2026-03-10-early.pdf", "application/pdf")
    assert "Shift report" in PdfReader(io.BytesIO(pdf.content)).pages[0].extract_text()
    assert (table.name[-4:], table.media_type) == (".csv", "text/csv")
    assert b"machines,N1,made,110" in table.content


def test_the_page_says_how_the_last_mail_stands(tmp_path):
    works = Works(tmp_path, TABLE + TABLE.replace("shifts", "week").replace('"shift"', '"week"\non = "tue"'))
    works.look(DUE)
    store = works.store()
    room = Room.of(works.plant, store, Live(), lambda: DUE)
    first, second = mailed_reports(room)
    assert (first.id, first.span, first.when, first.channel) == (
        "shifts",
        "shift",
        "15 min after its end",
        "office",
    )
    assert first.last.startswith("Shift report, early, ") and first.last.endswith("attempts so far: 0")
    assert second.when == "Tuesday of the week after, 06:00"
    delivery = next(d for d in store.outbox.told(10) if d.message.data["report"] == "shifts")
    store.outbox.begin(delivery, DUE, DUE + 1)
    store.outbox.settle(delivery, REFUSED, DUE, "550 no such user <script>")
    first, _ = mailed_reports(room)
    assert first.last.endswith("refused 14:15: 550 no such user <script>")
    page = Client(create_app(works.plant, store, clock_us=lambda: DUE)).get("/reports?span=day").text
    assert "550 no such user &lt;script&gt;" in page and "Tuesday of the week after" in page
    store.close()


def test_machines_cell_and_language(tmp_path):
    works = Works(tmp_path, TABLE.replace('["pdf", "csv"]', '["csv"]\ncell = "south"\nlanguage = "de"'))
    works.look(DUE)
    (message,) = works.messages()
    (table,) = message.attachments
    assert b"machines,S1,made" in table.content and b"machines,N1" not in table.content


def test_without_the_typesetter_html_goes_and_the_mail_says_why(works, monkeypatch):
    monkeypatch.setitem(sys.modules, "typst", None)
    works.look(DUE)
    (message,) = works.messages()
    assert [a.name.rpartition(".")[2] for a in message.attachments] == ["html", "csv"]
    assert "swarfline[pdf]" in message.text


def test_a_report_that_cannot_be_made_keeps_no_other_from_its_mail(tmp_path, caplog):
    works = Works(tmp_path, TABLE + TABLE.replace("shifts", "second"))
    store = works.store()
    works.now_us = DUE
    reporting = works.reporting(store)
    # the first report's table breaks its key: more than the outbox takes
    odd = works.plant.reports[0].model_copy(update={"id": "x" * 90})
    reporting._plant = works.plant.model_copy(update={"reports": (odd, works.plant.reports[1])})
    assert [key.split("/")[1] for key in reporting.step()] == ["second"]
    assert "could not be made" in caplog.text
    store.close()


async def test_a_report_in_the_making_holds_up_nobody(works, monkeypatch):
    """While one is made, the loop goes on; a stop waits for it and loses nothing."""
    store = works.store()
    works.now_us = DUE
    reporting = works.reporting(store, every_s=0.01)
    begun, go_on = threading.Event(), threading.Event()
    make = reporting.step

    def slow() -> list[str]:
        begun.set()
        assert go_on.wait(60)
        return make()

    monkeypatch.setattr(reporting, "step", slow)
    running = asyncio.create_task(reporting.run())
    while not begun.is_set():
        await asyncio.sleep(0.005)
    reporting.stop()
    await asyncio.sleep(0.02)
    assert not running.done()
    go_on.set()
    await asyncio.wait_for(running, 60)
    store.close()
    assert len(works.messages()) == 1


COLLECT = "from swarfline.cli import main; main()"


@pytest.mark.system
def test_a_collector_that_is_started_twice_mails_one_report(tmp_path):
    """Real processes and a real mail server, by the real clock: the day before is due at midnight."""
    box = Mailbox()
    with mail_server(box) as port, socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        path = tmp_path / "plant.toml"
        path.write_text(every_day(taken.getsockname()[1], port), encoding="utf-8")
        told = [collected(tmp_path, path, lambda told: bool(box.mails) and "next attempt" in told)]
        # nothing comes of it: long enough to be looked for and sent
        told.append(collected(tmp_path, path, lambda told: "next attempt" in told, 1.0))
    assert ["was queued" in text for text in told] == [True, False]
    (mail,) = (email.message_from_bytes(raw, policy=email.policy.default) for raw in box.mails)
    assert mail["Subject"].startswith("Day report, ")
    assert "not a safety device" in mail.get_body(("plain",)).get_content()
    (pdf,) = mail.iter_attachments()
    assert pdf.get_content_type() == "application/pdf" and pdf.get_filename().startswith("report-day-")
    assert "Irrigation works" in PdfReader(io.BytesIO(pdf.get_content())).pages[0].extract_text()


def every_day(nowhere: int, mail_port: int) -> str:
    """The works without shifts: every day has a report. No machine answers at ``nowhere``."""
    text = PLANT[: PLANT.index("[[shifts]]")] + PLANT[PLANT.index("[[parts]]") :]
    text = text.replace("127.0.0.1:4840", f"127.0.0.1:{nowhere}")
    mail = f"""
[[channels]]
id = "office"

[channels.mail]
host = "127.0.0.1"
port = {mail_port}
encryption = "none"
sender = "swarfline@works.example"
recipients = ["office@works.example"]

[[reports]]
id = "daily"
span = "day"
at = "00:00"
channel = "office"
"""
    return text + mail


def collected(folder: Path, plant: Path, comes: Callable[[str], bool], more_s: float = 0.0) -> str:
    """What a collector says that runs until something comes, and a while longer."""
    output, until = folder / "output", time.monotonic() + 60
    command = [sys.executable, "-c", COLLECT, "run", str(plant), "--only", "collect"]
    with output.open("wb") as stream, subprocess.Popen(command, stderr=stream) as process:
        try:
            while not comes(output.read_text()):
                assert time.monotonic() < until and process.poll() is None, output.read_text()
                time.sleep(0.1)
            time.sleep(more_s)
        finally:
            process.terminate()
        assert process.wait(30) == 0
    return output.read_text()
