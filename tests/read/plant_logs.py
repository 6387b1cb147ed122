"""One known recording as plants in many countries keep it: words, clocks, layouts and quirks, freely combined.

Each function gives the files of one recording by their names; `PLANT` lists them.
"""

import datetime as dt
import gzip
import io
import zipfile
from collections.abc import Callable, Iterable, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from tests.read.dialects import Recording

Files = dict[str, bytes]
Cells = Callable[[int], Sequence[object]]


def text(lines: Iterable[str], end: str = "\r\n", code: str = "utf-8") -> bytes:
    """Lines as bytes."""
    return (end.join(lines) + end).encode(code)


def level(rec: Recording, bit: int) -> list[int]:
    """Levels of one signal: 0 supply, 1 release, 2 part present."""
    return [int(v) for v in rec.digital >> bit & 1]


def words(rec: Recording, bit: int, off: str, on: str) -> list[str]:
    """Levels of one signal in two words."""
    return [on if v else off for v in level(rec, bit)]


def clock(rec: Recording, start: str = "2024-03-26 10:17:14") -> list[dt.datetime]:
    """The moment of every sample, without a zone."""
    begun = dt.datetime.fromisoformat(start)
    return [begun + dt.timedelta(microseconds=round(float(t) * 1e6)) for t in rec.time_s]


def ms(at: dt.datetime) -> str:
    """Milliseconds of a moment, three figures."""
    return f"{at.microsecond // 1000:03d}"


def dec(value: float, digits: int, sign: str = ",") -> str:
    """A number with a decimal sign of choice."""
    return f"{value:.{digits}f}".replace(".", sign)


def lines_of(rec: Recording, cells: Cells, mark: str = ";") -> list[str]:
    """A line for every sample."""
    return [mark.join(str(c) for c in cells(i)) for i in range(len(rec.time_s))]


def polish(rec: Recording) -> Files:
    """Windows-1250, semicolons, decimal comma, day first, words for on and off."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (words(rec, b, "WYŁ", "ZAŁ") for b in range(3))
    head = ["Rejestrator hali 2;;;;", "Data i godzina;Podciśnienie [kPa];Zawór ssania;Wydmuch;Detal obecny"]
    rows = lines_of(rec, lambda i: (f"{at[i]:%d.%m.%Y %H:%M:%S},{ms(at[i])}", dec(kpa[i], 3), s[i], r[i], p[i]))
    return {"log.csv": text(head + rows, code="cp1250")}


def czech(rec: Recording) -> Files:
    """UTF-16 without a mark, tabs, millibar, elapsed time."""
    kpa, t = rec.pressure_kpa, rec.time_s
    s, r, p = (words(rec, b, "Vypnuto", "Zapnuto") for b in range(3))
    rows = lines_of(rec, lambda i: (f"0:{int(t[i]) // 60:02d}:{t[i] % 60:06.3f}".replace(".", ","),
                                    dec(kpa[i] * 10, 2), s[i], r[i], p[i]), "\t")  # fmt: skip
    return {"log.txt": text(["Čas\tPodtlak (mbar)\tSání\tOdfuk\tDíl přítomen", *rows], code="utf-16-le")}


def portuguese(rec: Recording) -> Files:
    """Latin-1, vacuum positive in inHg, date and time apart."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (words(rec, b, "Desligado", "Ligado") for b in range(3))
    head = ["Registo: célula 4", "", "Data;Hora;Vácuo (inHg);Válvula de vácuo;Sopro;Peça presente"]
    rows = lines_of(rec, lambda i: (f"{at[i]:%d/%m/%Y}", f"{at[i]:%H:%M:%S},{ms(at[i])}", dec(-kpa[i] / 3.386389, 4),
                                    s[i], r[i], p[i]))  # fmt: skip
    return {"log.csv": text(head + rows, code="latin-1")}


def italian(rec: Recording) -> Files:
    """Units in a row of their own, true and false in words, milliseconds."""
    kpa, t = rec.pressure_kpa, rec.time_s
    s, r, p = (words(rec, b, "FALSO", "VERO") for b in range(3))
    head = ["Tempo;Depressione;Elettrovalvola vuoto;Soffio;Presenza pezzo", "ms;mbar;-;-;-"]
    rows = lines_of(rec, lambda i: (round(t[i] * 1000), dec(-kpa[i] * 10, 1), s[i], r[i], p[i]))
    return {"log.csv": text(head + rows)}


