"""Frozen records of the package behave as those of the standard library do, and define nothing that they share."""

import copy
import dataclasses
import multiprocessing
import pickle
from concurrent.futures import ProcessPoolExecutor
from dataclasses import FrozenInstanceError, field, fields, replace

import pytest

from tracekit import frozen


def of_kind(decorator, base=object, **kind):
    """A record with all that fields may have, made by a decorator."""

    @decorator(frozen=True, slots=True, **kind)
    class Reading(base):
        """One reading."""

        kpa: float
        unit: str = "kPa"
        notes: list[str] = field(default_factory=list)
        place: int = field(default=7, repr=False, compare=False)
        fixed: str = field(default="set", init=False)
        filled: list[int] = field(default_factory=lambda: [1], init=False)

    return Reading


OURS, STANDARD = (of_kind(one.dataclass, kw_only=True) for one in (frozen, dataclasses))
PLACED, STANDARD_PLACED = (of_kind(one.dataclass) for one in (frozen, dataclasses))


@frozen.dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A record that a process can hand to another."""

    name: str
    values: tuple[float, ...] = ()


@frozen.dataclass(frozen=True, slots=True, kw_only=True)
class KeptLonger(Kept):
    """A record that has one field more than the one it comes from."""

    days: int = 0


@pytest.mark.parametrize("values", [{"kpa": 1.5}, {"kpa": -2.0, "unit": "mbar", "notes": ["a"], "place": 1}])
@pytest.mark.parametrize(("own", "standard"), [(OURS, STANDARD), (PLACED, STANDARD_PLACED)])
def test_fields_are_set_as_the_standard_library_sets_them(own, standard, values):
    """Values, defaults, factories and fields that are no arguments, the order of fields and what is shown of them."""
    one, other = own(**values), standard(**values)
    assert dataclasses.asdict(one) == dataclasses.asdict(other)
    assert [f.name for f in fields(one)] == [f.name for f in fields(other)]
    assert repr(one) == repr(other)
    assert own(**values).notes is not own(kpa=0.0).notes


def test_values_may_stand_by_place_where_they_are_not_named():
    """Without `kw_only` the first values are those of the first fields."""
    assert PLACED(1.0, "bar").unit == STANDARD_PLACED(1.0, "bar").unit == "bar"


@pytest.mark.parametrize("values", [{}, {"kpa": 1.0, "unknown": 2}, {"kpa": 1.0, "fixed": "x"}])
def test_what_does_not_fit_is_told_in_the_same_words(values):
    """A field that lacks or is unknown is named, for the first record as for later ones."""
    told = []
    for made in (of_kind(frozen.dataclass, kw_only=True), OURS, STANDARD):
        with pytest.raises(TypeError, match="argument") as caught:
            made(**values)
        told.append(str(caught.value))
    assert told[0] == told[1] == told[2]
    with pytest.raises(TypeError, match="argument"):
        OURS(1.0)


def test_nothing_can_be_changed():
    """A field can neither be set nor deleted, and there is no room for another."""
    one = OURS(kpa=1.0)
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'kpa'"):
        one.kpa = 2.0
    with pytest.raises(FrozenInstanceError, match="cannot delete field 'kpa'"):
        del one.kpa
    with pytest.raises(FrozenInstanceError, match="cannot assign to field"):
        one.other = 1
    assert not hasattr(one, "__dict__")
    assert one.kpa == 1.0


def test_equal_records_are_equal_and_have_one_hash():
    """What is compared decides alone, and records of two kinds are never equal."""
    one, same, other = Kept(name="a", values=(1.0,)), Kept(name="a", values=(1.0,)), Kept(name="b")
    assert one == same
    assert hash(one) == hash(same)
    assert one != other
    assert OURS(kpa=1.0, place=1) == OURS(kpa=1.0, place=2)
    assert one != KeptLonger(name="a", values=(1.0,))
    assert one != ("a", (1.0,))
    with pytest.raises(TypeError, match="unhashable"):
        hash(OURS(kpa=1.0))


def test_records_are_replaced_copied_and_handed_on():
    """With other values, copied, through a pickle: the same record again."""
    one = KeptLonger(name="a", values=(1.0,), days=3)
    assert replace(one, days=4) == KeptLonger(name="a", values=(1.0,), days=4)
    for again in (copy.copy(one), copy.deepcopy(one), pickle.loads(pickle.dumps(one))):
        assert again == one
        assert type(again) is KeptLonger


def test_values_are_matched_by_place():
    """The fields that may stand by place are those of the standard library's record."""
    assert PLACED.__match_args__ == STANDARD_PLACED.__match_args__ == ("kpa", "unit", "notes", "place")
    assert OURS.__match_args__ == STANDARD.__match_args__ == ()
    match PLACED(1.0, "bar"):
        case PLACED(kpa, unit):
            assert (kpa, unit) == (1.0, "bar")
        case _:
            pytest.fail("no match")


def test_records_of_another_process_are_the_same():
    """A record that another process has made, or been given, comes back equal, though that process has made no other."""
    one = KeptLonger(name="a", values=(1.0, 2.0), days=3)
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as pool:
        again, made = pool.submit(copy.copy, one).result(60), pool.submit(_kept_elsewhere, "b").result(60)
    assert (again, made) == (one, Kept(name="b", values=(0.5,)))
    assert hash(again) == hash(one)
    with pytest.raises(FrozenInstanceError, match="cannot assign to field"):
        made.name = "c"


def _kept_elsewhere(name):
    return Kept(name=name, values=(0.5,))


def test_what_a_record_defines_itself_stays():
    """Its own words, and what it does after its fields are set."""

    @frozen.dataclass(frozen=True, slots=True, kw_only=True)
    class Checked:
        """A positive number."""

        number: int

        def __post_init__(self):
            if self.number <= 0:
                raise ValueError("not positive")

        def __repr__(self):
            return f"number {self.number}"

    assert repr(Checked(number=2)) == "number 2"
    with pytest.raises(ValueError, match="not positive"):
        Checked(number=0)


def test_only_what_makes_a_record_is_its_own_and_is_compiled_once():
    """Defining a record compiles nothing; the first record made brings what makes all later ones."""
    fresh = of_kind(frozen.dataclass, kw_only=True)
    assert fresh.__eq__ is OURS.__eq__
    assert fresh.__setattr__ is OURS.__setattr__
    before = fresh.__init__
    fresh(kpa=1.0)
    after = fresh.__init__
    assert after is not before
    fresh(kpa=2.0)
    assert fresh.__init__ is after
