"""Every picture says only what its data hold, and shows nothing where there is nothing."""

import re
from dataclasses import replace

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.model.finding import Evidence
from tracekit.model.result import BudgetLine
from tracekit.model.tables import DROP_KINDS
from tracekit.model.trace import LogFacts
from tracekit.report.pictures.blowoff import blowoff
from tracekit.report.pictures.budget import _PLAIN, budget
from tracekit.report.pictures.chatter import chatter
from tracekit.report.pictures.choose import choose
from tracekit.report.pictures.fall import fall
from tracekit.report.pictures.groups import groups
from tracekit.report.pictures.hold_rows import hold_rows, refill_counts
from tracekit.report.pictures.losses import fall_time_s, losses
from tracekit.report.pictures.pulldown import pulldown
from tracekit.report.pictures.rates import alike, rates, trend_z
from tracekit.report.pictures.shape import shape
from tracekit.report.pictures.strip import strip
from tracekit.report.words import plain

LOGS: tuple[LogFacts, ...] = (stories.FACTS,)


def said(picture):
    """Heading and caption as plain text with plain spaces."""
    text = f"{plain(picture.heading)} {plain(picture.caption)}"
    return text.replace("\u00a0", " ").replace("\u202f", " ")


@pytest.fixture(scope="module")
def torn():
    """A torn cup, with its baseline."""
    return stories.torn_cup().stations[0]


@pytest.fixture(scope="module")
def dropping():
    """A station that loses parts."""
    return stories.dropping().stations[0]


def test_refills_are_counted_as_by_hand(torn):
    """The counts in the heading are those of a plain loop over the periods."""
    data = torn.data
    kinds, owners = data.periods.texts("kind"), data.periods.codes("cycle").tolist()
    by_hand = [sum(k == "recharge" and o == c for k, o in zip(kinds, owners, strict=True)) for c in range(95)]
    assert refill_counts(data).tolist() == by_hand
    usual = max(set(by_hand), key=by_hand.count)
    words = ("no", "one", "two", "three", "four")
    assert said(hold_rows(torn)).startswith(f"{by_hand.count(usual)} of 95 holds need {words[usual]} refills")


def test_hold_rows_compare_with_the_baseline_alone_where_there_is_one(torn):
    """The baseline is named only where it was given."""
    assert "baseline: none on all 60." in said(hold_rows(torn))
    assert "15 holds of the baseline" in said(hold_rows(torn))
    assert "baseline" not in said(hold_rows(replace(torn, baseline=None, baseline_leak=None))).casefold()


def test_hold_rows_of_many_cycles_are_thinned_and_say_so():
    """Above a hundred cycles at most a hundred rows are drawn, odd ones among them."""
    slow = tuple(range(0, 260, 4))
    play = Play(cycles=260, slow=slow)
    found = stories.finding("leak_part_dependent", cycles=slow, share=0.25)
    picture = hold_rows(stories.result(play, findings=(found,)))
    assert "100 of 260 holds drawn." in said(picture)
    rows = picture.html.split('data-rows="')[1].split('"')[0].split()
    assert len(rows) == 100
    assert sum(int(r) in slow for r in rows) == 60


def test_hold_rows_show_the_output_where_it_chatters():
    """With chatter the gaps of the output are drawn, not the refills."""
    result = stories.chattering().stations[0]
    picture = hold_rows(result)
    assert said(picture).startswith("The output flips in 40 of 80 holds, up to ")
    assert "output off while the part is held" in said(picture)


def test_hold_rows_stand_by_group():
    """Rows of one group stand together under its name."""
    picture = hold_rows(stories.by_part().stations[0])
    rows = [int(r) for r in picture.html.split('data-rows="')[1].split('"')[0].split()]
    slow = [r in range(2, 62, 4) for r in rows]
    assert slow == sorted(slow)
    assert ">tile 20</text>" in picture.html
    assert ">tile 30</text>" in picture.html


def test_no_hold_rows_without_air_saving_or_holds():
    """A station that never cuts its supply has no refills to show."""
    assert hold_rows(stories.withheld().stations[0]) is None
    assert hold_rows(stories.unmeasurable().stations[0]) is None


