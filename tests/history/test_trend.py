"""The trend of a history: what it must say, what it must not say."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from history.made_up_records import (
    DAY_US,
    JAN_US,
    cycles_table,
    facts_of,
    log_id_of,
    record_of,
    simple_record,
    station_result,
)
from history.made_up_series import LEAK, followed, log_days, made_up_leak, mixed_parts, scatter

from tracekit.errors import UsageError
from tracekit.history.add import add_record
from tracekit.history.adjust import adjust, weather_effect
from tracekit.history.charts import chart_limits, run_charts
from tracekit.history.collect import StationHistory, collect
from tracekit.history.cost import energy_per_supply_second
from tracekit.history.digest import digest_json, digest_text
from tracekit.history.events import note_event, parse_event, parse_time, read_events
from tracekit.history.measures import MEASURES, measure_named
from tracekit.history.place import open_place
from tracekit.history.slope import find_correlation, robust_slope, variance_ratio
from tracekit.history.steps import find_steps
from tracekit.history.trend import grows_fast, station_trend, trend
from tracekit.history.trend_json import trend_json
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.model.station import Limit, Price, Station, StationFacts
from tracekit.model.trend import LOWER_BOUND, CrossingDate, Event, MeasureTrend
from tracekit.options.history import TrendOptions

OPTIONS = TrendOptions()
LIMIT = {LEAK: Limit(max=4.0)}


def history_of(value: np.ndarray, name: str = LEAK, n: int = 60) -> StationHistory:
    """A station with one measure, a log a day."""
    start = JAN_US + np.arange(len(value)) * DAY_US
    return StationHistory(
        station="Glaze 1", start_us=start, followed={name: followed(np.asarray(value, float), n)}, latest={}, findings=()
    )


def trend_of(value: np.ndarray, name: str = LEAK, events: tuple[Event, ...] = (), limits: dict[str, Limit] | None = None) -> MeasureTrend:
    """The trend of one made-up measure."""
    return station_trend(history_of(value, name), events, None, limits or {}, OPTIONS).measures[name]


def quiet(logs: int, seed: int = 1, sigma: float = 0.05) -> np.ndarray:
    """A leak of 1.5 kPa/s with independent scatter."""
    return 1.5 * np.exp(sigma * np.random.default_rng(seed).normal(size=logs))


def test_growth_is_found_with_its_rate_and_its_date() -> None:
    """A leak doubling in 60 days: both slopes cover the truth, growth is established, the crossing covers."""
    rate = math.log(2) / 60
    value = quiet(80) * np.exp(rate * np.arange(80))
    got = trend_of(value, limits=LIMIT)
    assert isinstance(got.relative, Estimate)
    assert got.relative.lower < rate < got.relative.upper
    assert got.p_value is not None
    assert got.p_value < 1e-6
    assert isinstance(got.crossing, CrossingDate)
    truth = JAN_US + math.log(4.0 / 1.5) / rate * DAY_US
    assert got.crossing.earliest_us < truth < got.crossing.latest_us
    assert got.alarms


def test_linear_growth_has_its_slope_in_the_unit() -> None:
    """0.1 kPa/s a day with little scatter: slope_per_day is 0.1 within its interval, at most 10 % wide."""
    value = 1.0 + 0.1 * np.arange(30) + 0.02 * np.random.default_rng(2).normal(size=30)
    slope = trend_of(value).slope
    assert isinstance(slope, Estimate)
    assert slope.lower < 0.1 < slope.upper
    assert slope.upper - slope.lower < 0.01
    assert slope.unit == "kPa/s/d"


def test_six_logs_of_a_fast_leak_already_tell() -> None:
    """Six days of linear growth give a slope that covers and a date; four give neither but a reason."""
    value = np.array([0.5, 1.5, 2.45, 3.6, 4.5, 5.5])
    slope = trend_of(value).slope
    assert isinstance(slope, Estimate)
    assert slope.lower < 1.0 < slope.upper
    few = trend_of(value[:4], limits=LIMIT)
    assert isinstance(few.slope, Withheld)
    assert isinstance(few.crossing, Withheld)
    assert "4" in few.slope.reason


def test_no_growth_gives_no_date() -> None:
    """Without established growth the crossing is withheld with that reason."""
    got = trend_of(quiet(120), limits=LIMIT)
    assert isinstance(got.crossing, Withheld)
    assert "not established" in got.crossing.reason
    assert got.limit is not None
    assert got.limit.state == "within"


def test_a_limit_far_off_gives_no_date() -> None:
    """Slow growth towards a far limit is withheld as too far, not dated in years."""
    value = quiet(120) * np.exp(0.002 * np.arange(120))
    got = trend_of(value, limits={LEAK: Limit(max=400.0)})
    assert isinstance(got.crossing, Withheld)
    assert "further off than" in got.crossing.reason


def test_only_a_change_for_the_worse_is_an_alarm() -> None:
    """A leak that halves raises no alarm, one that doubles does."""
    change = np.where(np.arange(120) < 80, 1.0, 2.0)
    assert trend_of(quiet(120) / change).alarms == ()
    worse = trend_of(quiet(120) * change)
    assert len(worse.alarms) == 1
    assert 80 <= (worse.alarms[0].time_us - JAN_US) / DAY_US <= 84


def test_less_vacuum_is_the_worse_way_of_a_vacuum() -> None:
    """Ultimate vacuum alarms when it falls and not when it rises; the sensor's zero alarms both ways."""
    rng = np.random.default_rng(3)
    change = np.where(np.arange(120) < 80, 0.0, 4.0)
    base = 80.0 + 0.5 * rng.normal(size=120)
    assert trend_of(base - change, "ultimate_vacuum_kpa").alarms
    assert trend_of(base + change, "ultimate_vacuum_kpa").alarms == ()
    zero = 0.1 * rng.normal(size=120)
    assert trend_of(zero + change / 4, "idle_vacuum_kpa").alarms
    assert trend_of(zero - change / 4, "idle_vacuum_kpa").alarms


