"""What must not matter does not: the file format, the size of blocks, polarity, units, when the log was made."""

import platform
import subprocess
import sys
from dataclasses import replace
from functools import partial

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq
import pytest
from segment.made_traces import KNOWN, PLAIN, SAVING, Piece, blow_off, evacuate, hold, idle, table_of, trace_of

from tracekit import pipeline
from tracekit.errors import LogReadError
from tracekit.model.estimate import Estimate
from tracekit.model.result import LeakChange
from tracekit.model.station import Station, StationFacts
from tracekit.options.read import ReadOptions
from tracekit.pipeline import MeasuredLog, diagnose, measure
from tracekit.read import open_log
from tracekit.simulate import Scenario, simulate
from tracekit.simulate.scenario import Fault

LOSS = (
    idle(),
    evacuate(),
    hold(0.5),
    Piece(seconds=0.05, to=5.0, supply=1),
    Piece(seconds=0.3, to=5.0, supply=1),
    blow_off(),
)
EMPTY = (idle(), evacuate(0.8, to=12.0, tau_s=0.05), blow_off())
RETRY = (idle(), evacuate(0.4, to=12.0, tau_s=0.05), Piece(seconds=0.3, to=1.0), *PLAIN[1:])
GAP = (idle(), evacuate(), Piece(seconds=0.5, to=74.0, supply=1, gap=True), hold(0.5), blow_off())
MIXED = (*PLAIN * 2, *LOSS, *SAVING, *EMPTY, *RETRY, *GAP, *PLAIN * 2, *SAVING * 2)
"""Every kind of cycle, some twenty-five seconds in all."""
NAMES = ("time_s", "pressure_kpa", "supply", "release", "part_present")


@pytest.fixture(scope="module")
def mixed() -> dict[str, np.ndarray]:
    """A recording with every kind of cycle and some noise."""
    return trace_of(MIXED, noise=0.03)


@pytest.fixture(scope="module")
def simulated() -> dict[str, np.ndarray]:
    """Twelve cycles of a simulated station with a leak, 200 samples a second."""
    fault = Fault(label="cup_leak_orifice", kind="cup", size={"rate_kpa_s": 3.0, "b": 0.35})
    log = simulate(Scenario(name="leak", cycles=12, faults=(fault,)))
    return {name: np.asarray(getattr(log, name)) for name in NAMES}


def everything(log: MeasuredLog) -> dict[str, np.ndarray]:
    """Every array that a measured log hands on, by a name of its own."""
    out = {}
    for number, (data, leak) in enumerate(zip(log.stations, log.leaks, strict=True)):
        for name in ("cycles", "periods", "edges"):
            out |= {f"{number} {name} {k}": v for k, v in getattr(data, name).data.items() if k != "log_id"}
        out |= {f"{number} timing {k}": v for k, v in data.timing.items()}
        out |= {f"{number} settings {k}": v for k, v in data.cycle_settings.items()}
        for name in ("cycle", "period", "time_s", "pressure_kpa", "samples"):
            out[f"{number} bins {name}"] = getattr(data.bins, name)
        for name in ("time_s", "lowest_kpa", "highest_kpa"):
            out[f"{number} strip {name}"] = getattr(data.strip, name)
        for name in ("rise_s", "fall_s", "reading_range_kpa"):
            out[f"{number} {name}"] = getattr(data, name)
        out[f"{number} excerpts"] = np.array([e.cycle for e in data.excerpts])
        out[f"{number} leak"] = np.stack([leak.rate, leak.rate_lower, leak.rate_upper])
    return out


def assert_same_bits(log: MeasuredLog, other: MeasuredLog) -> None:
    """All arrays are equal to the bit."""
    first, second = everything(log), everything(other)
    assert first.keys() == second.keys()
    different = [k for k in first if first[k].tobytes() != second[k].tobytes()]
    assert different == []


