"""Cycles of small recordings drawn by hand: every start, try and outcome is known."""

from dataclasses import replace

import numpy as np
import pytest
from segment.made_traces import (
    KNOWN,
    PLAIN,
    SAVING,
    Piece,
    blow_off,
    coast,
    data_of,
    evacuate,
    hold,
    idle,
    measured,
    recharge,
    seconds_of,
    trace_of,
)

from tracekit.model.cycle import StationData
from tracekit.model.station import Settings

PLAIN_S, SAVING_S = seconds_of(PLAIN), seconds_of(SAVING)
FAILED_TRY = (evacuate(0.4, to=12.0, tau_s=0.05), Piece(seconds=0.3, to=1.0))


def among(odd: tuple[Piece, ...], usual: tuple[Piece, ...] = PLAIN) -> StationData:
    """Three usual picks, an odd one, two usual ones."""
    return data_of((*usual * 3, *odd, *usual * 2), settings=KNOWN)


def outcomes(data: StationData) -> list[str | None]:
    return data.cycles.texts("outcome")


@pytest.mark.parametrize(("pieces", "first", "length"), [(PLAIN, 0.6, PLAIN_S), (SAVING, 0.6, SAVING_S)])
def test_starts_and_ends(pieces, first: float, length: float) -> None:
    """A cycle lasts from its supply-on command to the next one's; idle time belongs to the cycle before it."""
    cycles = data_of(pieces * 4).cycles
    starts = first + length * np.arange(4)
    np.testing.assert_allclose(cycles.floats("start_s"), starts, atol=1e-9)
    np.testing.assert_allclose(cycles.floats("end_s")[:-1], starts[1:], atol=1e-9)
    np.testing.assert_allclose(cycles.floats("end_s")[-1], 4 * length, atol=1e-9)
    assert cycles.texts("outcome") == ["held"] * 4
    assert cycles.codes("attempts").tolist() == [1] * 4
    assert cycles.codes("set_point_reached").tolist() == [1] * 4


def test_recharges_are_no_cycles() -> None:
    """A supply-on inside a hold is a recharge: three coasts, two recharges, five switches, and one cycle."""
    data = data_of(SAVING * 3)
    assert data.air_saving
    assert data.cycles.codes("coasts").tolist() == [3] * 3
    assert data.cycles.codes("supply_switches").tolist() == [5] * 3
    kinds = [k for k, c in zip(data.periods.texts("kind"), data.periods.codes("cycle"), strict=True) if c == 1]
    expected = ["evacuate", "evacuate", "coast", "recharge", "coast", "recharge", "coast", "release", "idle"]
    assert kinds == expected


def test_cut_of_suction_is_no_switch() -> None:
    """Without air saving the last supply-off ends suction: no coast, no switch, and the hold ends there."""
    pieces = (idle(), evacuate(), hold(), Piece(seconds=0.1, to=72.0), blow_off())
    data = data_of(pieces * 4)
    assert not data.air_saving
    assert data.cycles.codes("coasts").tolist() == [0] * 4
    assert data.cycles.codes("supply_switches").tolist() == [0] * 4
    ends = 2.2 + seconds_of(pieces) * np.arange(4)
    np.testing.assert_allclose(data.cycles.floats("hold_end_s"), ends, atol=0.0051)  # half a sample before the edge


@pytest.mark.parametrize("tries", [1, 2])
def test_retries(tries: int) -> None:
    """A supply-on after a failed try without a release between them is a retry of the same cycle."""
    data = among((idle(), *FAILED_TRY * tries, *PLAIN[1:]))
    assert outcomes(data) == ["held"] * 6
    assert data.cycles.codes("attempts").tolist() == [1, 1, 1, 1 + tries, 1, 1]
    np.testing.assert_allclose(data.cycles.floats("start_s")[3], 3 * PLAIN_S + 0.6, atol=1e-9)
    # the evacuation counts from the last try
    time = data.cycles.floats("evacuation_time_s")
    np.testing.assert_allclose(time[3], time[2], atol=0.005)


