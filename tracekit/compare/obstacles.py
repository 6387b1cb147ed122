"""What stands in the way of a fair comparison: about the two recordings themselves."""

import math
from collections.abc import Mapping
from pathlib import PurePath

import numpy as np

from tracekit.compare.judging import Question
from tracekit.compare.matching import PartMix
from tracekit.compare.measures import Measure
from tracekit.compare.values import ambient_of_side, ambients_known, zero_of
from tracekit.model.comparison import Obstacle, Recording, Recordings
from tracekit.options.compare import CompareOptions

SETTINGS = ("set_point", "reset_point", "supply_off", "supply_on")


def obstacles(
    before: Recordings, after: Recordings, mix: PartMix, primary: str, options: CompareOptions
) -> tuple[Obstacle, ...]:
    """Everything found, the gravest first: identity and order, then what differs, then what is thin."""
    found: list[Obstacle | None] = [
        *_identity(before, after),
        _other_station(before, after),
        *_settings(before, after, options),
        _parts(mix, options),
        _sampling(before, after, options),
        _zero(before, after, options),
        _ambient(before, after, options),
        _suction(before, after, options),
        _station(before, after),
        *_thin(before, after, options),
        *_lacking(before, after, primary, options),
        *_warm_up(before, after, primary, options),
        *_gaps(before, after, options),
        _mechanism(before, after, primary),
        _one_day(before, after),
    ]
    return tuple(o for o in found if o is not None)


def changed_settings(before: Recordings, after: Recordings, options: CompareOptions) -> dict[str, tuple[float, float]]:
    """Settings in force that differ between the sides, with both values [kPa]."""
    changed = {}
    for name in SETTINGS:
        values = [[r.settings[name].value_kpa for r in side if name in r.settings] for side in (before, after)]
        known = [[v for v in side if v is not None] for side in values]
        if known[0] and known[1]:
            was, now = float(np.median(known[0])), float(np.median(known[1]))
            tolerance = max(options.setting_differs_kpa, *(_spread(r, name) for r in (*before, *after)))
            if abs(now - was) > tolerance:
                changed[name] = (was, now)
    return changed


def incomparable(measure: Measure, question: Question, changed: Mapping[str, tuple[float, float]]) -> str:
    """Why a measure would not compare like with like, "" where it does. `changed` as `changed_settings` gives it."""
    moved = [name for name in measure.governed_by if name in changed]
    if moved:
        listed = ", ".join(f"{n} {changed[n][0]:.1f} to {changed[n][1]:.1f} kPa" for n in moved)
        return f"follows a setting that was changed: {listed}"
    if _restricted(question.before) != _restricted(question.after) and measure.through:
        return "a restriction on one side alone hides the cup from the sensor: what it reads then is the hose's"
    vacua = [float(np.mean([r.release_vacuum_kpa for r in side])) for side in (question.before, question.after)]
    apart = abs(vacua[1] - vacua[0]) > question.options.release_vacuum_share * vacua[0]
    if measure.from_vacuum and apart:
        return f"the release begins at {vacua[0]:.1f} kPa before and {vacua[1]:.1f} kPa after: more or less to fill"
    return ""


def _restricted(side: Recordings) -> bool:
    """Whether what leads from the sensor to the cup is restricted in any recording of a side."""
    return any(r.first_code == "flow_restricted" for r in side)


def _spread(recording: Recording, name: str) -> float:
    setting = recording.settings.get(name)
    return 3.0 * (setting.spread_kpa if setting else 0.0)


def _identity(before: Recordings, after: Recordings) -> list[Obstacle]:
    """The same log twice, logs that overlap in time, sides that are swapped in time."""
    found = []
    same = {r.facts.log_id for r in before} & {r.facts.log_id for r in after}
    if same:
        names = sorted({r.facts.source for r in after if r.facts.log_id in same})
        found.append(Obstacle(code="same_log", text=f"{', '.join(names)} stands on both sides: it proves nothing."))
    spans = [[_span(r) for r in side] for side in (before, after)]
    if any(s is None for side in spans for s in side):
        found.append(Obstacle(code="time_unknown", text="A log has no date: the order in time is not checked."))
        return found
    known = [[s for s in side if s is not None] for side in spans]
    if not same and any(a[0] < b[1] and b[0] < a[1] for a in known[0] for b in known[1]):
        found.append(Obstacle(code="overlapping", text="The recordings overlap in time: nothing changed between."))
    elif not same and min(s for s, _ in known[0]) >= max(e for _, e in known[1]):
        found.append(Obstacle(code="swapped_order", text="AFTER is older than BEFORE: the sides may be swapped."))
    return found


