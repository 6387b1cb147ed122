"""Which missed picks found nothing, and which closed on a part and were slow."""

from dataclasses import replace

import numpy as np
from segment.made_traces import KNOWN, PLAIN, Piece, blow_off, data_of, evacuate, hold, idle, table_of, trace_of

from tracekit.judge.case import Case
from tracekit.judge.misses import empty_picks, slow_misses
from tracekit.judge.verdict import judge
from tracekit.model.station import Station
from tracekit.options.judge import JudgeOptions
from tracekit.pipeline import measure

OPTIONS = JudgeOptions()
EMPTY = (idle(), evacuate(1.5, to=9.0, tau_s=0.05), blow_off())
WEAK = (idle(), evacuate(1.5, to=44.0, tau_s=0.2), blow_off())
"""A part is there and the supply dips: 44 of 75 kPa, four times what an open cup has, and no set point."""
HASTY = (idle(), evacuate(0.08, to=9.0, tau_s=0.02), blow_off())
"""Given up before the usual grip, which takes 0.14 s."""
RISING = (idle(), evacuate(0.3, to=70.0, tau_s=0.9), blow_off())
"""Given up at 20 kPa, after twice the usual time, while vacuum still rises: no open cup, and slow."""


def rows(flag: np.ndarray) -> list[int]:
    return np.flatnonzero(flag).tolist()


def test_only_open_cup_vacuum_is_an_empty_pick():
    """A miss counts as empty where it stayed near the open cup, long enough to meet a part, and no longer rose."""
    data = data_of((*PLAIN * 9, *EMPTY, *WEAK, *HASTY, *RISING, *PLAIN), settings=KNOWN, noise=0.03)
    assert rows(data.cycles.where("outcome", "missed")) == [9, 10, 11, 12]
    empty = empty_picks(data, None, OPTIONS)
    assert rows(empty) == [9]
    assert rows(slow_misses(data, empty)) == [10, 12]


def test_the_open_cup_of_the_log_is_the_measure():
    """Behind a clogged filter an open cup reads 20 kPa: picks at 28 kPa found nothing there, and something elsewhere."""
    miss = (idle(), evacuate(1.5, to=28.0, tau_s=0.03), blow_off())
    clear = data_of((*PLAIN * 9, *miss * 2, *PLAIN), settings=KNOWN, noise=0.03)
    columns = {**clear.cycles.data, "open_cup_vacuum_kpa": np.full(len(clear.cycles), 20.0)}
    clogged = replace(clear, cycles=replace(clear.cycles, data=columns))
    assert rows(empty_picks(clogged, None, OPTIONS)) == [9, 10]
    assert rows(empty_picks(clear, None, OPTIONS)) == []
    assert rows(empty_picks(clear, clogged, OPTIONS)) == [9, 10]


def measure_case(pieces) -> Case:
    station = Station(settings=KNOWN)
    log = measure(table_of(trace_of(pieces, noise=0.03)), station)
    return Case(data=log.stations[0], leak=log.leaks[0], station=station, layout=log.layout, facts=log.facts)


def test_dips_are_no_missing_parts():
    """Picks that miss at 44 kPa here and there tell of a supply that dips, not of parts that were not there."""
    log = measure_case((*PLAIN * 4, *WEAK) * 7)
    found = judge(log, OPTIONS).findings
    assert found[0].code == "supply_pressure_dips"
    assert "part_not_presented" not in {f.code for f in found}


def test_vacuum_before_every_command_is_a_valve_that_passes():
    """Without a baseline too: nothing else makes vacuum that rises while all valves are off."""
    early = (Piece(seconds=0.7, to=0.9, tau_s=0.03), Piece(seconds=0.25, to=18.0, tau_s=0.06))
    log = measure_case((*early, evacuate(), hold(), blow_off()) * 12)
    found = judge(log, OPTIONS).findings
    assert found[0].code == "supply_valve_passing"
    assert found[0].severity != "info"