def test_one_odd_log_is_no_alarm_and_no_step() -> None:
    """A single log ten times too high changes neither alarms nor steps, and the slope hardly."""
    value = quiet(90)
    odd = value.copy()
    odd[60] *= 10.0
    got = trend_of(odd)
    assert got.alarms == ()
    assert got.steps == ()
    plain = trend_of(value).slope
    assert isinstance(got.slope, Estimate)
    assert isinstance(plain, Estimate)
    assert abs(got.slope.value - plain.value) < 0.2 * (plain.upper - plain.lower)


def test_an_alarm_does_not_depend_on_what_came_later() -> None:
    """The alarms up to a log are the same whether or not later logs are known, unless a repair is found later."""
    value = quiet(160, seed=9) * np.exp(0.01 * np.maximum(np.arange(160) - 60, 0))
    whole = [a.time_us for a in trend_of(value).alarms]
    assert whole
    for stop in (100, 120, 140):
        cut = [a.time_us for a in trend_of(value[:stop]).alarms]
        assert cut == [t for t in whole if t < JAN_US + stop * DAY_US]


def test_a_repair_is_a_step_for_the_better_and_starts_anew() -> None:
    """Growth, repair, growth: the repair's date is exact, it is no alarm, the second growth alarms against the new level."""
    rate = math.log(2) / 60
    day = np.arange(200)
    value = quiet(200) * np.exp(rate * np.where(day < 100, day, day - 100))
    got = trend_of(value)
    assert len(got.steps) == 1
    step = got.steps[0]
    assert (step.time_us - JAN_US) / DAY_US == 100
    assert step.better is True
    assert step.before == pytest.approx(1.5 * 2 ** (100 / 60), rel=0.1)
    assert step.after == pytest.approx(1.5, rel=0.1)
    late = [a for a in got.alarms if a.time_us >= JAN_US + 100 * DAY_US]
    assert len(late) == 1
    assert 110 < (late[0].time_us - JAN_US) / DAY_US < 150
    assert late[0].usual == pytest.approx(1.5, rel=0.25)


