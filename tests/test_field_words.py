"""Fields in words: names without underscores, numbers with units, metric for metric readers."""

import pytest

from pullbook.pipeline.vocabulary.units import scale
from pullbook.schemas.field_words import DERIVED_UNITS, METRIC, described, in_units, with_unit
from pullbook.schemas.fields import FIELDS, PULL_FIELDS

NAMES = (*FIELDS, *PULL_FIELDS, *DERIVED_UNITS)


@pytest.mark.parametrize("unit", [unit for unit in METRIC if unit != "in3"])
def test_what_is_shown_in_metric_units_reads_back_as_it_was(unit):
    shown, factor, offset = METRIC[unit]
    slope, shift = scale(shown, unit)
    assert ((7.5 - offset) * factor) * slope + shift == pytest.approx(7.5, rel=1e-6)


def test_a_cubic_inch_is_a_cube_of_one_inch():
    assert in_units("displacement", 1.0, metric=True) == pytest.approx(2.54**3)


@pytest.mark.parametrize("name", NAMES)
def test_metric_words_hold_no_inch_unit(name):
    unit = with_unit(name, 10.0, metric=True).split(" ", 1)[1:]
    inches = {"in", "sq in", "cu in", "ft", "cfm", "psi", "inHg", "degF", "lb-ft", "hp"}
    assert not set(unit) & inches


@pytest.mark.parametrize("name", NAMES)
def test_words_are_never_in_the_codes_spelling(name):
    assert "_" not in described(name, 10.0)


def test_a_flag_is_yes_or_no_and_a_large_number_has_no_exponent():
    assert described("muffled", value=False) == "exhaust muffled: no"
    assert with_unit("displacement", 611.4, metric=True) == "10020 cc"
