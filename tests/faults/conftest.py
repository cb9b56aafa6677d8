"""One run for all tests of the folder; what it came to is printed as a table at the end, also when all is well."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from .ordeal import Ordeal, Run
from .table import lines, rows

TABLE = pytest.StashKey[list[str]]()


@pytest.fixture(scope="session")
def ordeal(tmp_path_factory: pytest.TempPathFactory, pytestconfig: pytest.Config) -> Iterator[Ordeal]:
    """The run with every fault."""
    run = Run(tmp_path_factory.mktemp("faults"))
    try:
        made = run.whole()
        pytestconfig.stash[TABLE] = lines(rows(made))
        yield made
    finally:
        run.works.clear_away()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """The table, measured in this run."""
    table = config.stash.get(TABLE, None)
    if table:
        terminalreporter.section("faults, as measured in this run")
        for line in table:
            terminalreporter.write_line(line)
