"""Losses that stand with one nest, and how a column of context is told."""

import math
from dataclasses import replace

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.model.result import LeakGroup
from tracekit.model.tables import Column
from tracekit.model.trace import Assumption
from tracekit.report.contexts import _chance_of_so_many, lost_together, read_as
from tracekit.report.fitting import LEAD_MOST
from tracekit.report.page import station_page
from tracekit.report.verdict import verdict
from tracekit.report.why import why_this_cause
from tracekit.report.words import plain

NESTS = ("N1", "N2", "N3")
SECOND = tuple(range(1, 43, 3))


def with_nests(*, missed=(), values=NESTS, slow=()):
    """A station of 43 cycles, each with the nest of its number, that misses these picks."""
    data = stories.data_of(Play(cycles=43, missed=missed, slow=slow))
    table, nests = data.cycles, np.arange(43, dtype=np.int32) % len(values)
    table = replace(
        table, columns=(*table.columns, Column("context_nest", "category", "", "nest")),
        data={**table.data, "context_nest": nests}, categories={**table.categories, "context_nest": values},
    )  # fmt: skip
    found = stories.finding("part_not_presented", cycles=missed, share=len(missed) / 43)
    return stories.result(Play(cycles=43), data=replace(data, cycles=table), findings=(found,), causes=())


def test_misses_of_one_nest_are_told_as_its():
    """Misses that all stand with one nest name it in the lead and among the causes."""
    result = with_nests(missed=SECOND[:8])
    assert lost_together(result) == ("8 of 8 misses at nest N2, none at the others",)
    told = plain(verdict(result).lead)
    assert told == (
        "Vacuum never leaves the open-cup level on 8 of 43 cycles. 8 of 8 misses at nest N2, none at the others."
    )
    assert len(told) <= LEAD_MOST
    assert "8 of 8 misses at nest N2, none at the others." in why_this_cause(result, "kPa")


@pytest.mark.parametrize(
    "missed", [SECOND[:4], (1, 4, 7, 10, 13, 2, 3, 6), tuple(range(0, 40, 5))], ids=["few", "mixed", "spread"]
)
def test_misses_that_are_few_or_elsewhere_name_no_nest(missed):
    """Under five misses, or misses at several nests, are no matter of one nest."""
    assert lost_together(with_nests(missed=tuple(sorted(missed)))) == ()


def test_chance_is_that_of_the_exact_test():
    """The p value is that of Fisher's exact test as counted in whole numbers."""
    by_hand = sum(math.comb(14, k) * math.comb(29, 8 - k) for k in (7, 8)) / math.comb(43, 8)
    assert _chance_of_so_many(7, 14, 8, 43) == pytest.approx(by_hand, rel=1e-9)
    assert _chance_of_so_many(8, 43, 8, 43) == pytest.approx(1.0)


def test_one_value_alone_is_no_link():
    """Where every cycle has the same nest all misses do, which says nothing."""
    assert lost_together(with_nests(missed=SECOND[:8], values=("N2",))) == ()


def test_leaking_cycles_of_one_nest_are_told_as_its():
    """The faster of two rates is held against the nests too, where the rates alone part the groups."""
    result = with_nests(slow=SECOND)
    rest = tuple(c for c in range(43) if c not in SECOND)
    groups = tuple(
        LeakGroup(by="rate", label=label, share=0.5, cycles=rows, decay_rate_kpa_s=result.leak.decay_rate)
        for label, rows in (("smaller leak", rest), ("larger leak", SECOND))
    )
    leaking = replace(result, leak=replace(result.leak, groups=groups))
    assert lost_together(leaking) == ("14 of 14 leaking cycles at nest N2, none at the others",)


def test_a_context_in_use_is_not_told_as_left_aside():
    """A column named as left aside that cycles carry is context; what is left aside comes with the line to add."""
    result = with_nests()
    aside = Assumption(what="left aside", value='"nest", "recipe"', evidence="all roles are filled", confidence=0.8)
    context, left = read_as((aside,), result.data.cycles)
    assert (context.what, context.value) == ("context", '"nest"')
    assert left.value == '"recipe"'
    assert 'context = ["nest", "recipe"]' in left.evidence
    other = replace(aside, what="columns")
    assert read_as((other,), result.data.cycles) == (other,)
    page = station_page(replace(stories.record(result), log_assumptions=((aside,),)), 0)
    assert "Context: the station file names it" in page
