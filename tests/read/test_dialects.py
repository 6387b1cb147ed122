"""One known recording, written in the ways of many loggers: read right, or refused with one message."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from tests.read.dialects import NAMES, UNITS, WORDS, Dialect, make_recording, write
from tests.read.reading import read, written, wrong
from tracekit.errors import LogReadError

RECORDING = make_recording(cycles=8)
PLAIN = Dialect()
CUTS = [
    (",", ".", False), (";", ",", False), (";", ".", False), ("\t", ",", False), ("\t", ".", False), ("|", ".", False),
    (",", ",", True), (";", ",", True), (", ", ".", False), ("; ", ",", False),
]  # fmt: skip
TIMES = [
    "s", "ms", "us", "ns", "wrap16", "iso", "isoT", "zone", "dayfirst", "monthfirst", "ampm", "epoch_s", "epoch_ms",
    "epoch_us", "epoch_ns", "serial", "elapsed", "midnight", "rounded", "split", "split_ms",
]  # fmt: skip
ENCODINGS = ["utf-8", "utf-8-bom", "utf-16-bom", "utf-16-le", "utf-16-be"]
MISSING = ["---", "OVR", "#N/A", "1.#QNAN", "Bad", "NaN", "-9999"]
SINGLE = [
    *(replace(PLAIN, encoding=v) for v in ENCODINGS),
    replace(PLAIN, encoding="latin-1", names="french"),
    *(replace(PLAIN, eol=v) for v in ("\r\n", "\r")),
    *(replace(PLAIN, delimiter=d, decimal=p, quoted=q) for d, p, q in CUTS),
    *(replace(PLAIN, delimiter=d, decimal=p, quoted=q, time="iso") for d, p, q in CUTS),
    *(replace(PLAIN, preamble=v) for v in (1, 4, 60)),
    *(replace(PLAIN, header=v) for v in ("units_below", "units_above", "three")),
    *(replace(PLAIN, names=v) for v in NAMES),
    *(replace(PLAIN, unit=u, sense=s, names="german" if s == "vacuum" else "french")
      for u in UNITS for s in ("gauge", "vacuum", "absolute")),
    replace(PLAIN, unit="%", sense="vacuum"),
    *(replace(PLAIN, time=v) for v in TIMES),
    *(replace(PLAIN, words=v) for v in WORDS),
    *(replace(PLAIN, words=v, delimiter=";", decimal=",") for v in WORDS),
    *(replace(PLAIN, error_text=v) for v in MISSING),
    replace(PLAIN, packed=True),
    replace(PLAIN, trailing=True),
    replace(PLAIN, blank_lines=True),
    replace(PLAIN, declared=True),
    replace(PLAIN, time="index", preamble=4),
]  # fmt: skip


@pytest.mark.parametrize("dialect", SINGLE, ids=lambda d: "-".join(_changes(d)) or "plain")
def test_each_way_of_writing_is_read_right(tmp_path, dialect):
    """A log that differs from the plain one in one respect reads like the recording."""
    found = read(written(tmp_path, RECORDING, dialect))
    assert wrong(RECORDING, found, dialect) == ""


@pytest.mark.parametrize("part", ["repeated", "footer"])
def test_lines_that_are_no_rows_are_rejected_with_a_reason(tmp_path, part):
    """A header in mid-file and lines at the end are counted as rejected, and nothing else is lost."""
    found = read(written(tmp_path, RECORDING, replace(PLAIN, **{part: True})))
    assert wrong(RECORDING, found, PLAIN) == ""
    assert found.facts.rows_rejected == (1 if part == "repeated" else 2)


@pytest.mark.parametrize(
    ("dialect", "line"),
    [
        (replace(PLAIN, header="none"), 'pressure = { column = "column 2"'),
        (replace(PLAIN, time="index"), 'time = { column = "Nr"'),
        (replace(PLAIN, delimiter=" "), 'pressure = { column = "column 2"'),
    ],
)
def test_what_a_log_does_not_tell_is_asked_for(tmp_path, dialect, line):
    """A log that does not tell a unit is refused with the line that tells it."""
    with pytest.raises(LogReadError, match="does not show") as caught:
        read(written(tmp_path, RECORDING, dialect))
    assert line in str(caught.value)
    assert str(caught.value).count("[channels]") == 1


def mixed_dialects(count: int, seed: int) -> list[Dialect]:
    """Ways of writing that differ from the plain one in several respects at once."""
    rng = np.random.default_rng(seed)
    choices = {
        "encoding": ENCODINGS, "eol": ["\n", "\r\n", "\r"], "preamble": [0, 1, 4, 60], "declared": [False, True],
        "header": ["one", "units_below", "units_above", "three", "none"], "names": list(NAMES), "time": TIMES,
        "words": list(WORDS), "trailing": [False, True], "blank_lines": [False, True], "repeated": [False, True],
        "footer": [False, True], "packed": [False, True], "error_text": ["", *MISSING],
    }  # fmt: skip
    found = []
    for _ in range(count):
        changes = {k: v[rng.integers(len(v))] for k, v in choices.items() if rng.random() < 0.4}
        delimiter, decimal, quoted = [*CUTS, (" ", ".", False)][rng.integers(len(CUTS) + 1)]
        unit, sense = list(UNITS)[rng.integers(len(UNITS))], ("gauge", "vacuum", "absolute")[rng.integers(3)]
        if changes.get("names") == "canonical":
            unit, sense = "kPa", "gauge"
        found.append(
            replace(PLAIN, delimiter=delimiter, decimal=decimal, quoted=quoted, unit=unit, sense=sense, **changes)
        )
    return found


def outcomes(folder, dialects: list[Dialect]) -> Counter[str]:
    """How many logs were right, refused, and wrong, the wrong ones with what was wrong."""
    counts: Counter[str] = Counter()
    for number, dialect in enumerate(dialects):
        path = folder / f"{number}.csv"
        path.write_bytes(write(RECORDING, dialect))
        try:
            fault = wrong(RECORDING, read(path), dialect)
        except LogReadError as error:
            counts["refused" if str(error).startswith(path.name) else str(error)] += 1
            continue
        counts[f"{dialect}: {fault}" if fault else "right"] += 1
        path.unlink()
    return counts


def test_mixtures_are_right_or_refused(tmp_path):
    """Of 40 mixtures of all respects none is read wrong, and most are read."""
    counts = outcomes(tmp_path, mixed_dialects(40, seed=11))
    print(dict(counts))
    assert set(counts) == {"right", "refused"}
    assert counts["right"] >= 25


@pytest.mark.full
def test_many_mixtures_are_right_or_refused(tmp_path):
    """Of 1500 mixtures of all respects none is read wrong, and most are read."""
    counts = outcomes(tmp_path, mixed_dialects(1500, seed=12))
    print(dict(counts))
    assert set(counts) == {"right", "refused"}
    assert counts["right"] >= 1000


def _changes(dialect: Dialect) -> list[str]:
    plain = vars(PLAIN)
    return [f"{k}={v!r}".replace("/", "_") for k, v in vars(dialect).items() if v != plain[k]]