def _other_station(before: Recordings, after: Recordings) -> Obstacle | None:
    """Sides whose stations have names, none of them the same; a name that only the log's file gave is none."""
    names = [sorted({r.station for r in side if r.station and not _from_file(r)}) for side in (before, after)]
    if not all(names) or set(names[0]) & set(names[1]):
        return None
    text = f"The stations have different names: {', '.join(names[0])} before, {', '.join(names[1])} after."
    return Obstacle(code="stations_differ", text=f"{text} A difference between two stations is no change of one.")


def _from_file(recording: Recording) -> bool:
    return f"{PurePath(recording.facts.source).name}.".startswith(f"{recording.station}.")


def _span(recording: Recording) -> tuple[float, float] | None:
    start = recording.facts.start_time_us
    return None if start is None else (start / 1e6, start / 1e6 + recording.facts.duration_s)


def _settings(before: Recordings, after: Recordings, options: CompareOptions) -> list[Obstacle]:
    changed = changed_settings(before, after, options)
    if not changed:
        return []
    listed = ", ".join(f"{name} {was:.1f} to {now:.1f} kPa" for name, (was, now) in changed.items())
    text = f"Settings differ: {listed}. Measures that follow them are left out, unless one is the primary."
    return [Obstacle(code="settings_differ", text=text)]


def _parts(mix: PartMix, options: CompareOptions) -> Obstacle | None:
    """Part types that only one side has, or a mix that differs."""
    if not mix.columns:
        return None
    single = [part for part, *_ in mix.shares if part not in mix.common]
    name = ", ".join(c.removeprefix("context_") for c in mix.columns)
    if single:
        text = f"Matched by {name}; left out, as one side has too few: {', '.join(single[:6])}."
        return Obstacle(code="part_types_differ", text=text, adjusted=bool(mix.common))
    if mix.differs > options.mix_differs:
        text = f"The part mix differs by {100 * mix.differs:.0f} in 100 cycles; weighted to one mix by {name}."
        return Obstacle(code="part_mix_differs", text=text, adjusted=True)
    return None


def _sampling(before: Recordings, after: Recordings, options: CompareOptions) -> Obstacle | None:
    intervals = [float(np.median([r.sensor.sample_interval_s for r in side])) for side in (before, after)]
    if min(intervals) <= 0.0 or max(intervals) / min(intervals) < options.sampling_ratio:
        return None
    text = f"Sampled every {1e3 * intervals[0]:.3g} ms before, every {1e3 * intervals[1]:.3g} ms after."
    return Obstacle(code="sampling_differs", text=f"{text} Times and edges are not seen alike.")


def _zero(before: Recordings, after: Recordings, options: CompareOptions) -> Obstacle | None:
    zeros = zero_of(before), zero_of(after)
    if math.isnan(zeros[0] + zeros[1]) or abs(zeros[1] - zeros[0]) <= options.zero_differs_kpa:
        return None
    text = f"The sensor's zero moved from {zeros[0]:.2f} to {zeros[1]:.2f} kPa; it is taken off the vacuum measures."
    return Obstacle(code="zero_differs", text=text, adjusted=True)


def _ambient(before: Recordings, after: Recordings, options: CompareOptions) -> Obstacle | None:
    first, second = ambient_of_side(before), ambient_of_side(after)
    if not ambients_known(before, after):
        text = "Ambient pressure is not known for each side; a spread of weather widens leak and ultimate vacuum."
        return Obstacle(code="ambient_unknown", text=text, adjusted=True)
    if abs(second - first) <= options.ambient_differs_kpa:
        return None
    text = f"Ambient {first:.1f} kPa before, {second:.1f} after; leak and ultimate vacuum are carried to the first."
    return Obstacle(code="ambient_differs", text=text, adjusted=True)


def _suction(before: Recordings, after: Recordings, options: CompareOptions) -> Obstacle | None:
    """Another supply pressure or generator shows in the open-cup vacuum, which needs no part."""
    levels = []
    for side in (before, after):
        column = np.concatenate([r.cycles.floats("open_cup_vacuum_kpa") for r in side])
        column = column[np.isfinite(column)]
        if len(column) < options.fewest_cycles:
            return None
        levels.append(float(np.median(column)) - np.nan_to_num(zero_of(side)))
    noise = max(r.sensor.noise_kpa + r.sensor.quantisation_kpa for r in (*before, *after))
    if abs(levels[1] - levels[0]) <= max(options.open_cup_share * abs(levels[0]), noise):
        return None
    text = f"Open-cup vacuum {levels[0]:.1f} kPa before, {levels[1]:.1f} after: supply pressure, filter or generator"
    return Obstacle(code="suction_differs", text=f"{text} are not the same.")


