"""One known recording as the loggers, controllers and oscilloscopes of a plant write it: preambles, habits, quirks.

Each function gives the bytes of a file; `FIELD` lists them with what a reader needs to be told, if anything.
"""

import datetime as dt
from collections.abc import Callable, Sequence

import numpy as np

from tests.read.dialects import AMBIENT_KPA, START, Recording

Rows = Sequence[Sequence[str]]


def joined(lines: Sequence[str], end: str = "\r\n", encoding: str = "utf-8") -> bytes:
    """Lines as the bytes of a file."""
    return (end.join(lines) + end).encode(encoding)


def bits(rec: Recording) -> list[list[int]]:
    """Levels of supply, release and part present."""
    return [(rec.digital >> k & 1).tolist() for k in range(3)]


def comma(value: float, digits: int) -> str:
    """A number with a decimal comma."""
    return f"{value:.{digits}f}".replace(".", ",")


def stamps(rec: Recording) -> list[dt.datetime]:
    """Date and time of every sample."""
    return [START + dt.timedelta(seconds=float(t)) for t in rec.time_s]


def controller_trend(rec: Recording) -> bytes:
    """A controller's trend export: key/value preamble with quotes, tabs, decimal comma, true and false."""
    s, r, p = bits(rec)
    lines = [
        '"Trend export"', '"Project:"\t"Line 4"', '"Cycle time:"\t"10 ms"', '"Variables:"\t"4"', "",
        '"Time [ms]"\t"Vacuum_Actual [mbar]"\t"Suction_On"\t"BlowOff_On"\t"Part_Present"',
    ]  # fmt: skip
    words = ("FALSE", "TRUE")
    lines += [
        f"{round(t * 1000)}\t{comma(k * 10, 2)}\t{words[a]}\t{words[b]}\t{words[c]}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def scope(rec: Recording) -> bytes:
    """An oscilloscope: names in one row, units in the next, seconds with exponents from before the trigger."""
    s, r, p = bits(rec)
    lines = ["x-axis,Vacuum,Suction,Blow off,Part", "second,kPa,Volt,Volt,Volt"]
    rng = np.random.default_rng(5)
    noise = rng.normal(0, 0.05, (len(s), 3))
    lines += [
        f"{t - 5:.5E},{k:.4E},{24 * a + n[0]:.3E},{24 * b + n[1]:.3E},{24 * c + n[2]:.3E}"
        for t, k, a, b, c, n in zip(rec.time_s, rec.pressure_kpa, s, r, p, noise, strict=True)
    ]
    return joined(lines, "\n")


def data_logger(rec: Recording) -> bytes:
    """A data logger: decimal comma, semicolon, day first, Windows-1252, error words, a trailing delimiter."""
    s, r, p = bits(rec)
    kpa = [comma(k, 2) for k in rec.pressure_kpa]
    kpa[300:305] = ["Fühlerbruch"] * 5
    lines = [
        "Gerät: Handmessgerät",
        "Temperatur: 21,5 °C",
        "",
        "Datum/Uhrzeit;Unterdruck [kPa];Saugen;Abblasen;Teil da;",
    ]
    lines += [
        f"{d:%d.%m.%Y %H:%M:%S},{d.microsecond // 1000:03d};{k};{a};{b};{c};"
        for d, k, a, b, c in zip(stamps(rec), kpa, s, r, p, strict=True)
    ]
    return joined(lines, encoding="cp1252")


def long_epoch_quality(rec: Recording) -> bytes:
    """Epoch milliseconds, tag, value, quality; levels on change only; bad quality for some readings."""
    levels, last = bits(rec), [-1, -1, -1]
    rows = ["timestamp,tag,value,quality"]
    names = ("ST1.Suction", "ST1.BlowOff", "ST1.PartPresent")
    for i, t in enumerate(rec.time_s.tolist()):
        ms = round(START.timestamp() * 1000 + t * 1000)
        bad = 400 <= i < 405
        rows.append(f"{ms},ST1.Pressure_kPa,{'0.0' if bad else rec.pressure_kpa[i]},{'Bad' if bad else 'Good'}")
        for k in range(3):
            if last[k] != levels[k][i]:
                last[k] = levels[k][i]
                rows.append(f"{ms},{names[k]},{last[k]},Good")
    return joined(rows, "\n")


def wrapping_counter(rec: Recording) -> bytes:
    """A 16-bit counter of milliseconds that wraps, pressure in tenths of kPa as whole numbers with its unit named so."""
    s, r, p = bits(rec)
    lines = ["tick_ms;vacuum_kPa;suction;blowoff;part_present"]
    lines += [
        f"{(64000 + round(t * 1000)) % 65536};{k:.1f};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines, "\n")


def packed_hex(rec: Recording) -> bytes:
    """The digitals as a word in hexadecimal digits."""
    lines = ["Time [s],Pressure [kPa],DI word"]
    lines += [
        f"{t:.2f},{k},0x{d:04X}" for t, k, d in zip(rec.time_s, rec.pressure_kpa, rec.digital.tolist(), strict=True)
    ]
    return joined(lines)


def packed_binary(rec: Recording) -> bytes:
    """The digitals as binary digits in one column, the lowest bit last."""
    lines = ["Time [s],Pressure [kPa],Inputs"]
    lines += [
        f"{t:.2f},{k},{d:08b}" for t, k, d in zip(rec.time_s, rec.pressure_kpa, rec.digital.tolist(), strict=True)
    ]
    return joined(lines)


def tenths(rec: Recording) -> bytes:
    """Pressure as whole tenths of kPa without a unit."""
    s, r, p = bits(rec)
    lines = ["ms;ANALOG_1;suction;blow_off;part"]
    lines += [
        f"{round(t * 1000)};{round(k * 10)};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def pairs_per_line(rec: Recording) -> bytes:
    """Several records per line: time, then tag and value by turns."""
    s, r, p = bits(rec)
    lines = [
        f"{d:%H:%M:%S}.{d.microsecond // 1000:03d};Vacuum [kPa];{k};Suction;{a};Blow-off;{b};Part present;{c}"
        for d, k, a, b, c in zip(stamps(rec), rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def pairs_on_change(rec: Recording) -> bytes:
    """Several records per line, as many as have changed: lines differ in length."""
    levels, last = bits(rec), [-1, -1, -1]
    names = ("Suction", "Blow-off", "Part present")
    lines = ["Time [s];Tag;Value;Tag;Value;Tag;Value;Tag;Value"]
    for i, t in enumerate(rec.time_s.tolist()):
        cells = [f"{t:.2f}", "Vacuum [kPa]", str(rec.pressure_kpa[i])]
        for k in range(3):
            if last[k] != levels[k][i]:
                last[k] = levels[k][i]
                cells += [names[k], str(last[k])]
        lines.append(";".join(cells))
    return joined(lines)


def glued_commas(rec: Recording) -> bytes:
    """Decimal commas without quotes in a file that is parted by commas."""
    s, r, p = bits(rec)
    lines = ["Time [s],Vacuum [kPa],Suction,Blow-off,Part present"]
    lines += [
        f"{comma(t, 2)},{comma(k, 3)},{a},{b},{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def glued_trimmed(rec: Recording) -> bytes:
    """The same with zeros at the end of fractions left out, so that lines differ in length."""
    s, r, p = bits(rec)
    lines = ["Time [s],Vacuum [kPa],Suction,Blow-off,Part present"]
    lines += [
        f"{t:g},{k:g},{a},{b},{c}".replace(".", ",")
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def glued_nameless(rec: Recording) -> bytes:
    """The same without a header."""
    return b"\r\n".join(glued_commas(rec).split(b"\r\n")[1:])


def aligned(rec: Recording) -> bytes:
    """Columns of fixed width, names with blanks above them, parted by two blanks and more."""
    s, r, p = bits(rec)
    lines = [
        f"{'Time [s]':>10}  {'Vacuum [kPa]':>14}  {'Suction valve':>14}  {'Blow-off valve':>14}  {'Part present':>14}"
    ]
    lines += [
        f"{t:10.2f}  {k:14.3f}  {a:14d}  {b:14d}  {c:14d}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def aligned_tight(rec: Recording) -> bytes:
    """Columns of fixed width that are as wide as their names, so that names are parted by one blank."""
    s, r, p = bits(rec)
    names = ("Time [s]", "Vacuum [kPa]", "Suction valve", "Blow-off valve", "Part present")
    widths = [max(len(n), 8) for n in names]
    lines = [" ".join(n.rjust(w) for n, w in zip(names, widths, strict=True))]
    lines += [
        " ".join(c.rjust(w) for c, w in zip((f"{t:.2f}", f"{k:.3f}", str(a), str(b), str(c)), widths, strict=True))
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def stop_trigger(rec: Recording) -> bytes:
    """A recorder that writes start and stop of the trigger as rows of text among the samples."""
    s, r, p = bits(rec)
    rows = [
        f"{d:%Y/%m/%d %H:%M:%S}.{d.microsecond // 1000:03d},{k},{a},{b},{c}"
        for d, k, a, b, c in zip(stamps(rec), rec.pressure_kpa, s, r, p, strict=True)
    ]
    rows.insert(0, "START TRIGGER,,,,")
    rows.append("STOP TRIGGER,,,,")
    return joined(["Date/Time,Vacuum [kPa],Suction,Blow-off,Part present", *rows])


def spreadsheet_us(rec: Recording) -> bytes:
    """A spreadsheet: month first with AM and PM, thousands commas in quotes, pressure in Pa."""
    s, r, p = bits(rec)
    lines = ['"Timestamp","Pressure (Pa)","Suction","Blow Off","Part Present"']
    lines += [
        f'"{d.month}/{d.day}/{d:%Y %I:%M:%S}.{d.microsecond // 1000:03d} {d:%p}","{k * 1000:,.0f}",{a},{b},{c}'
        for d, k, a, b, c in zip(stamps(rec), rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def swiss_thousands(rec: Recording) -> bytes:
    """Apostrophes as thousands marks in absolute Pa, time in microseconds likewise."""
    s, r, p = bits(rec)
    lines = ["Zeit [us];Druck abs [Pa];Saugen;Abblasen;Teil"]
    lines += [
        f"{round(t * 1e6):,};{(k + AMBIENT_KPA) * 1000:,.0f};{a};{b};{c}".replace(",", "'")
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def units_in_cells(rec: Recording) -> bytes:
    """A unit behind every number."""
    s, r, p = bits(rec)
    words = ("off", "on")
    lines = ["time;vacuum;suction;blow-off;part present"]
    lines += [
        f"{t:.2f} s;{k:.2f} kPa;{words[a]};{words[b]};{words[c]}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def event_words(rec: Recording) -> bytes:
    """Samples and events in one list: kind, name, value."""
    levels, last = bits(rec), [-1, -1, -1]
    names = ("Suction valve", "Blow-off valve", "Part present")
    lines = ["Time;Signal;State"]
    for i, d in enumerate(stamps(rec)):
        at = f"{d:%Y-%m-%dT%H:%M:%S}.{d.microsecond // 1000:03d}Z"
        lines.append(f"{at};Pressure [kPa];{rec.pressure_kpa[i]}")
        for k in range(3):
            if last[k] != levels[k][i]:
                last[k] = levels[k][i]
                lines.append(f"{at};{names[k]};{('open', 'closed')[1 - last[k]] if k < 2 else ('no', 'yes')[last[k]]}")
    return joined(lines)


def min_max_rows(rec: Recording) -> bytes:
    """A recorder that keeps lowest and highest of every two samples, both under one stamp."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum [kPa];Suction;Blow-off;Part present"]
    for i in range(0, len(s) - 1, 2):
        both = sorted(rec.pressure_kpa[i : i + 2])
        lines += [f"{rec.time_s[i]:.2f};{k};{s[i + 1]};{r[i + 1]};{p[i + 1]}" for k in both]
    return joined(lines)


def min_max_columns(rec: Recording) -> bytes:
    """The same with lowest and highest in columns."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum min [kPa];Vacuum max [kPa];Suction;Blow-off;Part present"]
    for i in range(0, len(s) - 1, 2):
        low, high = sorted(rec.pressure_kpa[i : i + 2])
        lines.append(f"{rec.time_s[i]:.2f};{low};{high};{s[i + 1]};{r[i + 1]};{p[i + 1]}")
    return joined(lines)


def set_point_columns(rec: Recording) -> bytes:
    """A controller that logs set point, switched threshold and a running average beside the reading."""
    s, r, p = bits(rec)
    mean = np.convolve(rec.pressure_kpa, np.ones(20) / 20, "same")
    lines = ["Time [s];Set point [kPa];Vacuum [kPa];Vacuum avg [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{55 + (i > 900) * 2:.1f};{k};{m:.3f};{a};{b};{c}"
        for i, (t, k, m, a, b, c) in enumerate(zip(rec.time_s, rec.pressure_kpa, mean, s, r, p, strict=True))
    ]
    return joined(lines)


def supply_pressure_too(rec: Recording) -> bytes:
    """The compressed-air pressure in bar stands beside the vacuum in kPa."""
    s, r, p = bits(rec)
    rng = np.random.default_rng(2)
    air = 5.8 - 0.2 * np.array(s) + rng.normal(0, 0.01, len(s))
    lines = ["Time [s];Air supply [bar];Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{x:.3f};{k};{a};{b};{c}"
        for t, x, k, a, b, c in zip(rec.time_s, air, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def date_ambiguous(rec: Recording) -> bytes:
    """A date of which day and month could be exchanged."""
    s, r, p = bits(rec)
    lines = ["Date,Time,Vacuum [kPa],Suction,Blow-off,Part present"]
    lines += [
        f"03/04/2024,{d:%H:%M:%S}.{d.microsecond // 1000:03d},{k},{a},{b},{c}"
        for d, k, a, b, c in zip(stamps(rec), rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def inverted_outputs(rec: Recording) -> bytes:
    """Signals of normally closed contacts: 0 while on, with names that say nothing of it."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{k};{1 - a};{1 - b};{1 - c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def milliamps(rec: Recording) -> bytes:
    """A current loop without its scale."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum sensor [mA];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{4 - k / 101.3 * 16:.3f};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def no_unit(rec: Recording) -> bytes:
    """A pressure in bar whose unit stands nowhere."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum;Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{k / 100:.5f};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def no_time_unit(rec: Recording) -> bytes:
    """A counter of tenths of milliseconds, which is no usual unit."""
    s, r, p = bits(rec)
    lines = ["Count;Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{round(t * 1e4)};{k};{a};{b};{c}" for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def julian_days(rec: Recording) -> bytes:
    """Year, day of the year and time of day."""
    s, r, p = bits(rec)
    lines = ["YYYY,DDD,HH:MM:SS.mmm,Vacuum [kPa],Suction,Blow-off,Part present"]
    lines += [
        f"{d:%Y},{d:%j},{d:%H:%M:%S}.{d.microsecond // 1000:03d},{k},{a},{b},{c}"
        for d, k, a, b, c in zip(stamps(rec), rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def clock_in_columns(rec: Recording) -> bytes:
    """Hours, minutes, seconds and milliseconds in columns of their own."""
    s, r, p = bits(rec)
    lines = ["h,min,s,ms,Vacuum [kPa],Suction,Blow-off,Part present"]
    lines += [
        f"{d.hour},{d.minute},{d.second},{d.microsecond // 1000},{k},{a},{b},{c}"
        for d, k, a, b, c in zip(stamps(rec), rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def newest_first(rec: Recording) -> bytes:
    """The newest sample stands first."""
    s, r, p = bits(rec)
    rows = [
        f"{d:%Y-%m-%d %H:%M:%S}.{d.microsecond // 1000:03d};{k};{a};{b};{c}"
        for d, k, a, b, c in zip(stamps(rec), rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(["Time;Vacuum [kPa];Suction;Blow-off;Part present", *rows[::-1]])


def channels_with_own_time(rec: Recording) -> bytes:
    """Every channel has a time column of its own, as some exports of traces have."""
    s, r, p = bits(rec)
    lines = ["Time;Vacuum [kPa];Time;Suction;Time;Blow-off;Time;Part present"]
    lines += [
        f"{t:.2f};{k};{t:.2f};{a};{t:.2f};{b};{t:.2f};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def transposed(rec: Recording) -> bytes:
    """A row per channel instead of a column."""
    rows = [
        [f"{t:.2f}" for t in rec.time_s],
        [str(k) for k in rec.pressure_kpa],
        *([str(v) for v in b] for b in bits(rec)),
    ]
    names = ("Time [s]", "Vacuum [kPa]", "Suction", "Blow-off", "Part present")
    return joined([",".join([n, *row]) for n, row in zip(names, rows, strict=True)])


def fraction_apart(rec: Recording) -> bytes:
    """Milliseconds parted from the clock by a colon, elapsed without a date."""
    s, r, p = bits(rec)
    lines = ["Elapsed\tVacuum (kPa)\tSuction\tBlow-off\tPart present"]
    lines += [
        f"{int(t // 3600):02d}:{int(t // 60) % 60:02d}:{int(t) % 60:02d}:{round(t * 1000) % 1000:03d}\t{k}\t{a}\t{b}\t{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def signed_twos_complement(rec: Recording) -> bytes:
    """Pa as a 16-bit word whose negative values were not signed."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum [daPa];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{round(k * 100) % 65536};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def hash_header(rec: Recording) -> bytes:
    """A header behind a hash sign, remarks in mid-file."""
    s, r, p = bits(rec)
    rows = [f"{t:.2f} {k} {a} {b} {c}" for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)]
    rows[700:700] = ["# operator: changed the cup", "# again"]
    return joined(["# station 3", "# time_s vacuum_kPa suction blow_off part_present", *rows], "\n")


def json_lines(rec: Recording) -> bytes:
    """A record of JSON per line."""
    s, r, p = bits(rec)
    return joined(
        [
            f'{{"time_s": {t:.2f}, "vacuum_kPa": {k}, "suction": {a}, "blow_off": {b}, "part_present": {c}}}'
            for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
        ],
        "\n",
    )


def ticks_of_ten_ms(rec: Recording) -> bytes:
    """A counter of steps of 10 ms."""
    s, r, p = bits(rec)
    lines = ["Ticks;Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{round(t * 100) + 7};{k};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def steps_since_1601(rec: Recording) -> bytes:
    """Steps of 100 ns since 1601."""
    s, r, p = bits(rec)
    start = (START - dt.datetime(1601, 1, 1, tzinfo=dt.UTC)) // dt.timedelta(microseconds=1) * 10
    lines = ["Timestamp;Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{start + round(t * 1e7)};{k};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def wide_quality(rec: Recording) -> bytes:
    """A column of quality beside the reading; bad ones read 0."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum [kPa];Quality;Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{0.0 if 400 <= i < 405 else k};{'Bad' if 400 <= i < 405 else 'Good'};{a};{b};{c}"
        for i, (t, k, a, b, c) in enumerate(zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True))
    ]
    return joined(lines)


def tenths_in_the_unit(rec: Recording) -> bytes:
    """Whole tenths of kPa, with a unit that says so."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum [0.1 kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{round(k * 10)};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def tenths_by_factor(rec: Recording) -> bytes:
    """Readings ten times as large, with a factor behind the unit."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum (kPa x10);Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{round(k * 10)};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def marks_and_blanks(rec: Recording) -> bytes:
    """An X where a signal is on, nothing where it is off."""
    s, r, p = bits(rec)
    words = ("", "X")
    lines = ["Time [s];Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{k};{words[a]};{words[b]};{words[c]}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def ones_and_blanks(rec: Recording) -> bytes:
    """A 1 where a signal is on, nothing where it is off."""
    return marks_and_blanks(rec).replace(b"X", b"1")


def typographic_minus(rec: Recording) -> bytes:
    """The minus sign of typography instead of the hyphen."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{k};{a};{b};{c}".replace("-", "\u2212")
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def trailing_minus(rec: Recording) -> bytes:
    """The minus sign behind the number."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{abs(k)}{'-' if k < 0 else ''};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def size_without_sign(rec: Recording) -> bytes:
    """A display's value: the size of the vacuum, under the name of a pressure."""
    s, r, p = bits(rec)
    lines = ["Time [s];Pressure [kPa];Suction;Blow-off;Part present"]
    lines += [f"{t:.2f};{-k};{a};{b};{c}" for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)]
    return joined(lines)


def rows_of_all_channels_on_change(rec: Recording) -> bytes:
    """Levels stand only in the rows in which they change; the cells between are empty."""
    levels, last = bits(rec), [-1, -1, -1]
    lines = ["Time [s];Vacuum [kPa];Suction;Blow-off;Part present"]
    for i, t in enumerate(rec.time_s.tolist()):
        cells = []
        for k in range(3):
            cells.append(str(levels[k][i]) if levels[k][i] != last[k] else "")
            last[k] = levels[k][i]
        lines.append(f"{t:.2f};{rec.pressure_kpa[i]};{';'.join(cells)}")
    return joined(lines)


def minutes(rec: Recording) -> bytes:
    """Time in minutes with many decimals."""
    s, r, p = bits(rec)
    lines = ["Time [min];Vacuum [inHg];Suction;Blow-off;Part present"]
    lines += [
        f"{t / 60:.8f};{k / 3.386389:.4f};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def two_senders_in_turn(rec: Recording) -> bytes:
    """Two loaders that write by turns into one file, told by a column of names; the second reads half the vacuum."""
    s, r, p = bits(rec)
    lines = ["Time [s];Loader;Vacuum [kPa];Suction;Blow-off;Part present"]
    for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True):
        lines += [f"{t:.2f};left;{k};{a};{b};{c}", f"{t:.2f};right;{k / 2:.4f};{a};{b};{c}"]
    return joined(lines)


def codes_of_quality(rec: Recording) -> bytes:
    """A row per reading with quality codes: 192 is good, 24 is not."""
    return long_epoch_quality(rec).replace(b",Bad", b",24").replace(b",Good", b",192")


def row_twice(rec: Recording) -> bytes:
    """Every row is written twice."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum [kPa];Suction;Blow-off;Part present"]
    for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True):
        lines += [f"{t:.2f};{k};{a};{b};{c}"] * 2
    return joined(lines)


def clock_in_a_number(rec: Recording) -> bytes:
    """Hours, minutes and seconds in one number, past a full minute."""
    s, r, p = bits(rec)
    lines = ["Time;Vacuum [kPa];Suction;Blow-off;Part present"]
    for i, (k, a, b, c) in enumerate(zip(rec.pressure_kpa, s, r, p, strict=True)):
        d = START + dt.timedelta(seconds=30 + i / 100)
        lines.append(f"{d:%H%M%S}.{d.microsecond // 10000:02d};{k};{a};{b};{c}")
    return joined(lines)


def absolute_without_rest(rec: Recording) -> bytes:
    """An absolute pressure of a line that never returns to ambient."""
    s, r, p = bits(rec)
    lines = ["Time [s];Pressure abs [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{0.6 * k + 70:.3f};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def period_that_is_none(rec: Recording) -> bytes:
    """A preamble whose period is that of the whole recording, above numbered samples."""
    s, r, p = bits(rec)
    lines = ["Recorder: R2", "Recording period: 22.6 s", "Nr;Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [f"{i};{k};{a};{b};{c}" for i, (k, a, b, c) in enumerate(zip(rec.pressure_kpa, s, r, p, strict=True))]
    return joined(lines)


def two_intervals(rec: Recording) -> bytes:
    """A preamble that gives the interval of the display beside that of the samples."""
    s, r, p = bits(rec)
    lines = ["Display interval: 100 ms", "Sample interval: 10 ms", "Nr;Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [f"{i};{k};{a};{b};{c}" for i, (k, a, b, c) in enumerate(zip(rec.pressure_kpa, s, r, p, strict=True))]
    return joined(lines)


def named_cells(rec: Recording) -> bytes:
    """Name and value in every cell."""
    s, r, p = bits(rec)
    return joined(
        [
            f"t={t:.2f};p={k};s={a};r={b};d={c}"
            for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
        ]
    )


def counts_of_a_converter(rec: Recording) -> bytes:
    """Counts of a 12-bit converter whose rest lies where ambient would in hPa."""
    s, r, p = bits(rec)
    lines = ["Time [s];Pressure;Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{round(1010 + k * 8)};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def minus_one_for_true(rec: Recording) -> bytes:
    """-1 for true, as some programs write it."""
    s, r, p = bits(rec)
    lines = ["Time [s];Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{k};{-a};{-b};{-c}" for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def day_in_words(rec: Recording) -> bytes:
    """A weekday before the date, the month as a word."""
    s, r, p = bits(rec)
    lines = ["Timestamp;Vacuum [kPa];Suction;Blow-off;Part present"]
    lines += [
        f"Tue, 26 Mar 2024 {d:%H:%M:%S}.{d.microsecond // 1000:03d};{k};{a};{b};{c}"
        for d, k, a, b, c in zip(stamps(rec), rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


def volts_of_a_sensor(rec: Recording) -> bytes:
    """Volts of a sensor from 1 to 5 without its scale, the volt in the name alone."""
    s, r, p = bits(rec)
    lines = ["Time_s;Vacuum_V;Suction;Blow-off;Part present"]
    lines += [
        f"{t:.2f};{1 - k / 101.3 * 4:.4f};{a};{b};{c}"
        for t, k, a, b, c in zip(rec.time_s, rec.pressure_kpa, s, r, p, strict=True)
    ]
    return joined(lines)


FIELD: dict[str, Callable[[Recording], bytes]] = {
    f.__name__: f
    for f in (
        controller_trend, scope, data_logger, long_epoch_quality, wrapping_counter, packed_hex, packed_binary, tenths,
        pairs_per_line, pairs_on_change, glued_commas, glued_trimmed, glued_nameless, aligned, aligned_tight,
        stop_trigger, spreadsheet_us, swiss_thousands, units_in_cells, event_words, min_max_rows, min_max_columns,
        set_point_columns, supply_pressure_too, date_ambiguous, inverted_outputs, milliamps, no_unit, no_time_unit,
        julian_days, clock_in_columns, newest_first, channels_with_own_time, transposed, fraction_apart,
        signed_twos_complement, hash_header, json_lines,
        ticks_of_ten_ms, steps_since_1601, wide_quality, tenths_in_the_unit, tenths_by_factor, marks_and_blanks, ones_and_blanks, typographic_minus, trailing_minus, size_without_sign, rows_of_all_channels_on_change, minutes, two_senders_in_turn, codes_of_quality, row_twice, clock_in_a_number, absolute_without_rest, period_that_is_none, two_intervals, named_cells, counts_of_a_converter, minus_one_for_true, day_in_words, volts_of_a_sensor,
    )
}  # fmt: skip