def assert_close(log: MeasuredLog, other: MeasuredLog, tolerance: float = 1e-7) -> None:
    """The cycles agree: whole numbers and codes exactly, floats to a tolerance, missing ones in the same places."""
    first, second = log.stations[0].cycles, other.stations[0].cycles
    assert len(first) == len(second)
    for column in first.columns:
        name = column.name
        if name == "log_id":
            continue
        if column.kind == "float":
            np.testing.assert_allclose(
                first.floats(name), second.floats(name), atol=tolerance, rtol=tolerance, err_msg=name
            )
        else:
            np.testing.assert_array_equal(first.codes(name), second.codes(name), err_msg=name)


def test_every_kind_of_cycle(mixed) -> None:
    """The mixed recording holds what its name says."""
    cycles = measure(table_of(mixed)).stations[0].cycles
    expected = ["held"] * 2 + ["dropped", "held", "missed", "held", "incomplete"] + ["held"] * 4
    assert cycles.texts("outcome") == expected
    assert cycles.codes("attempts").tolist() == [1] * 5 + [2] + [1] * 5


@pytest.mark.parametrize(("source", "rows"), [("mixed", 60), ("mixed", 257), ("mixed", 1024), ("simulated", 1000)])
def test_rows_analysed_together(source: str, rows: int, request) -> None:
    """Results are the same to the bit whatever number of samples is analysed together."""
    table = table_of(request.getfixturevalue(source))
    assert_same_bits(measure(table), measure(table, chunk_rows=rows))


def test_whole_number_of_stretches(mixed) -> None:
    """Nothing is lost or doubled where the log ends exactly with a stretch."""
    table = table_of({k: v[:2400] for k, v in mixed.items()})
    for rows in (2400, 1200, 2399):
        assert_same_bits(measure(table), measure(table, chunk_rows=rows))


@pytest.fixture
def files(mixed, tmp_path):
    """The mixed recording as CSV and as Parquet."""
    table = table_of(mixed)
    pc.write_csv(table, tmp_path / "log.csv")
    pq.write_table(table, tmp_path / "log.parquet")
    return tmp_path


@pytest.mark.parametrize(
    "options", [{"block_bytes": 700}, {"block_bytes": 5000, "parse_threads": 1}, {"batch_rows": 37}]
)
@pytest.mark.parametrize("name", ["log.csv", "log.parquet"])
def test_blocks_of_the_reader(files, monkeypatch, name: str, options: dict) -> None:
    """CSV and Parquet give the same tables to the bit, in one piece or in many, in one thread or in two."""
    whole = measure(str(files / "log.parquet"))
    monkeypatch.setattr(pipeline, "open_log", partial(open_log, options=ReadOptions(**options)))
    assert_same_bits(whole, measure(str(files / name), chunk_rows=300))


def test_sources_in_memory(files, mixed) -> None:
    """A DataFrame, an Arrow table and a file of the same samples give the same tables."""
    table = table_of(mixed)
    assert_same_bits(measure(str(files / "log.parquet")), measure(table))
    assert_same_bits(measure(table), measure(table.to_pandas()))


def test_long_attempt_is_closed() -> None:
    """A hold longer than the analysis may carry is closed as incomplete, and what follows is found again."""
    from tracekit.measure.stream import StationAnalyser
    from tracekit.options.measure import MeasureOptions
    from tracekit.options.segment import SegmentOptions

    table = table_of(trace_of((*PLAIN * 3, idle(), evacuate(), hold(40.0), blow_off(), *PLAIN * 3)))
    source = open_log(table, Station())
    options = SegmentOptions(chunk_rows=500, carry_rows=1500)
    analyser = StationAnalyser(source.layout, KNOWN, options, MeasureOptions())
    for block in source.blocks():
        analyser.feed(block)
    analyser.finish()
    outcomes = np.concatenate([np.asarray(r.cycles["outcome"]) for r in analyser.results]).tolist()
    held, incomplete = 0, 3
    assert outcomes[:4] == [held] * 3 + [incomplete]
    assert outcomes[-2:] == [held] * 2


