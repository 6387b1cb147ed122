"""How far recorded figures of a station may be off that no scatter between cycles shows."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureOptions:
    """What all cycles of one recording share: standard uncertainties of figures read off one recorder."""

    bin_s: float = option(0.01, "s", "turns are read off bins this wide")
    level_noise: float = option(0.5, "of the noise", "a level read off an extreme lies high by about this much")
    ultimate_share: float = option(
        0.05, "of the way there", "an extrapolated end moves with the recorder's rate (simulated stations: 2 to 5 %)"
    )
    turn_seen_s: float = option(0.03, "s", "samples further apart pass the turn, which comes 10 to 30 ms after a cut")
    alike: float = option(1.5, "samples", "noise that lasts longer is not told by neighbouring samples")