def test_slow_growth_is_no_step() -> None:
    """Growth alone, fast or slow, by factors or amounts, is never called a step."""
    day = np.arange(150)
    for form in (np.exp(0.01 * day), 1.0 + 0.03 * day, np.exp(0.01 * np.maximum(day - 70, 0))):
        for seed in range(5):
            assert trend_of(quiet(150, seed=seed) * form).steps == ()


def test_a_noted_repair_names_its_step_and_what_it_did() -> None:
    """An event noted on the day of a step names it; the station's last repair says what it changed."""
    value = np.where(np.arange(80) < 50, 3.0, 1.5) * quiet(80) / 1.5
    event = parse_event("2025-02-20 Glaze 1: cups changed")
    got = station_trend(history_of(value), (event,), None, {}, OPTIONS)
    step = got.measures[LEAK].steps[0]
    assert step.event == "cups changed"
    assert got.repair is not None
    assert (got.repair.text, got.repair.source) == ("cups changed", "noted")
    before, after = got.repair.effects[LEAK]
    assert (before, after) == (pytest.approx(3.0, rel=0.1), pytest.approx(1.5, rel=0.1))
    assert got.repair.days_since == pytest.approx(29.0, abs=0.5)


def test_a_noted_repair_that_did_nothing_does_not_hide_the_fault() -> None:
    """After a repair without effect the alarm stands; a noted new normal ends it."""
    value = quiet(120) * np.where(np.arange(120) < 60, 1.0, 1.6)
    nothing = parse_event("2025-03-15 Glaze 1: filter blown out")
    assert trend_of(value, events=(nothing,)).in_alarm
    accepted = parse_event("2025-03-02 Glaze 1: new normal, other tiles")
    assert not trend_of(value, events=(accepted,)).in_alarm


def test_the_mix_of_parts_is_taken_out() -> None:
    """Where a leaky part type becomes commoner, the plain mean grows but the trend of the station does not."""
    rng = np.random.default_rng(5)
    mixed, _ = mixed_parts(rng, 0.03 * rng.normal(size=150))
    start = JAN_US + np.arange(150) * DAY_US
    parted = StationHistory(station="Glaze 1", start_us=start, followed={LEAK: mixed}, latest={}, findings=())
    got = station_trend(parted, (), None, {}, OPTIONS).measures[LEAK]
    assert got.taken_out == ("part",)
    assert isinstance(got.relative, Estimate)
    bare = trend_of(mixed.value)
    assert isinstance(bare.relative, Estimate)
    assert bare.relative.lower > 0.001
    assert got.relative.upper < 0.5 * bare.relative.lower
    assert abs(got.relative.value) < 2.0 * (got.relative.upper - got.relative.lower)


def test_recorded_weather_is_taken_out() -> None:
    """The effect of recorded ambient pressure is found within its error and does not pass for growth."""
    rng = np.random.default_rng(6)
    ambient = 100.0 + scatter(rng, 200, 0.8, 0.7, 1.0)
    level = 0.02 * (ambient - 100.0) + 0.03 * rng.normal(size=200)
    effect, se = weather_effect(level, ambient)
    assert abs(effect - 0.02) < 3 * se
    assert se < 0.01
    told = history_of(np.exp(level))
    told = replace(told, followed={**told.followed, "ambient": followed(ambient)})
    measure = measure_named(LEAK)
    assert measure is not None
    got = adjust(told, measure, told.followed[LEAK])
    assert got.taken_out == ("ambient pressure",)
    assert np.std(got.level) < np.std(level)


def test_recorded_temperature_is_taken_out() -> None:
    """A summer that warms the station by 12 K does not pass for growth where its temperature is recorded."""
    rng = np.random.default_rng(12)
    temperature = 14.0 + 12.0 * np.arange(120) / 120 + 1.5 * rng.normal(size=120)
    told = history_of(1.5 * np.exp(0.02 * (temperature - 20.0) + 0.03 * rng.normal(size=120)))
    blind = station_trend(told, (), None, {}, OPTIONS).measures[LEAK].relative
    told = replace(told, followed={**told.followed, "temperature": followed(temperature)})
    got = station_trend(told, (), None, {}, OPTIONS).measures[LEAK]
    assert got.taken_out == ("temperature",)
    assert isinstance(got.relative, Estimate)
    assert isinstance(blind, Estimate)
    assert got.relative.lower <= 0.0 <= got.relative.upper
    assert blind.lower > 0.0


