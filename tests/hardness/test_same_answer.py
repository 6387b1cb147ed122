"""Same bytes in, same numbers out: in another process, zone and locale, by any number of workers, cut and shuffled anyhow.

And laws of change: what is done to a log without touching what happened moves no estimate, or none beyond its interval.
Sizes of blocks, containers, polarity, units, time and idle time are held to the bit in `tests/test_pipeline.py`.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq
import pytest
from hardness.made import many_stations
from hardness.trial import command

from tracekit.model.estimate import Estimate
from tracekit.pipeline import diagnose, measure
from tracekit.simulate import Scenario, simulate
from tracekit.simulate.scenario import Fault, Recorder, StationSpec

NAMES = ("time_s", "pressure_kpa", "supply", "release", "part_present")
LEAK = Fault(label="cup_leak_orifice", kind="cup", size={"rate_kpa_s": 3.0, "b": 0.35})
ELSEWHERE = (
    {"TZ": "America/St_Johns", "LC_ALL": "C", "PYTHONHASHSEED": "1"},
    {"TZ": "Pacific/Apia", "LC_ALL": "C.UTF-8", "LANG": "de_DE.UTF-8", "PYTHONHASHSEED": "2", "OMP_NUM_THREADS": "1"},
    {"TZ": "", "LANG": "tr_TR.UTF-8", "PYTHONHASHSEED": "3", "PYTHONUTF8": "0"},
)


@pytest.fixture(scope="module")
def columns() -> dict[str, np.ndarray]:
    """Twelve picks of a leaky station at 200 Hz."""
    log = simulate(Scenario(name="leak", cycles=12, faults=(LEAK,)))
    return {name: np.asarray(getattr(log, name)) for name in NAMES}


@pytest.fixture(scope="module")
def log(columns, tmp_path_factory) -> Path:
    """The same with dates, as a CSV file."""
    path = tmp_path_factory.mktemp("log") / "loader.csv"
    stamps = np.datetime64("2031-03-30T00:59:00") + (columns["time_s"] * 1e6).astype("timedelta64[us]")  # clocks go forward
    dated = {"timestamp": pa.array([str(s) for s in stamps]), **{n: pa.array(columns[n]) for n in NAMES[1:]}}
    pc.write_csv(pa.table(dated), path)
    return path


def table(columns: dict[str, np.ndarray]) -> pa.Table:
    """An Arrow table of some columns."""
    return pa.table({name: pa.array(values) for name, values in columns.items()})


def elsewhere(folder: Path, log: Path, more: dict[str, str]) -> dict[str, bytes]:
    """All files that a diagnosis of a log writes in a process with another environment."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith("LC_")} | more
    words = [sys.executable, "-m", "tracekit", "diagnose", str(log), "--out", str(folder), "--csv", "--quiet", "--started", "2031-03-30T00:59Z"]
    subprocess.run(words, env=environment, check=True, cwd=log.parent, timeout=300)
    made = json.loads((folder / "diagnosis.json").read_text(encoding="utf-8"))["created"].encode()
    return {p.relative_to(folder).as_posix(): p.read_bytes().replace(made, b"NOW") for p in sorted(folder.rglob("*")) if p.is_file()}




def test_another_process_zone_locale_and_hash_seed(log, tmp_path):
    """Processes in other zones, locales and with other hash seeds write the same bytes, tables, page and JSON alike."""
    first, *others = (elsewhere(tmp_path / str(k), log, more) for k, more in enumerate(ELSEWHERE))
    assert {"diagnosis.json", "report.html", "cycles.csv", "cycles.parquet"} <= set(first)
    for other in others:
        assert [name for name in first if first[name] != other.get(name)] == []


def documents(folder: Path) -> dict[str, dict]:
    """Every document of a run over several logs, without the moment at which it was made."""
    found = {p.relative_to(folder).as_posix(): json.loads(p.read_bytes()) for p in sorted(folder.rglob("diagnosis.json"))}
    return {name: {k: v for k, v in document.items() if k != "created"} for name, document in found.items()}


