"""Letters of four bytes, with and without a mark, and lists in the manner of YAML."""

import codecs

import pytest

from tests.read.dialects import Dialect, make_recording, write
from tests.read.reading import read, wrong
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions

RECORDING = make_recording(cycles=8)


@pytest.mark.parametrize("marked", [True, False])
@pytest.mark.parametrize("order", ["le", "be"])
@pytest.mark.parametrize("block_bytes", [4099, 1 << 20])
def test_letters_of_four_bytes(tmp_path, marked, order, block_bytes):
    """UTF-32 in both orders of its bytes gives the recording, wherever blocks end."""
    text = write(RECORDING, Dialect()).decode()
    mark = {"le": codecs.BOM_UTF32_LE, "be": codecs.BOM_UTF32_BE}[order] if marked else b""
    path = tmp_path / "log.csv"
    path.write_bytes(mark + text.encode(f"utf-32-{order}"))
    options = ReadOptions(block_bytes=block_bytes, head_bytes=1 << 15)
    assert wrong(RECORDING, read(path, options=options), Dialect()) == ""


@pytest.mark.parametrize("flow", [True, False])
def test_lists_of_items_are_told_by_their_form(tmp_path, flow):
    """Items that begin with a dash, with a value per line or all in one, are refused once and clearly."""
    items = [(f"t: {t:.3f}", f"p_kpa: {p:.2f}") for t, p in zip(RECORDING.time_s, RECORDING.pressure_kpa, strict=True)]
    made = [f"- {{{', '.join(item)}}}" if flow else "- " + "\n  ".join(item) for item in items]
    path = tmp_path / "log.yaml"
    path.write_text("---\nsamples:\n" + "\n".join(made) + "\n")
    with pytest.raises(LogReadError, match=r"in the manner of YAML.*expected a line per sample") as refused:
        read(path)
    assert "station file" not in str(refused.value)
