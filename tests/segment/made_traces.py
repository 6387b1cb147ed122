"""Small recordings drawn by hand: straight lines and exponentials between commands, so that every answer is known."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from tracekit import pipeline
from tracekit.model.cycle import StationData
from tracekit.model.station import Settings, Station

RATE_HZ = 100
SET_POINT, RESET_POINT = 56.0, 51.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A stretch with fixed commands, in which vacuum goes to `to`: exponentially where `tau_s` is given, else straight.

    `present` forces the output, else it follows vacuum with hysteresis. A `gap` is not recorded.
    """

    seconds: float
    to: float
    tau_s: float = 0.0
    supply: int = 0
    release: int = 0
    present: int | None = None
    gap: bool = False


def idle(seconds: float = 0.6) -> Piece:
    """Nothing on, no vacuum."""
    return Piece(seconds=seconds, to=0.0)


def evacuate(seconds: float = 0.6, to: float = 75.0, tau_s: float = 0.1) -> Piece:
    """Supply on, the cup on a part."""
    return Piece(seconds=seconds, to=to, tau_s=tau_s, supply=1)


def hold(seconds: float = 1.0, to: float = 75.0) -> Piece:
    """Supply on, vacuum at its end."""
    return Piece(seconds=seconds, to=to, tau_s=0.1, supply=1)


def coast(seconds: float = 0.8, to: float = 63.0) -> Piece:
    """Supply off, vacuum falls in a straight line."""
    return Piece(seconds=seconds, to=to)


def recharge(seconds: float = 0.2, to: float = 70.0) -> Piece:
    """Supply on again, vacuum rises in a straight line."""
    return Piece(seconds=seconds, to=to, supply=1)


def blow_off(seconds: float = 0.3) -> Piece:
    """Release on."""
    return Piece(seconds=seconds, to=0.0, tau_s=0.02, release=1)


PLAIN = (idle(), evacuate(), hold(), blow_off())
"""One pick without air saving: 2.5 s, supply-on at 0.6 s, release at 2.2 s."""
SAVING = (
    idle(),
    evacuate(seconds=0.3, to=72.0),
    coast(),
    recharge(),
    coast(),
    recharge(),
    coast(0.4, 66.5),
    blow_off(),
)
"""One pick with air saving between 63 and 70 kPa: 3.6 s, three coasts, the last cut by the release."""


def seconds_of(pieces: Sequence[Piece]) -> float:
    """Length of some pieces."""
    return sum(p.seconds for p in pieces)


def trace_of(
    pieces: Sequence[Piece], rate_hz: int = RATE_HZ, *, noise: float = 0.0, seed: int = 1
) -> dict[str, np.ndarray]:
    """The canonical columns of some pieces one after the other, quantised to 0.01 kPa; vacuum starts at none."""
    vacuum, supply, release, present, kept = [], [], [], [], []
    level, on = 0.0, 0
    for piece in pieces:
        n = round(piece.seconds * rate_hz)
        t = np.arange(1, n + 1) / rate_hz
        if piece.tau_s:
            rise = piece.to + (level - piece.to) * np.exp(-t / piece.tau_s)
        else:
            rise = level + (piece.to - level) * t / piece.seconds
        level = float(rise[-1]) if n else level
        for v in rise:
            on = int(v >= SET_POINT or (on and v > RESET_POINT)) if piece.present is None else piece.present
            present.append(on)
        vacuum.append(rise)
        supply.append(np.full(n, piece.supply))
        release.append(np.full(n, piece.release))
        kept.append(np.full(n, not piece.gap))
    whole = np.concatenate(vacuum)
    keep = np.concatenate(kept)
    if noise:
        whole = whole + np.random.default_rng(seed).normal(0.0, noise, whole.size)
    columns = {
        "time_s": np.arange(whole.size) / rate_hz,
        "pressure_kpa": np.round(-whole, 2),
        "supply": np.concatenate(supply).astype(np.int64),
        "release": np.concatenate(release).astype(np.int64),
        "part_present": np.array(present, np.int64),
    }
    return {name: values[keep] for name, values in columns.items()}


def table_of(columns: dict[str, np.ndarray]) -> pa.Table:
    """An Arrow table of some columns."""
    return pa.table({name: pa.array(values) for name, values in columns.items()})


def data_of(
    pieces: Sequence[Piece], drop: Sequence[str] = (), *, settings: Settings | None = None, **more
) -> StationData:
    """The measured station of some pieces; `drop` names columns that the log lacks."""
    columns = {name: values for name, values in trace_of(pieces, **more).items() if name not in drop}
    return measured(columns, settings=settings)


def measured(columns: dict[str, np.ndarray], *, settings: Settings | None = None) -> StationData:
    """The measured station of a log with these columns."""
    station = Station(settings=settings or Settings())
    return pipeline.measure(table_of(columns), station).stations[0]


KNOWN = Settings(set_point_kpa=SET_POINT, reset_point_kpa=RESET_POINT)
"""What a station file says of the switch of these recordings."""