def test_fall_tells_the_planted_rate(torn):
    """The median line falls at the planted rate, less than 5 % off."""
    picture = fall(torn)
    time = np.array([r[0] for r in picture.rows])
    lost = np.array([r[1] for r in picture.rows])
    slope = np.polyfit(time, lost, 1)[0]
    assert slope == pytest.approx(torn.leak.decay_rate.value, rel=0.05)
    assert "in the baseline" in said(picture)
    assert "As recorded: the warming of the gas is still in it." in said(picture)


def test_fall_says_whether_warming_is_in_it(torn):
    """With the walls' time constant the warming is taken out, and the caption says so."""
    known = replace(torn, leak=replace(torn.leak, wall_time_constant_s=0.1), baseline=None, baseline_leak=None)
    text = said(fall(known))
    assert "The warming of the gas is taken out." in text
    assert "As recorded" not in text
    assert "baseline" not in text


def test_fall_needs_coasts():
    """No closed supply, no fall."""
    assert fall(stories.withheld().stations[0]) is None
    assert fall(stories.unmeasurable().stations[0]) is None


def test_rates_call_alike_only_what_is_alike(torn):
    """Equal rates are called alike, a rising leak is called rising, groups are told apart."""
    assert said(rates(torn)).startswith("All 95 cycles lose 6.7 to 9.3 kPa/s; in the baseline 0.5 kPa/s.")
    rate = np.linspace(5.0, 9.0, 95)
    rising = replace(torn, leak=replace(torn.leak, rate=rate, rate_lower=rate - 0.2, rate_upper=rate + 0.2))
    text = said(rates(rising))
    assert "no trend" in said(rates(replace(torn, baseline_leak=None)))
    assert "; rising; in the baseline " in text
    assert "alike" not in text
    assert said(rates(stories.by_part().stations[0])).startswith("15 of 62 cycles lose 10")


def test_rates_need_five(torn):
    """Under five rates there is no picture."""
    rate = torn.leak.rate.copy()
    rate[4:] = np.nan
    assert rates(replace(torn, leak=replace(torn.leak, rate=rate))) is None


def test_rates_count_cycles_without_a_rate(dropping):
    """Cycles without a rate are counted in the caption."""
    assert "No rate for 6 of 62 cycles" in said(rates(dropping))


def test_rates_mark_those_beyond_the_scale_with_their_value(torn):
    """A rate off the scale has an arrow with its value."""
    rate = torn.leak.rate.copy()
    rate[7] = 60.0
    far = replace(torn, leak=replace(torn.leak, rate=rate, rate_lower=rate - 0.2, rate_upper=rate + 0.2))
    assert "↑ " in rates(far).html
    assert 'data-v="60"' in rates(far).html


def test_trend_and_likeness():
    """A constant has no trend; order and scatter are told apart."""
    rng = np.random.default_rng(3)
    assert trend_z(np.ones(50)) == 0.0
    assert trend_z(np.arange(50.0)) > 5.0
    assert abs(trend_z(rng.normal(size=200))) < 3.0
    assert alike(np.full(30, 5.0), np.full(30, 0.2))
    assert not alike(np.concatenate((np.full(30, 0.5), np.full(5, 9.0))), np.full(35, 0.2))


def test_groups_name_the_worst_first():
    """The leaking group is named with its rate, and one group alone is no picture."""
    result = stories.by_part().stations[0]
    assert said(groups(result)).startswith("With tile 30 vacuum falls 10.0 kPa/s (9.7 to 10.3); with tile 20 0.4 kPa/s")
    assert "Grouped by part." in said(groups(result))
    one = replace(result, leak=replace(result.leak, groups=result.leak.groups[:1]))
    assert groups(one) is None


def test_pulldown_compares_the_time_to_the_set_point():
    """A slower evacuation is told with its difference; an equal one is called as in the baseline."""
    slow = stories.slow_suction().stations[0]
    both = [float(np.median(d.cycles.floats("evacuation_time_s"))) for d in (slow.data, slow.baseline)]
    assert f"{both[0] - both[1]:.3f} s longer than in the baseline" in said(pulldown(slow))
    assert said(pulldown(stories.torn_cup().stations[0])).startswith("Suction as in the baseline")
    assert pulldown(stories.unmeasurable().stations[0]) is None


