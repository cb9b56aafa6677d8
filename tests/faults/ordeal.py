"""One run with every fault: those of the lines at the same time, before them the service itself frozen."""

from __future__ import annotations

import signal
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from system.accounts import Span, Told
from system.outages import Outage
from system.processes import Service, Timeline, real_us
from system.truth import Truth
from system.waiting import until
from system.works import START_US

from .clocks import Clock, Clocks
from .log import Log, Word
from .trials import BESIDE, TRIALS, Trial
from .works import APPROVED, OTHER, Line, Works, pair

SPEED = 30
LEAD_S = 1.0
SERVICE_FROZEN_S = 10.0
CYCLES_AFTER = 1
HALF_S = 15.0
"""So long only half of the nodes are there."""
LONGEST_S = 120.0
SHARED = {"cut": "N1", "hole": "N2", "half_hole": "N3", "drip": "N4", "lag": "S1", BESIDE: "S2"}
"""Lines whose trouble is in the network: one simulator serves them all."""
OWN = {"frozen": "N1", "killed": "N1", "renamed": "N4", "sessions": "S1", "half": "S2", "certificate": "N2"}
FIRST = {"sessions": "sessions", "certificate": "secured:{pair}"}
"""What servers are started with that are to be in trouble without being started again."""
POLICY = {"certificate": "Basic256Sha256"}


@dataclass
class Course:
    """What came of one fault. Times of our clock; None: it did not happen."""

    trial: Trial
    line: Line
    seen_us: int
    begun_us: int = 0
    dark_us: int = 0
    """From here on it has its effect."""
    found: Word | None = None
    back_us: int | None = None

    @property
    def found_after_s(self) -> float | None:
        """How long it took to find the loss."""
        return None if self.found is None else (self.found.at_us - self.begun_us) / 1e6

    @property
    def plant_span(self) -> Span:
        """From its beginning until all was well again, in plant time."""
        end_us = self.back_us if self.back_us is not None else self.begun_us + int(self.trial.lasts_s * 1e6)
        plant_us = self.line.plc.timeline.plant_us
        return Span(plant_us(self.begun_us), plant_us(end_us))

    @property
    def outages(self) -> list[Outage]:
        """The gap that there has to be, if any."""
        if self.found is None:
            return []
        begun_us, back_us = self.plant_span
        last_us = self.dark_us if self.trial.is_dark else self.found.at_us
        begins = Span(self.seen_us, self.line.plc.timeline.plant_us(last_us))
        return [Outage({self.line.name: begins}, Span(begun_us, back_us))]


@dataclass
class Ordeal:
    """The run when it is over."""

    courses: dict[str, Course]
    told: dict[str, Told]
    truth: dict[str, Truth]
    frozen: Span
    """While the service was, in plant time."""
    words: list[Word]
    log: str
    refused: dict[str, str]
    """Reasons by machine and signal while half of the nodes were there."""
    certificates: tuple[Path, ...]
    """Files of the one approved and of the other."""
    clocks: dict[str, Clock]
    steady: tuple[Told, Truth]
    """Of the server beside those whose clock was set."""


