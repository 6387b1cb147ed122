"""Changes single operators, numbers, names and arguments of the core and counts how many changes no test notices.

    python tests/hardness/mutants.py --seed 1 --count 400 --folder FOLDER
    python tests/hardness/mutants.py --folder FOLDER --show NAME

mutmut makes the changes and finds out which tests reach which function, in a copy of the tree as it was last committed;
this file draws the sample and prints the table; `mutant_loop.py` tries the mutants, each with the tests of its own package.
A mutant whose time is spent before all of its tests were run is unfinished: it is tried again with `--more` times the time,
and told apart from those that every test let pass. A folder that is there is used again: mutants that were tried are not tried
again; with `--fresh-tests` those that were not noticed are, with the tests that have come or changed since the times were taken.
The exit status is 0 where the score among the mutants that were tried is enough.
"""

import argparse
import hashlib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
MUTMUT = Path(sys.executable).with_name("mutmut")
CORE = {
    "segment": ("tests/segment", "tests/signal"),
    "measure": ("tests/measure",),
    "judge": ("tests/judge",),
    "tune": ("tests/tune",),
}
CORE_TESTS = sorted({folder for folders in CORE.values() for folder in folders})
COPIED = ("tracekit", "tests", "sample_logs", "pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE")
NOTICED = ("killed", "timeout")
WORDS = (*NOTICED, "survived", "unfinished", "no test", "broken", "not tried")
ENOUGH = 0.8


def arguments() -> argparse.Namespace:
    """What was asked for on the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1, help="which sample")
    parser.add_argument("--count", type=int, default=400, help="how many mutants")
    parser.add_argument("--only", nargs="*", default=list(CORE), choices=list(CORE), help="packages")
    parser.add_argument("--without", nargs="*", default=[], help="modules that are left alone, as patterns")
    parser.add_argument("--slow", nargs="*", default=[], help="test files that are left out")
    parser.add_argument("--seconds", type=float, default=60.0, help="processor time that a mutant may cost")
    parser.add_argument("--more", type=float, default=4.0, help="times the processor time, at the second trial of the unfinished")
    parser.add_argument("--folder", type=lambda text: Path(text).resolve(), required=True, help="where the copy is made")
    parser.add_argument("--fresh-tests", action="store_true", help="try what was not noticed with new and changed tests")
    parser.add_argument("--show", help="print the change that a mutant makes")
    return parser.parse_args()


def settings(asked: argparse.Namespace) -> str:
    """The table that mutmut reads from pyproject.toml."""
    tests = [folder for name in asked.only for folder in CORE[name]]
    table = {
        "source_paths": ["tracekit"],
        "only_mutate": [f"tracekit/{name}/*.py" for name in asked.only],
        "do_not_mutate": [f"tracekit/{pattern}" for pattern in asked.without],
        "also_copy": ["sample_logs", "README.md", "DEVELOPERS.md", "LICENSE"],
        "pytest_add_cli_args_test_selection": tests,
        "pytest_add_cli_args": ["-p", "no:cacheprovider", *(f"--ignore={name}" for name in asked.slow)],
        "process_isolation": "forkserver",  # a fork of a process whose libraries have threads may hang
        "use_git_change_detection": False,
        "track_dependencies": False,
    }
    lines = [f"{key} = {json.dumps(value)}" for key, value in table.items()]
    return "\n".join(("", "[tool.mutmut]", *lines, ""))


def copied(asked: argparse.Namespace) -> None:
    """Copy the tree as it was last committed, or take only the tests anew, as they are."""
    folder = asked.folder
    if folder.exists():
        for name in CORE_TESTS:
            for base in (folder, folder / "mutants"):
                shutil.copytree(ROOT / name, base / name, ignore=shutil.ignore_patterns("__pycache__"), dirs_exist_ok=True)
        return
    folder.mkdir(parents=True)
    packed = subprocess.run(["git", "archive", "HEAD", *COPIED], cwd=ROOT, check=True, capture_output=True).stdout
    subprocess.run(["tar", "--extract"], cwd=folder, input=packed, check=True)
    with (folder / "pyproject.toml").open("a", encoding="utf-8") as file:
        file.write(settings(asked))


def tool(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a program in the copy, with one thread and with compiled tests kept."""
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    with tempfile.TemporaryDirectory() as place:  # processes that tried a mutant end without removing their files
        environment["TMPDIR"] = place
        return subprocess.run(words, cwd=folder, text=True, capture_output=True, check=False, env=environment)


