"""Thousands of damaged files of every container: accounted for or refused, quickly, in little memory."""

import gzip
import io
import os
import resource
import time
import zipfile
from collections import Counter

import numpy as np
import pyarrow as pa
import pytest

from tests.read.dialects import Dialect, make_recording, write
from tests.read.field_logs import FIELD
from tests.read.test_damage import INSERTS, as_parquet
from tracekit.errors import TracekitError
from tracekit.read.opening import open_logs

RECORDING = make_recording(cycles=3)
PLAIN = write(RECORDING, Dialect(names="canonical"))
MANY = int(os.environ.get("TRACEKIT_DAMAGES", "20000"))
SLOWEST_S, MOST_KB = 10.0, 1 << 20


def zipped(content: bytes) -> bytes:
    """A zip file with one member."""
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("log.csv", content)
    return sink.getvalue()


CONTAINERS = {
    "plain": PLAIN,
    "semicolon": write(RECORDING, Dialect(delimiter=";", decimal=",", time="dayfirst", words="ein", preamble=4)),
    "utf-16": write(RECORDING, Dialect(encoding="utf-16-bom", delimiter="\t", time="iso")),
    "quoted": write(RECORDING, Dialect(quoted=True, decimal=",", time="ampm")),
    "blanks": FIELD["aligned_tight"](RECORDING),
    "long": FIELD["long_epoch_quality"](RECORDING),
    "records": FIELD["pairs_on_change"](RECORDING),
    "glued": FIELD["glued_commas"](RECORDING),
    "gzip": gzip.compress(PLAIN, mtime=0),
    "zip": zipped(PLAIN),
    "zstd": pa.Codec("zstd").compress(PLAIN, asbytes=True),
    "parquet": as_parquet(),
}
EXTREMES = [
    b"9" * 400,
    b"-1e308",
    b"1e-320",
    b"\xe2\x88\x92",
    b"0x",
    b"," * 3000,
    b"a" * 300_000,
    b'"' * 99,
    b"\n" * 50,
]


def damaged(content: bytes, rng: np.random.Generator) -> bytes:
    """A file with one to three damages: flipped bits, cuts, losses, copies, insertions, exchanged columns and lines."""
    data = bytearray(content)
    for _ in range(rng.integers(1, 4)):
        place, size = int(rng.integers(len(data) + 1)), int(rng.integers(1, 2000))
        kind = rng.integers(8)
        if kind == 0 and place < len(data):
            data[place] ^= 1 << int(rng.integers(8))
        elif kind == 1:
            del data[place : place + (len(data) if rng.random() < 0.3 else size)]
        elif kind == 2:
            data[place:place] = data[size : 2 * size]
        elif kind == 3:
            data[place:place] = [*INSERTS, *EXTREMES][rng.integers(len(INSERTS) + len(EXTREMES))]
        elif kind == 4:
            data[place : place + size] = rng.integers(0, 256, min(size, len(data) - place), np.uint8).tobytes()
        elif kind == 5:
            data = bytearray(_moved_lines(bytes(data), rng))
        elif kind == 6:
            data = bytearray(_exchanged(bytes(data), rng))
        else:
            data[place : place + 1] = bytes(int(rng.integers(1, 5000)))
        if not data:
            break
    return bytes(data)


def _moved_lines(data: bytes, rng: np.random.Generator) -> bytes:
    """Some lines moved to another place."""
    lines = data.split(b"\n")
    start, count, goal = rng.integers(len(lines)), rng.integers(1, 200), rng.integers(len(lines))
    moved, rest = lines[start : start + count], lines[:start] + lines[start + count :]
    return b"\n".join([*rest[:goal], *moved, *rest[goal:]])


def _exchanged(data: bytes, rng: np.random.Generator) -> bytes:
    """Two columns exchanged from some line on, or lost, where the content has any."""
    mark = next((m for m in (b";", b"\t", b",") if m in data[:2000]), b",")
    lines = data.split(b"\n")
    start = int(rng.integers(len(lines)))
    order = rng.permutation(5).tolist()[: int(rng.integers(2, 6))]
    for k in range(start, len(lines)):
        cells = lines[k].split(mark)
        if len(cells) >= 5:
            lines[k] = mark.join([cells[i] for i in order] + cells[5:])
    return b"\n".join(lines)


def read_or_refuse(path) -> str:
    """right, or refused; a fault fails the test."""
    try:
        for log in open_logs(path):
            last = dict.fromkeys(range(len(log.layout.stations)), -np.inf)
            for block in log.blocks():
                assert (np.diff(block.time_s, prepend=last[block.station]) > 0).all()
                assert not np.isinf(block.pressure_kpa).any()
                last[block.station] = block.time_s[-1]
            facts = log.facts()
            assert facts.rows_read == facts.rows_used + facts.rows_rejected
            assert facts.rows_used >= 0
    except TracekitError as error:
        if path.name not in str(error):
            pytest.fail(f"no file named: {error}")
        return "refused"
    return "read"


def attempt(path, cases: int, seed: int) -> Counter[str]:
    """Damage each container in turn; how often each was read and refused."""
    rng = np.random.default_rng(seed)
    counts: Counter[str] = Counter()
    peak_before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # of the tests before in the same process
    for number in range(cases):
        name = list(CONTAINERS)[number % len(CONTAINERS)]
        path.write_bytes(damaged(CONTAINERS[name], rng))
        begun = time.process_time()
        try:
            counts[f"{name} {read_or_refuse(path)}"] += 1
        except Exception as error:
            kept = path.with_name(f"case-{seed}-{number}-{name}")
            path.rename(kept)
            raise AssertionError(f"{kept}: {type(error).__name__}: {error}") from error
        assert time.process_time() - begun < SLOWEST_S, (seed, number)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss <= max(MOST_KB, peak_before)
    return counts


def test_some_damages(tmp_path):
    """Sixty damages over all containers are accounted for or refused; every container is met."""
    counts = attempt(tmp_path / "log.bin", 60, seed=1)
    assert counts.total() == 60
    assert {c.split()[0] for c in counts} == set(CONTAINERS)


@pytest.mark.full
def test_many_damages(tmp_path):
    """Twenty thousand damages (or as many as TRACEKIT_DAMAGES says) are accounted for or refused."""
    counts = attempt(tmp_path / "log.bin", MANY, seed=2)
    print(dict(sorted(counts.items())))
    assert counts.total() == MANY