def french(rec: Recording) -> Files:
    """Absolute pressure in hPa with blanks as thousands marks, true and false in words."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (words(rec, b, "FAUX", "VRAI") for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%d/%m/%Y %H:%M:%S},{ms(at[i])}",
                                    f"{(kpa[i] + 100.6) * 10:,.1f}".replace(",", "\u202f").replace(".", ","),
                                    s[i], r[i], p[i]))  # fmt: skip
    return {"log.csv": text(["Horodatage;Pression absolue (hPa);EV vide;EV soufflage;Pièce prise", *rows])}


def spanish(rec: Recording) -> Files:
    """A 12-hour clock that passes noon, with points and blanks in its marks."""
    at, kpa = clock(rec, "2024-03-26 11:59:50"), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    half = [("a." if a.hour < 12 else "p.") + " m." for a in at]
    rows = lines_of(rec, lambda i: (f"{at[i]:%d/%m/%Y %I:%M:%S}.{ms(at[i])} {half[i]}", kpa[i], s[i], r[i], p[i]))
    head = "Fecha y hora;Presión manométrica (kPa);Electroválvula de vacío;Soplado;Pieza presente"
    return {"log.csv": text([head, *rows])}


def dutch(rec: Recording) -> Files:
    """Bars with a decimal comma between quotes in a file parted by commas."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (words(rec, b, "UIT", "AAN") for b in range(3))
    rows = lines_of(rec, lambda i: (f'"{at[i]:%d-%m-%Y %H:%M:%S},{ms(at[i])}"', f'"{dec(kpa[i] / 100, 5)}"',
                                    s[i], r[i], p[i]), ",")  # fmt: skip
    return {"log.csv": text(["Tijdstip,Druk [bar],Zuigventiel,Afblaasventiel,Product aanwezig", *rows])}


def swedish(rec: Recording) -> Files:
    """Blanks as thousands marks of absolute Pa, words for on and off, seconds."""
    kpa, t = rec.pressure_kpa, rec.time_s
    s, r, p = (words(rec, b, "Från", "Till") for b in range(3))
    rows = lines_of(rec, lambda i: (dec(t[i], 2), f"{(kpa[i] + 100.6) * 1000:,.0f}".replace(",", "\u00a0"),
                                    s[i], r[i], p[i]), "\t")  # fmt: skip
    return {"log.txt": text(["Tid [s]\tTryck abs [Pa]\tSugventil\tAvblåsning\tDetalj närvarande", *rows])}


def turkish(rec: Recording) -> Files:
    """Windows-1254 and capital letters of its own."""
    kpa, t = rec.pressure_kpa, rec.time_s
    s, r, p = (words(rec, b, "KAPALI", "AÇIK") for b in range(3))
    rows = lines_of(rec, lambda i: (dec(t[i], 2), dec(-kpa[i] * 7.500617, 2), s[i], r[i], p[i]))
    head = "Zaman (sn);VAKUM (mmHg);EMME VALFİ;ÜFLEME VALFİ;PARÇA VAR"
    return {"log.csv": text([head, *rows], code="cp1254")}


def chinese(rec: Recording) -> Files:
    """Chinese words, Unix milliseconds."""
    kpa, t = rec.pressure_kpa, rec.time_s
    s, r, p = (words(rec, b, "关", "开") for b in range(3))
    rows = lines_of(rec, lambda i: (1711448234000 + round(t[i] * 1000), kpa[i], s[i], r[i], p[i]), ",")
    return {"log.csv": text(["时间戳,真空压力(kPa),吸气阀,破真空阀,工件检测", *rows], "\n")}


def chinese_old(rec: Recording) -> Files:
    """The same in an older encoding."""
    return {"log.csv": chinese(rec)["log.csv"].decode().encode("gb18030")}


