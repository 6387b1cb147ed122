"""Which pictures a page shows: the lead beside the verdict, then the deciding ones."""

from collections.abc import Callable

from tracekit.model.result import StationResult
from tracekit.model.trace import LogFacts
from tracekit.report.pictures.at_rest import at_rest
from tracekit.report.pictures.blowoff import blowoff
from tracekit.report.pictures.chatter import chatter
from tracekit.report.pictures.dip import dip
from tracekit.report.pictures.fall import fall
from tracekit.report.pictures.groups import groups
from tracekit.report.pictures.hold_rows import hold_rows, refills_tell
from tracekit.report.pictures.losses import losses
from tracekit.report.pictures.overlay import overlay
from tracekit.report.pictures.pulldown import open_cup_tells, pulldown
from tracekit.report.pictures.rates import rates
from tracekit.report.pictures.shape import shape
from tracekit.report.pictures.strip import strip
from tracekit.report.plot import Picture
from tracekit.report.second import second_fault
from tracekit.report.view import main_finding, symptom

_PICTURES: dict[str, Callable[[StationResult, str], Picture | None]] = {
    "holds": hold_rows, "fall": fall, "rates": rates, "groups": groups, "pulldown": pulldown, "chatter": chatter,
    "losses": losses, "shape": shape, "blowoff": blowoff, "overlay": overlay,
    "at_rest": at_rest, "dip": dip,
}  # fmt: skip

_LEAK = ("holds", "fall", "rates", "groups", "shape", "pulldown")
_SUCTION = ("pulldown", "holds", "rates", "fall")
_OUTPUT = ("holds", "chatter", "pulldown", "rates")
_LOSS = ("losses", "holds", "rates", "pulldown")
_ORDER: dict[str, tuple[str, ...]] = {
    "leak_steady": _LEAK,
    "leak_part_dependent": ("groups", "rates", "holds", "shape", "pulldown"),
    "check_valve_leak": _LEAK,
    "release_valve_leak": _LEAK,
    "seal_lost_partly": ("rates", "holds", "fall", "pulldown"),
    "supply_valve_passing": _LEAK,
    "flow_restricted": ("blowoff", "pulldown", "fall", "rates"),
    "supply_pressure_low": ("pulldown", "blowoff", "holds", "rates"),
    "exhaust_restricted": ("pulldown", "blowoff", "holds", "rates"),
    "release_weak": ("blowoff", "pulldown", "rates"),
    "release_slow": ("blowoff", "pulldown", "rates"),
    "valves_overlap": ("blowoff", "pulldown", "rates"),
    "supply_pressure_dips": _SUCTION,
    "supply_pulsation": _SUCTION,
    "supply_valve_slow": _SUCTION,
    "sensor_slow": _SUCTION,
    "set_point_too_high": ("overlay", "pulldown", "chatter", "holds", "rates"),
    "supply_off_unreachable": ("overlay", "pulldown", "rates"),
    "supply_never_cuts": ("overlay", "pulldown", "rates"),
    "set_point_too_low": ("pulldown", "holds", "rates"),
    "timeout_too_short": ("pulldown", "holds", "rates"),
    "switch_chatter": _OUTPUT,
    "hysteresis_too_small": _OUTPUT,
    "sensor_noisy": ("at_rest", "chatter", "holds", "rates", "pulldown"),
    "sensor_zero_shift": ("at_rest", "blowoff", "holds", "rates", "pulldown"),
    "collision_or_peel": _LOSS,
    "motion_dips": ("dip", *_LOSS),
    "part_dropped": _LOSS,
    "supply_on_below_reset": ("holds", "losses", "chatter", "fall"),
    "supply_band_too_narrow": ("holds", "fall", "rates"),
    "supply_short_cycling": ("holds", "fall", "rates"),
}
_USUAL = ("holds", "rates", "fall", "pulldown", "overlay")
_BEFORE_SECOND = 2
_NO_CLOSED_SUPPLY = ("part_not_presented", "part_missed")
_IN_THE_STRIP = (*_NO_CLOSED_SUPPLY, "sensor_stuck")  # codes that the whole recording shows best


def _telling_first(found: list[Picture], own: tuple[str, ...]) -> list[Picture]:
    """The first picture of the named cause that shows a difference leads; the order is kept besides.

    own  pictures of the named cause: what tells of something else never leads before them
    """
    lead = next((p for p in found if p.tells and p.id.replace("-", "_") in own), None)
    lead = lead or next((p for p in found if p.tells or p.id.replace("-", "_") in own[:1]), None)
    return found if lead is None else [lead, *(p for p in found if p is not lead)]


def choose(
    result: StationResult, logs: tuple[LogFacts, ...], unit: str = "kPa", most: int = 5
) -> tuple[Picture | None, tuple[Picture, ...]]:
    """The lead picture and up to `most` others, deciding ones first, the recording strip always the last."""
    source = main_finding(result) or symptom(result)
    code = source.code if source is not None else ""
    names = _ORDER.get(code, ("pulldown", "holds", "rates") if code in _NO_CLOSED_SUPPLY else _USUAL)
    if names is _LEAK and source is not None and source.onset_cycle:
        names = ("rates", *(n for n in names if n != "rates"))
    elif names is _LEAK and not refills_tell(result):
        names = ("fall", *(n for n in names if n != "fall"))
    main = main_finding(result)
    if main is not None and main.code == "flow_restricted" and open_cup_tells(result):
        names = ("pulldown", *(n for n in names if n != "pulldown"))
    own = names
    second = second_fault(result, main) if main is not None and main is source else None
    if second is not None and (others := _ORDER.get(second.code)) is not None:
        names = tuple(dict.fromkeys((*names[:_BEFORE_SECOND], others[0], *names[_BEFORE_SECOND:])))
    extra = [n for n in ("losses", "groups", "chatter", "overlay") if n not in names]
    found = _telling_first([p for n in (*names, *extra) if (p := _PICTURES[n](result, unit)) is not None], own)
    whole = strip(result, logs, unit)
    if code in _IN_THE_STRIP and whole is not None:
        return whole, tuple(found[:most])
    if not found:
        return whole, ()
    rest = found[1:most]
    return found[0], (*rest, whole) if whole is not None else tuple(rest)
