"""A step as pages and terminal tell it."""

from tracekit.frozen import dataclass

STEP_MOST = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to do: act, minutes (None where nobody can say), how, results with what they mean, caution.

    `results` holds the first of what is expected and the first of what else may show, `more` the rest.
    """

    act: str
    how: str
    minutes: int | None
    results: tuple[tuple[str, str], ...]
    caution: str
    more: tuple[tuple[str, str], ...] = ()
