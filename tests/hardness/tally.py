"""Counts what was tried and what happened, and prints it as a table at the end of the run."""

from collections import Counter
from collections.abc import Iterator

ALLOWED = ("right", "partly read", "refused")
NOT_ALLOWED = ("traceback", "too slow", "memory", "silent loss", "half-written", "let in")


class Tally:
    """Outcomes by what was tried. A bad outcome is kept with its first cases."""

    def __init__(self) -> None:
        self.counts: dict[str, Counter[str]] = {}
        self.bad: list[str] = []

    def add(self, tried: str, outcome: str, case: object = "", times: int = 1) -> None:
        """Count one outcome; one that is not allowed keeps its case."""
        assert outcome in ALLOWED + NOT_ALLOWED, outcome
        self.counts.setdefault(tried, Counter())[outcome] += times
        if outcome in NOT_ALLOWED and len(self.bad) < 100:
            self.bad.append(f"{tried}: {outcome}: {case!s:.600}")

    def total(self, tried: str = "") -> int:
        """Cases tried, of one kind or of all."""
        return sum(sum(c.values()) for name, c in self.counts.items() if tried in ("", name))

    def broken(self, tried: str = "") -> list[str]:
        """The bad cases of one kind, or of all."""
        return [line for line in self.bad if line.startswith(tried)]

    def lines(self) -> Iterator[str]:
        """The table."""
        columns = ("cases", *ALLOWED, *NOT_ALLOWED)
        width = max((len(name) for name in self.counts), default=0)
        yield f"{'tried':<{width}}" + "".join(f"{c:>13}" for c in columns)
        for name, found in self.counts.items():
            figures = (sum(found.values()), *(found[c] for c in columns[1:]))
            yield f"{name:<{width}}" + "".join(f"{f:>13}" for f in figures)
        if len(self.counts) > 1:
            whole = Counter[str]()
            for found in self.counts.values():
                whole.update(found)
            figures = (sum(whole.values()), *(whole[c] for c in columns[1:]))
            yield f"{'all':<{width}}" + "".join(f"{f:>13}" for f in figures)