@pytest.mark.parametrize("shift_s", [1.0, 86_400.0])
def test_law_of_time(simulated, shift_s: float) -> None:
    """Time stamps that all come later by the same time change nothing: times count from the first sample."""
    later = {**simulated, "time_s": simulated["time_s"] + shift_s}
    assert_close(measure(table_of(simulated)), measure(table_of(later)))


def test_law_of_earlier_idle(simulated) -> None:
    """Idle time before the first cycle moves every time by its length and changes nothing else."""
    rows, interval = 400, 0.005
    quiet = {k: np.resize(v[:20], rows) for k, v in simulated.items() if k != "time_s"}
    time = np.concatenate([np.arange(rows) * interval, simulated["time_s"] - simulated["time_s"][0] + rows * interval])
    moved = {k: np.concatenate([quiet[k], v]) for k, v in simulated.items() if k != "time_s"}
    before, after = (measure(table_of(c)) for c in (simulated, {"time_s": time, **moved}))
    cycles = after.stations[0].cycles
    times = ("start_s", "end_s", "contact_s", "hold_start_s", "hold_end_s", "drop_s")
    back = cycles.with_columns(**{name: cycles.floats(name) - rows * interval for name in times})
    assert_close(before, replace(after, stations=(replace(after.stations[0], cycles=back),)))


def test_law_of_later_idle(simulated) -> None:
    """Idle time at the end lengthens the last cycle and changes nothing else."""
    rows, interval = 600, 0.005
    more = {k: np.concatenate([v, np.resize(v[:20], rows)]) for k, v in simulated.items()}
    more["time_s"][-rows:] = simulated["time_s"][-1] + interval * np.arange(1, rows + 1)
    before, after = (everything(measure(table_of(c))) for c in (simulated, more))
    different = {k for k in before if before[k].tobytes() != after[k].tobytes() and not k.startswith("0 strip")}
    idle_period = {f"0 periods {k}" for k in ("end_s", "samples", "vacuum_end_kpa", "slope_kpa_s", "slope_se_kpa_s")}
    assert different <= {"0 cycles end_s", "0 reading_range_kpa", "0 leak"} | idle_period
    np.testing.assert_allclose(before["0 leak"], after["0 leak"], rtol=3e-5)  # the noise is learned from all samples
    np.testing.assert_array_equal(before["0 cycles end_s"][:-1], after["0 cycles end_s"][:-1])
    np.testing.assert_allclose(after["0 cycles end_s"][-1] - before["0 cycles end_s"][-1], rows * interval)


@pytest.mark.parametrize("inverted", [("supply",), ("part_present",), ("supply", "release", "part_present")])
def test_law_of_polarity(simulated, inverted: tuple[str, ...]) -> None:
    """A digital that is logged with 0 for on gives the same tables to the bit."""
    turned = {k: 1 - v if k in inverted else v for k, v in simulated.items()}
    assert_same_bits(measure(table_of(simulated)), measure(table_of(turned)))


@pytest.mark.parametrize(("unit", "factor"), [("mbar", 10.0), ("hPa", 10.0), ("bar", 0.01), ("MPa", 0.001)])
def test_law_of_units(simulated, unit: str, factor: float) -> None:
    """A log in another unit gives the same results as in kPa."""
    other = dict(simulated)
    other[f"pressure_{unit.lower()}"] = np.round(other.pop("pressure_kpa") * factor, 8)
    assert_close(measure(table_of(simulated)), measure(table_of(other)))


def test_law_of_sense(simulated) -> None:
    """Vacuum as a positive number gives the same results as gauge pressure."""
    other = dict(simulated)
    other["vacuum_kpa"] = -other.pop("pressure_kpa")
    assert_close(measure(table_of(simulated)), measure(table_of(other)))