def test_the_mix_of_shifts_is_taken_out_and_named() -> None:
    """Two shifts of which one picks worse, in shares that drift: no growth is seen, and the column is named."""
    rng = np.random.default_rng(13)
    leak, _ = mixed_parts(rng, np.log(1.5) + 0.04 * rng.normal(size=150))
    leak = replace(leak, group_names=("shift=early", "shift=late"))
    told = replace(history_of(np.ones(150)), followed={LEAK: leak})
    got = station_trend(told, (), None, {}, OPTIONS).measures[LEAK]
    assert got.taken_out == ("shift",)
    assert isinstance(got.relative, Estimate)
    assert got.relative.lower <= 0.0 <= got.relative.upper
    assert not got.alarms


def test_growth_without_a_latest_date_is_growth(tmp_path: Path) -> None:
    """A leak that grows beyond doubt, too few logs for an interval of the date: growing, and the earliest date is told."""
    rng = np.random.default_rng(14)
    file = Station(limits={LEAK: Limit(max=4.0)})
    for number in range(17):
        level = 1.1 * 1.04**number * float(np.exp(0.06 * rng.normal()))
        add_record(tmp_path, simple_record(number, decay=level), stations=file)
    for number in range(17):
        add_record(tmp_path, simple_record(number + 100, stations=("Glaze 2",), start_us=JAN_US - 100 * DAY_US, decay=1.5))
    fleet = trend(tmp_path)
    first, second = fleet.stations
    got = first.measures[LEAK]
    assert (first.station, first.state, second.state) == ("Glaze 1", "growing", "steady")
    assert isinstance(got.crossing, Withheld)
    assert got.not_before_us is not None
    assert first.last_us < got.not_before_us
    assert "reaches 4 not before" in digest_text(fleet)
    document = trend_json(fleet, "2025-01-01T00:00:00Z")
    assert '"crossing_not_before"' in json.dumps(document)


def test_a_constant_ambient_is_not_taken_out() -> None:
    """An ambient pressure that the station file repeats log after log explains nothing."""
    told = history_of(quiet(100))
    told = replace(told, followed={**told.followed, "ambient": followed(np.full(100, 100.8))})
    assert station_trend(told, (), None, {}, OPTIONS).measures[LEAK].taken_out == ()


def test_lower_bounds_count_as_no_less_than_they_say() -> None:
    """Logs whose leak is only 'at least 6' after a healthy time raise an alarm: missing coasts are not health."""
    value = quiet(80)
    bound = np.zeros(80, np.int8)
    value[60:], bound[60:] = 6.0, LOWER_BOUND
    told = history_of(value)
    told = replace(told, followed={LEAK: replace(told.followed[LEAK], bound=bound)})
    got = station_trend(told, (), None, LIMIT, OPTIONS).measures[LEAK]
    assert got.bounds == 20
    assert got.alarms
    assert got.limit is not None
    assert got.limit.state in ("over", "may be over")


def test_a_low_lower_bound_says_nothing() -> None:
    """A lower bound below the usual level is left out instead of passing for a small leak."""
    value = quiet(60)
    bound = np.zeros(60, np.int8)
    value[30:40], bound[30:40] = 0.1, LOWER_BOUND
    told = history_of(value)
    told = replace(told, followed={LEAK: replace(told.followed[LEAK], bound=bound)})
    got = station_trend(told, (), None, {}, OPTIONS).measures[LEAK]
    assert len(got.series.time_us) == 50
    assert got.steps == ()


def test_rare_drops_have_an_interval_and_alarm_when_they_pile_up() -> None:
    """No drops: the share is 'at most a little', not surely zero. Three of sixty in every log: alarm."""
    none = trend_of(np.zeros(60), "drop_share")
    assert isinstance(none.present, Estimate)
    assert none.present.lower == 0.0
    assert none.present.upper > 1e-4
    assert isinstance(none.slope, Estimate)
    assert none.slope.upper > 0.0
    assert none.alarms == ()
    worse = np.where(np.arange(100) < 70, 0.0, 3 / 60)
    assert trend_of(worse, "drop_share").alarms


