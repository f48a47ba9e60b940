"""Numerals: any number in any of the customary forms reads back as itself."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pullbook.pipeline.vocabulary import numerals

FORMS = {
    "point": lambda n, d: f"{n:.{d}f}",
    "comma": lambda n, d: f"{n:.{d}f}".replace(".", ","),
    "comma thousands": lambda n, d: f"{n:,.{d}f}",
    "point thousands": lambda n, d: f"{n:,.{d}f}".translate(str.maketrans(",.", ".,")),
    "space thousands": lambda n, d: f"{n:,.{d}f}".replace(",", "\u00a0").replace(".", ","),
    "apostrophes": lambda n, d: f"{n:,.{d}f}".replace(",", "'"),
}
MARKS = {"point": ".", "comma thousands": ".", "apostrophes": "."}


@given(st.floats(0, 99_999), st.integers(0, 4), st.sampled_from(sorted(FORMS)))
def test_a_number_reads_back_in_every_form(number, decimals, form):
    text = FORMS[form](number, decimals)
    found = numerals.read(text, MARKS.get(form, ","))
    assert found is not None
    assert found.readings == (pytest.approx(round(number, decimals), abs=1e-9),)
    assert found.rest == ""


@given(st.text(max_size=20))
def test_no_text_breaks_it(text):
    numerals.read(text)
    numerals.read(text, ",")
    numerals.plain(text)


@pytest.mark.parametrize(
    ("text", "mark", "readings"),
    [
        ("1,250", None, (1.25, 1250.0)),
        ("1,250", ",", (1.25,)),
        ("1,250", ".", (1250.0,)),
        ("2.000", ",", (2000.0,)),
        ("2.000", None, (2.0,)),
        ("0,125", None, (0.125,)),
        ("1 5/8", None, (1.625,)),
        ("15/16", None, (0.9375,)),
    ],
)
def test_what_a_mark_means(text, mark, readings):
    assert numerals.read(text, mark).readings == readings


@pytest.mark.parametrize("text", ["1,2,3", "1.2.3", "12,34,567", "12 34", "", "abc", "1_000"])
def test_what_is_no_numeral(text):
    found = numerals.read(text)
    assert found is None or found.rest