def japanese(rec: Recording) -> Files:
    """Japanese words in an older encoding, date with slashes."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%Y/%m/%d %H:%M:%S}.{ms(at[i])}", kpa[i], s[i], r[i], p[i]), ",")
    return {"log.csv": text(["日時,圧力[kPa],吸着弁,真空破壊弁,ワーク検出", *rows], code="cp932")}


def japanese_date(rec: Recording) -> Files:
    """Words between the parts of the date and of the clock."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (words(rec, b, "オフ", "オン") for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%Y年%m月%d日 %H時%M分%S}.{ms(at[i])}秒", kpa[i], s[i], r[i], p[i]), ",")
    return {"log.csv": text(["日時,圧力[kPa],吸着弁,真空破壊弁,ワーク検出", *rows])}


def hungarian(rec: Recording) -> Files:
    """Year first with dots and blanks."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (words(rec, b, "nem", "igen") for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%Y. %m. %d. %H:%M:%S},{ms(at[i])}", dec(kpa[i], 3), s[i], r[i], p[i]))
    return {"log.csv": text(["Időpont;Nyomás [kPa];Szívás;Lefúvás;Munkadarab jelen", *rows])}


def german_month(rec: Recording) -> Files:
    """The month as a word, pressure above and below ambient."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (words(rec, b, "Aus", "Ein") for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i].day}. März {at[i]:%Y %H:%M:%S},{ms(at[i])}", dec(kpa[i] * 10, 1),
                                    s[i], r[i], p[i]))  # fmt: skip
    return {"log.csv": text(["Zeitstempel;Überdruck [mbar];Vakuum Ein;Abblasen;Teil gegriffen", *rows])}


def packed_stamp(rec: Recording) -> Files:
    """Year to milliseconds in one number."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%Y%m%d%H%M%S}{ms(at[i])}", kpa[i], s[i], r[i], p[i]))
    return {"log.csv": text(["Timestamp;Vacuum [kPa];Suction;Blow-off;Part present", *rows])}


def packed_seconds(rec: Recording) -> Files:
    """Year to seconds in one number, with a fraction."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%Y%m%d%H%M%S}.{ms(at[i])}", kpa[i], s[i], r[i], p[i]))
    return {"log.csv": text(["Timestamp;Vacuum [kPa];Suction;Blow-off;Part present", *rows])}


def packed_apart(rec: Recording) -> Files:
    """Date and clock as numbers in two columns, over a full minute."""
    at, kpa = clock(rec, "2024-03-26 09:59:50"), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%Y%m%d}", f"{at[i]:%H%M%S}.{ms(at[i])}", kpa[i], s[i], r[i], p[i]))
    return {"log.csv": text(["Date;Time;Vacuum [kPa];Suction;Blow-off;Part present", *rows])}


def newest_first_seconds(rec: Recording) -> Files:
    """The newest row first, in seconds, with a footer."""
    kpa, t = rec.pressure_kpa, rec.time_s
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", kpa[i], s[i], r[i], p[i]), ",")
    head = "Time [s],Vacuum [kPa],Suction,Blow-off,Part present"
    return {"log.csv": text([head, *rows[::-1], "", "End of export"])}


def newest_first_long(rec: Recording) -> Files:
    """The newest reading first, a row per reading."""
    at, kpa = clock(rec), rec.pressure_kpa
    names, levels, last = ("Suction", "BlowOff", "PartPresent"), [level(rec, b) for b in range(3)], [-1, -1, -1]
    rows = []
    for i, a in enumerate(at):
        stamp = f"{a:%Y-%m-%d %H:%M:%S}.{ms(a)}"
        for k in range(3):
            if levels[k][i] != last[k]:
                last[k] = levels[k][i]
                rows.append(f"{stamp};{names[k]};{last[k]}")
        rows.append(f"{stamp};Pressure [kPa];{kpa[i]}")
    return {"log.csv": text(["Time;Tag;Value", *rows[::-1]])}


def serial_days(rec: Recording) -> Files:
    """A spreadsheet's days with many figures and a decimal comma."""
    kpa, t = rec.pressure_kpa, rec.time_s
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (dec(45377.428634 + t[i] / 86400, 11), dec(kpa[i], 3), s[i], r[i], p[i]))
    return {"log.csv": text(["Zeit;Unterdruck [kPa];Saugen;Abblasen;Teil da", *rows], code="utf-8-sig")}