def test_overlays_set_the_touched_cycles_against_the_others():
    """Where the finding touches a part of the cycles and there is no baseline, the others are the comparison."""
    late = tuple(range(40, 62))
    found = stories.finding("supply_valve_slow", cycles=late, share=22 / 62)
    result = stories.result(Play(cycles=62), findings=(found,))
    times = result.data.cycles.floats("evacuation_time_s").copy()
    times[40:] += 0.05
    result = replace(result, data=replace(result.data, cycles=result.data.cycles.with_columns(evacuation_time_s=times)))
    text = said(pulldown(result))
    assert "0.050 s longer than in the other cycles." in text
    assert "median of the 22 cycles with the fault" in text
    assert "Dashed line: the other cycles." in text
    assert "others" in blowoff(result).html


def test_chatter_zoom_blames_the_step_only_where_it_is_wider_than_the_gap():
    """One step flips the output only where the reading's step reaches the gap between the thresholds."""
    result = stories.chattering().stations[0]
    assert "one step flips" not in said(chatter(result))
    settings = {**result.data.settings, "reset_point": replace(result.data.settings["reset_point"], value_kpa=59.7)}
    coarse = replace(result.data, settings=settings, sensor=replace(result.data.sensor, quantisation_kpa=0.5))
    text = said(chatter(replace(result, data=coarse)))
    assert "The reading steps by 0.50 kPa; set and reset point are 0.30 kPa apart, so one step flips the output." in text
    noisy = replace(result.data, settings=settings, sensor=replace(result.data.sensor, quantisation_kpa=0.0, noise_kpa=0.2))
    assert "scatters by 0.20 kPa" in said(chatter(replace(result, data=noisy)))
    assert chatter(stories.torn_cup().stations[0]) is None


def test_losses_are_named_and_timed(dropping):
    """Every lost cycle is named, and the time is that of the slowest fall drawn."""
    picture = losses(dropping)
    assert said(picture).startswith("5 cycles lost within 0.0")
    assert re.search(r"Sudden, down to a fifth within 0\.\d\d s: cycles 4, 17, 31, 44 and 58\.", said(picture))
    for cycle in (4, 17, 31, 44, 58):
        assert f">{cycle}</text>" in picture.html
    assert losses(stories.torn_cup().stations[0]) is None


def test_losses_are_told_as_they_are_drawn(dropping):
    """A fall that is slow in the picture is called slow, whatever kind of loss was judged; one beyond it is said."""
    first, second = dropping.data.excerpts[:2]
    fell_s = [float(dropping.data.cycles.floats("drop_s")[e.cycle]) for e in (first, second)]
    slow = replace(first, pressure_kpa=-70.0 * np.clip(1.0 - (first.time_s - fell_s[0] + 0.15) / 0.45, 0.0, 1.0))
    level = replace(second, pressure_kpa=np.where(second.time_s < fell_s[1], -70.0, -30.0))
    changed = replace(dropping.data, excerpts=(slow, level, *dropping.data.excerpts[2:]))
    text = said(losses(replace(dropping, data=changed)))
    kinds = dropping.data.cycles.texts("drop_kind")
    assert kinds[first.cycle] == kinds[second.cycle] == "sudden"
    assert re.search(rf"Slow, down to a fifth within 0\.3[12] s: cycle {first.cycle}\.", text)  # 0.7 of 0.45 s
    assert f"Whole fall not in the picture: cycle {second.cycle}." in text
    assert "Sudden, down to a fifth within 0.0" in text


def test_a_loss_of_no_known_kind_is_called_neither(dropping):
    """Where the table leaves the kind of a loss open, the caption does too, and still tells how soon it fell."""
    kinds = np.array(dropping.data.cycles.codes("drop_kind"))
    kinds[17] = -1
    changed = replace(dropping.data, cycles=dropping.data.cycles.with_columns(drop_kind=kinds))
    text = said(losses(replace(dropping, data=changed)))
    assert re.search(r"Neither plainly sudden nor slow, down to a fifth within 0\.\d\d s: cycle 17\.", text)
    assert re.search(r"Sudden, down to a fifth within 0\.\d\d s: cycles 4, 31, 44 and 58\.", text)


