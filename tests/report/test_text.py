"""Text from outside is made harmless."""

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from tracekit.report.markup import numbers, numbers_plain
from tracekit.report.text import ascii_only, clean, escape, outside


@given(st.text(max_size=400), st.integers(10, 120))
def test_clean_is_one_short_visible_line(text, limit):
    """Nothing invisible, no line break, no direction mark, never longer than asked."""
    line = clean(text, limit)
    assert len(line) <= limit
    assert all(unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp") for c in line)
    assert line == line.strip()


def test_clean_keeps_both_ends_of_a_long_text():
    """A long name is cut in its middle."""
    cut = clean("Loader " + "x" * 10_000 + " end", 30)
    assert cut.startswith("Loader x")
    assert cut.endswith("xx end")
    assert "…" in cut


def test_direction_marks_are_dropped():
    """Text cannot turn the direction of what follows it."""
    assert clean("a\u202eb\u2066c\u200fd\u061c") == "abcd"


def test_outside_is_escaped_and_isolated():
    """Tags and quotes are shown as characters."""
    assert outside("<script>\"'") == "<bdi>&lt;script&gt;&quot;&#x27;</bdi>"
    assert escape("a&b") == "a&amp;b"


@given(st.text(max_size=200))
def test_ascii_only_is_ascii(text):
    """Whatever comes in, plain ASCII goes out."""
    assert ascii_only(text).isascii()


def test_ascii_only_keeps_signs_readable():
    """Signs of numbers and arrows have their plain form."""
    assert ascii_only("−68.0\u00a0kPa → ≤ 5 ± 1 …") == "-68.0 kPa -> <= 5 +/- 1 ..."
    assert ascii_only("Gerät") == "Gerat"


def test_numbers_marks_every_pressure_of_a_sentence():
    """The unit switch reaches sentences that come from elsewhere, and leaves other numbers alone."""
    marked = numbers("Below 1 kPa/s in 10 s: 65 to 74 kPa <b>")
    assert marked.count('class="q"') == 3
    assert "in 10\u00a0s" in marked
    assert "&lt;b&gt;" in marked
    assert 'data-u="kPa/s" data-v="1"' in marked


def test_numbers_in_another_unit():
    """A sentence is told in the unit asked for; its digits follow those it was given in."""
    assert numbers_plain("Below 1.0 kPa/s", "mbar").replace("\u00a0", " ") == "Below 10 mbar/s"
    assert numbers_plain("from 65 to 74 kPa", "mbar").replace("\u00a0", " ") == "from 650 to 740 mbar"


def test_setting_names_become_words():
    """A setting is called by its plain name."""
    assert numbers_plain("below set_point") == "below set point"


def test_outside_sentences_have_true_minus_signs():
    """A negative figure has its minus sign; a hyphen inside a word or a range stays."""
    assert numbers("changed by -17 %, 2-part seal, A-3") == "changed by \u221217\u00a0%, 2-part seal, A-3"
