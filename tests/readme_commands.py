"""The two commands of README.md, as they are written: `.ci/run` runs exactly these.

`python3 tests/readme_commands.py 1` prints the first (install and diagnose a sample log), `2` the second (install and
pass the tests).
"""

import re
import sys
from pathlib import Path

HEADING = "Two commands"
README = Path(__file__).parents[1] / "README.md"


def commands(markdown: str) -> list[str]:
    """The text of every fenced block under the heading, in order; the first two are for Linux and macOS."""
    section = re.search(rf"^## {HEADING}\n(.*?)(?=^## |\Z)", markdown, re.MULTILINE | re.DOTALL)
    if section is None:
        raise SystemExit(f'{README.name}: no heading "{HEADING}"; expected the two commands under it. Put it back.')
    return [text.strip() for text in re.findall(r"^```[a-z]*\n(.*?)^```", section[1], re.MULTILINE | re.DOTALL)]


if __name__ == "__main__":
    print(commands(README.read_text(encoding="utf-8"))[int(sys.argv[1]) - 1])
