"""Many logs over a Dask cluster and from addresses: the same results as on one machine, whatever happens to workers."""

import json
import os
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cli.made_logs import write_log

from tracekit import cli
from tracekit.errors import LogReadError, UsageError
from tracekit.fleet import address, cluster
from tracekit.fleet.batch import Job, run_jobs
from tracekit.fleet.cluster import run_on_cluster
from tracekit.history.place import open_place
from tracekit.history.read import read_rows

fsspec = pytest.importorskip("fsspec", reason="the extra fleet is not installed")
distributed = pytest.importorskip("distributed", reason="the extra fleet is not installed")
pytestmark = [
    pytest.mark.filterwarnings("ignore::ResourceWarning"),  # sockets of workers that the tests kill
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),  # the same, told later
    pytest.mark.filterwarnings("ignore::DeprecationWarning:(dask|distributed|tornado|botocore|moto|werkzeug).*"),
]
STARTED_US = 1_767_250_800_000_000
BUCKET = "tile-works-logs"  # the server of another test in this process keeps what it made
NEVER_SAME = ("created",)


@pytest.fixture(scope="module")
def threads() -> Iterator[Any]:
    """A cluster of threads in this process, so that it sees memory:// addresses."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=":0", protocol="tcp"
    ) as local:
        yield local


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with four logs."""
    for number in range(4):
        write_log(tmp_path / f"station_{number}.csv", cycles=8, decay_kpa_s=1.0 + number, seed=number)
    return tmp_path


def jobs_of(folder: Path, out: Path, history: str = "") -> list[Job]:
    """One job for every log of a folder."""
    return [
        Job(log=str(log), folder=out / log.stem, history=history, started_us=STARTED_US + number * 3_600_000_000)
        for number, log in enumerate(sorted(folder.glob("station_*.csv")))
    ]


def files_of(out: Path) -> dict[str, bytes]:
    """Tables by relative path, and what a diagnosis says but for when it was made."""
    found = {str(p.relative_to(out)): p.read_bytes() for p in out.rglob("*.parquet")}
    for path in out.rglob("diagnosis.json"):
        document = {k: v for k, v in json.loads(path.read_text()).items() if k not in NEVER_SAME}
        found[str(path.relative_to(out))] = json.dumps(document, sort_keys=True).encode()
    return found


def rows_of(history: str) -> set[tuple[object, ...]]:
    """The rows of a history but for when they were added."""
    table = read_rows(open_place(history)).table
    names = [c.name for c in table.columns if c.name != "added_time"]
    columns = [table.texts(n) if n in table.categories else [repr(v) for v in table.data[n].tolist()] for n in names]
    rows = list(zip(*columns, strict=True))
    assert len(rows) == len(set(rows)) > 0
    return set(rows)


def test_a_cluster_gives_what_one_process_gives(threads: Any, folder: Path) -> None:
    """Files and history are the same from a cluster as from this process."""
    here = list(run_jobs(jobs_of(folder, folder / "a", str(folder / "history_a")), 1))
    there = list(run_on_cluster(jobs_of(folder, folder / "b", str(folder / "history_b")), threads.scheduler_address))
    assert [o.log for o in here] == [o.log for o in there]
    assert [o.error for o in there] == [""] * 4
    assert files_of(folder / "a") == files_of(folder / "b")
    assert all((folder / "b" / f"station_{n}" / "report.html").stat().st_size > 10_000 for n in range(4))
    assert rows_of(str(folder / "history_a")) == rows_of(str(folder / "history_b"))