def test_law_of_repetition(simulated) -> None:
    """The same log gives the same diagnosis every time, and the input is not touched."""
    table = table_of(simulated)
    before = table.to_pandas().copy()
    first, second = diagnose(table).stations[0], diagnose(table).stations[0]
    assert first.findings == second.findings
    assert first.causes == second.causes
    assert first.detectable == second.detectable
    assert table.to_pandas().equals(before)


def test_tables_of_one_station_are_held_once(simulated) -> None:
    """The tables of a log with one station are those of the station, not copies."""
    record = diagnose(table_of(simulated))
    for name in ("cycles", "periods", "edges"):
        assert getattr(record, name) is getattr(record.stations[0].data, name)


def test_own_baseline_is_no_news(simulated) -> None:
    """A log against itself shows no change: no cause above info."""
    table = table_of(simulated)
    found = diagnose(table, baseline=table).stations[0].findings
    assert [f.code for f in found if f.severity != "info" and f.kind in ("cause", "sensor")] == []


def test_memory_is_shared_while_a_log_is_read(mixed, tmp_path) -> None:
    """Arrow's memory comes from the heap that NumPy uses while a log is read, and from where it came before afterwards."""
    before, meanwhile = pa.default_memory_pool().backend_name, []
    measure(table_of(mixed), heard=lambda _rows: meanwhile.append(pa.default_memory_pool().backend_name))
    assert set(meanwhile) == {"system"}
    broken = tmp_path / "broken.parquet"
    broken.write_bytes(b"PAR1 and nothing more")
    with pytest.raises(LogReadError, match="broken"):
        measure(broken)
    assert pa.default_memory_pool().backend_name == before


