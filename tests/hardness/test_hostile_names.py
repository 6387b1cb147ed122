"""Names from strangers go through every command; page, screen, CSV, JSON and folder stay harmless."""

import base64
import csv
import hashlib
import json
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from hardness.hostile import FORMULA, HARMFUL, NAMES, SHORT, Anatomy
from hardness.made import csv_text, many_stations, rows
from hardness.trial import Ran, command, leftovers

COMMANDS = ("inspect", "diagnose", "tune", "compare", "trend", "watch", "history")


def toml(text: str) -> str:
    """A text as TOML."""
    return json.dumps(text).replace("\x7f", "\\u007f")


def station_file(path: Path, name: str) -> Path:
    """A station file with a hostile text wherever it takes one."""
    path.write_text(
        f"[station]\nname = {toml(name)}\nsupply_group = {toml(name)}\nvolume_ml = 60\n"
        f'[channels]\ncontext = ["recipe"]\n',
        encoding="utf-8",
    )
    return path


def taken_names(names: list[str], folder: Path) -> list[str]:
    """Those of the names that this system accepts as a file's."""
    fit = []
    for name in names:
        try:
            (folder / f"{name}.csv").write_text("")
        except (OSError, ValueError):
            continue
        if (folder / f"{name}.csv").parent == folder and [p.name for p in folder.iterdir()] == [f"{name}.csv"]:
            fit.append(f"{name}.csv")
        (folder / f"{name}.csv").unlink()
    return fit


def all_commands(place: Path, names: list[str]) -> dict[str, Ran]:
    """Every command once over logs, stations, parts, columns, files and notes with these names."""
    drop, out, history = place / "drop", place / "out", place / "history"
    drop.mkdir()
    log = many_stations(place / "log.csv", names, names)
    after = many_stations(place / "after.csv", names[:1], names)
    given = place / "station.toml"
    given.write_text('[channels]\ncontext = ["recipe"]\n')
    own = station_file(place / "own.toml", names[0])
    header, cells = rows(3, seed=5)
    whole = [name for name in names if not {"\n", "\r"} & set(name)]
    one, broken = place / "one.csv", place / "broken.csv"
    for path, texts in ((one, whole), (broken, names)):
        path.write_text(csv_text([*header, "recipe", *texts], [[*row, texts[0], *texts] for row in cells]), encoding="utf-8", errors="replace")
    for at, name in enumerate(taken_names(names, drop)):
        header, cells = rows(3, seed=10 + at)
        (drop / name).write_text(csv_text(header, cells))
    start = ("--started", "2025-01-01T00:00Z", "--history", history)
    found = {
        "inspect": command("inspect", log),
        "every row broken by a line end": command("inspect", broken),
        "inspect as JSON": command("inspect", one, "--json", "--write-station", place / "written.toml"),
        "diagnose": command("diagnose", log, "--station", given, "--out", out / "diagnose", "--csv", *start),
        "diagnose as JSON": command("diagnose", one, "--station", own, "--out", out / "one", "--csv", "--json", *start),
        "tune": command("tune", log, "--station", given, "--out", out / "tune", "--json"),
        "compare": command("compare", one, one, "--station", own, "--match", "recipe", "--out", out / "compare"),
        "compare as JSON": command("compare", log, after, "--only", names[0], "--out", out / "compare2", "--json"),
        "watch": command("watch", drop, "--history", history, "--out", out / "watch", "--once", "--settle", 0, "--date-by-file"),
        "event": command("history", history, "--event", f"2025-01-02 {names[0]}: {names[1]}"),
        "history": command("history", history, "--check"),
        "history list": command("history", history),
        "history as JSON": command("history", history, "--json"),
        "export": command("history", history, "--export", out / "export.csv"),
        "export to the screen": command("history", history, "--export", "-"),
        "trend": command("trend", history, "--out", out / "trend"),
        "trend as JSON": command("trend", history, "--out", out / "trend2", "--json"),
        "digest": command("trend", history, "--format", "text"),
    }
    for at, name in enumerate(names):
        found[f"a log that is none {at}"] = command("diagnose", place / f"{name.replace('/', '_')[:200]}.csv")
    return found


@pytest.fixture(scope="module")
def everything(tmp_path_factory):
    """What all commands left behind for the worst names."""
    place = tmp_path_factory.mktemp("hostile")
    return place, all_commands(place, [NAMES[key] for key in SHORT])


def check_ran(found: dict[str, Ran], tally) -> None:
    """Every command worked or refused in one message, and printed nothing that a terminal obeys."""
    for name, ran in found.items():
        word = ran.outcome()
        if HARMFUL.search(ran.out + ran.err):
            word = "let in"
        tally.add("hostile names, commands", word, (name, ran.err[-300:], HARMFUL.findall(ran.out + ran.err)[:5]))
        wanted = ("refused",) if name.startswith("a log that is none") else ("right", "refused") if "broken" in name else ("right",)
        assert word in wanted, (name, ran.status, ran.err[-2000:])


def page_faults(page: Anatomy, allowed: set[str]) -> list[str]:
    """What is wrong with a page: foreign elements, handlers, addresses, scripts or styles without their hash, policy."""
    rules = {part.split()[0]: part.split()[1:] for part in page.policy.split(";") if part.strip()}
    faults = [f"handler {h}" for h in page.handlers] + [f"address {a}" for a in page.outward]
    faults += [f"element {t}" for t in page.tags - allowed]
    faults += ["inline style"] * (page.inline_styles > 0)
    for kind, texts in (("script-src", page.scripts), ("style-src", page.styles)):
        hashes = [f"'sha256-{base64.b64encode(hashlib.sha256(t.encode()).digest()).decode()}'" for t in texts]
        faults += [f"{kind} {h} is not in the policy" for h in hashes if h not in rules.get(kind, [])]
        faults += [f"{kind} allows {v}" for v in rules.get(kind, ["all"]) if not v.startswith("'sha256-")]
    for kind in ("default-src", "base-uri", "form-action"):
        faults += [f"{kind} is {rules.get(kind)}"] * (rules.get(kind) != ["'none'"])
    return faults + [f"{kind} is allowed" for kind in rules if kind not in ("default-src", "base-uri", "form-action", "script-src", "style-src")]


