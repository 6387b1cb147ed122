"""The table of what was tried, shared by all tests of this folder and printed at the end of the run."""

import pytest
from hardness.tally import Tally

_TALLY = pytest.StashKey[Tally]()


def pytest_configure(config: pytest.Config) -> None:
    """One table per run."""
    config.stash.setdefault(_TALLY, Tally())


@pytest.fixture
def tally(request: pytest.FixtureRequest) -> Tally:
    """The run's table."""
    return request.config.stash[_TALLY]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Print the table and the cases that went wrong."""
    tally = config.stash.get(_TALLY, None)
    if tally is None or not tally.counts:
        return
    terminalreporter.section("hardness: what was tried and what happened")
    for line in (*tally.lines(), *tally.bad):
        terminalreporter.write_line(line)