FREED = """
import numpy as np
from tracekit import pipeline

def taken() -> int:
    line = next(line for line in open("/proc/self/status") if line.startswith("VmRSS"))
    return int(line.split()[1])

arrays = [np.ones(8000) for _ in range(1200)]
del arrays[:-1]
before = taken()
pipeline._give_back(pipeline._LONG_ROWS - 1)
kept = taken()
pipeline._give_back(pipeline._LONG_ROWS)
print(before - kept, before - taken())
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="other C libraries than glibc keep what they like")
def test_freed_memory_is_given_back_where_a_log_is_long() -> None:
    """Of 75 MiB that were freed under an array that stays the most goes back to the system, for long logs only [KiB]."""
    done = subprocess.run([sys.executable, "-c", FREED], capture_output=True, text=True, check=True)
    short, long = map(int, done.stdout.split())
    assert short < 1024
    assert long > 50 * 1024


def test_memory_is_given_back_after_every_stage(simulated, monkeypatch) -> None:
    """After the pass, what is put together of it, the leak and the judgement, by the rows of the log."""
    told: list[int] = []
    monkeypatch.setattr(pipeline, "_give_back", told.append)
    diagnose(table_of(simulated))
    assert told == [len(simulated["time_s"])] * 4


def test_empty_log() -> None:
    """A log with a header and no rows gives one message."""
    table = pa.table({name: pa.array([], pa.float64()) for name in NAMES})
    from tracekit.errors import LogReadError

    with pytest.raises(LogReadError, match="expected"):
        diagnose(table)


@pytest.mark.parametrize(
    ("pieces", "drop", "cycles"),
    [
        ((idle(8.0),), (), 0),
        (PLAIN * 3, ("supply", "release", "part_present"), 0),
        (PLAIN * 3, ("supply",), 0),
        ((*PLAIN, idle()), (), 1),
        (PLAIN * 3, ("part_present",), 3),
        (SAVING * 3, ("release",), 3),
    ],
)
def test_poor_logs(pieces, drop: tuple[str, ...], cycles: int) -> None:
    """A log with few cycles or without digitals is diagnosed as far as it goes, and says what is missing."""
    columns = {k: v for k, v in trace_of(pieces, noise=0.05).items() if k not in drop}
    record = diagnose(table_of(columns))
    result = record.stations[0]
    assert len(result.data.cycles) == cycles
    codes = {f.code for f in result.findings}
    assert ("channel_missing" in codes) == bool(drop or not cycles)
    assert [f.code for f in result.findings if f.kind == "cause" and f.severity != "info"] == []
    np.testing.assert_allclose(sum(c.chance for c in result.causes), 1.0)


def test_ambient_belongs_to_the_log(simulated) -> None:
    """The ambient pressure of the station file is that of the diagnosed log, never of the baseline."""
    table = table_of(simulated)
    result = diagnose(table, station=Station(station=StationFacts(ambient_kpa=95.0)), baseline=table).stations[0]
    assert result.data.ambient_kpa == 95.0
    assert result.baseline is not None
    assert result.baseline.ambient_source == "standard atmosphere"


def test_flows_follow_the_volume(simulated) -> None:
    """The leak rate is volume times decay rate; without a volume it is withheld, with its reason."""
    from tracekit.model.estimate import Estimate, Withheld

    table = table_of(simulated)
    without = diagnose(table).stations[0]
    assert without.leak_rate_pa_m3_s == Withheld("no volume in the station file")
    known = Station(station=StationFacts(volume_ml=64.0, volume_rel_u=0.05, temperature_c=20.0, ambient_kpa=100.8))
    result = diagnose(table, station=known).stations[0]
    decay, flow, litres = result.leak.decay_rate, result.leak_rate_pa_m3_s, result.leak_rate_l_min_anr
    assert isinstance(decay, Estimate)
    assert isinstance(flow, Estimate)
    assert isinstance(litres, Estimate)
    np.testing.assert_allclose(flow.value, 64e-6 * decay.value * 1e3)
    np.testing.assert_allclose(litres.value, flow.value / 100e3 * 6e4)  # 20 °C is the reference temperature of ISO 8778
    np.testing.assert_allclose(
        result.data.cycles.floats("leak_rate_pa_m3_s"), 64e-6 * 1e3 * result.data.cycles.floats("decay_rate_kpa_s")
    )
    assert flow.lower < flow.value < flow.upper
    assert (flow.upper - flow.lower) / flow.value > (decay.upper - decay.lower) / decay.value


def test_change_of_leak_only_where_neither_log_has_a_coast() -> None:
    """A baseline of a station that never coasts gives a change of leak; one that coasts has the rates themselves."""
    plain, saving = trace_of(PLAIN * 8, noise=0.03), trace_of(SAVING * 8, noise=0.03)
    alone = diagnose(table_of(plain)).stations[0]
    compared = diagnose(table_of(plain), baseline=table_of(plain)).stations[0]
    coasting = diagnose(table_of(saving), baseline=table_of(saving)).stations[0]
    assert alone.leak_change is None
    assert coasting.leak_change is None
    assert isinstance(compared.leak_change, LeakChange)
    change = compared.leak_change.change
    assert change.value == pytest.approx(0.0, abs=1e-9)
    assert change.lower < 0.0 < change.upper


def test_leak_without_an_output(simulated: dict[str, np.ndarray]) -> None:
    """A log without the output has no set point and no evacuation time, but its coasts tell the leak all the same."""
    full = diagnose(table_of(simulated)).stations[0]
    bare = diagnose(table_of({k: v for k, v in simulated.items() if k != "part_present"})).stations[0]
    cycles = bare.data.cycles
    assert cycles.where("outcome", "held").sum() == full.data.cycles.where("outcome", "held").sum()
    assert not cycles.codes("set_point_reached").any()
    assert not np.isfinite(cycles.floats("evacuation_time_s")).any()
    assert not np.isfinite(cycles.floats("hold_start_s")).any()
    assert isinstance(full.leak.decay_rate, Estimate)
    assert isinstance(bare.leak.decay_rate, Estimate)
    assert bare.leak.decay_rate.value == pytest.approx(full.leak.decay_rate.value, rel=0.05)