def summer_begins(rec: Recording) -> Files:
    """Local stamps over the hour that is left out in spring."""
    base = clock(rec, "2024-03-31 01:59:50")
    at = [a + dt.timedelta(hours=1) if a.hour >= 2 else a for a in base]
    kpa, (s, r, p) = rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%d.%m.%Y %H:%M:%S},{ms(at[i])}", dec(kpa[i], 3), s[i], r[i], p[i]))
    return {"log.csv": text(["Zeit;Unterdruck [kPa];Saugen;Abblasen;Teil da", *rows])}


def summer_ends(rec: Recording) -> Files:
    """Local stamps over the hour that comes twice in autumn."""
    base = clock(rec, "2024-10-27 02:59:50")
    at = [a - dt.timedelta(hours=1) if a.hour >= 3 else a for a in base]
    kpa, (s, r, p) = rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%Y-%m-%d %H:%M:%S}.{ms(at[i])}", kpa[i], s[i], r[i], p[i]), ",")
    return {"log.csv": text(["Timestamp,Vacuum [kPa],Suction,Blow-off,Part present", *rows])}


def over_midnight(rec: Recording) -> Files:
    """A 12-hour clock without a date that passes midnight."""
    at, kpa = clock(rec, "2024-03-26 23:59:50"), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%I:%M:%S}.{ms(at[i])} {at[i]:%p}", kpa[i], s[i], r[i], p[i]), ",")
    return {"log.csv": text(["Time of day,Vacuum [kPa],Suction,Blow-off,Part present", *rows])}


def signed_counter(rec: Recording) -> Files:
    """A signed counter of microseconds that passes its highest value."""
    kpa, (s, r, p) = rec.pressure_kpa, (level(rec, b) for b in range(3))
    us = [(2**31 - 5_000_000 + round(t * 1e6) + 2**31) % 2**32 - 2**31 for t in rec.time_s.tolist()]
    rows = lines_of(rec, lambda i: (us[i], kpa[i], s[i], r[i], p[i]), ",")
    return {"log.csv": text(["t_us,pressure_kpa,valve_suction,valve_blow,part_present", *rows], "\n")}


def counter_32(rec: Recording) -> Files:
    """An unsigned counter of milliseconds that passes its highest value."""
    kpa, (s, r, p) = rec.pressure_kpa, (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: ((2**32 - 5000 + round(rec.time_s[i] * 1000)) % 2**32, kpa[i], s[i], r[i], p[i]))
    return {"log.csv": text(["millis();Vacuum kPa;Suction;Blow off;Part OK", *rows], "\n")}


def rate_in_preamble(rec: Recording) -> Files:
    """Numbered samples under a preamble of 25 lines that holds their rate."""
    kpa, (s, r, p) = rec.pressure_kpa, (level(rec, b) for b in range(3))
    head = [f"Info{i}\tvalue {i}" for i in range(23)] + ["Sampling rate\t100 Hz", "Start\t2024-03-26 10:17:14"]
    rows = lines_of(rec, lambda i: (i + 1, dec(kpa[i] * 10, 2, "."), s[i], r[i], p[i]), "\t")
    return {"log.txt": text([*head, "No.\tVacuum [mbar]\tSuction\tBlow-off\tPart", *rows])}


def loop_with_scale(rec: Recording) -> Files:
    """A current loop whose two points stand in the preamble."""
    t, kpa = rec.time_s, rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    head = ["Channel 1: 4 mA = 0 kPa, 20 mA = -100 kPa", "Time [s];Vacuum sensor [mA];Suction;Blow-off;Part present"]
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", f"{4 - kpa[i] * 0.16:.4f}", s[i], r[i], p[i]))
    return {"log.csv": text(head + rows)}


def volts_without_scale(rec: Recording) -> Files:
    """Volts from 0 to 10 without a scale."""
    t, kpa = rec.time_s, rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", f"{-kpa[i] / 10:.4f}", s[i], r[i], p[i]))
    return {"log.csv": text(["Time [s];Vacuum sensor [V];Suction;Blow-off;Part present", *rows])}