@pytest.mark.parametrize("output", [True, False])
@pytest.mark.parametrize("to", [42.0, 48.0, 54.0])
def test_a_cup_that_seals_half_way_is_tried_again(to: float, output: bool) -> None:
    """Tries that end between the usual open cup and the set point, with vacuum gone in between, are of one cycle."""
    tried = (evacuate(0.6, to=to), Piece(seconds=0.3, to=0.0), idle(0.4))
    columns = trace_of((*PLAIN * 3, idle(), *tried * 2, *PLAIN[1:], *PLAIN * 2))
    if not output:
        del columns["part_present"]
    data = measured(columns, settings=KNOWN)
    assert outcomes(data) == ["held"] * 6
    assert data.cycles.codes("attempts").tolist() == [1, 1, 1, 3, 1, 1]


def test_retries_at_full_vacuum_are_no_air_saving() -> None:
    """A set point that is hardly reached: tries end at full vacuum, and what follows out of none is a new try."""
    tried = (evacuate(0.6, to=48.0), coast(0.05, 46.0), coast(0.1, 12.0))
    data = data_of((*(idle(), *tried, evacuate(), hold(), blow_off()) * 5, idle()))
    assert not data.air_saving
    assert data.settings["supply_off"].value_kpa is None
    assert set(data.cycles.codes("supply_switches").tolist()) == {0}


def test_new_cycle_after_release() -> None:
    """After a release command a supply-on is a new cycle, and the failed try before it is a missed one."""
    data = among((idle(), evacuate(0.8, to=12.0, tau_s=0.05), blow_off()))
    assert outcomes(data) == ["held"] * 3 + ["missed"] + ["held"] * 2
    missed = 3
    assert data.cycles.codes("set_point_reached")[missed] == 0
    assert not np.isfinite(data.cycles.floats("evacuation_time_s")[missed])
    assert not np.isfinite(data.cycles.floats("pump_time_constant_s")[missed])
    np.testing.assert_allclose(data.cycles.floats("open_cup_vacuum_kpa")[missed], 12.0, atol=0.05)


def test_missed_over_low_set_point() -> None:
    """A pick that never leaves the open-cup level is missed, even where a low set point is crossed."""
    empty = (idle(), evacuate(0.8, to=12.0, tau_s=0.05), blow_off())
    columns = trace_of((*PLAIN * 3, *empty, *PLAIN * 2))
    columns["part_present"] = (-columns["pressure_kpa"] > 8.0).astype(np.int64)
    data = measured(columns)
    assert outcomes(data) == ["held"] * 3 + ["missed"] + ["held"] * 2


@pytest.mark.parametrize(("seconds", "kind"), [(0.05, "sudden"), (1.2, "gradual")])
def test_drops(seconds: float, kind: str) -> None:
    """Vacuum that is lost before the release is a drop, sudden within some tens of milliseconds, else gradual."""
    fall = Piece(seconds=seconds, to=5.0, supply=1)
    data = among((idle(), evacuate(), hold(0.5), fall, replace(fall, seconds=0.3), blow_off()))
    assert outcomes(data) == ["held"] * 3 + ["dropped"] + ["held"] * 2
    assert data.cycles.texts("drop_kind") == [None] * 3 + [kind] + [None] * 2
    begins = 3 * PLAIN_S + 0.6 + 0.6 + 0.5
    lost = data.cycles.floats("drop_s")[3]
    assert begins - 0.03 < lost < begins + seconds
    np.testing.assert_allclose(data.cycles.floats("hold_end_s")[3], lost, atol=0.011)


