"""Cases of the whole product, small enough to be tried by the ten thousand, and what becomes of each.

A case is made of drawn numbers (operations, changes, words); `Draw` takes those from bytes, so that a fuzzer that is guided
by coverage can change them one at a time.
"""

import functools
import importlib
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import typer
from hardness.made import csv_text, rows
from hardness.mutate import CELLS, OPS, Made, Op, damaged, made_log, mutated_document, toml_text
from hardness.trial import command, leftovers

from tracekit.cli import COMMANDS
from tracekit.errors import TracekitError
from tracekit.read.opening import open_logs
from tracekit.read.station_file import load_station

NAMES, WHOLE = rows(2)
SMALL, SMALLEST = WHOLE[::4], WHOLE[::8]
Told = tuple[str, object]
WRITTEN = {"report.html", "diagnosis.json", "cycles.parquet", "periods.parquet", "edges.parquet"}
HEAD_LINES = 45
WAYS = (("--check",), (), ("--compact",), ("--json",), ("--export", "-"))

STATION = {
    "station": {"name": "Loader 2", "volume_ml": 60.0, "volume_rel_u": 0.05, "ambient_kpa": 100.8, "temperature_c": 20, "timezone": "Europe/Lisbon", "source": "ejector", "sensor_at": "generator", "cups_per_circuit": 1, "supply_group": "north", "ref_vacuum_kpa": 60, "recording": "continuous"},
    "settings": {"set_point_kpa": 56.0, "reset_point_kpa": 51.0, "supply_off_kpa": 68.0, "supply_on_kpa": 62.0, "guard_kpa": 1.0, "adjustable": ["set_point"]},
    "display": {"unit": "kPa", "step": 0.1, "negative": True, "entry": {"reset_point": "below set_point"}},
    "channels": {"time": "time_s", "pressure": {"column": "pressure_kpa", "unit": "kPa", "sense": "gauge"}, "supply": {"column": "supply", "on_level": 1, "signal": "valve"}, "release": "none", "context": ["part_present"]},
    "load": {"mass_kg": 2.0, "acceleration_m_s2": 5.0, "cups": 4, "cup_diameter_mm": 40, "friction": 0.5, "orientation": "horizontal", "safety_factor": 2.0},
    "limits": {"decay_rate_kpa_s": {"max": 4.0, "severity": "major"}, "hold_vacuum_kpa": {"min": 50.0}},
    "price": {"nozzle_flow_l_min_anr": 90.0, "energy_kwh_per_m3_anr": 0.12, "price_per_kwh": 0.2},
}  # fmt: skip
OPTIONS = (
    "--out", "--station", "--baseline", "--blanked", "--history", "--started", "--csv", "--units", "--fail-on", "--json", "--quiet",
    "--workers", "--set", "--goal", "--only", "--plan", "--primary", "--accept", "--accept-rule", "--match", "--measure", "--change",
    "--margin", "--power", "--looks", "--freeze", "--limit", "--as-of", "--format", "--check", "--compact", "--event", "--forget",
    "--from", "--to", "--export", "--orifice-mm", "--discharge", "--orifice-c-dm3-s-bar", "--orifice-b", "--orifice-u", "--kind",
    "--seed", "--cycles", "--severity", "--once", "--help", "--timing", "--no-color", "--write-station", "--show-model",
)  # fmt: skip
WORDS = (*(c for c in CELLS if "\x00" not in c and len(c) < 500), "LOG", "FOLDER", "STATION", "HISTORY", "leak_steady", "diagnosis",
         "decay_rate_kpa_s<=2", "decay_rate_kpa_s<=1e999", "set_point=56", "set_point=nan", "set_point=-1e308", "mbar", "decay_rate_kpa_s",
         "20%", "-20%", "nan%", "2025-01-01 x: y", "csv", "healthy", "torn_cup", "last-good", "**", "[", "a" * 300, "~", "LOG/x")  # fmt: skip
