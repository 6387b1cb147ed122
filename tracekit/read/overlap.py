"""Rows that two files share: whether they are the same samples, and each of them kept once."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.read.convert import Decoder, Portion
from tracekit.read.longform import LongDecoder
from tracekit.read.opened import Opened
from tracekit.read.plan import Plan

Samples = tuple[NDArray[np.float64], NDArray[np.float64]]

_COMPARED = 4000
_ENOUGH = 1000
_GLANCE = 64
_ALIKE = 0.98


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A file of a recording: when its first and last rows were [s], on a base shared by dated files.

    exact  the last time is known, not estimated
    falls  its times start again and have no date, so that they do not tell when the file was made
    told   what a reader should know of where it begins
    """

    opened: Opened
    plan: Plan
    first_s: float
    last_s: float
    exact: bool = True
    falls: bool = False
    told: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """What two files have in common: no time, the same samples, one touching stamp, or different samples at one time.

    end_s  last time of the first file [s]; of use where they share none
    """

    kind: Literal["none", "same", "touch", "differ"]
    end_s: float


def decoder_of(plan: Plan) -> Decoder | LongDecoder:
    """What turns the rows of a file into samples."""
    return LongDecoder(plan) if plan.long else Decoder(plan)


class FirstSamples:
    """The first samples of parts, read once for each: among many files every one is compared with many others."""

    def __init__(self) -> None:
        """Nothing is read yet."""
        self._known: dict[int, tuple[Part, Samples]] = {}

    def __call__(self, part: Part) -> Samples:
        """Times [s] and pressures of the first samples of a part."""
        if id(part) not in self._known:
            self._known[id(part)] = part, _samples(part, part.first_s, np.inf)
        return self._known[id(part)][1]

    def stretch(self, part: Part, from_s: float, until_s: float) -> Samples:
        """Samples of a part in a stretch of time, or as many of them as its first samples hold where those suffice."""
        time_s, kpa = self(part)
        here = (time_s >= from_s) & (time_s <= until_s)
        whole = len(time_s) < _COMPARED or bool(time_s[-1] >= until_s)
        if whole or np.count_nonzero(here) >= _ENOUGH:
            return time_s[here], kpa[here]
        return _samples(part, from_s, until_s)


def shared_rows(before: Part, after: Part, first: FirstSamples) -> Shared:
    """Compare the first samples of a file with those that an earlier file has at the same times."""
    time_s, kpa = first(after)
    if len(time_s) == 0:
        return Shared(kind="none", end_s=before.last_s)
    own_s, own_kpa = first.stretch(before, after.first_s - after.plan.time.typical_s / 4, float(time_s[-1]))
    if len(own_s) == 0:
        return Shared(kind="none", end_s=before.last_s if before.exact else after.first_s)
    if before.plan.time.rounded_s > 0:
        return _shared_stamps(time_s, kpa, own_s, own_kpa)
    inside = int(np.searchsorted(time_s, own_s[-1] + 1e-6, side="right"))
    alike = all(
        _share_alike(time_s[:count], kpa[:count], own_s, own_kpa) >= least
        for count, least in ((min(inside, _GLANCE), _ALIKE / 2), (inside, _ALIKE))
    )
    return Shared(kind="same" if alike else "differ", end_s=float(own_s[-1]))


def _share_alike(
    time_s: NDArray[np.float64], kpa: NDArray[np.float64], own_s: NDArray[np.float64], own_kpa: NDArray[np.float64]
) -> float:
    """Share of samples that the other file has at the same time with the same pressure; 0 of none."""
    if len(time_s) == 0:
        return 0.0
    near = np.clip(np.searchsorted(own_s, time_s - 1e-6), 0, len(own_s) - 1)
    same = np.abs(own_s[near] - time_s) < 2e-6
    same &= (own_kpa[near] == kpa) | (np.isnan(own_kpa[near]) & np.isnan(kpa))
    return float(same.mean())


def _shared_stamps(
    time_s: NDArray[np.float64], kpa: NDArray[np.float64], own_s: NDArray[np.float64], own_kpa: NDArray[np.float64]
) -> Shared:
    """The same where several rows share a stamp: rows are compared in order, the outer stamps left aside."""
    end_s = float(own_s[-1])
    if end_s == time_s[0]:
        return Shared(kind="touch", end_s=end_s)
    first, second = kpa[(time_s > time_s[0]) & (time_s < end_s)], own_kpa[(own_s > time_s[0]) & (own_s < end_s)]
    alike = len(first) == len(second) > 0 and float((first == second).mean()) >= _ALIKE
    return Shared(kind="same" if alike else "differ", end_s=end_s)


def _samples(part: Part, from_s: float, until_s: float) -> Samples:
    """Times [s] and pressures of the first station of a file in a stretch of time, at most some thousand."""
    times, values, count = [], [], 0
    for portion in decoder_of(part.plan).portions(part.opened.rows(part.plan)):
        samples = next((s for s in portion.stations if s is not None), None)
        if samples is None:
            continue
        time_s = samples.time_s + part.first_s
        here = (time_s >= from_s) & (time_s <= until_s)
        times.append(time_s[here])
        values.append(samples.pressure_kpa[here])
        count += int(here.sum())
        if count >= _COMPARED or float(time_s.min()) > until_s:
            break
    joined_s = np.concatenate([np.empty(0), *times])[:_COMPARED]
    joined_kpa = np.concatenate([np.empty(0), *values])[:_COMPARED]
    order = np.argsort(joined_s, kind="stable")
    return joined_s[order], joined_kpa[order]


def without_overlap(portions: Iterator[Portion], shift_s: float, after_s: float, part: Part) -> Iterator[Portion]:
    """Portions of a later file, moved by `shift_s`; rows at or before `after_s` [s] are rejected.

    Where stamps are rounded and the file goes on within the last stamp, the rows of that stamp are kept.
    """
    name = part.opened.source.name
    touching = part.plan.time.rounded_s > 0 and abs(shift_s - after_s) < 1e-6
    for portion in portions:
        stations, rejected = [], [(f"{reason} ({name})", lines, n) for reason, lines, n in portion.rejected]
        for samples in portion.stations:
            moved = replace(samples, time_s=samples.time_s + shift_s) if samples is not None else None
            old = np.empty(0, np.bool_)
            if moved is not None:
                old = moved.time_s < after_s if touching else moved.time_s <= after_s + 1e-9
            if moved is not None and old.any():
                if not (portion.shared and any(reason.startswith("overlaps") for reason, _, _ in rejected)):
                    rejected.append((f"overlaps the file before ({name})", moved.lines[old], int(old.sum())))
                moved = moved.take(~old)
            stations.append(moved if moved is not None and len(moved) else None)
        yield replace(portion, stations=tuple(stations), rejected=tuple(rejected))
