"""A text log that is longer than its head is read without pandas, which takes a third of a second and 40 MiB to load."""

import subprocess
import sys

READ = """
import sys
from tracekit.read.opening import open_log

log = open_log(sys.argv[1])
print(sum(len(block.time_s) for block in log.blocks()), "pandas" in sys.modules)
"""


def test_a_long_text_log_loads_no_pandas(tmp_path):
    """Its last rows are looked at as text, too."""
    rows = 120_000
    lines = (f"{k / 1000:.3f},{-60.0 * (k % 2000 > 900):.2f},{k % 2000 // 900 % 2},{k % 2000 // 1800},1" for k in range(rows))
    path = tmp_path / "log.csv"
    path.write_text("time_s,pressure_kpa,supply,release,part_present\n" + "\n".join(lines) + "\n")
    done = subprocess.run([sys.executable, "-c", READ, str(path)], capture_output=True, text=True, check=True)
    assert done.stdout.split() == [str(rows), "False"]
