"""Plain names of measures and settings."""

from tracekit.frozen import dataclass
from tracekit.report.text import clean


@dataclass(frozen=True, slots=True)
class Measure:
    """How a measure is called and in what sentence its value stands: "{}" is the number."""

    name: str
    unit: str
    sentence: str


_MEASURES: dict[str, Measure] = {
    "decay_rate_kpa_s": Measure(
        "fall of vacuum with the supply closed", "kPa/s", "Vacuum falls {} with the supply closed"
    ),
    "decay_local_kpa_s": Measure("fall of vacuum as observed", "kPa/s", "Vacuum falls {} as recorded"),
    "leak_rate_pa_m3_s": Measure("leak", "Pa·m³/s", "The leak is {}"),
    "leak_rate_l_min_anr": Measure("leak", "L/min ANR", "The leak is {}"),
    "response_delay_s": Measure("response delay", "s", "Vacuum starts {} after the command"),
    "open_cup_vacuum_kpa": Measure("vacuum with an open cup", "kPa", "An open cup reads {}"),
    "evacuation_time_s": Measure("time to the set point", "s", "The set point takes {}"),
    "seal_time_s": Measure("time from contact to the set point", "s", "Contact to set point takes {}"),
    "pump_time_constant_s": Measure("time constant of the evacuation", "s", "Evacuation has a time constant of {}"),
    "ultimate_vacuum_kpa": Measure("deepest vacuum of the suction", "kPa", "Suction tends to {}"),
    "peak_vacuum_kpa": Measure("highest vacuum", "kPa", "Vacuum peaks at {}"),
    "hold_vacuum_kpa": Measure("mean vacuum of the hold", "kPa", "Holds average {}"),
    "hold_min_vacuum_kpa": Measure("lowest vacuum of the hold", "kPa", "Vacuum dips to {} in the hold"),
    "supply_switches": Measure("supply changes per hold", "", "The supply changes {} times a hold"),
    "supply_switches_per_hour": Measure("supply changes per hour", "", "The supply changes {} times an hour"),
    "supply_on_time_s": Measure("time of air per cycle", "s", "Air flows for {} per cycle"),
    "output_edges": Measure("output changes per cycle", "", "The output changes {} times a cycle"),
    "chatter_edges": Measure("needless output changes per hold", "", "The output flips {} times a hold"),
    "chatter_edges_per_hold": Measure("needless output changes per hold", "", "The output flips {} times a hold"),
    "chatter_frequency_hz": Measure("frequency of chatter", "Hz", "The output flips at {}"),
    "release_time_s": Measure("release time", "s", "Release takes {}"),
    "residual_vacuum_kpa": Measure("vacuum left at the end of release", "kPa", "Release leaves {} of vacuum"),
    "release_peak_kpa": Measure("over-pressure in release", "kPa", "Blow-off reaches an over-pressure of {}"),
    "idle_vacuum_kpa": Measure("reading with nothing on", "kPa", "The idle reading is {}"),
    "noise_kpa": Measure("scatter of the reading", "kPa", "The reading scatters by {}"),
    "drop_share": Measure("share of dropped cycles", "", "Parts drop in a share of {}"),
    "miss_share": Measure("share of missed cycles", "", "Picks miss in a share of {}"),
    "missed_share": Measure("share of missed cycles", "", "Picks miss in a share of {}"),
    "false_drop_share": Measure(
        "share of holds wrongly reported lost", "", "The output wrongly drops in a share of {}"
    ),
    "supply_switches_per_hold": Measure("supply changes per hold", "", "The supply changes {} times a hold"),
    "supply_on_share": Measure("share of time with air on", "", "Air is on for a share of {}"),
    "air_l_anr_per_cycle": Measure("air per cycle", "L ANR", "A cycle takes {} of air"),
    "blow_off_speed_s": Measure("time between two levels of the blow-off", "s", "Blow-off takes {} between two levels"),
    "coasts": Measure("closed stretches per hold", "", "A hold has {} closed stretches"),
    "attempts": Measure("tries per cycle", "", "A cycle takes {} tries"),
    "evacuation between two levels": Measure(
        "evacuation between two levels", "s", "Evacuation between two levels takes {}"
    ),
    "blow-off between two levels": Measure("blow-off between two levels", "s", "Blow-off between two levels takes {}"),
    "start of the blow-off": Measure("start of the blow-off", "s", "Blow-off starts {} after its command"),
    "fall just after the cut": Measure(
        "fall just after the supply closes", "kPa", "Vacuum falls {} just after the supply closes"
    ),
    "deepest dip of the hold": Measure("deepest dip of the hold", "kPa", "Vacuum dips by {} in the hold"),
    "start_s": Measure("start in the log", "s", "The cycle starts at {}"),
    "contact_s": Measure("contact with the part", "s", "Contact comes at {}"),
    "hold_start_s": Measure("set point reached", "s", "The set point is reached at {}"),
    "hold_end_s": Measure("end of the hold", "s", "The hold ends at {}"),
    "drop_s": Measure("part lost", "s", "The part is lost at {}"),
    "drop_kind": Measure("kind of loss", "", "The loss is {}"),
    "set_point_reached": Measure("set point reached at all", "", "The set point is reached: {}"),
    "ultimate_extrapolated": Measure("that vacuum is extrapolated", "", "Extrapolated: {}"),
    "decay_local_vacuum_kpa": Measure("vacuum where the fall was observed", "kPa", "Observed at {}"),
    "sample_interval_s": Measure("time between samples", "s", "Samples are {} apart"),
    "hysteresis_kpa": Measure("gap between set and reset point", "kPa", "Set and reset point are {} apart"),
    "set_point_kpa": Measure("set point", "kPa", "The set point is {}"),
    "reset_point_kpa": Measure("reset point", "kPa", "The reset point is {}"),
    "supply_off_kpa": Measure("supply off", "kPa", "The supply cuts at {}"),
    "supply_on_kpa": Measure("supply on", "kPa", "The supply resumes at {}"),
}

