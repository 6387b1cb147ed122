"""Tries mutated input of every kind by the ten thousand, guided by the branches that a case reaches, and prints the table.

    python tests/hardness/fuzz.py --folder FOLDER                # 100 000 cases
    python tests/hardness/fuzz.py --folder FOLDER --minutes 30   # as many as fit, in the same proportions
    python tests/hardness/fuzz.py --folder FOLDER --blind        # not guided: some 25 minutes of one core

Atheris guides where it is installed (`pip install "atheris>=2.3"`); without it, or with `--blind`, the bytes that cases
are drawn from are plain random. Each kind runs in a process of its own, in turns, so that a run that is ended has tried
some of everything. A folder that is there is used again: what was tried counts, and only cases that are new are counted.
"""

import argparse
import hashlib
import importlib
import importlib.util
import json
import os
import pkgutil
import random
import resource
import signal
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
CASES = {
    "log read: plain": 30_000, "log read: gzip": 5_000, "log read: zstd": 5_000, "log read: zip": 5_000,
    "log read: parquet": 12_000, "log read: records": 8_000, "log read: feather": 1_000, "log read: utf-16": 2_000,
    "log diagnosed: plain": 3_000, "log diagnosed: parquet": 1_500, "log diagnosed: gzip": 500, "log diagnosed: zstd": 500,
    "log diagnosed: zip": 500, "log diagnosed: records": 500, "log diagnosed: utf-16": 500, "station file": 10_000,
    "history": 5_000, "JSON input": 5_000, "command line": 5_000,
}  # fmt: skip
TURNS = 5
MOST_MIB, SLOW_S, HANG_S = 1024, 10.0, 300
LONGEST = 48
OVER = ("tracekit.fleet.cluster",)  # needs a scheduler


def absolute(text: str) -> Path:
    """A path that stays the same in another folder."""
    return Path(text).resolve()


