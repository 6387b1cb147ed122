"""Brings the modelled loop to what the log itself shows at the settings in force."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tracekit.model.cycle import StationData
from tracekit.tune.cost import lanes_of
from tracekit.tune.loop import run_loop
from tracekit.tune.station_model import FittedStation

_FACTORS = np.exp(np.linspace(-0.45, 0.45, 19))
_LEAST = 3
_CYCLES = 48


def calibrated(data: StationData, model: FittedStation, now: Mapping[str, float]) -> FittedStation:
    """The model with leak rates scaled so that recorded switches of the supply come out; at most by a factor 1.6."""
    if not data.air_saving or model.recharges_seen < _LEAST or not {"supply_off", "supply_on"} <= set(now):
        return model
    every = np.arange(len(model.rows))[:: max(1, len(model.rows) // _CYCLES)]
    lanes = lanes_of(model, every, np.full(len(_FACTORS), now["supply_off"]), np.full(len(_FACTORS), now["supply_on"]))
    counts = run_loop(replace(lanes, rate=lanes.rate * _FACTORS[:, None])).switches.mean(axis=1)
    seen = float(np.maximum(data.cycles.codes("supply_switches"), 0)[model.rows[every]].mean())
    miss = np.abs(counts - seen) + 0.02 * seen * np.abs(np.log(_FACTORS))
    return replace(model, rate=model.rate * float(_FACTORS[int(np.argmin(miss))]))
