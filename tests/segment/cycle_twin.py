"""A slow, obvious twin of the segmentation: one walk over the samples of a log with all three digitals, on = 1."""

from dataclasses import dataclass, field


@dataclass(slots=True)
class Walked:
    """One cycle as the walk finds it; indices of samples, -1 where an event is absent."""

    start: int
    tries: int = 0
    release: int = -1
    grip: int = -1
    last_off: int = -1
    present_at_end: bool = False
    offs: list[int] = field(default_factory=list)
    ons: list[int] = field(default_factory=list)
    output_edges: int = 0
    on_time: float = 0.0


def walk(columns) -> list[Walked]:
    """Cycles of a log that begins idle: the first supply-on, and each first one after a release command, starts one."""
    time, supply, release, present = (columns[k].tolist() for k in ("time_s", "supply", "release", "part_present"))
    cycles: list[Walked] = []
    released = True
    for i in range(1, len(time)):
        supply_on = supply[i] and not supply[i - 1]
        if supply_on and released and not release[i]:
            cycles.append(Walked(start=i))
            released = False
        if not cycles:
            continue
        now = cycles[-1]
        if supply_on and now.grip < 0 and now.release < 0:
            now.tries += 1
        elif supply_on and now.release < 0:
            now.ons.append(i)
        if supply[i - 1] and not supply[i] and now.release < 0:
            now.last_off = i
            if now.grip >= 0:
                now.offs.append(i)
        if release[i] and not release[i - 1]:
            released = True
            if now.release < 0:
                now.release = i
                now.present_at_end = bool(present[min(now.last_off if now.last_off > 0 else i, i) - 1])
        if present[i] and not present[i - 1] and now.grip < 0 and now.release < 0:
            now.grip = i
        if present[i] != present[i - 1] and i > now.start:
            now.output_edges += 1
        if supply[i]:
            now.on_time += (time[i + 1] if i + 1 < len(time) else time[i]) - time[i]
    return cycles


def outcome(cycle: Walked) -> str:
    """What became of the part, by the output alone."""
    if cycle.release < 0:
        return "incomplete"
    if cycle.grip < 0:
        return "missed"
    return "held" if cycle.present_at_end else "dropped"


def switches(cycle: Walked, vacuum, supply_off: float | None, tolerance: float) -> int:
    """Supply changes from the set point to the end of suction; the cut that ends suction is none.

    It is the last one, where vacuum was still under `supply_off` by then, or where no air is saved.
    """
    offs = len(cycle.offs)
    if offs and cycle.offs[-1] == cycle.last_off and not (cycle.ons and cycle.ons[-1] > cycle.last_off):
        at = cycle.last_off
        rise = max(vacuum[at] - vacuum[at - 1], 0.0)
        if supply_off is None or max(vacuum[at], vacuum[at - 1]) + rise < supply_off - tolerance:
            offs -= 1
    return offs + len(cycle.ons)
