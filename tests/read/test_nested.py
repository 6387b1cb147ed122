"""Records inside records, and figures as wide as letters."""

import json

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tests.read.unusual_logs import levels, stamp
from tracekit.errors import LogReadError

RECORDING = make_recording(cycles=8)
ROWS = list(zip(RECORDING.time_s.tolist(), RECORDING.pressure_kpa.tolist(), *levels(RECORDING), strict=True))
FORMS = {
    "groups": lambda t, k, s, r, p: {
        "ts": stamp(t).isoformat(timespec="milliseconds"),
        "analog": {"pressure_kpa": k},
        "digital": {"supply": s, "release": r, "part_present": p},
    },
    "values with units": lambda t, k, s, r, p: {
        "t_s": t,
        "data": {"vacuum": {"value": k, "unit": "kPa"}, "supply": {"value": s > 0}, "release": {"value": r > 0},
                 "part_present": {"value": p > 0}},
    },
    "lists": lambda t, k, s, r, p: {"t_s": t, "ai": [k, 21.5], "pressure_kpa": k, "di": [s, r, p]},
}  # fmt: skip


def put(folder, lines: list[str]) -> str:
    """A file of lines."""
    (folder / "log.jsonl").write_text("\n".join(lines) + "\n")
    return str(folder / "log.jsonl")


def records(name: str, separators: tuple[str, str] = (", ", ": ")) -> list[str]:
    """The recording as lines of records."""
    return [json.dumps(FORMS[name](*row), separators=separators) for row in ROWS]


def check(found) -> None:
    """Every sample is that of the recording."""
    assert np.abs(found.time_s - RECORDING.time_s).max() < 2e-4
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("separators", [(", ", ": "), (",", ":")])
@pytest.mark.parametrize("name", ["groups", "values with units"])
def test_records_inside_records_come_back(name, separators, tmp_path):
    """Each value stands in a column of its own, with the name and unit beside it."""
    found = read(put(tmp_path, records(name, separators)))
    check(found)
    assert found.facts.rows_rejected == 0


def test_a_list_of_records_comes_back(tmp_path):
    """Brackets about all records and commas between them are no part of them."""
    lines = [line + "," for line in records("groups")]
    found = read(put(tmp_path, ["[" + lines[0], *lines[1:-1], lines[-1].rstrip(",") + "]"]))
    check(found)


def test_items_of_lists_are_columns(tmp_path):
    """The digitals of a list are told by the answer of the pressure."""
    found = read(put(tmp_path, records("lists")))
    check(found)
    assert found.layout.columns["release"] == "di[1]"


def test_a_record_of_another_form_is_rejected(tmp_path):
    """A value more in one record never moves the others to another channel."""
    lines = records("values with units")
    other = json.loads(lines[700])
    other["data"] = {"vacuum": other["data"]["vacuum"], "heater": {"value": True}, **other["data"]}
    lines[700] = json.dumps(other)
    del other["data"]["supply"]
    lines[900] = json.dumps(other)
    found = read(put(tmp_path, lines))
    assert found.facts.rows_rejected == 2
    assert np.array_equal(found.digital, np.delete(RECORDING.digital, [700, 900]))


def test_records_without_a_pressure_are_refused(tmp_path):
    """Nested records that name no pressure are said to be such."""
    lines = [json.dumps({"ts": t, "x": {"a": k, "b": s}}) for t, k, s, _, _ in ROWS]
    with pytest.raises(LogReadError, match="records of JSON with records inside"):
        read(put(tmp_path, lines))


WIDE = str.maketrans({c: chr(ord(c) + 0xFEE0) for c in "0123456789.-"})


@pytest.mark.parametrize("mark", [",", "\uff0c", ";"])
def test_wide_figures_are_figures(mark, tmp_path):
    """Figures, points and signs as wide as letters, also with such commas between them."""
    rows = [mark.join(str(c).translate(WIDE) for c in (f"{t:.2f}", f"{k:.3f}", *b)) for t, k, *b in ROWS]
    head = (";" if mark == ";" else ",").join(("時間[s]", "圧力[kPa]", "吸着", "真空破壊", "吸着確認"))
    (tmp_path / "log.csv").write_text("\n".join([head, *rows]) + "\n", "utf-8")
    check(read(tmp_path / "log.csv"))


def test_wide_commas_in_words_part_no_fields(tmp_path):
    """A comma of typography between words is a letter of theirs."""
    rows = [f"{t:.2f},{k:.3f},{s},{r},{p},良，好" for t, k, s, r, p in ROWS]
    (tmp_path / "log.csv").write_text(
        "\n".join(["時間[s],圧力[kPa],吸着,真空破壊,吸着確認,備考", *rows]) + "\n", "utf-8"
    )
    found = read(tmp_path / "log.csv")
    check(found)
    assert found.facts.rows_rejected == 0
