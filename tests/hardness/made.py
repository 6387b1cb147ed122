"""Logs, station files and histories for these tests: small, quick to read, of an invented plant."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from cli.made_logs import CYCLE_S, made_columns


def rows(cycles: int = 3, seed: int = 1, *, coasts: bool = False) -> tuple[list[str], list[list[str]]]:
    """Names and cells of the canonical log; without coasts it is quick to analyse."""
    columns = made_columns(cycles=cycles, seed=seed)
    if not coasts:
        columns["supply"] = np.where(columns["time_s"] % CYCLE_S < 3.0, np.maximum(columns["supply"], columns["part_present"]), 0)
    forms = {"time_s": "{:.3f}", "pressure_kpa": "{:.2f}"}
    cells = [[forms.get(n, "{:.0f}").format(v) for v in c] for n, c in columns.items()]
    return list(columns), [list(row) for row in zip(*cells, strict=True)]


def quoted(cell: str) -> str:
    """A cell of a CSV file."""
    return '"' + cell.replace('"', '""') + '"'


def csv_text(names: Sequence[str], cells: Sequence[Sequence[str]]) -> str:
    """A CSV file; names and texts are quoted where they must be."""
    lines = [",".join(quoted(n) for n in names)]
    lines += [",".join(c if c.replace(".", "").replace("-", "").isalnum() and c.isascii() else quoted(c) for c in row) for row in cells]
    return "\n".join(lines) + "\n"


def many_stations(path: Path, stations: Sequence[str], parts: Sequence[str], cycles: int = 3) -> Path:
    """A log in which a column names the station and another the part; every station records in turn."""
    names, cells = rows(cycles)
    length = len(cells)
    whole = []
    for at, station in enumerate(stations):
        for n, row in enumerate(cells):
            whole.append([*row, station, parts[(at + n * cycles // length) % len(parts)]])
    order = np.argsort(np.tile(np.arange(length), len(stations)), kind="stable")
    path.write_text(csv_text([*names, "station", "recipe"], [whole[i] for i in order]), encoding="utf-8", errors="surrogatepass")
    return path
