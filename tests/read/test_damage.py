"""Damaged and hostile files: read in part with the loss counted, or refused in one message."""

import gzip
import io

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.read.dialects import Dialect, make_recording, write
from tests.read.reading import read
from tracekit.errors import TracekitError
from tracekit.read.opening import open_logs

RECORDING = make_recording(cycles=5)
PLAIN = write(RECORDING, Dialect(names="canonical"))


def as_parquet() -> bytes:
    """The recording as the bytes of a Parquet file."""
    columns = {
        "time_s": pa.array(RECORDING.time_s.tolist()),
        "pressure_kpa": pa.array(RECORDING.pressure_kpa.tolist()),
        "supply": pa.array((RECORDING.digital & 1).tolist(), pa.int8()),
    }
    sink = io.BytesIO()
    pq.write_table(pa.table(columns), sink)
    return sink.getvalue()


CONTAINERS = {
    "plain": PLAIN,
    "semicolon": write(RECORDING, Dialect(delimiter=";", decimal=",", time="dayfirst", words="ein")),
    "wide": write(RECORDING, Dialect(encoding="utf-16-bom", delimiter="\t", time="iso")),
    "quoted": write(RECORDING, Dialect(quoted=True, decimal=",", time="ampm")),
    "gzip": gzip.compress(PLAIN, mtime=0),
    "parquet": as_parquet(),
}
INSERTS = [bytes(300), b'"', b'"' * 7, b"9" * 300, b"\n", b"\r", b"e308", b"nan", b"\xff\xfe", b";,\t|", b"x" * 50_000]
changes = st.lists(
    st.tuples(
        st.sampled_from(["flip", "cut", "drop", "insert", "copy"]),
        st.floats(0, 1, exclude_max=True),
        st.integers(0, 255),
    ),
    min_size=1,
    max_size=3,
)


def damaged(content: bytes, what: list[tuple[str, float, int]]) -> bytes:
    """Some bytes with flips, cuts, losses, insertions and copies at shares of their length."""
    data = bytearray(content)
    for kind, share, size in what:
        place = int(share * len(data))
        if not data:
            break
        if kind == "flip":
            data[place] ^= 1 << size % 8
        elif kind == "cut":
            del data[place:]
        elif kind == "drop":
            del data[place : place + size * 8]
        elif kind == "insert":
            data[place:place] = INSERTS[size % len(INSERTS)]
        else:
            data[place:place] = data[len(data) // 2 : len(data) // 2 + size]
    return bytes(data)


@pytest.mark.parametrize("container", CONTAINERS)
def test_damage_is_counted_or_refused(container, tmp_path_factory):
    """Whatever happens to the bytes, rows are accounted for and time rises, or one message says what is wrong."""
    path = tmp_path_factory.mktemp("damage") / "log.bin"

    @settings(max_examples=40)
    @given(what=changes)
    def attempt(what):
        path.write_bytes(damaged(CONTAINERS[container], what))
        try:
            logs = open_logs(path)
            for log in logs:
                last = -np.inf
                for block in log.blocks():
                    assert (np.diff(block.time_s, prepend=last) > 0).all()
                    last = block.time_s[-1]
                facts = log.facts()
                assert facts.rows_read == facts.rows_used + facts.rows_rejected
        except TracekitError as error:
            if path.name not in str(error):
                pytest.fail(f"no file named: {error}")

    attempt()


def lines() -> list[bytes]:
    """Lines of the canonical recording."""
    return PLAIN.splitlines()


def rejected(path, content: list[bytes], end: bytes = b"\n"):
    """Rejections of a log with some lines."""
    path.write_bytes(b"\n".join(content) + end)
    found = read(path)
    return found, {r.reason: (r.rows, r.first_lines) for r in found.facts.rejections}


def test_zero_bytes_after_a_power_loss(tmp_path):
    """A line with zero bytes is rejected, and its neighbours are kept."""
    text = lines()
    text[100] = text[100][:7] + bytes(4000) + text[100][7:]
    found, why = rejected(tmp_path / "log.csv", text)
    assert why == {"zero bytes in the line": (1, (101,))}
    assert len(found.time_s) == len(RECORDING.time_s) - 1


def test_an_open_quote_does_not_swallow_the_lines_below(tmp_path):
    """A quote that is not closed costs its line and no other."""
    text = write(RECORDING, Dialect(quoted=True)).splitlines()
    text[200] = text[200][:-1]
    found, why = rejected(tmp_path / "log.csv", text)
    assert why == {"a quote is not closed": (1, (201,))}
    assert len(found.time_s) == len(RECORDING.time_s) - 1


@pytest.mark.parametrize(("cut", "kept"), [(1, False), (3, False), (0, True)])
def test_a_last_line_that_is_cut(tmp_path, cut, kept):
    """A last line without an end that is short in its last field is rejected; a whole one is kept."""
    text = [b"time_s,pressure_kpa"] + [b",".join(line.split(b",")[:2]) for line in lines()[1:]]
    text[-1] = text[-1][: len(text[-1]) - cut]
    found, why = rejected(tmp_path / "log.csv", text, end=b"")
    assert (len(found.time_s) == len(RECORDING.time_s)) == kept
    assert bool(why) != kept


def test_a_gzip_file_that_breaks_off_is_read_so_far(tmp_path):
    """What was unpacked before the break is read, and the loss is told."""
    path = tmp_path / "log.csv.gz"
    rng = np.random.default_rng(1)
    rows = [f"{i / 100:.2f},{p:.3f}" for i, p in enumerate(-40 - 20 * rng.random(60_000))]
    packed = gzip.compress(("time_s,pressure_kpa\n" + "\n".join(rows) + "\n").encode(), mtime=0)
    path.write_bytes(packed[: len(packed) // 2])
    found = read(path)
    assert 20_000 < len(found.time_s) < 40_000
    assert any("what follows the damage is lost" in w for w in found.facts.warnings)


def test_text_among_numbers_is_missing_and_told(tmp_path):
    """Text in place of a pressure makes a missing reading with its line number; the row is used."""
    text = lines()
    text[50] = text[50].replace(text[50].split(b",")[1], b"OVERLOAD")
    found, why = rejected(tmp_path / "log.csv", text)
    assert why == {}
    assert np.nonzero(np.isnan(found.pressure_kpa))[0].tolist() == [49]
    assert any("51" in w and "no pressure" in w for w in found.facts.warnings)
