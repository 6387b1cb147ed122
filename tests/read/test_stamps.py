"""Dates and times of day as text."""

import datetime as dt

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.read.cells import cell_kind
from tracekit.read.stamp_values import stamp_ns
from tracekit.read.stamps import find_form

EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
FORMS = [
    "%Y-%m-%d %H:%M:%S.%f", "%d.%m.%Y %H:%M:%S,%f", "%Y/%m/%d %H:%M:%S", "%Y%m%dT%H%M%S.%f", "%d-%b-%Y %H:%M:%S",
    "%d/%m/%Y %I:%M:%S.%f %p", "%Y-%m-%dT%H:%M:%SZ", "%H:%M:%S.%f %d.%m.%Y", "%H:%M:%S, %Y/%m/%d",
    "[%Y-%m-%d %H:%M:%S.%f]", "DT#%Y-%m-%d-%H:%M:%S.%f", "%Y-%m-%d-%H-%M-%S-%f", "%Y_%m_%d_%H_%M_%S",
    "%Y年%m月%d日%H時%M分%S.%f秒",
]  # fmt: skip
moments = st.integers(978_307_200, 2_840_140_800).map(lambda s: dt.datetime.fromtimestamp(s, dt.UTC))


def values(cells):
    """Seconds of some cells, and where they are sound."""
    assert {cell_kind(cell) for cell in cells} == {"time"}
    form = find_form(cells)
    assert form is not None
    ns, sound = stamp_ns(pa.array(cells), form)
    return (ns / 1e9).tolist(), sound.tolist(), form


@pytest.mark.parametrize("layout", FORMS)
@given(found=st.lists(moments, min_size=1, max_size=12))
def test_stamps_have_the_value_that_the_calendar_gives(layout, found):
    """Stamps of every common form are read as the standard library writes them."""
    found = [dt.datetime(2024, 3, 26, 10, 17, 14, tzinfo=dt.UTC), *found]
    seconds, sound, _ = values([d.strftime(layout) for d in found])
    assert all(sound)
    assert seconds == [(d - EPOCH).total_seconds() for d in found]


@pytest.mark.parametrize(
    ("cells", "seconds"),
    [
        (["0:00:01,500", "0:01:00,000"], [1.5, 60.0]),
        (["03:14.5", "03:14.75"], [194.5, 194.75]),
        (["1d 00:03:12", "1d 00:03:13"], [86592.0, 86593.0]),
        (["0 days 00:00:00.005000", "1 day 00:00:01"], [0.005, 86401.0]),
        (["TOD#10:00:00.250", "TOD#10:00:01.250"], [36000.25, 36001.25]),
        (["12:17:14 AM", "12:17:15 PM"], [1034.0, 44235.0]),
        (["9:00:00.5", "10:00:00"], [32400.5, 36000.0]),
    ],
)
def test_times_without_a_date_count_from_zero(cells, seconds):
    """Elapsed times and times of day count from zero, whatever their length."""
    assert values(cells)[0] == seconds


def test_offsets_from_utc_are_taken_off():
    """A written offset moves the stamp to UTC."""
    seconds, _, form = values(["2024-03-26 10:00:00+02:00", "2024-03-26 10:00:00-01:00"])
    assert seconds[1] - seconds[0] == 3 * 3600
    assert form.zone == "offset"


def test_day_and_month_are_told_apart_or_left_open():
    """Day and month are known by a number above 12, by dots, or by the way the dates count; else they stay open."""
    assert find_form(["27/10/2017 13:00:00"]).fields[:2] == ("day", "month")
    assert find_form(["10/27/2017 13:00:00"]).fields[:2] == ("month", "day")
    assert find_form(["03.04.2024 10:00:00"]).fields[:2] == ("day", "month")
    assert find_form(["04/03/2024 23:59:59", "04/04/2024 00:00:00"]).fields[:2] == ("month", "day")
    assert find_form(["03/04/2024 10:00:00"]).ambiguous


def test_what_is_no_date_is_marked():
    """A day that does not exist, and text, are not sound."""
    form = find_form(["2024-02-29 10:00:00"])
    _, sound = stamp_ns(pa.array(["2024-02-30 10:00:00", "2024-02-29 10:00:00", "Maximum", None]), form)
    assert np.array_equal(sound, [False, True, False, False])


@pytest.mark.parametrize("dates", [["26.03.2024"] * 4, ["26.03.2024", "27.03.2024", "26.03.2024"], ["31.02.2024"] * 2])
def test_dates_that_are_alike_are_taken_once(dates):
    """One date for all rows, one that differs between two alike, and one that does not exist."""
    form = find_form(["26.03.2024", "27.03.2024"])
    ns, sound = stamp_ns(pa.array(dates, pa.string()), form)
    known = [d != "31.02.2024" for d in dates]
    assert sound.tolist() == known
    expected = [
        dt.datetime(2024, 3, int(d[:2]), tzinfo=dt.UTC).timestamp() if k else 0
        for d, k in zip(dates, known, strict=True)
    ]
    assert (ns[sound] / 1e9).tolist() == [e for e, k in zip(expected, known, strict=True) if k]