SLOW_COMMANDS = ("watch",)  # without --once it never ends
CALLED = tuple(name for name, _ in COMMANDS if name not in SLOW_COMMANDS)
STARTS = ("LOG", "HISTORY", "x")
FITTING = {
    "inspect": ("LOG",), "diagnose": ("LOG",), "tune": ("LOG",), "trend": ("HISTORY",), "compare": ("LOG", "LOG"), "verify": ("SHEET", "FOUR", "FOUR"),
    "plan": (), "volume": ("LOG", "LOG"), "simulate": ("loader_2_torn_cup", "--cycles", "2"), "history": ("HISTORY",), "explain": ("leak_steady",),
    "schema": ("diagnosis",), "completion": ("bash",),
}  # fmt: skip
FITTING_VALUES = {
    "--station": ("STATION",), "--station-after": ("STATION",), "--baseline": ("LOG", "last-good"), "--blanked": ("LOG",), "--history": ("HISTORY",),
    "--started": ("2025-01-05T00:00Z",), "--started-after": ("2025-01-06T00:00Z",), "--units": ("mbar", "kPa"), "--out": ("out",), "--fail-on": ("major",),
    "--set": ("set_point=56",), "--goal": ("air", "sure"), "--only": ("log", "0"), "--limit": ("decay_rate_kpa_s<=2",), "--as-of": ("2025-01-02",),
    "--format": ("text", "json"), "--plan": ("PLAN",), "--primary": ("decay_rate_kpa_s",), "--accept": ("decay_rate_kpa_s<=2",), "--match": ("none",),
    "--accept-rule": ("simple",), "--measure": ("decay_rate_kpa_s",), "--change": ("20%",), "--margin": ("0.5",), "--power": ("0.9",), "--looks": ("2",),
    "--orifice-mm": ("0.5",), "--discharge": ("0.8",), "--orifice-c-dm3-s-bar": ("0.02",), "--orifice-b": ("0.4",), "--orifice-u": ("0.05",), "--seed": ("3",),
    "--kind": ("csv", "parquet"), "--cycles": ("4",), "--severity": ("2",), "--event": ("2025-01-02 0: cups changed",), "--from": ("LOG", "2025-01-01"),
    "--to": ("2025-01-03",), "--also-before": ("LOG",), "--also-after": ("FOUR",), "--export": ("-", "all.csv"), "--freeze": ("new.json",), "--write-station": ("new.toml",),
}  # fmt: skip
LEFT_OUT = ("--open", "--workers", "--cluster")  # a browser, and processes of this one


