"""Results are written whole or not at all, and nothing else in the folder is touched."""

import json
import os
import stat
import subprocess
import sys
from pathlib import Path
from typing import BinaryIO

import pyarrow.parquet
import pytest
import stories

from tracekit.errors import OutputError
from tracekit.report.files import check_folder, json_write, text_write, write_file, write_files, write_result

NAMES = {"diagnosis.json", "cycles.parquet", "periods.parquet", "edges.parquet"}


def test_the_files_of_a_result(tmp_path: Path) -> None:
    """A folder receives the JSON, three tables and the pages; CSV only when asked."""
    record = stories.torn_cup()
    written = write_result(record, tmp_path / "a" / "b")
    assert {p.name for p in written} == NAMES == {p.name for p in (tmp_path / "a" / "b").iterdir()}
    document = json.loads((tmp_path / "a" / "b" / "diagnosis.json").read_text(encoding="utf-8"))
    assert document["schema"] == "tracekit.diagnosis/1"
    cycles = pyarrow.parquet.read_table(tmp_path / "a" / "b" / "cycles.parquet")
    assert cycles.num_rows == len(record.cycles) > 0
    pages = {"report.html": "page ≥ 1", "stations/Loader 2.html": "x"}
    write_result(record, tmp_path / "c", csv=True, pages=pages)
    wanted = NAMES | {"cycles.csv", "periods.csv", "edges.csv", "report.html", "stations"}
    assert {p.name for p in (tmp_path / "c").iterdir()} == wanted
    assert (tmp_path / "c" / "report.html").read_text(encoding="utf-8") == "page ≥ 1"
    assert (tmp_path / "c" / "stations" / "Loader 2.html").read_text() == "x"
    assert (tmp_path / "c" / "cycles.csv").read_text(encoding="utf-8").startswith('"log_id","station","cycle"')


def test_other_files_stay(tmp_path: Path) -> None:
    """Files of the same name are replaced, all others in the folder stay as they are."""
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / "diagnosis.json").write_text("old")
    write_result(stories.healthy(), tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert (tmp_path / "diagnosis.json").read_text(encoding="utf-8").startswith("{")
    assert {p.name for p in tmp_path.iterdir()} == NAMES | {"notes.txt"}


def test_files_obey_the_mask_of_the_process(tmp_path: Path) -> None:
    """A written file has the rights that any new file of this process gets."""
    (tmp_path / "plain").write_text("x")
    write_files(tmp_path, {"a": text_write("x")})
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == stat.S_IMODE((tmp_path / "plain").stat().st_mode)


def test_all_or_none(tmp_path: Path) -> None:
    """Where one file fails none is left behind, and the one that was there before stays."""

    def fails(sink: object) -> None:
        raise OSError(28, "No space left on device")

    (tmp_path / "a").write_text("old")
    with pytest.raises(OutputError, match=r"cannot be written \(No space left on device\).*--out"):
        write_files(tmp_path, {"a": text_write("new"), "sub/b": fails})
    assert (tmp_path / "a").read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a"]
    with pytest.raises(OutputError, match="No space left"):
        write_files(tmp_path / "new" / "er", {"a": text_write("new"), "b": fails})
    assert not (tmp_path / "new").exists()


def test_an_interruption_leaves_no_part(tmp_path: Path) -> None:
    """A file that was being written when the user stopped is removed."""

    def stopped(sink: object) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt, match=r"^$"):
        write_files(tmp_path, {"a": text_write("new"), "b": stopped})
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way(tmp_path: Path) -> None:
    """A folder that is a file is refused before the work and at its end."""
    (tmp_path / "out").write_text("x")
    with pytest.raises(OutputError, match="out is a file; expected a folder to write to"):
        check_folder(tmp_path / "out" / "deeper")
    with pytest.raises(OutputError, match="cannot be written"):
        write_files(tmp_path / "out", {"a": text_write("x")})
    check_folder(tmp_path / "not" / "yet")
    assert not (tmp_path / "not").exists()


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may write everywhere")
def test_a_folder_without_rights(tmp_path: Path) -> None:
    """A folder that may not be written is refused before any work."""
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="may not be written"):
        check_folder(tmp_path / "out")
    tmp_path.chmod(0o700)