def test_a_machine_that_stops_for_a_lost_part() -> None:
    """Suction ends as the output falls, vacuum is not gone yet: what fell before the valves moved was dropped."""
    torn = Piece(seconds=0.03, to=48.0, supply=1)
    data = among((idle(), evacuate(), hold(0.5), torn, blow_off()))
    assert outcomes(data) == ["held"] * 3 + ["dropped"] + ["held"] * 2
    assert data.cycles.texts("drop_kind")[3] == "sudden"
    slow = Piece(seconds=0.02, to=46.0, release=1, present=1)
    late = among((idle(), evacuate(), hold(0.5), replace(torn, present=1), slow, blow_off()))
    assert outcomes(late)[3] == "held"


@pytest.mark.parametrize(("before_s", "outcome"), [(0.0, "held"), (0.01, "dropped")])
def test_a_part_let_go_in_the_reading_that_shows_the_command(before_s: float, outcome: str) -> None:
    """Digitals read more slowly than the pressure show output and command at once: the blow-off came before them."""
    blown = Piece(seconds=0.03, to=44.0, supply=1, present=1)
    gone = (Piece(seconds=before_s, to=43.0, supply=1, present=0),) if before_s else ()
    odd = (idle(), evacuate(), hold(0.5), blown, *gone, blow_off())
    data = data_of((*PLAIN * 3, *odd, *PLAIN * 2, idle()), rate_hz=400)
    assert outcomes(data) == ["held"] * 3 + [outcome] + ["held"] * 2


@pytest.mark.parametrize(("to", "seconds", "kind"), [(38.0, 0.6, "gradual"), (45.0, 0.2, None), (48.0, 0.03, "sudden")])
def test_the_kind_of_a_loss_that_a_machine_cut_short(to: float, seconds: float, kind: str | None) -> None:
    """The machine stops as the output falls: the pace of what is recorded tells the kind, where it is clear."""
    data = among((idle(), evacuate(), hold(0.5), Piece(seconds=seconds, to=to, supply=1), blow_off()))
    assert outcomes(data) == ["held"] * 3 + ["dropped"] + ["held"] * 2
    assert data.cycles.texts("drop_kind")[3] == kind


@pytest.mark.parametrize(("seconds", "outcome"), [(0.1, "held"), (0.03, "dropped")])
def test_a_fall_that_vacuum_came_back_from_before(seconds: float, outcome: str) -> None:
    """Suction ends in a coast under the reset point: a loss only where vacuum falls faster than in the coasts before."""
    tooth = (coast(0.1, 48.0), recharge(0.1))
    leaky = (idle(), evacuate(0.3, to=70.0), *tooth * 4)
    usual = (*leaky, coast(0.08, 53.0), blow_off())
    last = (*leaky, Piece(seconds=seconds, to=48.0), blow_off())
    found = outcomes(data_of((*usual * 3, *last, *usual * 2, idle()), settings=KNOWN))
    assert found == ["held"] * 3 + [outcome] + ["held"] * 2


def test_a_set_point_over_the_cut() -> None:
    """Supply cut just before the output comes on, in the overshoot: the part is held to the release, coasting."""
    short = (idle(), evacuate(0.25, to=60.0), Piece(seconds=0.05, to=56.5), coast(0.8, 52.0), blow_off())
    settings = Settings(set_point_kpa=56.0, reset_point_kpa=51.0, supply_off_kpa=54.0, supply_on_kpa=45.0)
    data = data_of((*short * 4, idle()), settings=settings)
    assert outcomes(data) == ["held"] * 4
    assert data.cycles.codes("coasts").tolist() == [1] * 4
    held_s = data.cycles.floats("hold_end_s") - data.cycles.floats("hold_start_s")
    np.testing.assert_allclose(held_s, 0.8, atol=0.05)


