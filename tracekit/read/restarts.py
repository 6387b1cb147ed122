"""Lines between the rows that tell a restart of the logger: where they stand time may begin again, and a pause is."""

import re

import numpy as np
from numpy.typing import NDArray

from tracekit.read.rows import Rows

RESTART = "the line tells a restart of the logger"
_TOLD = re.compile(
    r"\bre-?(?:start|boot|sume)|\b(?:logging|logger|recording|recorder|acquisition|measurement|log|scan|trend|trace)\b.*"
    r"\b(?:start|begin|began|stop|pause|end|interrupt|resum|trigger)|\b(?:start|begin|stop|end|pause)\w*\s+(?:of\s+)?"
    r"(?:the\s+)?(?:logging|logger|recording|recorder|acquisition|measurement|log|scan|trend|trace)\b|"
    r"\bpower(?:ed)?[\s-]*(?:up|on|off|fail|failure|loss|down|cycle)|\bneustart|\b(?:aufzeichnung|messung|logger)\b.*"
    r"(?:start|begin|begonnen|ende|unterbr|stop)|\bredemarr|\breinici|\briavvi|\bherstart|\bomstart|\brestartovan",
    re.IGNORECASE,
)
"""What loggers write there in common languages (common practice, no source)."""


def tells_restart(line: str) -> bool:
    """True for a line of words that tells that the logger or its recording stopped, or began again."""
    return _TOLD.search(line) is not None


def restarts_before(rows: Rows) -> NDArray[np.int64]:
    """How many lines that tell a restart stand before each row of a piece, shape (count,)."""
    told = [line for r in rows.rejected if r.reason == RESTART for line in r.first_lines]
    if not told:
        return np.zeros(rows.count, np.int64)
    return np.searchsorted(np.sort(np.array(told, np.int64)), rows.line_of(np.arange(rows.count)))
