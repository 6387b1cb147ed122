"""A known recording, written as loggers write: every part of the way of writing can be chosen."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

AMBIENT_KPA = 100.6
INTERVAL_S = 0.01
START = dt.datetime(2024, 3, 26, 10, 17, 14, tzinfo=dt.UTC)

UNITS = {
    "kPa": 1.0, "Pa": 1e-3, "hPa": 0.1, "mbar": 0.1, "bar": 100.0, "MPa": 1000.0, "psi": 6.894757, "inHg": 3.386389,
    "mmHg": 0.1333224, "Torr": 0.1333224, "mmH2O": 0.00980665, "kgf/cm2": 98.0665,
}  # fmt: skip
DECIMALS = {"Pa": 0, "hPa": 2, "mbar": 2, "bar": 5, "MPa": 6, "psi": 3, "inHg": 3, "mmHg": 2, "Torr": 2, "mmH2O": 1,
            "kgf/cm2": 5, "kPa": 3, "%": 3}  # fmt: skip
NAMES = {
    "canonical": ("time_s", "pressure_kpa", "supply", "release", "part_present"),
    "english": ("Time", "Vacuum", "Suction valve", "Blow-off valve", "Part present"),
    "german": ("Zeit", "Unterdruck", "Saugventil", "Abblasventil", "Teil vorhanden"),
    "french": ("Temps", "Pression", "Aspiration", "Soufflage", "Présence pièce"),
    "spanish": ("Tiempo", "Presión", "Succión", "Soplado", "Pieza presente"),
    "italian": ("Tempo", "Pressione", "Aspirazione", "Soffio", "Presenza pezzo"),
    "dutch": ("Tijd", "Druk", "Zuigen", "Afblazen", "Onderdeel aanwezig"),
    "polish": ("Czas", "Ciśnienie", "Ssanie", "Zdmuch", "Detal obecny"),
    "japanese": ("時間", "圧力", "吸着", "真空破壊", "吸着確認"),
    "nothing": ("t", "AI1", "DI0", "DI1", "DI2"),
}  # fmt: skip
WORDS = {
    "01": ("0", "1"), "on": ("OFF", "ON"), "true": ("FALSE", "TRUE"), "24": ("0", "24"), "float": ("0.0", "1.0"),
    "ein": ("Aus", "Ein"), "volt": ("0.02", "23.9"), "open": ("closed", "open"),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Recording:
    """Samples at exact times; arrays of shape (n,)."""

    time_s: np.ndarray
    pressure_kpa: np.ndarray
    digital: np.ndarray


@dataclass(frozen=True, kw_only=True)
class Dialect:
    """One way of writing a recording."""

    encoding: str = "utf-8"
    eol: str = "\n"
    delimiter: str = ","
    decimal: str = "."
    quoted: bool = False
    preamble: int = 0
    declared: bool = False
    header: str = "one"
    names: str = "english"
    unit: str = "kPa"
    sense: str = "gauge"
    time: str = "s"
    words: str = "01"
    trailing: bool = False
    blank_lines: bool = False
    repeated: bool = False
    footer: bool = False
    packed: bool = False
    error_text: str = ""


def make_recording(cycles: int = 14, seed: int = 3) -> Recording:
    """Cycles of suction, hold with air saving, and blow-off, with noise; about 2.7 s each."""
    rng = np.random.default_rng(seed)
    parts, supply_parts, release_parts = [], [], []
    for _ in range(cycles):
        idle, rise, hold, blow = 50 + rng.integers(20), 30, 140 + rng.integers(30), 25
        n = idle + rise + hold + blow + 20
        t = np.arange(n)
        vacuum = np.zeros(n)
        supply, release = np.zeros(n, np.uint8), np.zeros(n, np.uint8)
        up = (t >= idle) & (t < idle + rise)
        vacuum[up] = 74 * (1 - np.exp(-(t[up] - idle) / 9.0))
        top = vacuum[idle + rise - 1]
        held = (t >= idle + rise) & (t < idle + rise + hold)
        phase = (t[held] - idle - rise) % 70
        vacuum[held] = top - np.where(phase < 55, phase * 0.1, 5.5 - (phase - 55) * 0.37)
        supply[up] = 1
        supply[np.nonzero(held)[0][phase >= 55]] = 1
        out = (t >= idle + rise + hold) & (t < idle + rise + hold + blow)
        vacuum[out] = vacuum[idle + rise + hold - 1] * np.exp(-(t[out] - idle - rise - hold) / 3.0) - 2.0
        release[out] = 1
        supply[t >= idle + rise + hold] = 0
        parts.append(vacuum)
        supply_parts.append(supply)
        release_parts.append(release)
    vacuum = np.concatenate(parts)
    on = np.where(vacuum > 55, 1, np.where(vacuum < 48, 0, -1))
    index = np.maximum.accumulate(np.where(on >= 0, np.arange(len(on)), 0))
    digital = np.concatenate(supply_parts) | np.concatenate(release_parts) << 1 | (on[index] == 1).astype(np.uint8) << 2
    pressure = np.round(-vacuum + rng.normal(0, 0.15, len(vacuum)), 3)
    return Recording(
        time_s=np.round(np.arange(len(vacuum)) * INTERVAL_S, 6), pressure_kpa=pressure, digital=digital.astype(np.uint8)
    )


def _number(value: float, decimals: int, dialect: Dialect) -> str:
    return f"{value:.{decimals}f}".replace(".", dialect.decimal)


def _times(rec: Recording, dialect: Dialect) -> tuple[list[list[str]], list[str]]:
    """Columns of time as text, and their units."""
    kind = dialect.time
    stamps = [START + dt.timedelta(seconds=float(t)) for t in rec.time_s]
    comma = dialect.decimal
    clock = [f"{s:%H:%M:%S}{comma}{s.microsecond // 1000:03d}" for s in stamps]
    simple = {
        "s": ([_number(t, 2, dialect) for t in rec.time_s], "s"),
        "ms": ([str(round(t * 1e3)) for t in rec.time_s], "ms"),
        "us": ([str(round(t * 1e6)) for t in rec.time_s], "us"),
        "ns": ([str(round(t * 1e9)) for t in rec.time_s], "ns"),
        "wrap16": ([str((60000 + round(t * 1e3)) % 65536) for t in rec.time_s], "ms"),
        "index": ([str(i + 1) for i in range(len(rec.time_s))], "-"),
        "iso": ([f"{s:%Y-%m-%d} {c}" for s, c in zip(stamps, clock, strict=True)], "-"),
        "isoT": ([f"{s:%Y-%m-%d}T{c}Z" for s, c in zip(stamps, clock, strict=True)], "-"),
        "zone": ([f"{s:%Y-%m-%d}T{c}+00:00" for s, c in zip(stamps, clock, strict=True)], "-"),
        "dayfirst": ([f"{s:%d.%m.%Y} {c}" for s, c in zip(stamps, clock, strict=True)], "-"),
        "monthfirst": ([f"{s:%m/%d/%Y} {c}" for s, c in zip(stamps, clock, strict=True)], "-"),
        "ampm": ([f"{s:%m/%d/%Y %I:%M:%S}{comma}{s.microsecond // 1000:03d} {s:%p}" for s in stamps], "-"),
        "epoch_s": ([_number(s.timestamp(), 3, dialect) for s in stamps], "-"),
        "epoch_ms": ([str(round(s.timestamp() * 1e3)) for s in stamps], "-"),
        "epoch_us": ([str(round(s.timestamp() * 1e6)) for s in stamps], "-"),
        "epoch_ns": ([str(round(s.timestamp() * 1e9)) for s in stamps], "-"),
        "serial": ([_number(45377 + (s - START.replace(hour=0, minute=0, second=0)).total_seconds() / 86400, 10, dialect)
                    for s in stamps], "-"),
        "elapsed": ([f"{int(t // 3600)}:{int(t // 60) % 60:02d}:{int(t) % 60:02d}{comma}{round(t * 1000) % 1000:03d}"
                     for t in rec.time_s], "-"),
        "midnight": ([f"{(START + dt.timedelta(hours=13, minutes=42, seconds=30 + float(t))):%H:%M:%S.%f}"[:-3]
                      .replace(".", comma) for t in rec.time_s], "-"),
        "rounded": ([f"{s:%Y-%m-%d %H:%M:%S}" for s in stamps], "-"),
    }  # fmt: skip
    if kind in simple:
        return [simple[kind][0]], [simple[kind][1]]
    date = [f"{s:%Y/%m/%d}" for s in stamps]
    if kind == "split":
        return [date, clock], ["-", "-"]
    return [date, [f"{s:%H:%M:%S}" for s in stamps], [str(s.microsecond // 1000) for s in stamps]], ["-", "-", "ms"]


def _pressures(rec: Recording, dialect: Dialect) -> list[str]:
    if dialect.unit == "%":
        return [_number(-p / AMBIENT_KPA * 100, 3, dialect) for p in rec.pressure_kpa]
    value = {"gauge": rec.pressure_kpa, "vacuum": -rec.pressure_kpa, "absolute": rec.pressure_kpa + AMBIENT_KPA}
    return [_number(p / UNITS[dialect.unit], DECIMALS[dialect.unit], dialect) for p in value[dialect.sense]]


def write(rec: Recording, dialect: Dialect) -> bytes:
    """The recording as the bytes of a file."""
    times, time_units = _times(rec, dialect)
    pressure = _pressures(rec, dialect)
    if dialect.error_text:
        pressure[100:110] = [dialect.error_text] * 10
    names = NAMES[dialect.names]
    time_names = {1: [names[0]], 2: ["Date", names[0]], 3: ["Date", names[0], "ms"]}[len(times)]
    if dialect.time == "index":
        time_names = ["Nr"]
    off, on = (w.replace(".", dialect.decimal) for w in WORDS[dialect.words])
    levels = [[on if d >> bit & 1 else off for d in rec.digital] for bit in range(3)]
    digital_names = list(names[2:])
    if dialect.packed:
        levels, digital_names = [[str(d) for d in rec.digital]], ["DI word"]
    columns = [*times, pressure, *levels]
    heads = [*time_names, names[1], *digital_names]
    units = [*time_units, dialect.unit, *["-"] * len(digital_names)]
    rows = [list(row) for row in zip(*columns, strict=True)]
    lines = [*_preamble(dialect), *_header(heads, units, dialect)]
    body = [_line(row, dialect) for row in rows]
    if dialect.blank_lines:
        body[50:50] = ["", ""]
    if dialect.repeated:
        body[200:200] = _header(heads, units, dialect)
    lines += body
    if dialect.footer:
        lines += ["", _line(["Minimum", "-80"], dialect), "End of file"]
    text = dialect.eol.join(lines) + dialect.eol
    codec = {"utf-8-bom": "utf-8-sig", "utf-16-bom": "utf-16"}.get(dialect.encoding, dialect.encoding)
    return text.encode(codec)


def _line(cells: list[str], dialect: Dialect) -> str:
    quoted = [f'"{c}"' for c in cells] if dialect.quoted else cells
    return dialect.delimiter.join(quoted) + (dialect.delimiter if dialect.trailing else "")


def _header(names: list[str], units: list[str], dialect: Dialect) -> list[str]:
    if dialect.header == "none":
        return []
    joined = [n if u == "-" else f"{n} [{u}]" for n, u in zip(names, units, strict=True)]
    if dialect.header == "one":
        return [_line(joined, dialect)]
    addresses = [f"%IW{2 * i}" for i in range(len(names))]
    rows = {
        "units_below": [names, units],
        "units_above": [units, names],
        "three": [names, units, addresses],
    }[dialect.header]
    return [_line(row, dialect) for row in rows]


def _preamble(dialect: Dialect) -> list[str]:
    first = [f"sep={dialect.delimiter}"] if dialect.declared else []
    lines = [f"Remark {i}: nothing of note" for i in range(max(dialect.preamble - 2, 0))]
    if dialect.preamble:
        lines = ["Logger export", *lines, "Sample interval: 10 ms"]
    if dialect.preamble > 10:
        lines.insert(4, "")
    return first + lines
