"""Lines of events between the samples of one file."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.model.station import Channel, Station
from tracekit.options.read import ReadOptions
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.digitals import ROLES

RECORDING = make_recording(cycles=8)
SIGNALS = ("Suction valve", "Blow-off valve", "Part present")
DAMAGED = 700


def lines(head: str, stamp, sample: str, event: str) -> list[str]:
    """A header, samples, and before each the events that have come since the one before."""
    found, before = [head], None
    for t, p, d in zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital.astype(int), strict=True):
        for bit, signal in enumerate(SIGNALS):
            if before is not None and (before ^ d) >> bit & 1:
                level = ("off", "on")[d >> bit & 1]
                found.append(event.format(t=stamp(t), s=signal, v=level, n=d >> bit & 1))
        found.append(sample.format(t=stamp(t), p=p, k=20 + p / 100))
        before = d
    return found


def seconds(t: float) -> str:
    """Seconds from the start."""
    return f"{t:.3f}"


def clock(t: float, parting: str = " ") -> str:
    """Date and clock."""
    return (START + dt.timedelta(seconds=float(t))).strftime(f"%Y-%m-%d{parting}%H:%M:%S.%f")[:-3]


LOGS = {
    "blanks": ("# time_s  pressure_kPa", seconds, "{t:>10} {p:12.3f}", "{t:>10} >>> {s} {v}"),
    "semicolons": ("Time (s);Pressure (kPa)", seconds, "{t};{p:.3f}", "{t};EVENT {s} switched {v}"),
    "three columns": ("Time;Pressure (kPa);Supply (C)", seconds, "{t};{p:.3f};{k:.2f}", "{t};{s}: {n}"),
    "cells of events": ("Time (s);Pressure (kPa)", seconds, "{t};{p:.3f}", "{t};EVENT;{s};{n}"),
    "more cells": ("Time (s);Pressure (kPa);Supply (C)", seconds, "{t};{p:.3f};{k:.2f}", "{t};DI;;{s};{v}"),
    "date and clock": ("date time pressure_kPa temp", clock, "{t} {p:.3f} {k:.2f}", "{t} *** {s} {v}"),
    "one stamp": ("Stamp,Pressure (kPa)", clock, "{t},{p:.3f}", "{t} [{s} = {v}]"),
}


@pytest.mark.parametrize("block_bytes", [3000, 1 << 20])
@pytest.mark.parametrize("name", LOGS)
def test_lines_of_events_are_levels_of_the_samples(tmp_path, name, block_bytes):
    """Events hold from the next sample on, and no line is lost."""
    written = lines(*LOGS[name])
    path = tmp_path / "log.txt"
    path.write_text("\n".join(written) + "\n")
    found = read(path, options=ReadOptions(block_bytes=block_bytes))
    assert np.allclose(found.pressure_kpa, RECORDING.pressure_kpa, atol=5.1e-4)
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.rows_read == len(written) - 1


def test_damage_among_them_is_rejected_and_not_an_event(tmp_path):
    """A sample whose reading is no number, and a line that is cut, are what they were without events."""
    written = lines(*LOGS["semicolons"])
    written[DAMAGED], written[DAMAGED + 1] = "0.1;OVR", "0.1;-5x"
    path = tmp_path / "log.txt"
    path.write_text("\n".join(written)[:-3])
    found = read(path)
    assert found.facts.rows_read == len(written) - 1
    assert found.facts.rows_rejected >= 1


def test_remarks_between_samples_are_no_events(tmp_path):
    """Lines of words that name no signal stay rejected, each with its line."""
    written = [
        f"{row}\n{row.partition(';')[0]};operator {k} here" if k % 100 == 50 else row
        for k, row in enumerate(r for r in lines(*LOGS["semicolons"]) if "EVENT" not in r)
    ]
    path = tmp_path / "log.txt"
    path.write_text("\n".join(written) + "\n")
    found = read(path)
    assert not found.digital.any()
    assert len(found.time_s) == len(RECORDING.time_s)


def test_a_line_full_of_signs_takes_no_time(tmp_path):
    """Thousands of signs behind a time are tried once, in whatever way they could be parted."""
    written = lines(*LOGS["semicolons"])
    written[DAMAGED] = "0.1;" + "-#" * 20_000
    path = tmp_path / "log.txt"
    path.write_text("\n".join(written) + "\n")
    assert len(read(path).time_s) >= len(RECORDING.time_s) - 1


FIRST = {
    "three columns": ("{t};{s}={n}", "{t};{p:.3f};{k:.2f}", seconds, ""),
    "quoted, with a half of the day": ('"{t}";"{s}={n}"', '"{t}";{p:.3f};{k:.2f}', "%m/%d/%Y %I:%M:%S.%f %p", "\r"),
    "with a zone": ("{t};{s}: {n} ({v})", "{t};{p:.3f};{k:.2f}", "%Y-%m-%d %H:%M:%S.%f CEST", "\r"),
    "a mark at the end": ("{t};EVENT {s}: {n};", "{t};{p:.3f};{k:.2f};", seconds, ""),
}


def _with_first(name: str, signals) -> list[str]:
    """Events of all signals right below the header, as loggers write the levels they begin with; and the samples."""
    event, sample, stamp, end = FIRST[name]
    mark = ";" * event.endswith(";")
    if isinstance(stamp, str):
        form = stamp

        def stamp(t: float) -> str:
            at = START + dt.timedelta(seconds=float(t))
            return at.strftime(form.replace("%f", f"{at.microsecond // 1000:03d}"))

    rest = lines(f"Time;Pressure (kPa);Supply (C){mark}", stamp, sample, event)
    begun = int(RECORDING.digital[0])
    first = [
        event.format(t=stamp(0.0), s=s, n=begun >> k & 1, v=("off", "on")[begun >> k & 1]) for k, s in enumerate(SIGNALS)
    ]
    found = [rest[0], *first, *rest[1:]]
    for k, signal in enumerate(signals):
        found = [line.replace(SIGNALS[k], signal) for line in found]
    return [line + end for line in found]


@pytest.mark.parametrize("name", FIRST)
def test_the_header_above_events_is_the_header(tmp_path, name):
    """Events stand right below the header: its names are used, in whatever way times and texts are written."""
    written = _with_first(name, SIGNALS)
    path = tmp_path / "log.txt"
    path.write_bytes(("\n".join(written) + "\n").encode())
    found = read(path)
    assert found.layout.columns["pressure"] == "Pressure (kPa)"
    assert np.allclose(found.pressure_kpa, RECORDING.pressure_kpa, atol=5.1e-4)
    assert np.array_equal(found.digital, RECORDING.digital)


def test_events_of_signals_with_unknown_names_are_asked_about(tmp_path):
    """Their names say nothing of a station: the station file tells which is which."""
    written = _with_first("three columns", ("Ölsu", "Werd", "Brim"))
    path = tmp_path / "log.txt"
    path.write_text("\n".join(written) + "\n", encoding="utf-8")
    with pytest.raises(UndecidedLogError, match=r'"column 4\.Ölsu".* switch, but which'):
        read(path)
    names = {role: Channel(column=f"column 4.{n}") for role, n in zip(ROLES, ("Ölsu", "Werd", "Brim"), strict=True)}
    found = read(path, Station(channels=names))
    assert np.array_equal(found.digital, RECORDING.digital)


def test_remarks_right_below_the_header_are_not_its_names(tmp_path):
    """Lines that begin with a time and go on with words are rows, whatever they tell."""
    written = [r for r in lines(*LOGS["three columns"]) if ": " not in r]
    time = written[1].partition(";")[0]
    path = tmp_path / "log.txt"
    path.write_text("\n".join([written[0], f"{time};shift begins", f"{time};operator here", *written[1:]]) + "\n")
    found = read(path)
    assert found.layout.columns["pressure"] == "Pressure (kPa)"
    assert len(found.time_s) == len(RECORDING.time_s)
    assert [r.rows for r in found.facts.rejections] == [2]
