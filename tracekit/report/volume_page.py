"""The page of a volume: the figure, what makes it uncertain, what was measured, how to do better."""

from tracekit.model.comparison import VolumeResult
from tracekit.model.estimate import Withheld
from tracekit.report.comparison_words import quantity_num
from tracekit.report.frame import Block, frame, render
from tracekit.report.pictures.budget import bar_rows
from tracekit.report.plot import Column, Picture, finish
from tracekit.report.sections import lead_picture
from tracekit.report.text import clean
from tracekit.report.words import digits, html, of_quantity, plain, say

_MOST_BARS = 7
_FACTS = {
    "own_rate_kpa_s": "fall of vacuum, station as it is",
    "rate_with_orifice_kpa_s": "fall of vacuum with the orifice open",
    "own_leak_carried_by": "own leak at the second vacuum, as a share of the first",
    "own_vacuum_low_kpa": "station as it is, measured from",
    "own_vacuum_high_kpa": "station as it is, measured to",
    "vacuum_low_with_orifice_kpa": "orifice open, measured from",
    "vacuum_high_with_orifice_kpa": "orifice open, measured to",
    "orifice_conductance_dm3_s_bar": "sonic conductance of the orifice",
    "critical_pressure_ratio": "critical pressure ratio of the orifice",
    "ambient_kpa": "ambient pressure",
    "temperature_c": "air temperature",
}


def volume_page(volume: VolumeResult) -> str:
    """The volume as one HTML file that needs nothing but itself."""
    num = quantity_num(volume.volume_ml)
    known = not isinstance(volume.volume_ml, Withheld)
    headline = plain(say("The volume is {}", num)) if known else "The volume is not given"
    answer = render("sheet_answer.html", {
        "headline": headline, "lead": html(("95 % interval in brackets.",)) if known else html(say("{}", num)),
        "reason": _enter(volume), "acceptance": [], "limits": list(volume.warnings),
    })  # fmt: skip
    picture = _budget(volume)
    blocks = [Block("answer", "", answer, beside=lead_picture(picture, "kPa") if picture else "", page_one=True)]
    facts = [
        (_FACTS.get(name, clean(name, 60).replace("_", " ")), _fact(v, u)) for name, (v, u) in volume.facts.items()
    ]
    table = render("plan_table.html", {"head": ("Quantity", "Value"), "rows": facts})
    blocks.append(Block("facts", "What was measured", table, "Facts", page_one=True))
    provenance = [("Log", f"{clean(f.source, 60)}: {f.log_id}") for f in volume.logs]
    provenance.append(("Program", f"tracekit {volume.version}, {volume.created}"))
    identity = ("Volume", *(clean(f.source, 60) for f in volume.logs))
    return frame(headline, blocks, identity=identity, provenance=provenance)


def _enter(volume: VolumeResult) -> str:
    """The two lines for the station file: the value, and half its 95 % interval over 1.96 as a share."""
    num = of_quantity(volume.volume_ml)
    if num is None or num.lower is None or num.upper is None or not num.value:
        return ""
    share = (num.upper - num.lower) / (2.0 * 1.96 * num.value)
    return f"Station file: volume_ml = {num.value:.3g} and volume_rel_u = {share:.2g}, under [station]."


def _fact(value: float, unit: str) -> str:
    figure = f"{value:.3g}".replace("-", "\u2212")
    return f"{figure}\u00a0{unit}" if unit else figure


def _budget(volume: VolumeResult) -> Picture | None:
    """Bars of what makes the volume uncertain, the largest on top."""
    parts = sorted((b for b in volume.budget if b.u > 0.0), key=lambda b: -b.u)
    if len(parts) < 2:
        return None
    share = digits(100.0 * parts[0].share, 0)
    heading = (f"What makes it uncertain: {parts[0].source}, {share} % of the variance.",)
    caption = ("Bar: standard uncertainty of the volume from one source.",)
    columns = (Column(name="source"), Column(name="standard uncertainty", unit="mL"), Column(name="distribution"))
    rows = tuple((clean(b.source, 60), float(b.u), b.kind) for b in parts)
    plot = bar_rows([(b.source, float(b.u), False) for b in parts[:_MOST_BARS]], "mL", "standard uncertainty, {}")
    return finish("budget", (heading, caption), plot, columns, rows, len(rows), "kPa")