@pytest.mark.parametrize("name", ["../a", "/a", "a/../../b", "..\\a", ""])
def test_names_stay_inside(tmp_path: Path, name: str) -> None:
    """A file name, which may come from a station's name, never leads out of the folder."""
    with pytest.raises(OutputError, match="expected a name inside the folder"):
        write_files(tmp_path / "out", {name: text_write("x")})
    assert list(tmp_path.iterdir()) == []


def test_json_of_other_results(tmp_path: Path) -> None:
    """Any document is written without nulls and NaN."""
    write_files(tmp_path, {"x.json": json_write({"a": float("nan"), "b": {"c": None, "d": 1}})})
    assert json.loads((tmp_path / "x.json").read_text()) == {"b": {"d": 1}}


def test_writing_does_not_import_pandas_or_scipy(tmp_path: Path) -> None:
    """A result is written, as Parquet and CSV, without pandas or scipy being imported."""
    code = (
        "import sys, stories; from tracekit.report.files import write_result;"
        f"write_result(stories.torn_cup(), {str(tmp_path / 'out')!r}, csv=True);"
        "print(sorted({'pandas', 'scipy', 'plotly', 'jinja2'} & set(sys.modules)))"
    )
    paths = os.pathsep.join(map(str, (Path(__file__).parent, Path(__file__).parents[2])))
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": paths}, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
    assert (tmp_path / "out" / "cycles.csv").exists()


def test_a_file_open_elsewhere_is_named_with_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that a spreadsheet holds open gets a friendly message; nothing is left behind, the old file stays."""
    write_files(tmp_path, {"cycles.csv": text_write("old")})

    def refuse(self: Path, target: Path) -> None:
        raise PermissionError(13, "The process cannot access the file", str(self), None, str(target))

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError, match=r"cycles\.csv is open in another program; expected .* Close it there"):
        write_files(tmp_path, {"cycles.csv": text_write("new")})
    assert [p.name for p in tmp_path.iterdir()] == ["cycles.csv"]
    assert (tmp_path / "cycles.csv").read_text(encoding="utf-8") == "old"


def test_two_at_once_make_the_same_parent(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A parent that another process makes between the look and the making is used as it is, and is not ours to remove."""
    seen = Path.exists

    def too_early(path: Path) -> bool:
        return path != tmp_path / "out" and seen(path)

    (tmp_path / "out").mkdir()
    monkeypatch.setattr(Path, "exists", too_early)
    write_files(tmp_path / "out" / "station", {"a.txt": text_write("a")})
    assert (tmp_path / "out" / "station" / "a.txt").read_text() == "a"

    def full(_: BinaryIO) -> None:
        raise OSError(28, "No space left on device")

    (tmp_path / "out" / "station" / "a.txt").unlink()
    (tmp_path / "out" / "station").rmdir()
    with pytest.raises(OutputError, match="No space left"):
        write_files(tmp_path / "out" / "station", {"a.txt": full})
    assert not (tmp_path / "out" / "station").exists()
    assert (tmp_path / "out").is_dir()


def test_a_folder_that_another_makes_last_is_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder itself may come to be between the look and the making, too; what goes and comes does not matter."""
    seen, made = Path.is_dir, tmp_path / "out"

    def just_too_early(path: Path) -> bool:
        there = seen(path)
        if path == made and not there:
            made.mkdir()
        return there

    monkeypatch.setattr(Path, "is_dir", just_too_early)
    monkeypatch.setattr(Path, "exists", lambda path: path == made or seen(path))
    write_files(made, {"a.txt": text_write("a")})
    assert (made / "a.txt").read_text() == "a"


def test_a_file_that_comes_to_be_meanwhile_is_not_written_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that another process puts there between two looks at its name is never opened and written over in place."""
    path, seen = tmp_path / "all.csv", Path.is_file

    def just_after(looked: Path) -> bool:
        there = seen(looked)
        path.write_text("another's")
        return there

    def breaks(sink: BinaryIO) -> None:
        sink.write(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "is_file", just_after)
    with pytest.raises(OutputError, match="No space left"):
        write_file(path, breaks)
    assert not path.exists() or path.read_text() == "another's"