def tenths(rec: Recording) -> Files:
    """Whole counts of a tenth of a kPa, said in the unit."""
    t, kpa = rec.time_s, rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", round(kpa[i] * 10), s[i], r[i], p[i]))
    return {"log.csv": text(["Time [s];Vacuum [0.1 kPa];Suction;Blow-off;Part present", *rows])}


def bit_word(rec: Recording) -> Files:
    """One integer of inputs, with a bit that beats and one that is always on."""
    t, kpa = rec.time_s, rec.pressure_kpa
    beat = np.arange(len(t)) // 50 % 2
    word = (rec.digital.astype(int) & 1) << 3 | (rec.digital >> 1 & 1) << 4 | (rec.digital >> 2 & 1) << 6 | beat | 128
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", kpa[i], int(word[i])), ",")
    return {"log.csv": text(["Time [s],Pressure [kPa],Inputs", *rows])}


def sentinels(rec: Recording) -> Files:
    """Numbers that stand for no reading, in millibar, and a status word."""
    t, kpa = rec.time_s, rec.pressure_kpa
    mbar = [dec(k * 10, 1, ".") for k in kpa]
    mbar[500:504], mbar[700:703] = ["-9999"] * 4, ["32767"] * 3
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", mbar[i], s[i], r[i], p[i], "RUN" if i % 400 else "RUN "))
    return {"log.csv": text(["Time [s];Pressure [mbar rel];Suction;Blow-off;Part present;Machine", *rows])}


def footer_table(rec: Recording) -> Files:
    """A table of statistics below the samples, in columns like theirs."""
    t, kpa = rec.time_s, rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", kpa[i], s[i], r[i], p[i]))
    foot = ["", "Minimum;-79.1;0;0;0", "Maximum;2.3;1;1;1", "Average;-48.2;0.4;0.1;0.6", "Count;2262;2262;2262;2262"]
    return {"log.csv": text(["Time [s];Vacuum [kPa];Suction;Blow-off;Part present", *rows, *foot])}


def numbered_stations(rec: Recording) -> Files:
    """Three stations as columns in groups with a row of group names."""
    t, kpa = rec.time_s, rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    head = [";Station 1;;;;Station 2;;;;Station 3;;;", "Time" + ";Vacuum;Suction;Blow-off;Part present" * 3,
            "s" + ";kPa;;;" * 3]  # fmt: skip
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", *(c for f in (1.0, 0.9, 0.8)
                                                     for c in (f"{f * kpa[i]:.4f}", s[i], r[i], p[i]))))  # fmt: skip
    return {"log.csv": text(head + rows)}


