"""What was understood of a log, as far as a page shows it. The reader's own records have this form."""

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import Assumption, Layout, LogFacts


class OpenQuestion(Protocol):
    """Something that a file does not tell: what was found, and the line for [channels] that answers it."""

    @property
    def found(self) -> str:
        """What was found."""

    @property
    def line(self) -> str:
        """The line that answers it; alternatives stand in its comment."""


class FirstSeconds(Protocol):
    """The first seconds of one station: arrays of shape (n,)."""

    @property
    def station(self) -> str:
        """Name of the station."""

    @property
    def time_s(self) -> NDArray[np.float64]:
        """Times of the samples [s]."""

    @property
    def pressure_kpa(self) -> NDArray[np.float64]:
        """Gauge pressure [kPa], negative below ambient."""

    @property
    def digital(self) -> NDArray[np.uint8]:
        """Digitals as wired, one bit each."""


class Understood(Protocol):
    """What was understood of one recording; layout and facts are None while questions are open."""

    @property
    def source(self) -> str:
        """Base name of the file."""

    @property
    def assumptions(self) -> Sequence[Assumption]:
        """Every decision with its evidence."""

    @property
    def questions(self) -> Sequence[OpenQuestion]:
        """What has to be answered first."""

    @property
    def layout(self) -> Layout | None:
        """Channels and stations."""

    @property
    def facts(self) -> LogFacts | None:
        """Hash, rows, sampling."""

    @property
    def pictures(self) -> Sequence[FirstSeconds]:
        """The first seconds per station."""

    @property
    def station_file(self) -> str:
        """Text of a station file with what was decided."""