def test_correlated_scatter_widens_the_interval() -> None:
    """The same number of logs tells less where they resemble one another; independent logs are widened by under a half."""
    rng = np.random.default_rng(8)
    time = np.arange(200.0)
    alike = robust_slope(time, scatter(rng, 200, 0.1, 0.8, 1.0))
    free = robust_slope(time, 0.1 * rng.normal(size=200))
    assert alike is not None
    assert free is not None
    assert alike.upper - alike.lower > 1.8 * (free.upper - free.lower)
    labels = np.zeros(200, np.int64)
    assert variance_ratio(time, labels, find_correlation(0.1 * rng.normal(size=200))) < 2.2


def test_variance_ratio_against_the_full_matrix() -> None:
    """The variance ratio equals c'Rc / c'c with the whole correlation matrix written out."""
    rng = np.random.default_rng(9)
    time = np.sort(rng.uniform(0, 60, 40))
    found = find_correlation(scatter(rng, 40, 1.0, 0.7, 0.9))
    centred = time - time.mean()
    lags = np.abs(np.subtract.outer(np.arange(40), np.arange(40)))
    full = float(centred @ found.at(lags) @ centred / (centred @ centred))
    assert variance_ratio(time, np.zeros(40, np.int64), found) == pytest.approx(max(full, 1.0), rel=1e-9)


def test_reversing_time_reverses_the_slope() -> None:
    """A series read backwards has the opposite slope and the mirrored interval."""
    rng = np.random.default_rng(10)
    time, value = np.sort(rng.uniform(0, 50, 60)), rng.normal(size=60)
    forth, back = robust_slope(time, value), robust_slope(-time[::-1], value[::-1])
    assert forth is not None
    assert back is not None
    assert back.slope == pytest.approx(-forth.slope, rel=1e-9)
    assert (back.lower, back.upper) == (pytest.approx(-forth.upper, rel=1e-6), pytest.approx(-forth.lower, rel=1e-6))


def test_steps_do_not_move_with_unit_or_date() -> None:
    """Scaling the values and shifting the dates moves no step."""
    rng = np.random.default_rng(11)
    time = log_days(rng, 120, daily=False)
    value = 0.05 * rng.normal(size=120) + 0.5 * (np.arange(120) >= 70)
    cuts = [c.index for c in find_steps(time, value, 0.01, OPTIONS).cuts]
    assert cuts == [70]
    assert [c.index for c in find_steps(time + 3650.0, value + 7.0, 0.01, OPTIONS).cuts] == cuts
    assert [c.index for c in find_steps(time, 20.0 * value, 0.2, OPTIONS).cuts] == cuts


def test_charts_need_logs_to_learn_from() -> None:
    """Before the usual is learnt there is no alarm, whatever comes."""
    limits = chart_limits(10, OPTIONS)
    time = np.arange(20.0)
    got = run_charts(time, np.linspace(0, 5, 20), (1,), (0.02, 0.0), limits, OPTIONS)
    assert got.alarms == ()
    assert np.isnan(got.centre).all()


def test_the_alarm_rule_shares_the_false_alarms() -> None:
    """Twice as many charts get twice the run length each, so that together they keep the promise."""
    one, two = chart_limits(8, OPTIONS), chart_limits(16, OPTIONS)
    assert two.run_length == 2 * one.run_length
    assert two.cusum > one.cusum
    assert one.charts * 365.0 / one.run_length == pytest.approx(OPTIONS.false_alarms_per_year, rel=1e-3)
    assert "Bonferroni" in one.rule