_SETTINGS = {
    "set_point": "Set point", "reset_point": "Reset point", "supply_off": "Supply off", "supply_on": "Supply on",
}  # fmt: skip

_READ_UP = {
    "leak_steady": (
        "decay_rate_kpa_s", "decay_local_kpa_s", "leak_rate_pa_m3_s", "leak_rate_l_min_anr", "ultimate_vacuum_kpa",
    ),
    "flow_restricted": ("evacuation_time_s", "seal_time_s", "open_cup_vacuum_kpa", "release_peak_kpa"),
    "exhaust_restricted": ("pump_time_constant_s",), "supply_valve_slow": ("response_delay_s",),
    "release_weak": ("release_time_s", "residual_vacuum_kpa"), "sensor_noisy": ("noise_kpa",),
    "sensor_zero_shift": ("idle_vacuum_kpa",), "motion_dips": ("hold_vacuum_kpa", "hold_min_vacuum_kpa"),
    "part_dropped": ("drop_share",), "part_missed": ("miss_share",), "sensor_stuck": ("peak_vacuum_kpa",),
    "switch_chatter": ("chatter_edges", "chatter_frequency_hz"), "supply_never_cuts": ("supply_on_time_s",),
    "supply_short_cycling": ("supply_switches",),
}  # fmt: skip
"""What the handbook's entry of a code is to be read for, measure by measure: the usual cause where no finding says."""

_ENDINGS = ("_kpa_s", "_pa_m3_s", "_l_min_anr", "_kpa", "_hz", "_s")


def measure(name: str) -> Measure:
    """The words of a measure; an unknown one is told by its own name without its unit."""
    known = _MEASURES.get(name)
    if known is not None:
        return known
    stem = next((name.removesuffix(e) for e in _ENDINGS if name.endswith(e)), name)
    words = clean(stem, 50).replace("_", " ")
    return Measure(words, "", f"{words[:1].upper()}{words[1:]} is {{}}")


def handbook_code(name: str) -> str:
    """The handbook's entry to read where a measure is beyond its limit; empty where none is about it."""
    return next((code for code, measures in _READ_UP.items() if name in measures), "")


def has_sentence(name: str) -> bool:
    """True where a measure has a sentence of its own."""
    return name in _MEASURES


def setting(name: str) -> str:
    """The name of a setting."""
    return _SETTINGS.get(name, clean(name, 40).replace("_", " "))


def setting_names(text: str) -> str:
    """A text with the contract's setting names replaced by plain ones ("below set_point" → "below set point")."""
    for name, words in _SETTINGS.items():
        text = text.replace(f"{name}_kpa", words.lower()).replace(name, words.lower())
    return text.replace("just after the cut", "just after the supply closes")