def test_one_and_two_workers(columns, tmp_path):
    """Three logs diagnosed by one process and by two give the same documents."""
    logs = tmp_path / "logs"
    logs.mkdir()
    for k in range(3):
        shifted = {**columns, "pressure_kpa": columns["pressure_kpa"] - 0.1 * k}
        pq.write_table(table(shifted), logs / f"station{k}.parquet")
    for workers in (1, 2):
        assert command("diagnose", logs, "--out", tmp_path / str(workers), "--workers", workers, "--quiet").status == 0
    one, two = documents(tmp_path / "1"), documents(tmp_path / "2")
    assert len(one) >= 3
    assert one == two


def test_csv_and_parquet(columns, tmp_path):
    """The same samples as CSV and as Parquet give the same station in the document, whatever the file is called."""
    pc.write_csv(table(columns), tmp_path / "a.csv")
    pq.write_table(table(columns), tmp_path / "b.parquet")
    stations = []
    for name in ("a.csv", "b.parquet"):
        assert command("diagnose", tmp_path / name, "--out", tmp_path / f"out {name}", "--quiet").status == 0
        document = json.loads((tmp_path / f"out {name}" / "diagnosis.json").read_text(encoding="utf-8"))
        stations.append([{k: v for k, v in s.items() if k not in ("assumptions", "station")} for s in document["stations"]])
    assert stations[0] == stations[1]


@pytest.mark.parametrize("cuts", [(1,), (700, 701, 2000), tuple(range(300, 3000, 300))])
def test_rows_split_over_files(columns, tmp_path, cuts):
    """A log cut into files at any row, named out of order, gives the cycles and the leak of the whole."""
    whole = table(columns)
    names = []
    for k, (start, stop) in enumerate(zip((0, *cuts), (*cuts, whole.num_rows), strict=True)):
        names.append(str(tmp_path / f"{97 - k}.csv"))
        pc.write_csv(whole.slice(start, stop - start), names[-1])
    parts, one = measure(names), measure(whole)
    assert_same_cycles(parts.stations[0], one.stations[0], 1e-9)  # times of a later file are sums: their last bit may differ
    np.testing.assert_allclose(interval(parts.leaks[0]), interval(one.leaks[0]), rtol=1e-9)


def assert_same_cycles(first, second, tolerance: float = 0.0) -> None:
    """Two measured stations have the same cycles, floats to a relative tolerance, but for the name of their log."""
    assert len(first.cycles) == len(second.cycles) > 0
    for name, values in first.cycles.data.items():
        if name != "log_id":
            np.testing.assert_allclose(values, second.cycles.data[name], rtol=tolerance, atol=tolerance, err_msg=name)


def test_shuffled_stations(tmp_path):
    """The rows of four stations in one log, in another order of stations at each instant, give the same cycles each."""
    path = many_stations(tmp_path / "a.csv", ["north", "south", "east", "west"], ["tile"])
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    rng = np.random.default_rng(3)
    shuffled = [rows[i + j] for i in range(0, len(rows), 4) for j in rng.permutation(4)]
    (tmp_path / "b.csv").write_text("\n".join([head, *shuffled]) + "\n", encoding="utf-8")
    first, second = ({s.station: s for s in measure(str(tmp_path / n)).stations} for n in ("a.csv", "b.csv"))
    assert set(first) == set(second) == {"north", "south", "east", "west"}
    for name in first:
        assert_same_cycles(first[name], second[name])


def interval(leak) -> tuple[float, float, float]:
    """Lower end, value and upper end of a leak."""
    rate = leak.decay_rate
    assert isinstance(rate, Estimate)
    return rate.lower, rate.value, rate.upper