def test_event_forms() -> None:
    """A date, or a date and time with zone; anything else is refused with an example."""
    event = parse_event("2025-03-02 Loader 2: cups: both changed")
    assert (event.station, event.text, event.whole_day) == ("Loader 2", "cups: both changed", True)
    timed = parse_event("2025-03-02T07:30+01:00 Loader 2: cups changed")
    assert (timed.time_us, timed.whole_day) == (parse_time("2025-03-02T06:30Z", "x")[0], False)
    for bad in ("cups changed", "2025-03-02 Loader 2", "2025-13-02 Loader 2: x", "2025-03-02 : x", ""):
        with pytest.raises(UsageError, match="--event"):
            parse_event(bad)


def test_events_are_noted_once(tmp_path: Path) -> None:
    """The same event noted twice is one event."""
    place = open_place(tmp_path)
    event = parse_event("2025-03-02 Loader 2: cups changed")
    assert note_event(place, event)
    assert not note_event(place, event)
    assert read_events(place) == (event,)


def test_energy_of_a_leak() -> None:
    """10 L/min ANR at 0.12 kWh/m³ over 8000 h is 576 kWh (plain arithmetic)."""
    assert energy_per_supply_second(10.0, 0.12) * 3600 * 8000 == pytest.approx(576.0, rel=1e-12)


def grown_fleet(folder: Path, logs: int = 45) -> None:
    """Five stations on one air line: one leaks more and more, all evacuate slower from day 30 on, one falls silent."""
    price = Price(nozzle_flow_l_min_anr=100.0, energy_kwh_per_m3_anr=0.12, price_per_kwh=0.2)
    file = Station(station=StationFacts(supply_group="north main"), limits=dict(LIMIT), price=price)
    for number in range(logs):
        results = []
        for n in range(5):
            if n == 4 and number > 20:
                continue
            rng = np.random.default_rng(1000 * n + number)
            decay = 1.5 * math.exp(0.03 * rng.normal() + (0.02 * number if n == 0 else 0.0))
            slow = 0.2 * math.exp(0.02 * rng.normal()) * (1.25 if number >= 30 else 1.0)
            air = {"evacuation_time_s": slow, "supply_on_time_s": 1.0 + (0.02 * number if n == 0 else 0.0)}
            results.append(station_result(cycles_table(log_id_of(number), f"Glaze {n + 1}", decay=decay, values=air)))
        record = record_of(*results, facts=facts_of(log_id_of(number), JAN_US + number * DAY_US))
        add_record(folder, record, stations={f"Glaze {n + 1}": file for n in range(5)})


@pytest.fixture(scope="module")
def fleet_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The history of the five stations."""
    folder = tmp_path_factory.mktemp("fleet")
    grown_fleet(folder)
    return folder


def test_a_fleet_from_records_to_ranking(fleet_folder: Path) -> None:
    """From added logs to the ranking: the growing station first, the silent one told, limits from the history."""
    got = trend(fleet_folder)
    assert got.stations[0].station == "Glaze 1"
    first = got.stations[0]
    assert first.logs == 45
    assert first.cycles == 45 * 12
    assert first.measures[LEAK].limit is not None
    assert first.measures[LEAK].limit.value == 4.0
    assert isinstance(first.measures[LEAK].crossing, CrossingDate)
    assert [s.station for s in got.stations if s.silent] == ["Glaze 5"]
    assert first.cost is not None
    assert isinstance(first.cost.money, Estimate)
    more_s = 0.02 * (44 - 2)
    kwh = more_s * energy_per_supply_second(100.0, 0.12) * (12 / 72 * 3600) * 480
    assert first.cost.money.lower < 0.2 * kwh < first.cost.money.upper


def test_a_change_of_the_air_line_is_one_finding(fleet_folder: Path) -> None:
    """All stations of a supply group slower at once is one common change, and their steps say so."""
    got = trend(fleet_folder)
    (change,) = [c for c in got.common if c.measure == "evacuation_time_s" and c.kind == "step up"]
    assert change.supply_group == "north main"
    assert (change.time_us - JAN_US) / DAY_US == pytest.approx(30, abs=1)
    assert len(change.stations) == 4
    steps = [s for st in got.stations for s in st.measures["evacuation_time_s"].steps]
    assert {s.common for s in steps} == {"north main"}
    assert not any("evacuation" in line for _, _, line in got.changed)
    (line,) = got.lines
    assert len(line.stations) == 4
    assert line.ways["evacuation time"] == "up"
    assert {s.state for s in got.stations if s.station in line.stations[1:]} == {"line"}
    text = digest_text(got)
    assert text.count("north main: 4 of") == 1
    assert "3 changed with their air line" in text.splitlines()[0]
    assert "Glaze 3: " not in text


def test_trend_json_is_plain_and_complete(fleet_folder: Path) -> None:
    """trend.json has the contract's keys, no NaN, no bare null, and estimates in the one form."""
    document = trend_json(trend(fleet_folder), "2025-03-01T00:00:00Z")
    text = json.dumps(document, allow_nan=False)
    assert "null" not in text
    assert document["schema"] == "tracekit.trend/1"
    station = document["stations"][0]  # type: ignore[index]
    assert {"station", "days", "cycles", "events", "measures"} <= set(station)
    leak = station["measures"][LEAK]
    assert {"unit", "slope_per_day", "relative_slope_per_day", "p_value", "test", "steps", "alarms", "limit", "crossing"} <= set(leak)
    assert set(leak["slope_per_day"]) == {"value", "lower", "upper", "level", "unit", "n", "method"}
    assert {"date", "earliest", "latest"} <= set(leak["crossing"])
    assert isinstance(leak["relative_slope_per_day"], float)


