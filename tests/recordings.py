"""Recordings that are no part of the project: the folder that TRACEKIT_RECORDINGS names."""

import os
from pathlib import Path

GIVEN = os.environ.get("TRACEKIT_RECORDINGS", "")


def _simulated() -> Path:
    """The folder in it whose logs have their truth beside them; one that does not exist where there is none."""
    root = Path(GIVEN)
    found = sorted(p.parent.parent for p in root.glob("*/*/truth.json")) if GIVEN else []
    return found[0] if found else root / "no simulated logs"


SIMULATED = _simulated()