def harmless_elements(folder: Path, count: int) -> set[str]:
    """Elements of the pages that the same commands make of as many plain names."""
    folder.mkdir()
    all_commands(folder, [f"Loader {number}" for number in range(count)])
    return {tag for page in folder.rglob("*.html") for tag in Anatomy(page.read_text(encoding="utf-8")).tags}


def check_pages(place: Path, tally, allowed: set[str]) -> int:
    """No page has an element, handler or address that came from a name; each holds a strict policy."""
    pages = sorted(place.rglob("*.html"))
    for path in pages:
        faults = page_faults(Anatomy(path.read_text(encoding="utf-8")), allowed)
        tally.add("hostile names, pages", "let in" if faults else "right", (path.name, faults))
        assert faults == [], path
    return len(pages)


def check_csv(place: Path, tally) -> int:
    """In every CSV file text cells are no formulas and numbers are numbers."""
    cells = 0
    for path in sorted(p for p in (place / "out").rglob("*.csv") if p.is_file()):
        with path.open(encoding="utf-8", newline="") as file:
            lines = list(csv.reader(file))
        for row in lines[1:]:
            assert len(row) == len(lines[0]), path
            for cell in row:
                armed = cell.startswith(FORMULA) and not is_number(cell)
                tally.add("hostile names, CSV cells", "let in" if armed or HARMFUL.search(cell) else "right", cell)
                assert not armed, (path, cell)
                assert not HARMFUL.search(cell), (path, cell)
                cells += 1
    return cells


def is_number(cell: str) -> bool:
    """Whether a cell is a number."""
    try:
        float(cell)
    except ValueError:
        return False
    return True


def check_json(place: Path, found: dict[str, Ran], tally) -> int:
    """JSON files and printed JSON are read again, hold no NaN and nothing that a terminal obeys."""
    texts = {str(p): p.read_text(encoding="utf-8") for p in place.rglob("*.json")}
    texts |= {name: ran.out for name, ran in found.items() if name.endswith("as JSON")}
    for name, text in texts.items():
        json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))
        tally.add("hostile names, JSON", "let in" if HARMFUL.search(text) else "right", name)
        assert not HARMFUL.search(text), name
    return len(texts)


def check_folder(place: Path, tally) -> None:
    """Nothing was written outside the folder, under a name that a system reserves, or half."""
    allowed = {"log.csv", "after.csv", "station.toml", "own.toml", "one.csv", "broken.csv", "written.toml", "drop", "out", "history"}
    assert {p.name for p in place.iterdir()} <= allowed
    assert leftovers(place) == []
    for path in (place / "out").rglob("*"):
        below = path.relative_to(place / "out").parts
        stem = path.name.split(".")[0].casefold()
        reserved = stem in {"con", "prn", "aux", "nul", "com1", "lpt1"} and below[0] != "watch"
        cut = path.name.endswith((".", " "))  # Windows leaves these signs out: two names become one
        tally.add("hostile names, written files", "let in" if reserved or cut or len(path.name) > 255 else "right", path.name)
        assert not reserved, path
        assert not cut, path


def test_screens(everything, tally):
    """No command fails over a name, and no screen shows anything that a terminal obeys."""
    check_ran(everything[1], tally)


def test_pages(everything, tally, tmp_path):
    """Names cannot add elements, handlers or addresses to a page; the policy allows the page's own script and style alone."""
    assert check_pages(everything[0], tally, harmless_elements(tmp_path / "plain", len(SHORT))) >= len(SHORT)


def test_csv(everything, tally):
    """Text cells are no formulas; numbers stay numbers."""
    assert check_csv(everything[0], tally) > 1000


def test_json(everything, tally):
    """JSON can be read by any reader and printed on any terminal, and the names in it are the very names."""
    assert check_json(*everything, tally) >= 10
    document = json.loads((everything[0] / "out" / "diagnose" / "diagnosis.json").read_text(encoding="utf-8"))
    stations = {s["station"] for s in document["stations"]}
    assert {NAMES["one byte escape"], NAMES["turned"], NAMES["formula"]} <= stations


def test_folder(everything, tally):
    """Files are written inside the folder, under names that every system accepts."""
    check_folder(everything[0], tally)


def test_tables_keep_the_names(everything):
    """Parquet is read by programs: there a name is the name, unchanged."""
    names = set(pq.read_table(everything[0] / "out" / "diagnose" / "cycles.parquet")["station"].to_pylist())
    assert {NAMES["formula"], NAMES["colour"].strip()} <= names


@pytest.mark.full
def test_all_names(tmp_path, tally):
    """The same for every hostile name that is known."""
    names = list(NAMES.values())
    place = tmp_path / "all"
    place.mkdir()
    found = all_commands(place, names)
    check_ran({k: v for k, v in found.items() if k.startswith("a log") or v.seconds < 10}, tally)
    assert check_pages(place, tally, harmless_elements(tmp_path / "plain", len(names))) >= len(names)
    assert check_csv(place, tally) > 1000
    assert check_json(place, found, tally) >= 10
    check_folder(place, tally)