def arguments() -> argparse.Namespace:
    """What was asked for on the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--folder", type=absolute, required=True, help="where counts, corpus and bad cases are kept")
    parser.add_argument("--share", type=float, default=1.0, help="of the 100 000 cases")
    parser.add_argument("--minutes", type=float, default=1e9, help="no new turn begins after that, and cases end")
    parser.add_argument("--only", nargs="*", default=list(CASES), choices=list(CASES), help="kinds")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--blind", action="store_true", help="not guided")
    return parser.parse_args()


def instrumented(*, blind: bool) -> bool:
    """Load the package so that its branches are seen; whether they are.

    Nothing of it may be loaded before: a module that is there already is not looked into again.
    """
    if blind or importlib.util.find_spec("atheris") is None:
        return False
    atheris = importlib.import_module("atheris")
    with open(os.devnull, "w") as nowhere, atheris.instrument_imports(include=["tracekit"]):
        told, sys.stderr = sys.stderr, nowhere
        try:
            path = importlib.import_module("tracekit").__path__
            for name in [m.name for m in pkgutil.walk_packages(path, "tracekit.") if m.name not in OVER and "__main__" not in m.name]:
                importlib.import_module(name)
        finally:
            sys.stderr = told
    return True


class Kept:
    """What is known of one kind, in files that survive: counts, cases seen, bad cases, the case that is being tried."""

    def __init__(self, folder: Path, kind: str) -> None:
        self.kind = kind
        self.folder = folder / kind.replace(": ", "_").replace(" ", "_")
        self.corpus = self.folder / "corpus"
        self.corpus.mkdir(parents=True, exist_ok=True)
        table, seen = self.folder / "counts.json", self.folder / "seen"
        self.counts = Counter(json.loads(table.read_text()) if table.exists() else {})
        data = seen.read_bytes() if seen.exists() else b""
        self.seen = {data[i : i + 8] for i in range(0, len(data), 8)}
        self.earlier = frozenset(self.seen)

    def begin(self, case: object) -> tuple[bool, bool]:
        """Note the case that is tried now; whether it is a new one, and whether it was tried in this process already."""
        mark = hashlib.sha256(repr(case).encode("utf-8", "surrogatepass")).digest()[:8]
        new = mark not in self.seen
        if new:
            self.seen.add(mark)
            (self.folder / "now").write_text(repr(case), encoding="utf-8", errors="backslashreplace")
        return new, not new and mark not in self.earlier

    def count(self, word: str, told: object, case: object) -> None:
        """Count an outcome."""
        from hardness.tally import NOT_ALLOWED

        self.counts[word] += 1
        if word in NOT_ALLOWED:
            with (self.folder / "bad").open("a", encoding="utf-8", errors="backslashreplace") as file:
                file.write(f"{self.kind}: {word}: {told!s:.500}\n    {case!r:.1500}\n")
        if self.counts.total() % 50 == 0:
            self.save()

    def save(self) -> None:
        """Write what is known."""
        for name, data in (("counts.json", json.dumps(self.counts).encode()), ("seen", b"".join(sorted(self.seen)))):
            (self.folder / f"{name}.new").write_bytes(data)
            (self.folder / f"{name}.new").replace(self.folder / name)


def attempts(kept: Kept, trials, count: int, until: float) -> Callable[[bytes], None]:
    """What a fuzzer calls with bytes; it ends the process once `count` new cases were tried or time is over."""
    from hardness.fuzz_cases import Draw, of_kind

    drawn, run = of_kind(kept.kind, trials)
    before = kept.counts.total()

    def attempt(data: bytes) -> None:
        case = drawn(Draw(bytes(data)))
        new, done = kept.begin(case)
        if done:
            return  # one of an earlier turn is tried again, uncounted: the fuzzer learns what it reaches
        begun = time.process_time()
        word, told = run(*case)
        word = "too slow" if time.process_time() - begun > SLOW_S else word
        if new:
            kept.count(word, told, case)
        if kept.counts.total() - before >= count or time.monotonic() > until:
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            if peak > MOST_MIB:
                kept.count("memory", peak, "some case of this turn")
            kept.save()
            sys.stdout.flush()
            os._exit(0)

    return attempt


def turn(kept: Kept, place: Path, count: int, until: float, seed: int, *, guided: bool) -> None:
    """Try cases of one kind in this process, with files in a place; never returns."""
    sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "cli")]
    from hardness.fuzz_cases import Trials

    warnings.simplefilter("error", RuntimeWarning)  # a number that overflows on the way must have been looked at before
    os.chdir(place)
    attempt = attempts(kept, Trials(place), count, until)
    rng = random.Random(seed)
    if not guided:
        while True:
            signal.alarm(HANG_S)
            attempt(rng.randbytes(LONGEST))
    for number in range(0 if any(kept.corpus.iterdir()) else 30):
        (kept.corpus / f"first{number}").write_bytes(rng.randbytes(LONGEST))
    atheris = importlib.import_module("atheris")
    options = (f"-seed={seed}", f"-max_len={LONGEST}", f"-timeout={HANG_S}", f"-rss_limit_mb={MOST_MIB}", "-verbosity=0", "-len_control=0")
    atheris.Setup([sys.argv[0], *options, str(kept.corpus)], attempt)
    atheris.Fuzz()


def seed_of(asked: int, kind: str, tried: int) -> int:
    """What a turn draws its cases by: after as many cases of another number, others."""
    return random.Random(f"{asked} {kind} {tried}").randrange(1 << 31)


def ended(status: int) -> str:
    """What the end of a process says of the case it was at; nothing where it ended well."""
    if status == 0:
        return ""
    return {70: "too slow", -signal.SIGALRM: "too slow", 71: "memory", -signal.SIGKILL: "memory"}.get(status, "traceback")


def table(folder: Path) -> tuple[list[str], int]:
    """The lines of the table and the bad cases, and how many are not allowed."""
    from hardness.tally import NOT_ALLOWED, Tally

    tally, bad = Tally(), []
    for kind in CASES:
        kept = Kept(folder, kind)
        for word, times in kept.counts.items():
            tally.add(kind, word, times=times)
        told = kept.folder / "bad"
        bad += told.read_text(encoding="utf-8").splitlines() if told.exists() else []
    wrong = sum(found[word] for found in tally.counts.values() for word in NOT_ALLOWED)
    return [*tally.lines(), *bad], wrong


def main() -> int:
    """Take turns, print the table; 0 where nothing happened that is not allowed."""
    asked = arguments()
    until = time.monotonic() + 60 * asked.minutes
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
    guided = instrumented(blind=asked.blind)
    print("guided by coverage" if guided else "not guided", flush=True)
    for number in range(1, TURNS + 1):
        for kind in asked.only:
            wanted = round(CASES[kind] * asked.share * number / TURNS)
            while (left := wanted - (tried := Kept(asked.folder, kind).counts.total())) > 0 and time.monotonic() < until:
                seed = seed_of(asked.seed, kind, tried)
                with tempfile.TemporaryDirectory() as place:
                    child = os.fork()
                    if child == 0:
                        turn(Kept(asked.folder, kind), Path(place), left, until, seed, guided=guided)
                    word = ended(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
                if word:
                    kept = Kept(asked.folder, kind)
                    kept.count(word, "the process ended", (kept.folder / "now").read_text(encoding="utf-8"))
                    kept.save()
    lines, wrong = table(asked.folder)
    print(*lines, sep="\n")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
