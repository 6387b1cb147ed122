"""What README.md shows can be done as it is written.

A fenced block is run when `<!-- run -->` stands on the line before it: ```bash and ```console (lines after `$ `) as
shell commands, ```python as a program. Blocks run in order in one copy of the project, so that a later block may use
what an earlier one made. The two commands at the top are not run from here (that would be this test running itself):
`.ci/run` takes them from README.md and runs them in a clean copy.
"""

import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
import readme_commands

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
CI = ROOT / ".ci" / "run"
TEST_COMMAND = "python -m pytest"

_FENCE = re.compile(
    r"^(?P<mark><!-- *run *-->[ \t]*\n(?:[ \t]*\n)?)?^```(?P<kind>[a-z]*)[^\n]*\n(?P<text>.*?)^```[ \t]*$", re.MULTILINE | re.DOTALL
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fenced:
    """One fenced block of a Markdown text."""

    kind: str
    text: str
    line: int
    run: bool


def fenced_blocks(markdown: str) -> list[Fenced]:
    """Every fenced block, in order."""
    return [
        Fenced(kind=m["kind"], text=m["text"], line=markdown.count("\n", 0, m.start()) + 1, run=m["mark"] is not None)
        for m in _FENCE.finditer(markdown)
    ]


def commands(block: Fenced) -> str:
    """The shell commands of a block: all of it, or of a console's text what follows a prompt."""
    if block.kind != "console":
        return block.text
    return "\n".join(line.removeprefix("$ ") for line in block.text.splitlines() if line.startswith("$ ")) + "\n"


def program(block: Fenced) -> list[str]:
    """The command that runs a block: the shell stops at the first command that fails."""
    if block.kind == "python":
        return [sys.executable, "-c", block.text]
    shell = shutil.which("bash")
    assert shell is not None
    return [shell, "-euo", "pipefail", "-c", commands(block)]


def _copy(target: Path) -> Path:
    """The project as a checkout would have it."""
    skipped = shutil.ignore_patterns(".git", ".venv", "*cache*", "__pycache__", "*.egg-info", "build", "tracekit-out", ".hypothesis")
    shutil.copytree(ROOT, target, ignore=skipped)
    return target


@pytest.fixture(scope="module")
def readme() -> str:
    """The text of README.md."""
    if not README.exists():
        pytest.skip("there is no README.md yet")
    return README.read_text(encoding="utf-8")


@pytest.mark.skipif(os.name == "nt", reason="the marked blocks are for a POSIX shell")
def test_marked_blocks_run(readme: str, tmp_path: Path) -> None:
    """Every marked block runs as it is written, in order, in a fresh copy of the project."""
    place = _copy(tmp_path / "tracekit")
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    marked = [block for block in fenced_blocks(readme) if block.run]
    assert marked
    for block in marked:
        done = subprocess.run(
            program(block), cwd=place, env={**os.environ, "PATH": path}, capture_output=True, text=True, check=False, timeout=300
        )
        said = f"README.md, line {block.line}: exit {done.returncode}\n{done.stdout[-2000:]}{done.stderr[-2000:]}"
        assert done.returncode == 0, said


def test_every_block_for_a_shell_or_python_is_marked_or_explained(readme: str) -> None:
    """No shell or Python block goes unchecked: it is marked to run, is one of the two commands, or is for Windows."""
    loose = [
        block.line
        for block in fenced_blocks(readme)
        if block.kind in ("bash", "console", "python", "sh") and not block.run and TEST_COMMAND not in block.text
    ]
    assert loose == []


def test_the_two_commands(readme: str) -> None:
    """README gives both commands in one line each, for Linux and macOS and for Windows, and `.ci/run` runs them."""
    first, second, windows, *more = readme_commands.commands(readme)
    assert more == []
    for command in (first, second):
        assert len(command.splitlines()) == 1
    parts = [part.strip() for part in first.split("&&")]
    assert parts[0] == "python3 -m venv .venv"
    assert parts[-1].startswith(".venv/bin/tracekit diagnose sample_logs/")
    assert second.split("&&")[-1].strip() == TEST_COMMAND
    assert [part.strip() for part in windows.splitlines()[1].split(";")][-1] == TEST_COMMAND
    script = CI.read_text(encoding="utf-8")
    for number in (1, 2):
        assert f"readme_commands.py {number}" in script


def test_the_windows_commands_do_the_same(readme: str) -> None:
    """But for slashes, the name of the interpreter and the signs between, Windows gets the same commands."""
    first, second, windows = readme_commands.commands(readme)

    def same(command: str) -> str:
        plain = command.replace("\\", "/").replace("Scripts/Activate.ps1", "bin/activate").replace("Scripts", "bin")
        plain = plain.replace("py -3", "python3").replace("&&", ";")
        return " ".join(plain.replace(". .venv", ".venv").split()).replace(" ;", ";")

    assert [same(line) for line in windows.splitlines()] == [same(first), same(second)]


SAMPLE = """text
<!-- run -->
```bash
echo one
```

```python
print("loose")
```

<!-- run -->

```console
$ echo two
two
$ exit 3
```
"""


def test_blocks_are_found() -> None:
    """Marked and loose blocks are told apart, and of a console only what follows a prompt is run."""
    blocks = fenced_blocks(SAMPLE)
    assert [(b.kind, b.run) for b in blocks] == [("bash", True), ("python", False), ("console", True)]
    assert [b.line for b in blocks] == [2, 7, 11]
    assert commands(blocks[2]) == "echo two\nexit 3\n"


@pytest.mark.skipif(os.name == "nt", reason="the marked blocks are for a POSIX shell")
def test_a_failing_block_is_seen() -> None:
    """A command that fails in the middle of a block fails the block."""
    block = Fenced(kind="bash", text="false\necho done\n", line=1, run=True)
    assert subprocess.run(program(block), check=False, capture_output=True).returncode == 1
    block = Fenced(kind="python", text="raise SystemExit(4)", line=1, run=True)
    assert subprocess.run(program(block), check=False, capture_output=True).returncode == 4
