"""More ways in which plants keep one known recording: odd clocks, layouts, containers and words."""

import datetime as dt
import io
import zipfile
from collections.abc import Callable
from decimal import Decimal

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from tests.read.dialects import Recording
from tests.read.plant_logs import Files, clock, dec, level, lines_of, ms, text, words

HEAD = "Time [s];Vacuum [kPa];Suction;Blow-off;Part present"


def wide_quoted(rec: Recording) -> Files:
    """UTF-16 with a mark, the separator named, three header rows, all quoted."""
    kpa, t = rec.pressure_kpa, rec.time_s
    s, r, p = (level(rec, b) for b in range(3))
    quoted = lambda cells: [f'"{c}"' for c in cells]  # noqa: E731
    rows = lines_of(rec, lambda i: quoted((dec(t[i], 2), dec(kpa[i] * 10, 2), s[i], r[i], p[i])))
    head = [quoted(h) for h in (("Zeit", "Druck", "Saugventil", "Abblasventil", "Teil vorhanden"),
                                ("s", "mbar", "", "", ""), ("", "AI 1", "DO 1", "DO 2", "DI 1"))]  # fmt: skip
    return {"log.csv": text(["sep=;", *(";".join(h) for h in head), *rows], code="utf-16")}


def own_rates(rec: Recording) -> Files:
    """A row per reading, digitals at stamps of their own a little later, units and numbered quality beside."""
    at, levels = clock(rec), [level(rec, b) for b in range(3)]
    names, rows = ("PLC.Suction_Valve", "PLC.BlowOff_Valve", "PLC.Part_Present"), []
    for i, a in enumerate(at):
        for k in range(3):
            if i == 0 or levels[k][i] != levels[k][i - 1]:
                early = a - dt.timedelta(milliseconds=4)
                rows.append(f"{early.isoformat(timespec='milliseconds')}Z\t{names[k]}\t{levels[k][i]}\t\t192")
        rows.append(f"{a.isoformat(timespec='milliseconds')}Z\tPLC.Vacuum\t{rec.pressure_kpa[i]}\tkPa\t192")
        if i % 100 == 0:
            rows.append(f"{a.isoformat(timespec='milliseconds')}Z\tPLC.Temperature\t{21 + i / 1000:.2f}\t°C\t192")
    return {"log.tsv": text(["Time\tTag\tValue\tUnit\tQuality", *rows])}


def long_stations(rec: Recording) -> Files:
    """A row per reading of two stations, levels as words."""
    at, levels = clock(rec), [level(rec, b) for b in range(3)]
    names, rows = ("Suction", "BlowOff", "PartPresent"), []
    for i, a in enumerate(at):
        for st, f in (("Loader1", 1.0), ("Loader2", 0.9)):
            rows.append(f"{a.isoformat(timespec='milliseconds')},{st}.Vacuum_kPa,{f * rec.pressure_kpa[i]:.4f}")
            rows += [f"{a.isoformat(timespec='milliseconds')},{st}.{names[k]},{bool(levels[k][i])}"
                     for k in range(3) if i == 0 or levels[k][i] != levels[k][i - 1]]  # fmt: skip
    return {"log.csv": text(["timestamp,name,value", *rows])}


def two_clocks(rec: Recording) -> Files:
    """The logger's stamps beside the controller's counter, which runs 300 ppm fast."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (at[i].isoformat(timespec="milliseconds"), round(rec.time_s[i] * 1000300), kpa[i],
                                    s[i], r[i], p[i]), ",")  # fmt: skip
    return {"log.csv": text(["Logger time,PLC time [us],Vacuum [kPa],Suction,Blow-off,Part present", *rows])}


def counter_restarts(rec: Recording) -> Files:
    """A counter of milliseconds that starts again at zero in the middle."""
    kpa, (s, r, p) = rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: ((i if i < 1100 else i - 1100) * 10, kpa[i], s[i], r[i], p[i]))
    return {"log.csv": text(["ms;Vacuum [kPa];Suction;Blow-off;Part present", *rows])}


def set_clock(rec: Recording) -> Files:
    """A clock that is set back by 0.7 s and later forward by 5 s."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    shift = [0.0 if i < 700 else -0.7 if i < 1500 else 4.3 for i in range(len(at))]
    moved = [a + dt.timedelta(seconds=x) for a, x in zip(at, shift, strict=True)]
    rows = lines_of(rec, lambda i: (f"{moved[i]:%d.%m.%Y %H:%M:%S}.{ms(moved[i])}", kpa[i], s[i], r[i], p[i]))
    return {"log.csv": text(["Zeit;Druck [kPa];Saugen;Abblasen;Teil da", *rows])}