def made(folder: Path) -> list[str]:
    """Names of all mutants."""
    metas = sorted((folder / "mutants" / "tracekit").rglob("*.py.meta"))
    return [name for meta in metas for name in json.loads(meta.read_text(encoding="utf-8"))["exit_code_by_key"]]


def outcomes(folder: Path) -> dict[str, str]:
    """What became of every mutant that was tried."""
    path = folder / "mutants" / "found.jsonl"
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    return dict(json.loads(line) for line in lines)


def sample(names: Sequence[str], seed: int, count: int) -> list[str]:
    """The mutants of a seed; a larger count begins with those of a smaller one."""
    drawn = sorted(names)
    random.Random(seed).shuffle(drawn)
    return drawn[:count]


def sums(place: Path) -> dict[str, str]:
    """The sum of every file of tests, by its name as pytest tells it."""
    files = sorted(path for name in CORE_TESTS for path in (place / name).rglob("*.py"))
    return {path.relative_to(place).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def tried(asked: argparse.Namespace, names: list[str], seconds: float) -> None:
    """Try the mutants; every outcome is kept at once, so that a run that is ended keeps what it has."""
    place = asked.folder / "mutants"
    shutil.copy2(Path(__file__).with_name("mutant_loop.py"), place / "conftest.py")
    table = {"names": names, "seconds": seconds, "tests": CORE, "fresh": asked.fresh_tests}
    (place / "asked.json").write_text(json.dumps(table), encoding="utf-8")
    tests = [folder for name in asked.only for folder in CORE[name]]
    left_out = [f"--ignore={name}" for name in asked.slow]
    words = ("env", "TRACEKIT_MUTANTS=1", sys.executable, "-m", "pytest", "--rootdir=.", "-p", "no:cacheprovider",
             f"--basetemp={asked.folder / 'temporary'}", *left_out, *tests)  # fmt: skip
    ran = tool(place, *words)
    if ran.returncode not in (0, 1, 2, 5):
        sys.exit(f"the tests could not be collected:\n{ran.stdout[-3000:]}\n{ran.stderr[-3000:]}")


def table(found: dict[str, str]) -> Iterator[str]:
    """Outcomes per package, and the score."""
    yield f"{'package':<10}{'mutants':>9}" + "".join(f"{w:>11}" for w in WORDS) + f"{'score':>9}"
    for package in (*CORE, "all"):
        counts = Counter(w for n, w in found.items() if package in ("all", n.split(".")[1]))
        share = score(counts)
        told = f"{'':>9}" if share is None else f"{share:>9.1%}"
        yield f"{package:<10}{counts.total():>9}" + "".join(f"{counts[w]:>11}" for w in WORDS) + told


def score(counts: Counter[str]) -> float | None:
    """Share of the mutants that were tried which a test noticed; unfinished ones count as not noticed. None where none was tried."""
    known = counts.total() - counts["not tried"]
    return sum(counts[w] for w in NOTICED) / known if known else None


def main() -> int:
    """Make the copy and the mutants, try the sample, print the table; 0 where the score is enough."""
    asked = arguments()
    folder = asked.folder
    if asked.show:
        print(tool(folder, str(MUTMUT), "show", asked.show).stdout)
        return 0
    if asked.fresh_tests or not folder.exists():
        copied(asked)
    if not (folder / "mutants" / "mutmut-stats.json").exists():
        told = tool(folder, str(MUTMUT), "run", "--max-children", "1", "none.but.made")  # mutants and times, no trial
        if not (folder / "mutants" / "mutmut-stats.json").exists():
            sys.exit(f"no mutants were made:\n{told.stdout[-3000:]}\n{told.stderr[-3000:]}")
        (folder / "mutants" / "sums.json").write_text(json.dumps(sums(folder / "mutants")), encoding="utf-8")
    every = made(folder)
    names = sample(every, asked.seed, asked.count)
    print(f"{len(every)} mutants can be made; {len(names)} drawn with seed {asked.seed}", flush=True)
    again = ("broken", "survived", "unfinished", "no test") if asked.fresh_tests else ("broken",)
    for words, times in ((again, 1.0), (("unfinished",), asked.more)):
        known = outcomes(folder)
        if chosen := [name for name in names if known.get(name, "broken") in words]:
            tried(asked, chosen, times * asked.seconds)
    known = outcomes(folder)
    found = {name: known.get(name, "not tried") for name in names}
    for line in table(found):
        print(line)
    for name, word in sorted(found.items()):
        if word not in NOTICED:
            print(f"{word:<10} {name}")
    return int((score(Counter(found.values())) or 0.0) < ENOUGH)


if __name__ == "__main__":
    sys.exit(main())
