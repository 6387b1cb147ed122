"""What is handed out: a wheel and a source archive that come out the same, hold what they must, and work away from the tree."""

import os
import re
import subprocess
import sys
import tarfile
import zipfile
from importlib.metadata import version
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BUILD, LOCK = ROOT / ".ci" / "build", ROOT / ".lock" / "development.txt"
MOMENT = "1900000000"


def ran(*words: str | Path, cwd: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
    """A command that must not fail."""
    environment = {**os.environ, **more}
    done = subprocess.run([str(w) for w in words], cwd=cwd, env=environment, capture_output=True, text=True, check=False, timeout=900)
    assert done.returncode == 0, done.stderr[-2000:]
    return done


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The wheel and the archive, built twice."""
    if not (ROOT / ".git").exists():
        pytest.skip("builds are made of what Git knows, and this is no checkout")
    if int(version("setuptools").partition(".")[0]) < 77:
        pytest.skip("setuptools is older than pyproject.toml asks for")
    folders = [tmp_path_factory.mktemp("built") for _ in range(2)]
    for folder in folders:
        ran(sys.executable, BUILD, folder, SOURCE_DATE_EPOCH=MOMENT)
    return folders


@pytest.mark.full
def test_two_builds_are_the_same(built):
    """Built twice with one SOURCE_DATE_EPOCH, wheel and source archive are the same to the byte."""
    first, second = ({p.name: p.read_bytes() for p in folder.iterdir()} for folder in built)
    assert sorted(Path(name).suffix for name in first) == [".gz", ".whl"]
    assert first == second


@pytest.mark.full
def test_the_wheel_holds_the_package_and_nothing_else(built):
    """The wheel has the types, templates, scenarios and texts, no tests, and states its dependencies."""
    with zipfile.ZipFile(next(built[0].glob("*.whl"))) as wheel:
        names = wheel.namelist()
        metadata = wheel.read(next(n for n in names if n.endswith("METADATA"))).decode()
    tops = {name.partition("/")[0] for name in names}
    assert tops == {"tracekit", "tracekit-" + version("tracekit") + ".dist-info"}
    assert "tracekit/py.typed" in names
    packed = {Path(n).suffix for n in names}
    assert {".toml", ".html", ".css", ".js"} <= packed
    tracked = ran("git", "ls-files", "tracekit", cwd=ROOT).stdout.split()
    assert set(tracked) <= set(names)
    assert "Requires-Dist: numpy>=" in metadata


@pytest.mark.full
@pytest.mark.parametrize("kind", ["*.whl", "*.tar.gz"])
def test_it_works_away_from_the_tree(built, tmp_path, kind):
    """Unpacked elsewhere and run from there, tracekit simulates a log, diagnoses it, and tells its version."""
    archive = next(built[0].glob(kind))
    place = tmp_path / "installed"
    if kind == "*.whl":
        ran(sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", "--target", place, archive)
    else:
        with tarfile.open(archive) as packed:
            packed.extractall(tmp_path / "source", filter="data")
        place = next((tmp_path / "source").iterdir())
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    more = {"PYTHONPATH": str(place), "PYTHONDONTWRITEBYTECODE": "1"}
    where = ran(sys.executable, "-c", "import tracekit; print(tracekit.__file__)", cwd=elsewhere, **more).stdout
    assert Path(where.strip()).is_relative_to(place)
    tracekit = (sys.executable, "-m", "tracekit")
    ran(*tracekit, "simulate", "loader_2_healthy", "--out", "made", cwd=elsewhere, **more)
    log = next((elsewhere / "made").rglob("*.parquet"), None) or next((elsewhere / "made").rglob("*.csv"))
    ran(*tracekit, "diagnose", log, "--out", "out", "--quiet", cwd=elsewhere, **more)
    assert {"report.html", "diagnosis.json"} <= {p.name for p in (elsewhere / "out").iterdir()}


def test_the_lock_has_hashes_and_no_addresses():
    """Every package of the lock is pinned with a hash; no line names an index, a host or a path."""
    head, *lines = LOCK.read_text(encoding="utf-8").splitlines()
    assert head.startswith("# ")
    assert len(lines) > 50
    assert [line for line in lines if not re.fullmatch(r"[a-z0-9-]+==[\w.+!]+ --hash=sha256:[0-9a-f]{64}", line)] == []
    assert sorted(lines) == sorted(set(lines))


def test_the_lock_holds_every_dependency():
    """What pyproject.toml asks for, extras too, is locked at a version that it allows."""
    import tomllib

    from packaging.requirements import Requirement

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(line for extra in project["optional-dependencies"].values() for line in extra)]
    pinned = dict(line.split(" ")[0].split("==") for line in LOCK.read_text(encoding="utf-8").splitlines()[1:])
    for line in wanted:
        asked = Requirement(line)
        assert asked.specifier.contains(pinned[re.sub(r"[-_.]+", "-", asked.name).lower()], prereleases=True), line