def _station(before: Recordings, after: Recordings) -> Obstacle | None:
    """Another sensor place or another volume, as the station files say."""
    places = {r.sensor_at for r in (*before, *after) if r.sensor_at}
    if len(places) > 1:
        return Obstacle(code="sensor_place_differs", text=f"The sensor sits at different places: {', '.join(places)}.")
    volumes = sorted({r.volume_ml for r in (*before, *after) if r.volume_ml is not None})
    if len(volumes) > 1 and volumes[-1] > 1.05 * volumes[0]:
        text = f"Volumes of {volumes[0]:g} and {volumes[-1]:g} mL: equal decay rates are not equal leaks."
        return Obstacle(code="volume_differs", text=text)
    return None


def _thin(before: Recordings, after: Recordings, options: CompareOptions) -> list[Obstacle]:
    found = []
    for word, side in (("before", before), ("after", after)):
        n = sum(int((~r.cycles.where("outcome", "incomplete")).sum()) for r in side)
        if n < options.fair_cycles:
            text = f"Only {n} cycles {word}; {options.fair_cycles} or more show how cycles scatter."
            found.append(Obstacle(code="too_few_cycles", text=text))
    return found


def _lacking(before: Recordings, after: Recordings, primary: str, options: CompareOptions) -> list[Obstacle]:
    """Held cycles without a rate are no chance selection: the largest leaks have no coast."""
    if primary not in ("decay_rate_kpa_s", "leak_rate_pa_m3_s"):
        return []
    found = []
    for word, side in (("before", before), ("after", after)):
        held = sum(int(r.cycles.where("outcome", "held").sum()) for r in side)
        with_rate = sum(
            int((r.cycles.where("outcome", "held") & np.isfinite(r.cycles.floats("decay_rate_kpa_s"))).sum())
            for r in side
        )
        if held and 1.0 - with_rate / held > options.lacking_share:
            text = f"{held - with_rate} of {held} held cycles {word} have no usable coast; they may leak more."
            found.append(Obstacle(code="cycles_without_rate", text=text))
    return found


def _warm_up(before: Recordings, after: Recordings, primary: str, options: CompareOptions) -> list[Obstacle]:
    """The first cycles of a recording differ from the rest."""
    found = []
    for word, side in (("before", before), ("after", after)):
        for recording in side:
            if primary not in recording.cycles.data:
                continue
            values = recording.cycles.floats(primary)
            values = values[np.isfinite(values)]
            first, rest = values[: options.warm_up_cycles], values[options.warm_up_cycles :]
            if len(rest) < 2 * options.warm_up_cycles:
                continue
            spread = 1.4826 * float(np.median(np.abs(rest - np.median(rest))))
            error = 1.2533 * spread * math.sqrt(1.0 / len(first) + 1.0 / len(rest))
            moved = float(np.median(first) - np.median(rest))
            if error > 0.0 and abs(moved) > options.warm_up_z * error:
                text = f"The first {len(first)} cycles {word} differ from the rest: warm-up or a fresh start."
                found.append(Obstacle(code="warm_up", text=text))
                break
    return found


def _gaps(before: Recordings, after: Recordings, options: CompareOptions) -> list[Obstacle]:
    found = []
    for word, side in (("before", before), ("after", after)):
        missing = sum(end - start for r in side for start, end in r.facts.gaps)
        total = sum(r.facts.duration_s for r in side)
        if total > 0.0 and missing > options.gap_share * total:
            text = f"{missing:.0f} s of {total:.0f} s are missing {word}; what happened then is not known."
            found.append(Obstacle(code="gaps", text=text))
    return found


def _mechanism(before: Recordings, after: Recordings, primary: str) -> Obstacle | None:
    if primary != "decay_rate_kpa_s":
        return None
    forms = [{r.mechanism for r in side} - {"undecided"} for side in (before, after)]
    if not forms[0] or not forms[1] or forms[0] == forms[1]:
        return None
    text = f"The leak looks like {'/'.join(sorted(forms[0]))} before and {'/'.join(sorted(forms[1]))} after."
    return Obstacle(code="mechanism_differs", text=text)


def _one_day(before: Recordings, after: Recordings) -> Obstacle | None:
    if len(before) > 1 and len(after) > 1:
        return None
    text = "One log on a side: scatter between days is assumed, not seen. Record on several days to see it."
    return Obstacle(code="days_not_seen", text=text, adjusted=True)
