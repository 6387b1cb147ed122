"""Thresholds of how lines, cells and signals are written."""

from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """When lines have to be rewritten before they are cut, and when a column is a signal."""

    record_lines: int = option(200, "line", "that are looked at for several records or glued numbers (no source)")
    marked_lines: int = option(400, "line", "that are looked at for marks about cells and for names above (no source)")
    fewest: int = option(5, "line", "of one form: fewer show nothing (no source)")
    alike: float = option(0.9, "1", "of the lines that share a form; the rest is damage or a preamble (no source)")
    constant: float = option(0.98, "1", "of the lines with as many parts, where commas part numbers too (no source)")
    variety: int = option(5, "value", "different figures that make a part a fraction and no level (no source)")
    most_tags: int = option(60, "channel", "that lines of records or numbers above the rows name (no source)")
    sparse: float = option(0.5, "1", "of the cells filled at most where a signal is written on change (no source)")
    changing: float = option(0.9, "1", "of the filled cells that differ from the one before, where only changes stand")
    fewest_changes: int = option(3, "change", "that show it (no source)")
    empty_state: float = option(0.01, "1", "of the rows of a column of states; more empty ones are no damage")
    fewest_states: int = option(3, "state", "of a column of states; two are a signal")
    most_states: int = option(24, "state", "of such a column, or values of a word of bits (no source)")
    most_bits: int = option(16, "bit", "of a column of which the name says no word")
    long_word: int = option(32, "bit", "of a column that is called a word")
    few_bits: int = option(6, "bit", "that move in a column of which the name says no word (no source)")
    fewest_turns: int = option(4, "change", "of a mark and empty cells that show a signal (no source)")


WRITING = Writing()
"""The thresholds in use: reading decides before any options of an analysis are known."""
