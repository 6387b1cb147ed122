"""The sample logs in the repository are those that the package makes."""

import json
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq

from tracekit.simulate.samples import SAMPLES, write_sample

PLACE = Path(__file__).parents[2] / "sample_logs"
KILO, LARGEST, ALL = 1000, 300, 3000


def _columns(path: Path) -> list[bytes]:
    table = pq.read_table(path)
    return [np.ascontiguousarray(table.column(name).to_numpy()).tobytes() for name in table.column_names]


def test_a_sample_comes_out_the_same(tmp_path: Path) -> None:
    """Made again from its scenario, a sample has the same bytes in every column and the same truth."""
    sample = next(s for s in SAMPLES if s.stem == "day_1")
    _, _, path = write_sample(sample, tmp_path)
    kept = PLACE / sample.folder / path.name
    assert _columns(path) == _columns(kept)
    truth = [json.loads(p.with_name("day_1_truth.json").read_text()) for p in (path, kept)]
    assert truth[0] == truth[1]
    assert path.with_name("station.toml").read_text() == kept.with_name("station.toml").read_text()


def test_every_sample_is_there_and_small() -> None:
    """Log, truth and station file of each; none above 300 kB, all together below 3 MB."""
    for sample in SAMPLES:
        folder = PLACE / sample.folder
        truth = "truth.json" if sample.stem == "log" else f"{sample.stem}_truth.json"
        assert (folder / f"{sample.stem}.{sample.kind}").is_file()
        assert (folder / truth).is_file()
        assert (folder / "station.toml").is_file()
    sizes = [p.stat().st_size for p in PLACE.rglob("*") if p.is_file()]
    assert max(sizes) < LARGEST * KILO
    assert sum(sizes) < ALL * KILO


def test_the_readme_lists_every_sample_with_its_seed() -> None:
    """One row a log: its path and the seed of its truth."""
    text = (PLACE / "README.md").read_text(encoding="utf-8")
    for sample in SAMPLES:
        name = "truth.json" if sample.stem == "log" else f"{sample.stem}_truth.json"
        seed = json.loads((PLACE / sample.folder / name).read_text())["seed"]
        assert f"| `{sample.folder}/{sample.stem}.{sample.kind}` | {seed} |" in text
