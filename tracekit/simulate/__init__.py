"""A physical station with known truth; shares no code with the estimators.

`simulate(scenario)` makes a log; `load_scenario` reads a scenario by name or from a TOML file;
`random_scenario` draws one. Inside: gas, scenario -> schedule -> plant, machine, faults -> run -> recorder, truth
-> log.
"""

from tracekit.simulate.draw_scenario import random_scenario
from tracekit.simulate.load import load_scenario
from tracekit.simulate.log import SimulatedLog, simulate
from tracekit.simulate.scenario import Scenario

__all__ = ["Scenario", "SimulatedLog", "load_scenario", "random_scenario", "simulate"]
