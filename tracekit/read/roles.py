"""The role of a digital signal from what the pressure does at its edges."""

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.answers import ANSWERS
from tracekit.read.columns import Column
from tracekit.read.digitals import ROLES, Digital
from tracekit.read.head import cycle_rows, spread
from tracekit.read.words import Role
from tracekit.signal.select import quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges:
    """Vacuum, as a share of its range, around the edges of one direction; arrays of shape (n_edges,).

    at the sample before the edge, its step to the next, and its change over a short window before and after
    """

    at: NDArray[np.float64]
    step: NDArray[np.float64]
    before: NDArray[np.float64]
    after: NDArray[np.float64]

    def __len__(self) -> int:
        """Number of edges."""
        return len(self.at)


def by_response(digitals: Sequence[Digital], pressure_kpa: NDArray[np.float64]) -> dict[Role, tuple[Digital, str]]:
    """Roles that the response of the pressure gives without doubt, each with its evidence: one signal for each.

    Supply: vacuum starts to rise from its lowest level after the edge to one of the levels. Release: vacuum falls
    after the edge to one level, and nothing happens after the other. Part present: vacuum is at much the same level
    at every edge of one direction and was rising.
    """
    shares = _vacuum(pressure_kpa)
    if shares is None:
        return {}
    vacuum, window = shares
    moving = [d for d in digitals if d.moves]
    fits: dict[Role, list[tuple[Digital, str]]] = {
        role: [(d, why) for d in moving if (why := _fits(role, d, vacuum, window))] for role in ROLES
    }
    result: dict[Role, tuple[Digital, str]] = {}
    for role, found in fits.items():
        alone = [(d, why) for d, why in found if sum(any(d is e for e, _ in fits[r]) for r in ROLES) == 1]
        if len(found) == 1 and len(alone) == 1:
            result[role] = found[0]
    return _only_way(fits) or result


def _only_way(fits: Mapping[Role, Sequence[tuple[Digital, str]]]) -> dict[Role, tuple[Digital, str]]:
    """The only way to give every role that something fits one signal each, if that leaves none of those over."""
    asked = [role for role in ROLES if fits[role]]
    ways = [way for way in itertools.product(*(fits[r] for r in asked)) if len({id(d) for d, _ in way}) == len(way)]
    fitting = {id(d) for found in fits.values() for d, _ in found}
    return dict(zip(asked, ways[0], strict=True)) if len(ways) == 1 and len(fitting) == len(asked) else {}


def _vacuum(pressure_kpa: NDArray[np.float64]) -> tuple[NDArray[np.float64], int] | None:
    """Vacuum as a share of its range, shape (n,), and the rows in which answers are looked for; None without cycles."""
    low, high = spread(-pressure_kpa)
    length = cycle_rows(-pressure_kpa)
    if not high > low or length is None:
        return None
    known = np.isfinite(pressure_kpa)
    last = np.maximum.accumulate(np.where(known, np.arange(len(known)), 0))  # what is missing holds the reading before
    vacuum = np.clip((np.nan_to_num(-pressure_kpa[last], nan=low) - low) / (high - low), 0.0, 1.0)
    return vacuum, int(np.clip(0.06 * length, 2, 400))


def may_be_supply(digital: Digital, pressure_kpa: NDArray[np.float64]) -> bool:
    """Whether a signal at whose edges vacuum ends may be a supply all the same, whose other edge vacuum waits for.

    Suction begins on an open cup, and vacuum once that meets the part: soon after the edge, while a release is over
    soon after vacuum has ended. Between its end and its beginning there is less time before the one edge or the other.
    """
    shares = _vacuum(pressure_kpa)
    if shares is None:
        return False
    high = shares[0] > ANSWERS.held
    edges = np.flatnonzero(np.diff(digital.levels)) + 1
    rises = np.flatnonzero(high[1:] & ~high[:-1]) + 1
    falls = np.flatnonzero(~high[1:] & high[:-1]) + 1
    low = edges[~high[np.maximum(edges - 1, 0)]]
    since, until = np.searchsorted(falls, low) - 1, np.searchsorted(rises, low)
    known = (since >= 0) & (until < len(rises))
    if known.sum() < ANSWERS.role_edges or known.sum() > 1.3 * len(rises):  # a supply comes on once before each rise
        return False
    after, before = low[known] - falls[since[known]], rises[until[known]] - low[known]
    return bool(np.median(before) < np.median(after))