def test_drop_in_a_coast() -> None:
    """A part lost while the supply is off is dropped, and its coast is left out of fits."""
    odd = (
        idle(),
        evacuate(0.3, to=72.0),
        coast(),
        recharge(),
        coast(0.3, 67.0),
        coast(0.04, 3.0),
        coast(0.4, 3.0),
        blow_off(),
    )
    data = among(odd, SAVING)
    assert outcomes(data) == ["held"] * 3 + ["dropped"] + ["held"] * 2
    mine = (data.periods.codes("cycle") == 3) & data.periods.where("kind", "coast")
    reason = [r for r, m in zip(data.periods.texts("reason"), mine, strict=True) if m]
    assert reason == [None, "part lost"]
    assert data.periods.codes("used")[mine].tolist() == [1, 0]


def test_recovered_collapse_is_no_drop() -> None:
    """A collapse that recovers in the same attempt is no drop: vacuum at the end of suction decides."""
    down, back = Piece(seconds=0.1, to=30.0, supply=1), Piece(seconds=0.3, to=74.0, supply=1)
    data = among((idle(), evacuate(), hold(0.5), down, back, hold(0.4), blow_off()))
    assert outcomes(data) == ["held"] * 6
    assert data.cycles.codes("output_edges").tolist() == [2, 2, 2, 4, 2, 2]
    assert data.cycles.codes("chatter_edges").tolist() == [0, 0, 0, 2, 0, 0]


@pytest.mark.parametrize("into", [1, 2, 3])
def test_cut_by_the_start(into: int) -> None:
    """A cycle under way when the log begins is incomplete, whether it evacuates or holds by then."""
    columns = trace_of(PLAIN * 5)
    cut = round(100 * {1: 0.7, 2: 1.5, 3: 2.0}[into])
    data = measured({k: v[cut:] for k, v in columns.items()})
    assert outcomes(data) == ["incomplete"] + ["held"] * 4
    np.testing.assert_allclose(data.cycles.floats("start_s")[0], 0.0, atol=1e-9)
    assert not np.isfinite(data.cycles.floats("idle_vacuum_kpa")[0])


def test_cut_while_idle() -> None:
    """A log that begins while nothing is on has no incomplete cycle at its start."""
    assert outcomes(measured({k: v[30:] for k, v in trace_of(PLAIN * 4).items()})) == ["held"] * 4


@pytest.mark.parametrize(("seconds", "last"), [(0.7, "incomplete"), (1.5, "incomplete"), (2.21, "held"), (2.4, "held")])
def test_cut_by_the_end(seconds: float, last: str) -> None:
    """A cycle without its release when the log ends is incomplete; with the release given it is held."""
    keep = round(100 * (4 * PLAIN_S + seconds))
    data = measured({k: v[:keep] for k, v in trace_of(PLAIN * 5).items()}, settings=KNOWN)
    assert outcomes(data) == ["held"] * 4 + [last]


@pytest.mark.parametrize(
    ("start_s", "stop_s", "expected"),
    [
        (1.5, 2.0, "incomplete"),  # inside the hold
        (0.8, 1.6, "incomplete"),  # over the grip
        (2.6, 3.0, "held"),  # after the release has ended
    ],
)
def test_gaps(start_s: float, stop_s: float, expected: str) -> None:
    """A gap before suction ends makes a cycle incomplete; one after the release does not."""
    columns = trace_of((*PLAIN, idle(1.0)) * 4)
    time = columns["time_s"] - 2 * (PLAIN_S + 1.0)
    keep = (time < start_s) | (time > stop_s)
    data = measured({k: v[keep] for k, v in columns.items()})
    assert outcomes(data) == ["held", "held", expected, "held"]


def test_gap_hides_a_release() -> None:
    """Where a gap hides release and idle, the cycle before it is incomplete and the next one begins anew."""
    columns = trace_of(PLAIN * 5)
    time = columns["time_s"] - 2 * PLAIN_S
    keep = (time < 1.8) | (time > 2.5 + 0.3)
    data = measured({k: v[keep] for k, v in columns.items()})
    assert outcomes(data) == ["held", "held", "incomplete", "held", "held"]