def test_a_gradual_loss_whose_line_falls_fast_is_called_neither(dropping):
    """What the table calls gradual is not told as sudden."""
    kinds = np.array(dropping.data.cycles.codes("drop_kind"))
    kinds[17] = DROP_KINDS.index("gradual")
    changed = replace(dropping.data, cycles=dropping.data.cycles.with_columns(drop_kind=kinds))
    text = said(losses(replace(dropping, data=changed)))
    assert re.search(r"Neither plainly sudden nor slow, down to a fifth within 0\.\d\d s: cycle 17\.", text)


def test_fall_time_of_a_known_curve():
    """An exponential loss takes τ·ln(0.9/0.2) from 90 % to 20 %."""
    time = np.linspace(-0.5, 0.3, 1601)
    vacuum = 70.0 * np.exp(-np.maximum(time, 0.0) / 0.05)
    assert fall_time_s(time, vacuum) == pytest.approx(0.05 * np.log(0.9 / 0.2), abs=0.001)
    assert np.isnan(fall_time_s(time, np.full(1601, 70.0)))


def test_blowoff_tells_the_over_pressure_of_the_finding():
    """Where the first finding speaks of over-pressure, the heading does, in the same two figures."""
    result = stories.torn_cup().stations[0]
    fact = Evidence(measure="release_peak_kpa", value=27.7, lower=26.9, upper=28.5, unit="kPa", reference=9.8,
                    reference_source="baseline")  # fmt: skip
    clogged = replace(result, findings=(stories.finding("flow_restricted", evidence=(fact,)),))
    picture = blowoff(clogged)
    assert said(picture).startswith("Blow-off reaches 27.7 kPa of over-pressure; in the baseline 9.8 kPa.")
    assert not said(blowoff(result)).startswith("Blow-off reaches")


def test_blowoff_compares_the_release_time():
    """An equal release is called as in the baseline, a longer one is told with both times."""
    result = stories.torn_cup().stations[0]
    assert said(blowoff(result)).startswith("Release takes 0.070 s, as in the baseline.")
    slow = result.data.cycles.with_columns(release_time_s=np.full(95, 0.17))
    late = replace(result, data=replace(result.data, cycles=slow))
    assert said(blowoff(late)).startswith("Release takes 0.170 s; in the baseline 0.070 s.")
    high = result.data.cycles.with_columns(release_peak_kpa=np.full(95, 3.5))
    blown = replace(result, data=replace(result.data, cycles=high))
    assert said(blowoff(blown)).startswith("Blow-off reaches 3.5 kPa of over-pressure; in the baseline 1.0 kPa.")
    assert blowoff(stories.unmeasurable().stations[0]) is None


def test_shape_is_left_out_while_undecided(torn):
    """Hole or pores is drawn only where it is decided, with its chance."""
    assert shape(torn) is None
    decided = replace(torn, leak=replace(torn.leak, mechanism="hole", form_probability={"hole": 0.94}))
    assert said(shape(decided)).startswith("The fall bends as through a hole, chance 19 in 20.")


def test_strip_lists_what_was_lost(dropping):
    """Dropped and missed cycles are counted and listed."""
    text = said(strip(dropping, LOGS))
    assert text.startswith("The whole recording: 62 cycles, 56 held, 5 dropped, 1 missed.")
    assert "Dropped: 4, 17, 31, 44 and 58. Missed: 20. No gap in the samples." in text
    gaps = (replace(stories.FACTS, gaps=((10.0, 12.5), (50.0, 50.4))),)
    assert "2 gaps in the samples, the longest 2.5 s." in said(strip(dropping, gaps))
    assert said(strip(stories.unmeasurable().stations[0], LOGS)).startswith("The whole recording: no cycle found.")


def test_budget_names_the_largest_part(torn):
    """The largest contribution is named, and none without a budget."""
    assert said(budget(torn)).startswith("What widens the leak's interval most: form of the leak.")
    assert budget(replace(torn, leak=replace(torn.leak, budget=()))) is None


@pytest.mark.parametrize(
    ("story", "lead", "others"),
    [
        ("torn_cup", "holds", ("fall", "rates", "pulldown", "overlay", "strip")),
        ("chattering", "holds", ("chatter", "pulldown", "rates", "overlay", "strip")),
        ("dropping", "losses", ("holds", "rates", "pulldown", "overlay", "strip")),
        ("by_part", "groups", ("rates", "holds", "pulldown", "overlay", "strip")),
        ("slow_suction", "pulldown", ("blowoff", "holds", "rates", "overlay", "strip")),
        ("unmeasurable", "strip", ()),
    ],
)
def test_pictures_are_chosen_by_the_finding(story, lead, others):
    """The first finding decides the lead and the order; the recording comes last."""
    record = stories.STORIES[story]()
    first, rest = choose(record.stations[0], record.logs)
    assert first.id == lead
    assert tuple(p.id for p in rest) == others


