"""What an ordinary log is not is seen from few of its lines, and its lines are freed of blanks once."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tracekit.read import between, keyed, textfile
from tracekit.read.between import find_between
from tracekit.read.keyed import find_keyed

RECORDING = make_recording(cycles=8)
CLOCKED = [f"18.03.2025 09:{t // 60:02.0f}:{t % 60:06.3f};{p:.2f};1;0" for t, p in zip(RECORDING.time_s, RECORDING.pressure_kpa, strict=True)]  # fmt: skip
WORDED = [f"{t:.3f},{p:.2f},{('OFF', 'ON')[d & 1]},OFF" for t, p, d in zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital, strict=True)]  # fmt: skip
STAMPED = [line.replace("18.03.2025 ", "2025-03-18T").replace(";", ",") for line in CLOCKED]


class Counted:
    """A function that counts its calls."""

    def __init__(self, called):
        """No call yet."""
        self.called, self.calls = called, 0

    def __call__(self, *given):
        """Call it once more."""
        self.calls += 1
        return self.called(*given)


def test_names_of_values_are_given_up_after_few_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    """Times with colons in them name no values: one line in fifty may differ, and no more are looked at."""
    split = Counted(keyed.split)
    monkeypatch.setattr(keyed, "split", split)
    assert find_keyed(["Time;Pressure;Supply;Release", *CLOCKED]) is None
    assert split.calls == 0


@pytest.mark.parametrize(("lines", "most"), [(CLOCKED, 0.0), (STAMPED, 0.0), (WORDED, 2.0)])
def test_events_are_looked_for_where_lines_hold_words(monkeypatch: pytest.MonkeyPatch, lines: list[str], most: float) -> None:
    """No cell of a log without words is looked at; of one with words those of half of its lines, but for plain numbers."""
    kind = Counted(between.cell_kind)
    monkeypatch.setattr(between, "cell_kind", kind)
    assert find_between(["time,pressure,supply,release", *lines]) is None
    assert kind.calls <= most * (len(lines) / 2 + 2)


@pytest.mark.parametrize("words", [0, 3, 4, 5, 9])
def test_lines_of_words_are_those_with_a_word_behind_their_beginning(words: int) -> None:
    """Letters within a time or a number, at the beginning of a line, or in a unit after its sign, are no such words."""
    plain = ["0.1;1e5", "2025-03-18T09:14:07Z;-57.3", "Time", "Zeit_s", "7", "0.5;µ", "0.5;20°C", "Öl"]
    told = ["0.1 >>> valve on", "1;EVENT;x", "0.2\tÖffnen", "0.3,[a]", "0.4;Z", "0.5 -é", "0.6;_;Ö", "1;(c", "1;откр"]
    assert between._lines_of_words([*plain, *told[:words], *plain]) == words
    assert between._lines_of_words([]) == 0


def test_lines_are_freed_of_blanks_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every finder that takes lines without blanks is given the same ones."""
    given = []
    for name in ("find_nested", "find_flat", "find_quoted_pairs", "find_marked", "find_keyed", "find_between"):
        monkeypatch.setattr(textfile, name, given.append)
    monkeypatch.setattr(textfile, "check_table", lambda written, _: given.append(written))
    text = "\n".join(["Time;Pressure;Supply;Release", "", *(f"  {line}\t" for line in CLOCKED)]) + "\n"
    cut = textfile._cut_of(text.encode(), "log.csv")
    assert cut.form.fields == 4
    assert len(given) == 7
    assert all(one is given[0] for one in given)
    assert given[0] == ["Time;Pressure;Supply;Release", *CLOCKED][: len(given[0])]
    assert np.isclose(len(given[0]), len(CLOCKED), rtol=0.5)