@pytest.mark.parametrize("until_s", [1.0, 1.5])
def test_gap_hides_a_start(until_s: float) -> None:
    """A pick whose supply came on in a gap is incomplete: from when it was drawn does not show."""
    columns = trace_of((*PLAIN, idle(1.0)) * 4)
    time = columns["time_s"] - 2 * (PLAIN_S + 1.0)
    keep = (time < -0.8) | (time > until_s)
    data = measured({k: v[keep] for k, v in columns.items()})
    assert outcomes(data) == ["held", "held", "incomplete", "held"]
    assert np.isnan(data.cycles.floats("evacuation_time_s")[2])


def test_gap_hides_a_start_and_the_supply() -> None:
    """A recharge of a pick that began in a gap opens no new pick, and its edges do not count for the pick before."""
    columns = trace_of(SAVING * 4)
    time = columns["time_s"] - 2 * SAVING_S
    keep = (time < 0.2) | (time > 1.5)
    data = measured({k: v[keep] for k, v in columns.items()}, settings=KNOWN)
    assert outcomes(data) == ["held", "held", "incomplete", "held"]
    assert data.cycles.codes("output_edges")[1] == 2
    assert data.cycles.codes("chatter_edges").tolist() == [0] * 4
    np.testing.assert_allclose(data.cycles.floats("end_s")[1], 2 * SAVING_S + 1.51, atol=0.011)


def test_no_release_channel() -> None:
    """Without a release channel cycles are told by the vacuum that has gone between them, and none is a drop."""
    data = data_of(PLAIN * 5, drop=["release"])
    assert outcomes(data)[:-1] == ["held"] * 4
    np.testing.assert_allclose(data.cycles.floats("start_s"), 0.6 + PLAIN_S * np.arange(5), atol=1e-9)
    assert data.wiring.release_on_level is None
    assert not data.air_saving
    assert not np.isfinite(data.cycles.floats("release_time_s")).any()


def test_no_release_channel_with_air_saving() -> None:
    """Without a release channel a recharge is no cycle, and the blow-off out of the last coast is no drop."""
    data = data_of((*SAVING * 5, idle()), drop=["release"])
    np.testing.assert_allclose(data.cycles.floats("start_s"), 0.6 + SAVING_S * np.arange(5), atol=1e-9)
    assert data.air_saving
    assert outcomes(data) == ["held"] * 5
    assert data.cycles.codes("coasts").tolist() == [3] * 5
    released = 3.3 + SAVING_S * np.arange(5)
    ends = data.cycles.floats("hold_end_s")
    assert ((released - 0.06 < ends) & (ends < released + 0.02)).all()


def test_no_release_channel_with_one_coast() -> None:
    """Without recharges and without a release channel a part held on and then let go tells air saving, as a file does."""
    pieces = (idle(), evacuate(0.3, to=72.0), coast(1.0, 65.0), blow_off())
    settings = replace(KNOWN, supply_off_kpa=68.0, supply_on_kpa=62.0)
    told = data_of((*pieces * 5, idle()), drop=["release"], settings=settings)
    assert told.air_saving
    assert told.cycles.codes("coasts").tolist() == [1] * 5
    assert outcomes(told) == ["held"] * 5
    untold = data_of((*pieces * 5, idle()), drop=["release"])
    assert untold.air_saving
    assert untold.cycles.codes("coasts").tolist() == [1] * 5
    assert outcomes(untold) == ["held"] * 5
    cut = 0.9 + seconds_of(pieces) * np.arange(5)
    np.testing.assert_allclose(untold.cycles.floats("hold_end_s"), cut + 1.0, atol=0.05)


def test_a_weak_release_that_is_not_logged_leaves_cycles_apart() -> None:
    """A third of the vacuum stays from pick to pick, with the output off. Supply that resumes at two thirds is no pick."""
    weak = (Piece(seconds=1.0, to=28.0, tau_s=0.2), evacuate(), hold(0.6))
    data = data_of((*PLAIN * 4, idle(), evacuate(), hold(0.6), *weak * 6, blow_off(), idle()), drop=["release"])
    assert outcomes(data) == ["held"] * 11
    assert data.cycles.codes("chatter_edges").tolist() == [0] * 11
    under = (idle(), evacuate(0.4), *(coast(0.6, to=46.0), recharge(0.3)) * 3, blow_off())
    assert len(data_of((*under * 5, idle()), drop=["release"]).cycles) == 5