class Run:
    """Brings it about."""

    def __init__(self, folder: Path) -> None:
        self.works = Works(folder)
        self.lines: dict[str, Line] = {}
        self.refused: dict[str, str] = {}

    def whole(self) -> Ordeal:
        """Everything."""
        self._start()
        service = self._service
        log = Log(service)
        try:
            self._wait_connected(log)
            self._made(2)
            frozen = self._freeze_service()
            self._made(1)
            courses = self._trials(log)
            self._made(CYCLES_AFTER)
            return self._end(log, courses, frozen)
        finally:
            log.close()

    def _start(self) -> None:
        works, timeline = self.works, Timeline(START_US, real_us() + int(LEAD_S * 1e6), SPEED)
        shared = works.plc("shared", list(SHARED.values()), timeline)
        for name, machine in SHARED.items():
            self.lines[name] = works.line(name, machine, shared)
        shared.start()
        for name, machine in OWN.items():
            plc = works.plc(name, [machine], timeline)
            self.lines[name] = works.line(name, machine, plc, POLICY.get(name, "None"))
            plc.start(FIRST.get(name, "none").format(pair=pair(works.folder, APPROVED)))
        self._clocks = Clocks(works)
        for line in self._lines:
            line.plc.process.ready()
        self._service: Service = works.service("service", self._lines, "server")

    @property
    def _lines(self) -> list[Line]:
        return list(self.lines.values())

    def _wait_connected(self, log: Log) -> None:
        until("every server connected", lambda: all(log.of(line.name, 0, "connected") for line in self._lines))

    def _made(self, cycles: int) -> None:
        """Wait until every machine has made so many cycles from now on."""
        since_us = self._lines[0].plc.plant_us

        def look() -> bool:
            return all(line.truth.cycles_after(line.name, since_us) >= cycles for line in self._lines)

        until(f"{cycles} complete cycles on each machine", look)

    def _freeze_service(self) -> Span:
        plc = self._lines[0].plc
        begun_us = plc.plant_us
        self._service.send(signal.SIGSTOP)
        time.sleep(SERVICE_FROZEN_S)
        self._service.send(signal.SIGCONT)
        ended_us = plc.plant_us
        self._caught_up(ended_us)
        return Span(begun_us, ended_us)

    def _caught_up(self, plant_us: int) -> None:
        def look() -> bool:
            return all(self._seen_us(line) >= plant_us for line in self._lines)

        until("readings of the present", look)

    def _seen_us(self, line: Line) -> int:
        """How far the machine has been seen, in plant time; 0 where it is not in sight."""
        now = self._service.api.get(f"/machines/{line.name}/now")
        return int(now["at_us"]) if now["linked"] else 0

    def _trials(self, log: Log) -> dict[str, Course]:
        self._clocks.step()
        courses = {trial.name: self._begin(trial) for trial in TRIALS}
        pending = list(courses.values())
        half_s = time.monotonic() + HALF_S

        def go_on() -> bool:
            self._look(courses.values(), log)
            for course in [course for course in pending if self._is_due(course, log)]:
                course.trial.heal(self.works.network, course.line)
                pending.remove(course)
            if not self.refused and time.monotonic() > half_s:
                self._make_whole(courses["half"], log)
            return not pending and bool(self.refused)

        until("the end of each fault", go_on, LONGEST_S)
        until("every server connected", lambda: self._look(courses.values(), log))
        until("every node", lambda: not self._server("half")["refused"])
        return courses

    def _begin(self, trial: Trial) -> Course:
        line = self.lines[trial.name]
        course = Course(trial, line, self._seen_us(line))
        course.begun_us = real_us()
        trial.begin(self.works.network, line)
        course.dark_us = real_us()
        return course

    def _is_due(self, course: Course, log: Log) -> bool:
        """It has lasted long enough, and if it is to be told in words, these have been said twice."""
        words = [w for w in log.of(course.line.name, course.begun_us) if course.trial.words in w.reason]
        is_told = not course.trial.words or len(words) > 1
        return is_told and real_us() - course.begun_us >= course.trial.lasts_s * 1e6

    def _make_whole(self, course: Course, log: Log) -> None:
        """Once the restarted server with half of its nodes is connected, it has the others too."""
        refused = self._server("half")["refused"]
        if course.found is not None and log.of("half", course.found.at_us, "connected") and refused:
            self.refused = refused
            self.lines["half"].plc.process.send(signal.SIGUSR1)

    def _server(self, name: str) -> dict[str, dict[str, str]]:
        (row,) = [row for row in self._service.api.rows("/servers") if row["server"] == name]
        return row

    def _look(self, courses: Iterable[Course], log: Log) -> bool:
        """Take down which losses were found and which machines are in sight again; whether all are."""
        self._clocks.look()
        waits = any(clock.found_us is None for clock in self._clocks.clocks.values())
        for course in courses:
            name = course.line.name
            if course.found is None:
                course.found = next(iter(log.of(name, course.begun_us, "connection lost")), None)
            if course.found is not None and course.back_us is None:
                is_back = log.of(name, course.found.at_us, "connected") and self._seen_us(course.line)
                course.back_us = real_us() if is_back else None
            waits |= course.trial.within_s is not None and course.back_us is None
        return not waits

    def _end(self, log: Log, courses: dict[str, Course], frozen: Span) -> Ordeal:
        """The simulators end in order, so that the truth is whole; what the service then tells."""
        lines: Sequence[Line] = self._lines
        plcs = {id(line.plc): line.plc for line in lines}.values()
        ended_us = real_us()
        for plc in plcs:
            plc.process.send(signal.SIGTERM)
        for plc in plcs:
            assert plc.process.wait() == 0
        until("the loss of each", lambda: all(log.of(x.name, ended_us, "connection lost") for x in lines))
        api = self._service.api
        until("machines out of sight", lambda: not any(now["linked"] for now in api.now()))
        told = {line.name: line.told(api, START_US - 1_000_000) for line in lines}
        truth = {line.name: line.truth for line in lines}
        certificates = tuple(self.works.folder / f"{which}.der" for which in (APPROVED, OTHER))
        words = [word for line in lines for word in log.of(line.name) if word.at_us < ended_us]
        return Ordeal(
            courses,
            told,
            truth,
            frozen,
            words,
            self._service.text + self._clocks.log,
            self.refused,
            certificates,
            self._clocks.clocks,
            self._clocks.end(),
        )
