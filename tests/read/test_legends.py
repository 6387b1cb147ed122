"""What stands beside the rows tells what columns are: lists of channels, names of bits, stamps that stations share."""

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tests.read.unusual_logs import levels, stamp
from tracekit.errors import LogReadError, StationFileError
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=10)
BITS = levels(RECORDING)
ROWS = list(zip(RECORDING.time_s.tolist(), RECORDING.pressure_kpa.tolist(), *BITS, strict=True))


def put(folder, *lines: str) -> str:
    """A file of lines."""
    (folder / "log.csv").write_text("\n".join(lines) + "\n")
    return str(folder / "log.csv")


def check(found) -> None:
    """Every sample is that of the recording."""
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("mark", [";", "\t", " = "])
def test_a_list_of_channels_says_what_they_are(mark, tmp_path):
    """Names and units of channels stand in lines above; the header has their numbers alone."""
    told = (("AI1", "Vacuum sensor", "kPa"), ("AI2", "Temperature", "°C"), ("DO5", "Supply valve", ""),
            ("DO6", "Blow-off valve", ""), ("DI3", "Part present", ""))  # fmt: skip
    legend = [mark.join(cells) for cells in told]
    rows = [f"{t:.2f};{23 + k / 90:.2f};{k};{r};{s};{p}" for t, k, s, r, p in ROWS]
    found = read(put(tmp_path, "Channel list", *legend, "", "Time [s];AI2;AI1;DO6;DO5;DI3", *rows))
    check(found)
    assert found.layout.columns["pressure"] == "AI1"


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1)])
def test_a_legend_names_the_bits_of_a_word(order, tmp_path):
    """The line above wins over what the pressure shows of the bits."""
    names = ("supply valve", "release valve", "part present")
    legend = ", ".join(f"bit{order[k]} = {names[k]}" for k in range(3))
    rows = [f"{t:.2f},{k},0x{128 + sum(b << o for b, o in zip(bits, order, strict=True)):04X}" for t, k, *bits in ROWS]
    check(read(put(tmp_path, f"# Word STAT: {legend}, bit7 = alive", "time_s,p_kPa,STAT", *rows)))


def test_a_legend_shows_that_padded_figures_are_of_base_16(tmp_path):
    """No mark says so, but a legend of bits names the word; one of them is at 1 while no part is there."""
    words = [f"{256 * (1 - s) + 512 * r + 1024 * (1 - p):04X}" for _, _, s, r, p in ROWS]
    rows = [f"{t:.2f},{k},{w}" for (t, k, *_), w in zip(ROWS, words, strict=True)]
    legend = "Bits of DW0: 8 supply valve (normally open); 9 release valve; 10 part missing"
    found = read(put(tmp_path, legend, "time s,p kPa,DW0", *rows))
    assert np.array_equal(found.digital, RECORDING.digital ^ 5)


def test_lists_of_samples_are_no_stations(tmp_path):
    """Lists longer than channels are many are samples of one station, and none of them is dropped."""
    table = pa.table({"t_s": [float(i) for i in range(40)], "pressure_kpa": [[-60.0] * 200] * 40})
    pq.write_table(table, tmp_path / "log.parquet")
    found = read(tmp_path / "log.parquet")
    assert len(found.layout.stations) == 1
    assert len(found.time_s) == 200 * 40


def test_a_line_of_units_above_a_header_without_them(tmp_path):
    """The units of all columns but the first stand in the preamble: a sensor of 1 to 5 V is asked for its scale."""
    volts = [f"{t:.2f},{1 - 4 * float(k) / 101.3:.4f},{5 * s:.2f},{5 * r:.2f},{5 * p:.2f}" for t, k, s, r, p in ROWS]
    path = put(tmp_path, "Vertical Units,V,V,V,V", "TIME,CH1,supply,release,part present", *volts)
    with pytest.raises(LogReadError, match=r"scale = \[\[1\.0, 0\.0\], \[5\.0, -101\.3\]\]"):
        read(path)


def test_a_header_names_the_figures_of_a_word(tmp_path):
    """Three names above three figures, in their order."""
    rows = [f"{t:.2f},{k},{s}{r}{p}" for t, k, s, r, p in ROWS]
    check(read(put(tmp_path, "time s,vacuum kPa,supply/release/part", *rows)))


def test_a_bit_that_may_be_the_supply_is_asked(tmp_path):
    """Where a word in figures of base 16 has a bit left and the supply is open, that bit is asked for."""
    noise = np.random.default_rng(4).integers(0, 2, len(ROWS))
    rows = [f"{t:.2f},{k},0x{n + 2 * r + 4 * p:04X}" for (t, k, _, r, p), n in zip(ROWS, noise.tolist(), strict=True)]
    with pytest.raises(UndecidedLogError, match=r'"STAT\.0" switches, but whether it is supply'):
        read(put(tmp_path, "time_s,p_kPa,STAT", *rows))