def test_drop_without_release_channel() -> None:
    """Without a release channel a loss while the supply is on is still a drop."""
    fall = Piece(seconds=0.05, to=5.0, supply=1)
    odd = (idle(), evacuate(), hold(0.5), fall, replace(fall, seconds=0.3), blow_off())
    data = data_of((*PLAIN * 3, *odd, *PLAIN * 2, idle()), drop=["release"])
    assert outcomes(data) == ["held"] * 3 + ["dropped"] + ["held"] * 2


def test_no_output_channel() -> None:
    """Without an output the vacuum alone decides, and what needs the output is missing."""
    data = data_of((*PLAIN * 3, idle(), evacuate(0.8, to=12.0, tau_s=0.05), blow_off(), *PLAIN), drop=["part_present"])
    assert outcomes(data) == ["held"] * 3 + ["missed", "held"]
    assert data.cycles.codes("output_edges").tolist() == [-1] * 5
    assert data.settings["set_point"].value_kpa is None


def test_output_never_on() -> None:
    """An output that never comes on cannot tell its polarity; cycles are found all the same."""
    columns = trace_of(PLAIN * 4)
    columns["part_present"] = np.zeros_like(columns["part_present"])
    data = measured(columns)
    assert data.wiring.present_on_level is None
    assert outcomes(data) == ["held"] * 4


def test_no_supply_channel() -> None:
    """Without a supply channel there is no cycle, and nothing else is made up."""
    data = data_of(PLAIN * 4, drop=["supply"])
    assert len(data.cycles) == len(data.periods) == len(data.edges) == 0


def test_no_digitals() -> None:
    """Pressure alone gives no cycle but keeps the strip and the facts about the sensor."""
    data = data_of(PLAIN * 4, drop=["supply", "release", "part_present"], noise=0.05)
    assert len(data.cycles) == 0
    assert len(data.strip.time_s) > 10
    np.testing.assert_allclose(data.sensor.noise_kpa, 0.05, rtol=0.35)


def test_no_supply_channel_under_vacuum() -> None:
    """Without a supply channel a log that begins under vacuum has no cycle either."""
    columns = {k: v[150:] for k, v in trace_of(PLAIN * 4).items() if k in ("time_s", "pressure_kpa")}
    assert len(measured(columns).cycles) == 0


def test_valves_overlap_is_no_attempt() -> None:
    """Supply that stays or comes on while the release blows is an overlap of the valves, not a new attempt."""
    pieces = (idle(), evacuate(), hold(), Piece(seconds=0.1, to=40.0, supply=1, release=1), blow_off())
    data = data_of(pieces * 4)
    assert outcomes(data) == ["held"] * 4
    np.testing.assert_allclose(data.timing["overlap_s"], 0.1, atol=1e-9)
    early = (idle(), evacuate(), hold(), blow_off(0.02), Piece(seconds=0.1, to=30.0, supply=1, release=1), blow_off())
    assert outcomes(data_of(early * 4)) == ["held"] * 4


def test_one_cycle() -> None:
    """A log of one pick has one cycle."""
    assert outcomes(data_of((*PLAIN, idle()))) == ["held"]


def test_no_cycle() -> None:
    """A log in which nothing happens has no cycle."""
    data = data_of((idle(8.0),), noise=0.1)
    assert len(data.cycles) == 0


def test_purging_is_no_cycle() -> None:
    """Release commands without suction are no cycles."""
    data = data_of((*PLAIN * 3, idle(), blow_off(), idle(), blow_off(), *PLAIN))
    assert outcomes(data) == ["held"] * 4