@functools.cache
def options_of(name: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The flags of a command, and its options that take a value."""
    app = typer.Typer(add_completion=False)
    app.command(name)(getattr(importlib.import_module(f"tracekit.cli.{name}"), name))
    found = [(p.opts[0], p.is_flag) for p in typer.main.get_command(app).params if p.param_type_name == "option"]
    flags = tuple(option for option, is_flag in found if is_flag and option not in LEFT_OUT)
    return flags, tuple(option for option, is_flag in found if not is_flag and option not in LEFT_OUT)


class Draw:
    """Numbers out of bytes; after the last byte all are 0."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def number(self, below: int) -> int:
        """A number from 0, by as many bytes as it needs."""
        size = 1 if below <= 256 else 2 if below <= 65536 else 3
        piece = self.data[self.at : self.at + size]
        self.at += size
        return int.from_bytes(piece, "big") % below

    def op(self) -> Op:
        return OPS[self.number(len(OPS))], self.number(998), self.number(992), self.number(256)

    def ops(self) -> list[Op]:
        """One to four operations on a log."""
        return [self.op() for _ in range(1 + self.number(4))]

    def document(self) -> tuple[list[tuple[int, int, int]], int, int]:
        """One to three changes of a document, then what damages its bytes."""
        changes = [(self.number(1 << 20), self.number(1 << 20), self.number(256)) for _ in range(1 + self.number(3))]
        return changes, self.number(256), self.number(1000)

    def hurts(self) -> tuple[list[tuple[int, int, int, int]], int]:
        """One to three damages of files, then a command."""
        damages = [(self.number(1000), self.number(1000), 1 + self.number(991), self.number(257) - 1) for _ in range(1 + self.number(3))]
        return damages, self.number(len(WAYS) + 1)

    def words(self) -> list[str]:
        """A command line: any words, or now and then what the command asks for with options of its own."""
        if self.number(4) == 3:
            return self.fitting()
        several = [self.word() for _ in range(self.number(6))]
        return [CALLED[self.number(len(CALLED))], STARTS[self.number(len(STARTS))], *several]

    def fitting(self) -> list[str]:
        """A command with its arguments and one to three of its options, one value in eight any word."""
        name = list(FITTING)[self.number(len(FITTING))]
        flags, valued = options_of(name)
        words = [name, *FITTING[name]]
        for _ in range(1 + self.number(3)):
            option = (*flags, *valued)[self.number(len(flags) + len(valued))] if flags or valued else "--help"
            words.append(option)
            if option in valued:
                fit = FITTING_VALUES[option]
                words.append(self.word() if self.number(8) == 7 else fit[self.number(len(fit))])
        return words

    def word(self) -> str:
        kind = self.number(3)
        return str(self.number(506) - 5) if kind == 2 else (WORDS, OPTIONS)[kind][self.number(len((WORDS, OPTIONS)[kind]))]


def counted(lines: int | None, rows_read: int, warnings: Sequence[str]) -> bool:
    """Whether the rows read are those that stand in the file, a short head set aside."""
    return lines is None or bool(warnings) or lines - HEAD_LINES <= rows_read <= lines


class Trials:
    """Tries cases in a folder of its own."""

    def __init__(self, place: Path) -> None:
        self.place = place
        self.path, self.log, self.out = place / "log.bin", place / "log.csv", place / "out"
        self.station, self.given, self.history = place / "station.toml", place / "given.json", place / "history"
        self.files: dict[Path, bytes] = {}
        self.documents: tuple[Any, Any] = (None, None)
        self.log.write_text(csv_text(NAMES, SMALL))

    def read(self, ops: Sequence[Op], packing: str = "plain") -> Told:
        """A log is read or refused; what is lost is counted."""
        made = made_log(NAMES, SMALL if len(ops) % 2 else SMALLEST, ops, packing)
        self.path.write_bytes(made.data)
        try:
            lost = sum(lost_rows(log, made) for log in open_logs(self.path))
        except TracekitError as error:
            return ("refused", "") if self.path.name in str(error) else ("traceback", f"names no file: {error}")
        except Exception as error:  # noqa: BLE001 - this is what is looked for
            return "traceback", f"{type(error).__name__}: {error}"
        return ("silent loss" if lost < 0 else "partly read" if lost else "right"), str(lost)

    def diagnose(self, ops: Sequence[Op], packing: str = "plain") -> Told:
        """The command writes all its files or none, and ends with one message or a result."""
        made = made_log(NAMES, WHOLE if len(ops) % 2 else SMALL, ops, packing)
        self.path.write_bytes(made.data)
        for old in self.out.rglob("*") if self.out.exists() else ():
            if old.is_file():
                old.unlink()
        ran = command("diagnose", self.path, "--out", self.out, "--quiet")
        there = {p.name for p in self.out.iterdir() if p.is_file()} if self.out.exists() else set()
        if leftovers(self.out) or (there if ran.status else not there >= WRITTEN):
            return "half-written", sorted(there)
        word = ran.outcome()
        if word == "right":
            log = json.loads((self.out / "diagnosis.json").read_text(encoding="utf-8"))["logs"][0]
            whole = log["rows_read"] == log["rows_used"] + log["rows_rejected"]
            whole = whole and counted(made.lines, log["rows_read"], log["warnings"])
            word = "silent loss" if not whole else "partly read" if log["rows_rejected"] or log["warnings"] else word
        return word, ran.err[-400:]

    def station_file(self, changes: Sequence[tuple[int, int, int]], late: int, place: int) -> Told:
        """A station file is understood, and then a log is read with it, or one message names the file or the log."""
        text = toml_text(mutated_document(STATION, changes)).encode("utf-8", "surrogatepass")
        self.station.write_bytes(damaged(text, place, late, late) if late % 3 == 0 else text)
        try:
            station = load_station(self.station)
            if late % 5 == 0:
                for one in open_logs(self.log, station):
                    list(one.blocks())
                    one.facts()
        except TracekitError as error:
            named = self.station.name in str(error) or self.log.name in str(error)
            return ("refused", "") if named else ("traceback", f"names no file: {error}")
        except Exception as error:  # noqa: BLE001 - this is what is looked for
            return "traceback", f"{type(error).__name__}: {error} {text[:400]!r}"
        return "right", ""

    def make_history(self) -> None:
        """Keep a history of three logs with a note, as bytes by file."""
        for day in range(3):
            log = self.place / f"{day}.csv"
            log.write_text(csv_text(*rows(3, seed=day)))
            told = ("diagnose", log, "--out", self.place / "o", "--quiet", "--history", self.history, "--started", f"2025-01-0{day + 1}T00:00Z")
            assert command(*told).status == 0
        assert command("history", self.history, "--event", "2025-01-02 0: cups changed").status == 0
        self.files = {p: p.read_bytes() for p in sorted(self.history.rglob("*")) if p.is_file()}

    def damaged_history(self, damages: Sequence[tuple[int, int, int, int]], way: int) -> Told:
        """A damaged file of a history is named; the others count; no command fails over it."""
        for path in [p for p in self.history.rglob("*") if p.is_file() and p not in self.files]:
            path.unlink()
        for path, data in self.files.items():
            path.write_bytes(data)
        names = list(self.files)
        for which, place, size, pick in damages:
            path = names[which % len(names)]
            path.write_bytes(damaged(path.read_bytes(), place, size, pick))
        told = ("trend", self.history, "--format", "text") if way == len(WAYS) else ("history", self.history, *WAYS[way])
        before = {p: p.read_bytes() for p in names}
        ran = command(*told)
        if way:
            return ran.outcome(), (ran.err[-300:], way)
        hurt = [p for p in names if p.suffix in (".parquet", ".json") and before[p] != self.files[p]]
        must = any(p.suffix == ".parquet" for p in hurt)  # notes of the watch are a cache
        named = ran.status == 2 and "damaged:" in ran.out
        word = "partly read" if named else "silent loss" if must else ran.outcome()
        return word, (ran.out[-300:], hurt)

    def make_documents(self) -> None:
        """Keep a plan and a comparison with their log."""
        log, plan = self.place / "four.csv", self.place / "frozen.json"
        log.write_text(csv_text(*rows(4)))
        assert command("plan", "--freeze", plan, "--out", self.place / "p", "--quiet", "--margin", 0.5).status == 0
        assert command("compare", log, log, "--out", self.place / "c", "--quiet").status == 0
        sheet = self.place / "c" / "comparison.json"
        self.documents = tuple(json.loads(p.read_text(encoding="utf-8")) for p in (plan, sheet))

    def document(self, changes: Sequence[tuple[int, int, int]], late: int, place: int) -> Told:
        """A plan or a sheet that was changed is refused in one message, or used where it still makes sense."""
        use_plan = late % 2 == 0
        text = json.dumps(mutated_document(self.documents[not use_plan], changes)).encode()
        self.given.write_bytes(damaged(text, place, late, late) if late % 3 == 0 else text)
        log = self.place / "four.csv"
        more = ("compare", log, log, "--plan", self.given, "--out", self.place / "again", "--quiet") if use_plan else ("verify", self.given, log)
        ran = command(*more)
        return ("half-written" if leftovers(self.place) else ran.outcome()), ran.err[-400:]

    def command_line(self, words: Sequence[str]) -> Told:
        """Any words in any order end with a status of the contract and one message; the folder is the current one."""
        self.log.write_text(csv_text(NAMES, WHOLE))
        self.station.write_text(toml_text(STATION))
        named = {
            "LOG": "log.csv", "FOLDER": ".", "STATION": "station.toml", "HISTORY": "history", "PLAN": "frozen.json", "SHEET": "c/comparison.json", "FOUR": "four.csv",
        }  # fmt: skip
        for new in ("new.json", "new.toml"):
            Path(new).unlink(missing_ok=True)
        ran = command(*(named.get(w, w) for w in words if w != "--open"))
        return ran.outcome(), ran.err[-400:]


def lost_rows(log, made: Made) -> int:
    """Rows that were counted as lost; -1 where some are missing in the count or time does not rise."""
    last = [-np.inf] * max(len(log.layout.stations), 1)
    for block in log.blocks():
        if not (np.diff(block.time_s, prepend=last[block.station]) > 0).all():
            return -1
        last[block.station] = block.time_s[-1] if len(block.time_s) else last[block.station]
    facts = log.facts()
    if facts.rows_read != facts.rows_used + facts.rows_rejected or not counted(made.lines, facts.rows_read, facts.warnings):
        return -1
    return facts.rows_rejected + len(facts.warnings)


def of_kind(kind: str, trials: Trials) -> tuple[Callable[[Draw], tuple[Any, ...]], Callable[..., Told]]:
    """How a case of a kind is drawn, and what tries it; lays down what it needs."""
    name, _, packing = kind.partition(": ")
    if name == "log read":
        return (lambda draw: (draw.ops(), packing)), trials.read
    if name == "log diagnosed":
        return (lambda draw: (draw.ops(), packing)), trials.diagnose
    if name == "history":
        trials.make_history()
        return Draw.hurts, trials.damaged_history
    if name == "JSON input":
        trials.make_documents()
        return Draw.document, trials.document
    if name == "command line":
        trials.make_history()
        trials.make_documents()
        return (lambda draw: (draw.words(),)), trials.command_line
    return Draw.document, trials.station_file