def test_law_of_concatenation(columns):
    """Two hours of one station after one another hold the cycles of both, and a leak within both intervals."""
    gap = columns["time_s"][-1] + 0.005
    later = {**columns, "time_s": columns["time_s"] - columns["time_s"][0] + gap}
    both = {n: np.concatenate([columns[n], later[n]]) for n in NAMES}
    one, two = diagnose(table(columns)), diagnose(table(both))
    first, twice = (r.stations[0].data.cycles for r in (one, two))
    assert len(twice) == 2 * len(first)
    assert twice.texts("outcome") == first.texts("outcome") * 2
    np.testing.assert_allclose(twice.floats("evacuation_time_s")[: len(first)], first.floats("evacuation_time_s"), rtol=1e-9)
    lower, value, upper = interval(one.stations[0].leak)
    again = interval(two.stations[0].leak)
    assert lower <= again[1] <= upper
    assert again[0] <= value <= again[2]


@pytest.mark.parametrize("keep", [2, 4])
def test_law_of_thinning(keep):
    """Every second or fourth sample of a fast log gives the same cycles and a leak within the interval of the whole."""
    spec = StationSpec(recorder=Recorder(rate_hz=500.0))
    log = simulate(Scenario(name="leak", cycles=15, faults=(LEAK,), station=spec))
    whole = {name: np.asarray(getattr(log, name)) for name in NAMES}
    thin = {name: values[::keep] for name, values in whole.items()}
    one, few = diagnose(table(whole)), diagnose(table(thin))
    first, second = (r.stations[0].data.cycles for r in (one, few))
    assert second.texts("outcome") == first.texts("outcome")
    np.testing.assert_allclose(second.floats("start_s"), first.floats("start_s"), atol=keep / 500.0 + 1e-9)
    np.testing.assert_allclose(second.floats("evacuation_time_s"), first.floats("evacuation_time_s"), atol=2.0 * keep / 500.0)
    lower, _, upper = interval(few.stations[0].leak)
    a, value, b = interval(one.stations[0].leak)
    assert lower <= value <= upper
    assert lower <= b
    assert a <= upper


def test_law_of_time_unit_and_polarity_in_the_findings(columns):
    """A log an hour later, in mbar, with the output inverted, gives the same findings, chances and settings."""
    other = {**columns, "time_s": columns["time_s"] + 3600.0, "part_present": 1 - columns["part_present"]}
    other["pressure_mbar"] = np.round(other.pop("pressure_kpa") * 10.0, 6)
    one, two = diagnose(table(columns)).stations[0], diagnose(table(other)).stations[0]
    told = [[(f.code, f.severity, f.cycles) for f in r.findings if f.code != "channel_inverted"] for r in (one, two)]
    assert told[0] == told[1]
    assert [f.severity for f in two.findings if f.code == "channel_inverted"] == ["info"]
    chances = [{c.code: c.chance for c in r.causes} for r in (one, two)]
    assert chances[0] == pytest.approx(chances[1], abs=1e-6)
    assert one.suggestion.withheld == two.suggestion.withheld


def test_law_of_idle_in_the_findings(columns):
    """A quiet minute before the first pick and one after the last change no finding and no estimate beyond its interval."""
    rows = 12_000
    quiet = {n: np.resize(columns[n][:20], rows) for n in NAMES[1:]}
    n = len(columns["time_s"]) + 2 * rows
    longer = {"time_s": np.arange(n) * 0.005, **{k: np.concatenate([quiet[k], columns[k], quiet[k]]) for k in NAMES[1:]}}
    one, two = diagnose(table(columns)), diagnose(table(longer))
    assert [f.code for f in one.stations[0].findings] == [f.code for f in two.stations[0].findings]
    lower, _, upper = interval(one.stations[0].leak)
    assert lower <= interval(two.stations[0].leak)[1] <= upper


def test_bins_do_not_depend_on_the_last_bit_of_a_time(columns):
    """An hour later, which changes the last bit of every time, the averaged trace holds the same samples bin by bin."""
    one, two = (measure(table({**columns, "time_s": columns["time_s"] + more})).stations[0].bins for more in (0.0, 3600.0))
    np.testing.assert_array_equal(one.samples, two.samples)
    np.testing.assert_array_equal(one.pressure_kpa, two.pressure_kpa)