def station_rows(rec: Recording) -> Files:
    """Two grippers in turn, named by a column of words."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (words(rec, b, "False", "True") for b in range(3))
    lines = ["Zeitpunkt;Greifer;Unterdruck in kPa;Saugen;Abblasen;Teil da"]
    for i, a in enumerate(at):
        for name, f in (("G1", 1.0), ("G2", 0.9)):
            lines.append(f"{a:%Y-%m-%dT%H:%M:%S}.{ms(a)};{name};{dec(f * kpa[i], 4)};{s[i]};{r[i]};{p[i]}")
    return {"log.csv": text(lines)}


def digitals_twice(rec: Recording) -> Files:
    """The pressure in one file, the valves on change in a second, the switch in a third."""
    at, kpa = clock(rec), rec.pressure_kpa
    levels = [level(rec, b) for b in range(3)]
    stamp = [f"{a:%Y-%m-%d %H:%M:%S}.{ms(a)}" for a in at]
    pressure = ["Time,Vacuum [kPa]", *(f"{x},{k}" for x, k in zip(stamp, kpa, strict=True))]
    valves, switch = ["Time,Suction,Blow-off"], ["Time,Part present"]
    for i, x in enumerate(stamp):
        if i == 0 or any(levels[k][i] != levels[k][i - 1] for k in (0, 1)):
            valves.append(f"{x},{levels[0][i]},{levels[1][i]}")
        if i == 0 or levels[2][i] != levels[2][i - 1]:
            switch.append(f"{x},{levels[2][i]}")
    return {"pressure.csv": text(pressure), "valves.csv": text(valves), "switch.csv": text(switch)}


def events_beside(rec: Recording) -> Files:
    """Samples in one file, a list of events with words in another, both with zones."""
    at, kpa = clock(rec), rec.pressure_kpa
    names, levels = ("Saugventil", "Abblasventil", "Teil vorhanden"), [level(rec, b) for b in range(3)]
    stamp = [f"{a:%Y-%m-%dT%H:%M:%S}.{ms(a)}+01:00" for a in at]
    samples = ["Zeit;Druck [mbar]", *(f"{x};{dec(k * 10, 2)}" for x, k in zip(stamp, kpa, strict=True))]
    events = ["Zeit;Signal;Zustand"]
    for i, x in enumerate(stamp):
        changed = [k for k in range(3) if i == 0 or levels[k][i] != levels[k][i - 1]]
        events += [f"{x};{names[k]};{'EIN' if levels[k][i] else 'AUS'}" for k in changed]
    return {"druck.csv": text(samples), "ereignisse.csv": text(events)}


def out_of_order(rec: Recording) -> Files:
    """Three files that continue one another, their names in another order, gzip and zip among them."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    head = "Timestamp,Vacuum [kPa],Suction,Blow-off,Part present"
    rows = lines_of(rec, lambda i: (f"{at[i]:%Y-%m-%d %H:%M:%S}.{ms(at[i])}", kpa[i], s[i], r[i], p[i]), ",")
    third = len(rows) // 3
    parts = [text([head, *rows[a:b]]) for a, b in ((0, third), (third, 2 * third), (2 * third, len(rows)))]
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("part.csv", parts[0])
    return {"z.zip": sink.getvalue(), "m.csv.gz": gzip.compress(parts[1], mtime=0), "a.csv": parts[2]}


def parquet_nested(rec: Recording) -> Files:
    """A structure of readings, booleans, and a stamp with a zone."""
    at = [a.replace(tzinfo=dt.UTC) for a in clock(rec)]
    values = pa.StructArray.from_arrays(
        [pa.array(rec.pressure_kpa * 10), *(pa.array([bool(v) for v in level(rec, b)]) for b in range(3))],
        ["vacuum_mbar", "suction", "blow_off", "part_present"],
    )
    table = pa.table({"ts": pa.array(at, pa.timestamp("us", "America/Lima")), "io": values})
    return {"log.parquet": _parquet(table)}


def parquet_tags(rec: Recording) -> Files:
    """A row per reading with tags as a dictionary, decimals, and a stamp in ns."""
    levels, names, rows = [level(rec, b) for b in range(3)], ("suction", "blowoff", "part_present"), []
    for i, a in enumerate(clock(rec)):
        rows.append((a, "cell7.vacuum_kPa", float(rec.pressure_kpa[i])))
        changed = [k for k in range(3) if i == 0 or levels[k][i] != levels[k][i - 1]]
        rows += [(a, f"cell7.{names[k]}", float(levels[k][i])) for k in changed]
    table = pa.table({
        "timestamp": pa.array([r[0] for r in rows], pa.timestamp("ns", "UTC")),
        "tag": pa.array([r[1] for r in rows]).dictionary_encode(),
        "value": pa.array([r[2] for r in rows]),
    })  # fmt: skip
    return {"log.parquet": _parquet(table)}


def _parquet(table: pa.Table) -> bytes:
    sink = io.BytesIO()
    pq.write_table(table, sink, compression="zstd")
    return sink.getvalue()


def pairs_min_max(rec: Recording) -> Files:
    """Lowest and highest of a stretch in two columns with words of another language, rounded clock beside a count."""
    at, (s, r, p) = clock(rec), (level(rec, b) for b in range(3))
    lines = ["Datum Uhrzeit;Druck Min (mbar);Druck Max (mbar);Saugen;Abblasen;Teil vorhanden"]
    for i in range(0, len(s) - 1, 2):
        low, high = sorted(rec.pressure_kpa[i : i + 2] * 10)
        lines.append(
            f"{at[i]:%d.%m.%Y %H:%M:%S},{ms(at[i])};{dec(low, 2)};{dec(high, 2)};{s[i + 1]};{r[i + 1]};{p[i + 1]}"
        )
    return {"log.csv": text(lines)}