def test_the_digest_says_what_matters(fleet_folder: Path) -> None:
    """The digest names the worst station, the common change and the silent station, in text and in JSON."""
    got = trend(fleet_folder)
    text = digest_text(got)
    for word in ("Glaze 1", "north main", "Silent:", "false alarms a week"):
        assert word in text
    assert max(map(len, text.splitlines())) < 200
    body = digest_json(got)
    assert body["headline"] == text.splitlines()[0]
    assert body["silent"] == ["Glaze 5"]


def test_the_order_of_adding_does_not_matter(tmp_path: Path) -> None:
    """Logs added backwards give the same trend."""
    for folder, order in (("a", range(30)), ("b", reversed(range(30)))):
        for number in order:
            add_record(tmp_path / folder, simple_record(number, decay=1.0 + 0.05 * number))
    one, two = (trend_json(trend(tmp_path / f), "x") for f in ("a", "b"))
    assert one == two


def test_a_station_file_given_now_wins(fleet_folder: Path) -> None:
    """The limit of a station file given to the trend wins over the one kept in the history."""
    file = Station(limits={LEAK: Limit(max=2.0)})
    got = trend(fleet_folder, stations={"Glaze 1": file})
    limits = {s.station: s.measures[LEAK].limit for s in got.stations}
    assert limits["Glaze 1"] is not None
    assert limits["Glaze 1"].value == 2.0
    assert limits["Glaze 1"].state == "over"
    assert limits["Glaze 2"] is not None
    assert limits["Glaze 2"].value == 4.0


def test_bounds_from_records_reach_the_trend(tmp_path: Path) -> None:
    """A leak that a log gives only as a lower bound arrives as a bound."""
    for number in range(12):
        bound = Bound(status="lower_bound", limit=9.0, unit="kPa/s", n=12, method="made up") if number > 8 else None
        result = station_result(cycles_table(log_id_of(number), "Glaze 1"), leak=bound)
        add_record(tmp_path, record_of(result, facts=facts_of(log_id_of(number), JAN_US + number * DAY_US)))
    assert trend(tmp_path).stations[0].measures[LEAK].bounds == 3


def test_collect_keeps_the_newest_fact(tmp_path: Path) -> None:
    """Of facts that change, the newest log's counts, whatever the order of adding."""
    for number in (2, 0, 1):
        group = StationFacts(supply_group=f"line {number}")
        add_record(tmp_path, simple_record(number), stations=Station(station=group))
    (record,) = collect(open_place(tmp_path)).histories()
    assert record.text("fact", "supply_group") == "line 2"
    assert record.start_us.tolist() == [JAN_US + n * DAY_US for n in range(3)]