def bursts(rec: Recording) -> Files:
    """Stamps of the moment at which blocks of ten rows were written."""
    kpa, (s, r, p) = rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{(i // 10) / 10:.3f}", kpa[i], s[i], r[i], p[i]))
    return {"log.csv": text([HEAD, *rows])}


def jitter(rec: Recording) -> Files:
    """Stamps that shake by some milliseconds."""
    rng = np.random.default_rng(7)
    t, kpa, (s, r, p) = rec.time_s, rec.pressure_kpa, (level(rec, b) for b in range(3))
    shaken = t + rng.uniform(0, 0.006, len(t))
    rows = lines_of(rec, lambda i: (f"{shaken[i]:.6f}", kpa[i], s[i], r[i], p[i]))
    return {"log.csv": text([HEAD, *rows])}


def analogue_coils(rec: Recording) -> Files:
    """Channels of a recorder: a pressure with its unit, three coils in volts with noise, names that say nothing."""
    rng, t, kpa = np.random.default_rng(8), rec.time_s, rec.pressure_kpa
    volts = np.stack([level(rec, b) for b in range(3)]) * 23.6 + rng.normal(0.1, 0.04, (3, len(t)))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", f"{kpa[i]:.3f}", *(f"{v:.3f}" for v in volts[:, i])), "\t")
    return {"log.txt": text(["Time\tAI1\tAI2\tAI3\tAI4", "s\tkPa\tV\tV\tV", *rows])}


def many_inputs(rec: Recording) -> Files:
    """Eight inputs, five of which are of other machines."""
    rng, t, kpa = np.random.default_rng(9), rec.time_s, rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    other = [np.repeat(rng.integers(0, 2, len(t) // w + 1), w)[: len(t)] for w in (37, 90, 211, 400, 63)]
    order = [other[0], s, other[1], p, other[2], r, other[3], other[4]]
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", kpa[i], *(int(o[i]) for o in order)), ",")
    return {"log.csv": text(["t [s],AI0 [kPa]," + ",".join(f"DI{k}" for k in range(8)), *rows])}


def hex_word(rec: Recording) -> Files:
    """A word of bits in hexadecimal figures of a controller."""
    t, kpa = rec.time_s, rec.pressure_kpa
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", kpa[i], f"16#{int(rec.digital[i]) << 8:04X}"))
    return {"log.csv": text(["Time [s];Pressure [kPa];Status word", *rows])}


def overlapping(rec: Recording) -> Files:
    """Two files that share some rows."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (at[i].isoformat(timespec="milliseconds"), kpa[i], s[i], r[i], p[i]), ",")
    head = "time,vacuum_kPa,suction,blow_off,part_present"
    return {"one.csv": text([head, *rows[:1300]]), "two.csv": text([head, *rows[1000:]])}


def parquet_lists(rec: Recording) -> Files:
    """Readings as lists, date and time of day in columns of their own."""
    at = clock(rec)
    table = pa.table({
        "date": pa.array([a.date() for a in at], pa.date32()), "time": pa.array([a.time() for a in at], pa.time64("us")),
        "vacuum_mbar": pa.array([Decimal(f"{k * 10:.2f}") for k in rec.pressure_kpa], pa.decimal128(9, 2)),
        "dio": pa.array([[int(d) & 1, int(d) >> 1 & 1, int(d) >> 2] for d in rec.digital], pa.list_(pa.int8())),
    })  # fmt: skip
    sink = io.BytesIO()
    pq.write_table(table, sink, row_group_size=500)
    return {"log.parquet": sink.getvalue()}


def parquet_elapsed(rec: Recording) -> Files:
    """Durations, words as dictionaries, single precision."""
    table = pa.table({
        "elapsed": pa.array([dt.timedelta(seconds=float(t)) for t in rec.time_s], pa.duration("ms")),
        "Vacuum_kPa": pa.array(rec.pressure_kpa.astype(np.float32)),
        **{n: pa.array(words(rec, b, "OFF", "ON")).dictionary_encode()
           for b, n in enumerate(("Suction", "BlowOff", "PartPresent"))},
    })  # fmt: skip
    sink = io.BytesIO()
    pq.write_table(table, sink)
    return {"log.parquet": sink.getvalue()}


def packed_integers(rec: Recording) -> Files:
    """Whole numbers for the date, the time and the milliseconds in a typed file."""
    at = clock(rec, "2024-03-26 09:59:50")
    table = pa.table({
        "timestamp": pa.array([int(f"{a:%Y%m%d%H%M%S}{ms(a)}") for a in at]), "pressure_kpa": rec.pressure_kpa,
        "supply": level(rec, 0), "release": level(rec, 1), "part_present": level(rec, 2),
    })  # fmt: skip
    sink = io.BytesIO()
    pq.write_table(table, sink)
    return {"log.parquet": sink.getvalue()}


def long_preamble(rec: Recording) -> Files:
    """Sixty lines with marks and numbers above the header, a trailing mark, a count below."""
    kpa, t, (s, r, p) = rec.pressure_kpa, rec.time_s, (level(rec, b) for b in range(3))
    head = [f"Parameter {k};{k * 1.5:.1f};mm;;" if k % 3 else f"# Note {k}; all, well" for k in range(60)]
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", f"{kpa[i]:.3f}", s[i], r[i], p[i], ""))
    return {"log.csv": text([*head, "", HEAD + ";", *rows, f"Rows: {len(rows)}"], "\n")}


def seconds_apart(rec: Recording) -> Files:
    """Whole seconds since 1970 and milliseconds in two columns."""
    kpa, (s, r, p) = rec.pressure_kpa, (level(rec, b) for b in range(3))
    n = [1711448234 * 1000 + round(t * 1000) for t in rec.time_s.tolist()]
    rows = lines_of(rec, lambda i: (n[i] // 1000, n[i] % 1000, kpa[i], s[i], r[i], p[i]), ",")
    return {"log.csv": text(["sec,msec,Vacuum [kPa],Suction,Blow-off,Part present", *rows], "\n")}


def epoch_float(rec: Recording) -> Files:
    """Seconds since 1970 with a fraction, absolute psi."""
    kpa, (s, r, p) = rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{1711448234 + rec.time_s[i]:.3f}", f"{(kpa[i] + 100.6) / 6.894757:.4f}",
                                    s[i], r[i], p[i]), ",")  # fmt: skip
    return {"log.csv": text(["timestamp,pressure_psia,valve_suction,valve_blow,part", *rows], "\n")}


def plant_pressures(rec: Recording) -> Files:
    """Supply pressure, flow, temperature and set points beside the vacuum, decimal comma and thousands points."""
    at, (s, r, p) = clock(rec), (level(rec, b) for b in range(3))
    rng = np.random.default_rng(3)
    air, flow = 5.6 - 0.2 * np.array(s) + rng.normal(0, 0.01, len(s)), 40 * np.array(s) + rng.normal(0, 0.4, len(s))
    absolute = [f"{(k + 100.6) * 10:,.2f}".translate(str.maketrans(",.", ".,")) for k in rec.pressure_kpa]
    head = ("Zeitpunkt;Versorgungsdruck [bar];Durchfluss [l/min];Temperatur [°C];Druck Greifer [mbar abs];"
            "Sollwert [mbar];Ventil Saugen;Ventil Abblasen;Teil vorhanden")  # fmt: skip
    rows = lines_of(rec, lambda i: (f"{at[i]:%d.%m.%Y %H:%M:%S},{ms(at[i])}", dec(air[i], 2), dec(flow[i], 1), "21,5",
                                    absolute[i], "450,00", s[i], r[i], p[i]))  # fmt: skip
    return {"log.csv": text([head, *rows], code="cp1252")}


def addresses(rec: Recording) -> Files:
    """Names that are addresses in a controller, roles from the data, levels with a decimal comma."""
    t, kpa = rec.time_s, rec.pressure_kpa
    s, r, p = (words(rec, b, "0,0", "1,0") for b in range(3))
    rows = lines_of(rec, lambda i: (dec(t[i], 3), dec(kpa[i], 3), p[i], s[i], r[i]), "\t")
    return {"log.txt": text(["t(s)\t%IW64 (kPa)\t%I0.3\t%Q0.1\t%Q0.2", *rows])}


def zip_folder(rec: Recording) -> Files:
    """A zip with the log in a folder, lines that end in carriage returns alone."""
    kpa, t, (s, r, p) = rec.pressure_kpa, rec.time_s, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (dec(t[i], 2), dec(kpa[i], 3), s[i], r[i], p[i]))
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("export/", "")
        archive.writestr(
            "export/log.csv", text(["Temps (s);Dépression (kPa);Aspiration;Soufflage;Pièce", *rows], "\r", "cp1252")
        )
    return {"log.zip": sink.getvalue()}


def comments(rec: Recording) -> Files:
    """A column of remarks in quotes that hold marks and line ends."""
    t, kpa, (s, r, p) = rec.time_s, rec.pressure_kpa, (level(rec, b) for b in range(3))
    note = ['"shift change; all well"' if i == 300 else '"two\r\nlines"' if i == 900 else "" for i in range(len(t))]
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", kpa[i], s[i], r[i], p[i], note[i]))
    return {"log.csv": text([HEAD + ";Remark", *rows])}


def offsets_change(rec: Recording) -> Files:
    """Stamps whose zone changes with the clock in spring."""
    at, kpa = clock(rec, "2024-03-31 00:59:50"), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    moved = [(a + dt.timedelta(hours=1), "+01:00") if a.hour < 1 else (a + dt.timedelta(hours=2), "+02:00") for a in at]
    rows = lines_of(rec, lambda i: (moved[i][0].isoformat(timespec="milliseconds") + moved[i][1], kpa[i],
                                    s[i], r[i], p[i]), ",")  # fmt: skip
    return {"log.csv": text(["time,vacuum [kPa],suction,blow-off,part present", *rows])}


def seconds_over_midnight(rec: Recording) -> Files:
    """Clocks of whole seconds over 100 rows that pass midnight, am and pm in small letters."""
    at, kpa = clock(rec, "2024-03-26 23:59:50"), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%I:%M:%S} {at[i]:%p}".lower(), kpa[i], s[i], r[i], p[i]), "|")
    return {"log.csv": text(["time|vacuum (kPa)|suction|blow off|part ok", *rows])}


def named_cells(rec: Recording) -> Files:
    """Name and value in every cell."""
    t, kpa, (s, r, p) = rec.time_s, rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"time_s={t[i]:.2f}", f"vacuum_kPa={kpa[i]}", f"suction={s[i]}", f"blow_off={r[i]}",
                                    f"part_present={p[i]}"), ",")  # fmt: skip
    return {"log.csv": text(rows)}


def diary(rec: Recording) -> Files:
    """Lines of a program's log: stamp, level, and names with values."""
    at, kpa, (s, r, p) = clock(rec), rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = [f"{a:%Y-%m-%d %H:%M:%S},{ms(a)} INFO gripper vacuum_kPa={k} suction={x} blow_off={y} part_present={z}"
            for a, k, x, y, z in zip(at, kpa, s, r, p, strict=True)]  # fmt: skip
    return {"log.log": text(rows)}


def two_sensors(rec: Recording) -> Files:
    """Two vacuum sensors of one station: which is meant, the log does not tell."""
    t, kpa, (s, r, p) = rec.time_s, rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", kpa[i], f"{0.95 * kpa[i]:.3f}", s[i], r[i], p[i]))
    return {"log.csv": text(["Time [s];Vacuum generator [kPa];Vacuum cup [kPa];Suction;Blow-off;Part present", *rows])}


def twos_complement(rec: Recording) -> Files:
    """Negative readings written as if they had no sign, 65536 more."""
    t, kpa, (s, r, p) = rec.time_s, rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", round(kpa[i] * 10) % 65536, s[i], r[i], p[i]))
    return {"log.csv": text(["Time [s];Vacuum [mbar];Suction;Blow-off;Part present", *rows])}


def nothing_but_numbers(rec: Recording) -> Files:
    """No header: seconds, absolute millibar with ambient, three levels."""
    t, kpa, (s, r, p) = rec.time_s, rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.3f}", f"{(kpa[i] + 100.6) * 10:.1f}", s[i], r[i], p[i]), ",")
    return {"log.csv": text(rows, "\n")}


def polish_words(rec: Recording) -> Files:
    """Vacuum positive in hPa under other words, elapsed minutes and seconds."""
    t, kpa, (s, r, p) = rec.time_s, rec.pressure_kpa, (words(rec, b, "NIE", "TAK") for b in range(3))
    rows = lines_of(
        rec, lambda i: (f"{int(t[i]) // 60:02d}:{t[i] % 60:06.3f}", dec(-kpa[i] * 10, 1, "."), s[i], r[i], p[i])
    )
    return {"log.csv": text(["Czas trwania;Próżnia [hPa];Zawór próżni;Przedmuch;Detal uchwycony", *rows])}


def danish(rec: Recording) -> Files:
    """A clock with points, words with letters of its own."""
    at, kpa, (s, r, p) = clock(rec), rec.pressure_kpa, (words(rec, b, "Fra", "Til") for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%d-%m-%Y %H.%M.%S},{ms(at[i])}", dec(kpa[i], 3), s[i], r[i], p[i]))
    return {"log.csv": text(["Tidspunkt;Undertryk (kPa);Sugeventil;Afblæsning;Emne til stede", *rows], code="latin-1")}


def russian(rec: Recording) -> Files:
    """Cyrillic in an older code."""
    at, kpa, (s, r, p) = clock(rec), rec.pressure_kpa, (words(rec, b, "Выкл", "Вкл") for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%d.%m.%Y %H:%M:%S},{ms(at[i])}", dec(kpa[i], 3), s[i], r[i], p[i]))
    return {"log.csv": text(["Время;Разрежение, кПа;Подача вакуума;Сдув;Наличие детали", *rows], code="cp1251")}


def korean(rec: Recording) -> Files:
    """Korean words, full-width brackets."""
    at, kpa, (s, r, p) = clock(rec), rec.pressure_kpa, (words(rec, b, "꺼짐", "켜짐") for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%Y-%m-%d %H:%M:%S}.{ms(at[i])}", kpa[i], s[i], r[i], p[i]), ",")
    return {"log.csv": text(["시각,진공압력［ｋＰａ］,흡착 밸브,파기 밸브,제품 감지", *rows])}


def written_on_change(rec: Recording) -> Files:
    """A row per reading, written when a reading has changed by 2 kPa or a level at all."""
    at, levels, last, rows = clock(rec), [level(rec, b) for b in range(3)], np.nan, []
    names = ("Suction", "BlowOff", "PartPresent")
    for i, a in enumerate(at):
        stamp = a.isoformat(timespec="milliseconds")
        rows += [f"{stamp};{names[k]};{levels[k][i]}" for k in range(3) if i == 0 or levels[k][i] != levels[k][i - 1]]
        if not abs(rec.pressure_kpa[i] - last) < 2.0:
            last = float(rec.pressure_kpa[i])
            rows.append(f"{stamp};Vacuum_kPa;{last}")
    return {"log.csv": text(["time;tag;value", *rows])}


def states_in_words(rec: Recording) -> Files:
    """Words of the log's own, one of which is a usual word for a level."""
    t, kpa = rec.time_s, rec.pressure_kpa
    s, r, p = words(rec, 0, "at rest", "drawing"), words(rec, 1, "closed", "blowing"), words(rec, 2, "empty", "present")
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", kpa[i], s[i], r[i], p[i]))
    return {"log.csv": text([HEAD, *rows])}


def days(rec: Recording) -> Files:
    """Elapsed days with many figures."""
    t, kpa, (s, r, p) = rec.time_s, rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i] / 86400:.10f}", kpa[i], s[i], r[i], p[i]), ",")
    return {"log.csv": text(["Time [d],Vacuum [kPa],Suction,Blow-off,Part present", *rows])}


def rate_alone(rec: Recording) -> Files:
    """No time, a rate above the columns under its letters."""
    kpa, (s, r, p) = rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (kpa[i], s[i], r[i], p[i]), ",")
    return {"log.csv": text(["# fs = 100 Hz", "vacuum_kPa,suction,blow,part", *rows])}


def wrong_time_unit(rec: Recording) -> Files:
    """Milliseconds under a name that says seconds."""
    t, kpa, (s, r, p) = rec.time_s, rec.pressure_kpa, (level(rec, b) for b in range(3))
    return {"log.csv": text([HEAD, *lines_of(rec, lambda i: (round(t[i] * 1000), kpa[i], s[i], r[i], p[i]))])}


def wrong_pressure_unit(rec: Recording) -> Files:
    """Whole tenths of a kPa under a name that says kPa."""
    t, kpa, (s, r, p) = rec.time_s, rec.pressure_kpa, (level(rec, b) for b in range(3))
    return {"log.csv": text([HEAD, *lines_of(rec, lambda i: (f"{t[i]:.2f}", round(kpa[i] * 10), s[i], r[i], p[i]))])}


MORE: dict[str, Callable[[Recording], Files]] = {
    f.__name__: f
    for f in (
        wide_quoted, own_rates, long_stations, two_clocks, counter_restarts, set_clock, bursts, jitter, analogue_coils,
        many_inputs, hex_word, overlapping, parquet_lists, parquet_elapsed, packed_integers, long_preamble,
        seconds_apart, epoch_float, plant_pressures, addresses, zip_folder, comments, offsets_change,
        seconds_over_midnight, named_cells, diary, two_sensors, twos_complement, nothing_but_numbers, polish_words,
        danish, russian, korean, written_on_change, states_in_words, days, rate_alone, wrong_time_unit,
        wrong_pressure_unit,
    )
}  # fmt: skip