@pytest.mark.parametrize(
    ("names", "blocks"), [(("left", "right"), False), (("left", "right"), True), (("1", "2"), False)]
)
def test_rows_of_stations_stay_apart(names, blocks, tmp_path):
    """Words that each stand once under every stamp, or in blocks that begin again, name stations, whatever the name."""
    lines = [
        f"{stamp(t).isoformat(timespec='milliseconds')},{side},{k * share:.4f},{s},{r},{p}"
        for t, k, s, r, p in ROWS
        for side, share in zip(names, (1.0, 0.5), strict=True)
    ]
    lines = lines[::2] + lines[1::2] if blocks else lines
    found = read(put(tmp_path, "Timestamp,Gripper,Pressure_kPa,Supply,Release,Part", *lines))
    assert found.layout.stations == names
    for place, share in enumerate((1.0, 0.5)):
        own = found.station == place
        assert np.allclose(found.pressure_kpa[own], share * RECORDING.pressure_kpa, atol=1e-4)
        assert np.array_equal(found.digital[own], RECORDING.digital)


def test_channels_with_times_of_their_own(tmp_path):
    """Pairs of time and value side by side, of different lengths, are never read row by row."""
    changes = [(t, s) for i, (t, _, s, *_) in enumerate(ROWS) if i == 0 or s != BITS[0][i - 1]]
    ends = [f"{t:.2f},{v}" for t, v in changes] + [","] * (len(ROWS) - len(changes))
    rows = [f"{t:.2f},{k},{end}" for (t, k, *_), end in zip(ROWS, ends, strict=True)]
    found = read(put(tmp_path, "Time A (s),Pressure (kPa),Time B (s),Supply", *rows))
    assert np.array_equal(found.digital, RECORDING.digital & 1)


def test_a_barometer_is_no_switch(tmp_path):
    """A pressure that moves between two readings is not offered as a valve."""
    rows = [f"{t:.2f},{1009 + 0.1 * (i > 900)},{k},{s},{r},{p}" for i, (t, k, s, r, p) in enumerate(ROWS)]
    found = read(put(tmp_path, "time_s,p_atm [hPa],vacuum [kPa],Q1,Q2,I1", *rows))
    check(found)


def test_suction_that_begins_with_an_open_cup_is_known(tmp_path):
    """The pressure falls by a tenth of its range at first; nothing names the valve."""
    kpa, held = RECORDING.pressure_kpa.copy(), 0
    for i, s in enumerate(BITS[0]):
        held = held + 1 if s and kpa[i] > -60 else 0
        if 0 < held <= 25:
            kpa[i] = -8.0 + 0.1 * (i % 3)
    rows = [f"{t:.2f},{k:.3f},{s},{r},{p}" for (t, _, s, r, p), k in zip(ROWS, kpa, strict=True)]
    assert read(put(tmp_path, "time_s,p_kpa,sv,rv,pp", *rows)).layout.columns["supply"] == "sv"


def test_an_interval_is_left_to_fill_in(tmp_path):
    """The line that is offered where no column tells the time is no answer as it stands."""
    rows = [f"{k},{s},{r},{p}" for _, k, s, r, p in ROWS]
    with pytest.raises(UndecidedLogError, match="no column rises") as asked:
        read(put(tmp_path, "p_kpa,supply,release,part", *rows))
    with pytest.raises(StationFileError, match="interval_s"):
        parse_station("[channels]\n" + asked.value.questions[0].line, "s.toml")


def test_numbers_of_channels_that_lines_above_name_are_refused(tmp_path):
    """A row per reading by number cannot be read by roles: the message tells what each number is."""
    names = {101: "Pressure_kPa", 201: "Suction", 202: "BlowOff"}
    rows = [f"{k / 100};{number};{-0.1 * k if number == 101 else k // 9 % 2}" for k in range(300) for number in names]
    path = tmp_path / "log.csv"
    legend = ["Id;Name", *(f"{number};{text}" for number, text in names.items()), ""]
    path.write_text("\n".join([*legend, "Time [s];Id;Value", *rows]) + "\n", encoding="utf-8")
    with pytest.raises(LogReadError, match=r'101 is "Pressure_kPa", 201 is "Suction".*names in the place'):
        read(path)


@pytest.mark.parametrize("name", ["S/R/P", "flags of head"])
def test_three_figures_of_bits_are_a_word(tmp_path, name):
    """Figures 0 and 1 of one length with a zero first are bits, whatever the name: which is which is found or asked."""
    rows = [f"{t:.2f},{k},{p}{r}{s}" for t, k, s, r, p in ROWS]
    path = put(tmp_path, f"time s,p kPa,{name}", *rows)
    line = "\n".join(
        f'{role} = {{ column = "{name}.{k}" }}' for k, role in enumerate(("supply", "release", "part_present"))
    )
    assert np.array_equal(read(path, parse_station(f"[channels]\n{line}\n", "s.toml")).digital, RECORDING.digital)
    assert np.array_equal(read(path).digital, RECORDING.digital)  # the pressure tells them
