"""How a stamp written as text is made up of runs of digits."""

from typing import Literal

from tracekit.frozen import dataclass

Field = Literal[
    "year", "month", "day", "day_of_year", "hour", "minute", "second", "fraction", "centi", "milli", "micro", "days",
    "zone_h", "zone_m", "packed", "packed_ms", "packed_short", "packed_short_ms", "clock", "clock_ms",
]  # fmt: skip

_SHORT = ("packed_short", "packed_short_ms")
_PACKED = ("packed", "packed_ms", *_SHORT)
"""Date and clock in one number, with a year of four figures or of two."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StampForm:
    """How stamps are written: the meaning of every run of digits, in order.

    twelve     hours of a 12-hour clock with AM or PM
    zone       "" none, "Z" where UTC is written, "offset" where hours from UTC are written
    worded     months are names
    weekday    the name of a day stands first
    ambiguous  day and month could be exchanged
    spelled    the half of the day or the zone is a word that `stampwords.spelled_out` writes in signs
    place      name of the zone, "Europe/Lisbon", that stands behind
    counted    what follows the seconds could be a count of milliseconds as well as a fraction
    evidence   how day and month were told apart
    """

    fields: tuple[Field, ...]
    twelve: bool = False
    zone: str = ""
    worded: bool = False
    weekday: bool = False
    ambiguous: bool = False
    spelled: bool = False
    place: str = ""
    counted: bool = False
    evidence: str = ""

    @property
    def has_date(self) -> bool:
        """The stamp holds a date."""
        return not {"day", "day_of_year", *_PACKED}.isdisjoint(self.fields)

    @property
    def has_year(self) -> bool:
        """The date of the stamp holds its year."""
        return not {"year", *_PACKED}.isdisjoint(self.fields)

    @property
    def has_packed_clock(self) -> bool:
        """Hours, minutes and seconds stand in one number."""
        return not {"clock", "clock_ms"}.isdisjoint(self.fields)

    @property
    def has_clock(self) -> bool:
        """The stamp holds a time of day or an elapsed time."""
        return not {"minute", "clock", "clock_ms", "packed_ms", *_SHORT}.isdisjoint(self.fields) or (
            "packed" in self.fields and len(self.fields) > 1
        )
