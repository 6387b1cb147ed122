"""The headline and lead of a log in which no fault was found."""

from tracekit.model.finding import Finding
from tracekit.model.result import StationResult
from tracekit.report.doubt import PERHAPS, leak_chance, untold_leak
from tracekit.report.fitting import first_fit, fit, tenth
from tracekit.report.phrases import phrase
from tracekit.report.words import Num, Text, count, of_quantity, say

_RISE, _SINCE = "A rise by {} would have shown.", "A rise by {} since the baseline would have shown."
_UNJUDGED = "Nothing wrong shows; the leak cannot be judged yet"


def nothing_found(result: StationResult, log: Finding | None) -> str:
    """As in "No fault found in 40 cycles", or that a leak is there which cannot be judged."""
    if untold_leak(result):
        perhaps = leak_chance(result) >= PERHAPS
        return "Perhaps a leak; the plate test decides" if perhaps else _UNJUDGED
    n = len(result.data.cycles)
    cycles = f"in {count(n)} cycle{'' if n == 1 else 's'}"
    found = f"No fault found {cycles}"
    return fit([f"No fault {cycles}, but {phrase(log.code).short}", found]) if log is not None else found


def would_have_shown(result: StationResult) -> Text:
    """As in "A rise by 1.5 kPa/s would have shown." and what it is now, or that a leak could not be measured."""
    rate = of_quantity(result.leak.decay_rate)
    sizes = [d.smallest for d in result.detectable if d.code == "leak_steady" and d.unit == "kPa/s"]
    rise = Num(value=sizes[0], unit="kPa/s", step=tenth(sizes[0])) if sizes and sizes[0] is not None else None
    if rate is None:
        deep = [d.smallest for d in result.detectable if d.code == "leak_steady" and d.measure == "ultimate_vacuum_kpa"]
        if deep and deep[0] is not None:
            size = Num(value=deep[0], unit="kPa", step=tenth(deep[0]))
            return say(
                "A leak that takes {} off the deepest vacuum would have shown; a smaller one may be there.", size
            )
        if rise is not None:
            since = " since the baseline" if result.baseline is not None else ""
            return say("A leak that grew by {}{} would have shown; a smaller one may be there.", rise, since)
        return ("Whether it leaks, this recording cannot show.",)
    falls = say("Vacuum falls {} with the supply closed.", rate)
    if untold_leak(result):
        return first_fit([(*falls, " Only a healthy log tells if that is usual."), falls])
    if rise is not None:
        long, short = say(_SINCE if result.baseline is not None else _RISE, rise), say(_RISE, rise)
        return first_fit([(*falls, " ", *long), (*falls, " ", *short), long])
    if result.baseline is None:
        return first_fit([(*falls, " No baseline says whether that is usual."), falls])
    return falls