def likelier_valves(
    digitals: Sequence[Digital], pressure_kpa: NDArray[np.float64], open_roles: Sequence[Role]
) -> dict[Role, Digital]:
    """Which of some signals supply and release rather are: where vacuum rises most from rest, and where it ends most.

    Less than what decides without being asked; empty where the answers do not part them. Of a single signal it is
    told which of both roles it rather has, of several the one for a single open role.
    """
    shares = _vacuum(pressure_kpa)
    if shares is None or not digitals or not {"supply", "release"} & set(open_roles):
        return {}
    if len(digitals) == 1 and {"supply", "release"} <= set(open_roles) and may_be_supply(digitals[0], pressure_kpa):
        return {"supply": digitals[0]}
    vacuum, window = shares
    rise = [max(_median(e.after[e.at < ANSWERS.at_rest]) for e in _both(d, vacuum, window)) for d in digitals]
    fall = [max(_median(-e.after[e.at > ANSWERS.held]) for e in _both(d, vacuum, window)) for d in digitals]
    places = range(len(digitals))
    ways: list[tuple[float, dict[Role, Digital]]] = []
    if {"supply", "release"} <= set(open_roles) and len(digitals) > 1:
        pairs = [(i, k) for i in places for k in places if i != k]
        ways = [(rise[i] + fall[k], {"supply": digitals[i], "release": digitals[k]}) for i, k in pairs]
    else:
        ways += [(rise[i], {"supply": digitals[i]}) for i in places if "supply" in open_roles]
        ways += [(fall[i], {"release": digitals[i]}) for i in places if "release" in open_roles]
    (best, way), *others = sorted(ways, key=lambda w: -w[0])
    return way if best > (others[0][0] if others else 0.0) + ANSWERS.surer else {}


def _both(digital: Digital, vacuum: NDArray[np.float64], window: int) -> tuple[Edges, Edges]:
    return _edges(digital, vacuum, window, to=1), _edges(digital, vacuum, window, to=0)


def _median(values: NDArray[np.float64]) -> float:
    return float(np.median(values)) if len(values) >= ANSWERS.role_edges else 0.0


def likelier_first(columns: Sequence[Column], digitals: Sequence[Digital]) -> list[Column]:
    """Columns of readings, those first that answer more of some signals as the pressure of a station does."""

    def answered(column: Column) -> int:
        own = [d for d in digitals if d.plan.column != column.name]
        return max(len(by_response(own, sign * column.values)) for sign in (1.0, -1.0))

    return sorted(columns, key=lambda column: -answered(column))


def _edges(digital: Digital, vacuum: NDArray[np.float64], window: int, *, to: int) -> Edges:
    levels = digital.levels
    index = np.nonzero((levels[1:] == to) & (levels[:-1] == 1 - to))[0] + 1
    index = index[(index >= window) & (index < len(vacuum) - window)]
    return Edges(
        at=vacuum[index - 1],
        step=vacuum[index] - vacuum[index - 1],
        before=vacuum[index - 1] - vacuum[index - window],
        after=vacuum[np.minimum(index + window, len(vacuum) - 1)] - vacuum[index - 1],
    )


def _fits(role: Role, digital: Digital, vacuum: NDArray[np.float64], window: int) -> str:
    """Evidence for a role, empty where there is none."""
    for on in (1, 0):
        to_on, to_off = (_edges(digital, vacuum, window, to=level) for level in (on, 1 - on))
        if min(len(to_on), len(to_off)) < ANSWERS.role_edges:
            continue
        if role == "supply" and _starts_vacuum(to_on, to_off):
            return f"vacuum starts to rise after its edges to {on} ({len(to_on)} edges)"
        if role == "release" and _ends_vacuum(to_on, to_off):
            return f"vacuum ends after its edges to {on}, its other edges do nothing ({len(to_on)} edges)"
        held, free = digital.levels == on, digital.levels == 1 - on
        if role == "part_present" and _follows_vacuum(held, free, vacuum, to_on):
            level = float(np.median(to_on.at + to_on.step / 2))
            return f"changes to {on} where vacuum passes {level:.0%} of its range ({len(to_on)} edges)"
    return ""


def _share(mask: NDArray[np.bool_]) -> float:
    return float(mask.mean()) if len(mask) else 0.0


def _starts_vacuum(to_on: Edges, to_off: Edges) -> bool:
    idle = to_on.at < 0.3
    started = idle & (to_on.after > ANSWERS.begins) & (np.abs(to_on.before) < 0.1)
    return (
        int(idle.sum()) >= ANSWERS.role_edges
        and int(started.sum()) > 0.7 * int(idle.sum())
        and _share(to_on.after > to_on.before + 0.01) > 0.7
        and _share(to_off.at > 0.4) > 0.7
    )


def _ends_vacuum(to_on: Edges, to_off: Edges) -> bool:
    ended = (to_on.at > 0.4) & (to_on.after < -0.25)
    idle = (to_off.at < 0.3) & (np.abs(to_off.after) < 0.15)
    return _share(ended) > 0.7 and _share(idle) > 0.7


def _follows_vacuum(on: NDArray[np.bool_], off: NDArray[np.bool_], vacuum: NDArray[np.float64], to_on: Edges) -> bool:
    """True for a switch: on only above some vacuum, off only below some, and on while vacuum rises."""
    lowest_on, highest_off = quantile(vacuum[on], 0.03), quantile(vacuum[off], 0.97)
    apart = highest_off < lowest_on + 0.25 and float(vacuum[on].mean()) > float(vacuum[off].mean()) + 0.3
    return apart and lowest_on > 0.15 and _share(to_on.before + to_on.step > 0.1) > 0.7