def triggers(rec: Recording) -> Files:
    """A recorder that writes rows of text between its stretches, quoted, and a cut last line."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (words(rec, b, "0", "24") for b in range(3))
    rows = lines_of(rec, lambda i: (f'"{at[i]:%Y-%m-%d %H:%M:%S}.{ms(at[i])}"', f'"{kpa[i]:.3f}"', f'"{s[i]}"',
                                    f'"{r[i]}"', f'"{p[i]}"'), ",")  # fmt: skip
    rows[900:900] = ['"*** Stop trigger ***"', "", '"*** Start trigger ***"']
    head = '"Time","Vacuum [kPa]","Suction [V]","Blow-off [V]","Part present [V]"'
    return {"log.csv": text([head, *rows])[:-14]}


def rounded_seconds(rec: Recording) -> Files:
    """Stamps of whole seconds over 100 samples each, month as three letters."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%d-%b-%Y %H:%M:%S}", kpa[i], s[i], r[i], p[i]), "\t")
    return {"log.txt": text(["Timestamp\tVacuum [kPa]\tSuction\tBlow-off\tPart present", *rows])}


def per_cent(rec: Recording) -> Files:
    """Per cent of vacuum with a sign behind every number."""
    t, kpa = rec.time_s, rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", f"{-kpa[i] / 1.01325:.3f} %", s[i], r[i], p[i]))
    return {"log.csv": text(["Time [s];Vacuum;Suction;Blow-off;Part present", *rows])}


def nameless_inputs(rec: Recording) -> Files:
    """Names that say nothing, absolute millibar, roles from the data alone, stamps with a comma and a zone."""
    at, kpa = clock(rec), rec.pressure_kpa
    s, r, p = (words(rec, b, "0.0", "1.0") for b in range(3))
    rows = lines_of(rec, lambda i: (f"{at[i]:%Y-%m-%dT%H:%M:%S},{ms(at[i])}Z", f"{(kpa[i] + 100.6) * 10:.2f}",
                                    p[i], r[i], s[i]))  # fmt: skip
    return {"log.csv": text(["Var_1;Var_7 [mbar];CH3;CH4;CH5", *rows])}


def zeros_after_loss(rec: Recording) -> Files:
    """A stretch of zero bytes where the power was lost, and a stop of the clock after it."""
    t, kpa = rec.time_s, rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", kpa[i], s[i], r[i], p[i]))
    head = "Time [s];Vacuum [kPa];Suction;Blow-off;Part present"
    return {"log.csv": text([head, *rows[:1200]]) + bytes(4096) + b"\r\n" + text(rows[1200:])}


def trailing_signs(rec: Recording) -> Files:
    """A minus behind the number."""
    t, kpa = rec.time_s, rec.pressure_kpa
    s, r, p = (level(rec, b) for b in range(3))
    rows = lines_of(rec, lambda i: (f"{t[i]:.2f}", f"{abs(kpa[i]):.3f}{'-' if kpa[i] < 0 else ''}", s[i], r[i], p[i]))
    return {"log.csv": text(["Time [s];Vacuum [kPa];Suction;Blow-off;Part present", *rows])}


PLANT: dict[str, Callable[[Recording], Files]] = {
    f.__name__: f
    for f in (
        polish, czech, portuguese, italian, french, spanish, dutch, swedish, turkish, chinese, chinese_old, japanese,
        japanese_date, hungarian, german_month, packed_stamp, packed_seconds, packed_apart, newest_first_seconds,
        newest_first_long, serial_days, summer_begins, summer_ends, over_midnight, signed_counter, counter_32,
        rate_in_preamble, loop_with_scale, volts_without_scale, tenths, bit_word, sentinels, footer_table,
        numbered_stations, station_rows, digitals_twice, events_beside, out_of_order, parquet_nested, parquet_tags,
        pairs_min_max, triggers, rounded_seconds, per_cent, nameless_inputs, zeros_after_loss, trailing_signs,
    )
}  # fmt: skip
