"""Records of a tuning: settings in force, what was asked, what the page shows of the fitted station."""

from collections.abc import Mapping
from dataclasses import field

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.estimate import Estimate, Quantity
from tracekit.model.result import Constraint, Suggestion

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A setting in force: best value and the interval that holds the true one [kPa of vacuum]."""

    name: str
    value: float
    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Half of the interval [kPa]."""
        return 0.5 * (self.high - self.low)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chatter:
    """What is known of an output that toggles in the hold.

    holds, edges   holds in which it toggles, and edges too many in them
    frequency_hz   full off-on cycles per second while it toggles, None under two per hold
    duty           share of that time in which the output is off
    at_share       where in the hold, from 0 to 1: quartiles
    cause          order, leak, noise, pulsation, motion or artefact
    support        share of the pulses that speak for the cause
    text           one sentence
    """

    holds: int
    edges: int
    frequency_hz: Estimate | None
    duty: float
    at_share: tuple[float, float, float]
    cause: str
    support: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Vacuum [kPa] over time since the supply command [s], arrays of shape (n,)."""

    time_s: Floats
    vacuum_kpa: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One step at the device: the setting, what it shows before and what is entered, in the device's unit and sign."""

    name: str
    before: float
    enter: float
    entry: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryPlan:
    """The steps in order; `safe` is False where every order breaks a rule in between: then the machine stands still."""

    steps: tuple[Entry, ...]
    safe: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """Settings asked for [kPa], with what they break and do.

    typed        as they were asked for, by name
    values       all settings, those asked for on the device's steps
    shown        the same as the device shows them, in its unit and entry form
    constraints  every rule with its margin; those of `newly` do not hold and are broken less, or not, by the settings
                 in force; those of `unsure` hold unless a setting in force lies elsewhere in its interval
    withheld     why nothing, or only the missed picks, can be predicted; None where all is
    replayed     counts of the recorded cycles, empty where no device can hold the settings
    exact        every sample was replayed, the loop unchanged
    order        the order of entry, None where they are not to be entered
    notes        what no log has shown of them, a sentence each
    """

    typed: Mapping[str, float]
    values: Mapping[str, float]
    shown: Mapping[str, float]
    constraints: tuple[Constraint, ...]
    newly: tuple[str, ...]
    unsure: tuple[str, ...]
    predicted: Mapping[str, Estimate]
    replayed: Mapping[str, int]
    exact: bool
    withheld: str | None = None
    order: EntryPlan | None = None
    notes: tuple[str, ...] = ()

    @property
    def impossible(self) -> bool:
        """Whether no device can hold the settings, so that nothing is predicted."""
        return not self.predicted

    @property
    def broken(self) -> tuple[Constraint, ...]:
        """The rules that do not hold."""
        return tuple(c for c in self.constraints if not c.holds)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """Grids of settings [kPa] and effects over them, for a page that answers "what if" without a network.

    point, reset, off, on  grids; the last two empty without air saving
    evacuation_s, missed   over `point`
    drops, edges           share of holds that lose the output, edges too many per hold: over `reset` × `point`
    kept_drops, kept_edges the same with supply_on so high that the loop keeps vacuum over the reset point
    gap, risk              chance that noise or a dip takes a hold below the reset point, over the distance to it
    switches, on_time_s    per hold, over `off` × `on`
    """

    point: Floats
    reset: Floats
    off: Floats
    on: Floats
    evacuation_s: Floats
    missed: Floats
    drops: Floats
    edges: Floats
    kept_drops: Floats
    kept_edges: Floats
    gap: Floats
    risk: Floats
    switches: Floats
    on_time_s: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """What the page shows of the fitted station.

    figures    every quantity of the model with its interval, by name
    levels     ranges that the log shows [kPa]: open_cup, floor, reach, each (low, high), where it shows them
    limits     what binds settings [kPa]: guard, step, hysteresis, band, band_most, fall, overshoot, later, and needed,
               open_level, point_most, off_most, dip_level, seen_low, seen_high (the recorded range) where known
    curve, recorded, misfit_kpa  the modelled pick, some recorded ones, and how far they are apart
    law        the form of the leak, of each group of cycles where rates fall into groups, in words
    """

    figures: Mapping[str, Quantity]
    levels: Mapping[str, tuple[float, float]]
    limits: Mapping[str, float]
    curve: Curve
    recorded: tuple[Curve, ...]
    misfit_kpa: float
    tables: Tables
    law: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """Everything that `tune` says of one station.

    known      settings in force with their doubt, those known well enough by `sure`
    shown_now  settings in force as the device shows them: (value, unit, entry form)
    fitted     the station's model, None where too little is known
    order      the order of entry, None without a suggestion
    answer_s   answering time of the switch found by replay, None where no sample was replayed
    """

    station: str
    known: Mapping[str, Known]
    sure: frozenset[str]
    shown_now: Mapping[str, tuple[float, str, str]]
    suggestion: Suggestion
    fitted: Fitted | None = None
    chatter: Chatter | None = None
    what_if: WhatIf | None = None
    order: EntryPlan | None = None
    goal: str | None = None
    answer_s: float | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def order_to_enter(self) -> EntryPlan | None:
        """The order of entry of what was asked for, else of the suggestion; None where nothing is to be entered."""
        return self.order if self.what_if is None else self.what_if.order
