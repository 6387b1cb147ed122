"""A number never travels without its interval, its unit and the way it was found."""

from typing import Literal

from tracekit.frozen import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value with its coverage interval (JCGM 100, 101)."""

    value: float
    lower: float
    upper: float
    unit: str
    n: int
    method: str
    level: float = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """A quantity of which only one side is known."""

    status: Literal["lower_bound", "upper_bound"]
    limit: float
    unit: str
    n: int
    method: str
    level: float = 0.95


@dataclass(frozen=True, slots=True)
class Withheld:
    """A quantity that this recording cannot give, with the reason."""

    reason: str


Quantity = Estimate | Bound | Withheld


def quantity_json(quantity: Quantity) -> dict[str, object]:
    """The form of a quantity in every JSON file of tracekit."""
    if isinstance(quantity, Withheld):
        return {"status": "withheld", "reason": quantity.reason}
    tail = {"level": quantity.level, "unit": quantity.unit, "n": quantity.n, "method": quantity.method}
    if isinstance(quantity, Bound):
        side = "lower" if quantity.status == "lower_bound" else "upper"
        return {"status": quantity.status, side: quantity.limit, **tail}
    return {"value": quantity.value, "lower": quantity.lower, "upper": quantity.upper, **tail}