def test_every_measure_can_be_followed() -> None:
    """Each measure of the table gives a trend of its own from constant values, without alarm, step or error."""
    for measure in MEASURES:
        value = np.full(40, 0.0 if measure.scale in ("share", "count") else 5.0)
        got = trend_of(value, measure.name)
        assert (got.alarms, got.steps) == ((), ())


def test_growth_coverage_short() -> None:
    """A short form of the accuracy table: of 60 made-up series at least 88 % of the slope intervals cover."""
    rng = np.random.default_rng(12)
    hits = 0
    for _ in range(60):
        made = made_up_leak(rng, logs=int(rng.integers(40, 160)), growth=math.log(2) / rng.uniform(60, 400))
        got = station_trend(made.history, (), None, {}, OPTIONS).measures[LEAK].relative
        assert isinstance(got, Estimate)
        hits += got.lower <= made.growth <= got.upper
    assert hits >= 53


def test_the_better_form_carries_test_and_line() -> None:
    """Linear growth from near zero is established and drawn as a straight line, though its logarithms bend."""
    value = np.array([0.07, 1.8, 3.54, 5.33, 7.23, 9.0])
    got = trend_of(value, limits={LEAK: Limit(max=8.0)})
    assert got.p_value is not None
    assert got.p_value < 0.01
    (line,) = got.series.lines
    assert not line.by_factor
    assert (line.begin, line.end) == (pytest.approx(0.07, abs=0.2), pytest.approx(9.0, abs=0.2))
    assert isinstance(got.present, Estimate)
    assert got.present.lower < 9.0 < got.present.upper
    assert isinstance(got.crossing, CrossingDate)
    assert got.crossing.past


def test_fast_growth_without_a_limit() -> None:
    """Without a limit a leak that surely grows by a fifth a week is growing; noise, a slow rise and a fall are not."""
    day = np.arange(12.0)
    noise = np.random.default_rng(3).normal(0.0, 0.02, len(day))
    fast, slow, still, falling = (np.exp(rate * day + noise) for rate in (0.2, 0.005, 0.0, -0.2))
    assert grows_fast(trend_of(fast), OPTIONS)
    assert grows_fast(trend_of(fast[:7]), OPTIONS)
    by_chance = np.array([0.904, 0.944, 1.001, 1.046, 1.128])
    assert not grows_fast(trend_of(by_chance), OPTIONS), "five logs that rise by chance are no growth"
    assert not any(grows_fast(trend_of(value), OPTIONS) for value in (slow, still, falling))


def test_a_leak_that_has_multiplied_slowly_is_growing() -> None:
    """0.5 to 3.3 kPa/s within ten weeks is 17 % a week, and six times as much; by a fifth in the same time is neither."""
    day = np.arange(70.0)
    noise = np.random.default_rng(4).normal(0.0, 0.12, len(day))
    straight = 0.5 + 2.8 * day / day[-1]
    for value in (0.5 * (3.3 / 0.5) ** (day / day[-1]), straight):
        assert grows_fast(trend_of(value * np.exp(noise)), OPTIONS)
    assert not grows_fast(trend_of(2.0 * 1.2 ** (day / day[-1]) * np.exp(noise / 4.0)), OPTIONS)
    assert not grows_fast(trend_of(straight[::-1] * np.exp(noise)), OPTIONS)


def test_files_named_by_themselves_are_asked_about(tmp_path: Path) -> None:
    """Six days of one station added without its name are six stations: the digest asks, and not where names are given."""
    for day in range(6):
        table = cycles_table(log_id_of(day), f"station12_day{day}", 30, decay=1.0)
        add_record(tmp_path, record_of(station_result(table), facts=facts_of(log_id_of(day), JAN_US + day * DAY_US)))
    assert "6 stations of one log each differ by a number alone in their names." in digest_text(trend(tmp_path))
    named = tmp_path / "named"
    for day in range(6):
        table = cycles_table(log_id_of(day), "Glaze 1", 30, decay=1.0)
        add_record(named, record_of(station_result(table), facts=facts_of(log_id_of(day), JAN_US + day * DAY_US)))
    assert "differ by a number" not in digest_text(trend(named))