@pytest.mark.parametrize("story", sorted(stories.STORIES))
def test_pictures_carry_their_numbers(story):
    """Every picture has a heading that ends in a full stop, and at most 200 rows of numbers."""
    record = stories.STORIES[story]()
    first, rest = choose(record.stations[0], record.logs)
    for picture in (first, *rest):
        assert plain(picture.heading).endswith(".")
        assert len(picture.rows) <= min(200, picture.shown)
        assert all(len(row) == len(picture.columns) for row in picture.rows)
        assert "nan" not in picture.html
        assert " style=" not in picture.html


def test_budget_is_drawn_without_overlap(torn):
    """At most seven bars, the small ones put together by their root sum of squares."""
    lines = tuple(BudgetLine(source=f"source {k}", u_kpa_s=0.1 / (k + 1), common=True) for k in range(12))
    drawn = budget(replace(torn, leak=replace(torn.leak, budget=lines)))
    assert drawn.html.count('<tspan class="q"') == 7
    rest = float(np.sqrt(sum((0.1 / (k + 1)) ** 2 for k in range(6, 12))))
    assert f"6 smaller ones together: {rest:.3f}" in re.sub(r"<[^>]*>", "", drawn.html)
    assert len(drawn.rows) == 12
    assert "More cycles shrink none of them." in said(drawn)


def test_bars_of_the_budget_are_named_within_a_phone(torn):
    """A name with its value and star takes at most 44 characters, that of any source and also of one not known."""
    for source in (*_PLAIN, "a source of doubt that nobody has named in so few words"):
        lines = tuple(BudgetLine(source=s, u_kpa_s=0.0123, common=False) for s in (source, "sensor zero"))
        drawn = budget(replace(torn, leak=replace(torn.leak, budget=lines))).html
        labels = [re.sub(r"<[^>]*>", "", t) for t in re.findall(r"<text[^>]*>.*?</text>", drawn) if " *: " in t]
        assert len(labels) == 2
        assert max(map(len, labels)) <= 44


def test_few_refills_lead_with_the_fall():
    """Where most holds need no refill, a leak leads with its fall, and the rows count those that need one."""
    record = stories.record(stories.result(Play(rate=2.0, hold_s=2.4), findings=(stories.finding("leak_steady"),)))
    assert choose(record.stations[0], record.logs)[0].id == "fall"
    assert re.match(r"\d+ of 95 holds need a refill\.|None of 95", plain(hold_rows(record.stations[0]).heading))


def test_rows_are_named_by_round_cycles():
    """Labels beside the rows are round cycle numbers between the first and the last."""
    html = hold_rows(stories.torn_cup().stations[0]).html
    named = re.findall(r'class="end"[^>]*>(?:cycle )?(\d+)<', html)
    assert named[0] == "0"
    assert named[-1] == "94"
    assert all(int(n) % 10 == 0 for n in named[1:-1])


def test_the_two_forms_of_a_fall_are_drawn_apart(torn):
    """Drawn is what is left of the fall after the form that was found, so that the other form can be seen beside it."""
    pooled = torn.leak.shape
    bent = replace(pooled, porous_kpa=pooled.hole_kpa + np.linspace(-0.05, 0.03, 8), lost_u_kpa=np.full(8, 0.005))
    drawn = shape(replace(torn, leak=replace(torn.leak, mechanism="hole", shape=bent)))
    level, dashed = (
        [float(v) for v in re.findall(r"-?\d+(?:\.\d+)?", re.search(rf'class="{style}" d="([^"]*)"', drawn.html)[1])][1::2]
        for style in ("line usual", "line base dash")
    )
    assert max(level) == min(level)
    assert max(dashed) - min(dashed) > 300.0
    assert "less what a hole would give" in said(shape(replace(torn, leak=replace(torn.leak, mechanism="hole", shape=bent))))
    assert "Level line: pores; dashed: a hole." in said(shape(replace(torn, leak=replace(torn.leak, mechanism="porous", shape=bent))))