def test_logs_and_history_in_memory(threads: Any, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command reads logs from an address, writes a history to one, and names the bad log among them."""
    store = fsspec.filesystem("memory")
    root = f"memory://{folder.name}"
    for log in folder.glob("*.csv"):
        store.pipe_file(f"{root}/logs/{log.name}", log.read_bytes())
    store.pipe_file(f"{root}/logs/bad.csv", b"this is no log\n" * 3)
    store.pipe_file(f"{root}/logs/notes.md", b"not looked at")
    given = ["diagnose", f"{root}/logs", "--out", str(folder / "out"), "--history", f"{root}/history"]
    given += ["--started", "2026-01-01T06:00+00:00", "--quiet"]
    assert cli.run([*given, "--cluster", threads.scheduler_address]) == 2
    said = capsys.readouterr().err
    assert "bad.csv" in said
    assert "1 of 5 logs could not be diagnosed" in said
    assert len({row[0] for row in rows_of(f"{root}/history")}) == 4
    assert sorted(p.name for p in (folder / "out").iterdir()) == ["index.html", *(f"station_{n}" for n in range(4))]
    assert cli.run([*given, "--workers", "1"]) == 2
    assert len({row[0] for row in rows_of(f"{root}/history")}) == 4


def test_logs_and_history_in_a_store_of_objects(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Processes that see an S3 server alone leave the same history there as one process in a folder."""
    moto = pytest.importorskip("moto.server", reason="no in-process S3 server: install moto[server] and s3fs")
    s3fs = pytest.importorskip("s3fs", reason="s3fs is not installed")
    server = moto.ThreadedMotoServer(port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    for name, value in (
        ("FSSPEC_S3_ENDPOINT_URL", f"http://{host}:{port}"), ("FSSPEC_S3_KEY", "made-up"), ("FSSPEC_S3_SECRET", "made-up"),
        ("AWS_DEFAULT_REGION", "us-east-1"),
    ):  # fmt: skip
        monkeypatch.setenv(name, value)
    try:
        fsspec.config.set_conf_env(fsspec.config.conf)
        s3fs.S3FileSystem.clear_instance_cache()
        store = fsspec.filesystem("s3")
        store.mkdir(BUCKET)
        for log in sorted(folder.glob("*.csv")):
            store.put_file(str(log), f"{BUCKET}/logs/{log.name}")
        names = address.logs_at(f"s3://{BUCKET}/logs")
        assert names == tuple(f"s3://{BUCKET}/logs/station_{n}.csv" for n in range(4))
        assert address.logs_at(f"s3://{BUCKET}/logs/*_2.csv") == names[2:3]
        far = [
            Job(log=name, folder=folder / "b" / f"station_{n}", history=f"s3://{BUCKET}/history",
                started_us=STARTED_US + n * 3_600_000_000)
            for n, name in enumerate(names)
        ]  # fmt: skip
        with distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=":0") as local:
            there = list(run_on_cluster(far, local.scheduler_address))
        assert [o.error for o in there] == [""] * 4
        list(run_jobs(jobs_of(folder, folder / "a", str(folder / "history")), 1))
        assert files_of(folder / "a") == files_of(folder / "b")
        assert rows_of(f"s3://{BUCKET}/history") == rows_of(str(folder / "history"))
        with pytest.raises(LogReadError, match="no log there"):
            address.logs_at(f"s3://{BUCKET}/elsewhere")
    finally:
        fsspec.config.conf.pop("s3", None)
        s3fs.S3FileSystem.clear_instance_cache()
        server.stop()


def kill_one_when_busy(local: Any, killed: list[int]) -> None:
    """End the process of a worker while it works on a log."""
    until = time.monotonic() + 60.0
    while time.monotonic() < until and not killed:
        for name, state in list(local.scheduler.workers.items()):
            if state.processing and name in local.scheduler.workers:
                pid = next(w.pid for w in local.workers.values() if w.worker_address == name)
                os.kill(pid, signal.SIGKILL)
                killed.append(pid)
                return
        time.sleep(0.01)


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL here")
def test_a_killed_worker_changes_nothing(folder: Path) -> None:
    """A worker that is killed in the middle of a log changes neither files nor history, and no row counts twice."""
    killed: list[int] = []
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as local:
        killer = threading.Thread(target=kill_one_when_busy, args=(local, killed))
        killer.start()
        there = list(run_on_cluster(jobs_of(folder, folder / "b", str(folder / "history_b")), local.scheduler_address))
        killer.join()
    assert len(killed) == 1
    assert [o.error for o in there] == [""] * 4
    list(run_jobs(jobs_of(folder, folder / "a", str(folder / "history_a")), 1))
    assert files_of(folder / "a") == files_of(folder / "b")
    assert rows_of(str(folder / "history_a")) == rows_of(str(folder / "history_b"))


def test_a_scheduler_that_forgets_is_asked_again(threads: Any, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Results that a restarted scheduler has forgotten are asked for again; each comes once and in order."""
    original, asked = cluster._on_client, []

    def forgetful(client: Any, jobs: Any, library: Any) -> Iterator[Any]:
        asked.append(len(jobs))
        for at, result in enumerate(original(client, jobs, library)):
            if len(asked) == 1 and at == 2:
                raise library.client.FutureCancelledError(key="any", reason="restarted")
            yield result

    monkeypatch.setattr(cluster, "_on_client", forgetful)
    there = list(run_on_cluster(jobs_of(folder, folder / "b", str(folder / "history")), threads.scheduler_address))
    assert asked == [4, 2]
    assert [Path(o.log).stem for o in there] == [f"station_{n}" for n in range(4)]
    assert len({row[0] for row in rows_of(str(folder / "history"))}) == 4


def test_a_task_done_twice(folder: Path) -> None:
    """A task that runs twice leaves the history and hands back the files as if it had run once."""
    job = jobs_of(folder, folder / "out", str(folder / "history"))[0]
    first, again = cluster.carried(job), cluster.carried(job)
    tables = [{n: d for n, d in c.files if n.endswith(".parquet")} for c in (first, again)]
    assert tables[0] == tables[1]
    assert len(tables[0]) == 3
    assert len({row[0] for row in rows_of(str(folder / "history"))}) == 1
    assert not (folder / "out").exists()


def test_a_cluster_that_is_not_there(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An address without a scheduler is one clear message."""
    monkeypatch.setattr(cluster, "_CONNECT_S", 0.5)
    with pytest.raises(UsageError, match=r"--cluster tcp://127.0.0.1:9: no answer"):
        list(run_on_cluster(jobs_of(folder, folder / "out"), "tcp://127.0.0.1:9"))


def test_standard_input_stays_here(capsys: pytest.CaptureFixture[str]) -> None:
    """A cluster cannot read this machine's standard input, which is said."""
    assert cli.run(["diagnose", "-", "--cluster", "tcp://127.0.0.1:9"]) == 2
    assert "standard input" in capsys.readouterr().err


def test_unknown_addresses() -> None:
    """An unknown kind of store and an object that is gone are named, each in one message."""
    with pytest.raises(UsageError, match="an address that fsspec can open"):
        address.logs_at("nowhere://bucket/log.csv")
    with pytest.raises(LogReadError, match="no such object"), address.nearby("memory://nobody/log.csv"):
        pass
    assert not address.is_address("C:/logs/a.csv")
    assert not address.is_address("file:///logs/a.csv")
