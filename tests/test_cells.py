"""Cells: what becomes a value, and what becomes a finding."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pullbook.pipeline.values.cells import CellError, parse
from pullbook.schemas.fields import FIELDS


@pytest.mark.parametrize(
    ("field", "text", "value"),
    [
        ("bore", "3.9", 3.9),
        ("bore", " 99.06 mm ", 3.9),
        ("bore", "3.9e0", 3.9),
        ("compression_ratio", "9.4:1", 9.4),
        ("cylinders", "6", 6),
        ("cylinders", "6.0", 6),
        ("muffled", "No", False),
        ("muffled", "YES", True),
        ("intake_type", "Dual-Plane", "dual plane"),
        ("correction", "sae j1349", "SAE J1349"),
        ("correction", "SAE-J607", "SAE J607"),
        ("tested_on", "2024-05-31", 2024),
        ("tested_on", "2019", 2019),
        ("family", "petrel-six", "petrel-six"),
        ("intake_duration", "214 @ .050", 214),
        ("exhaust_duration", '224deg@0.050"', 224),
        ("intake_duration", "214° at 1,27 mm lift", 214),
        ("intake_duration_seat", "262 @ .006", 262),
        ("exhaust_duration_seat", "270 at 0.15 mm", 270),
    ],
)
def test_values(field, text, value):
    assert parse(text, FIELDS[field])[0] == pytest.approx(value)


@pytest.mark.parametrize("text", ["", " ", "NA", "n/a", "-", "?", "Unknown"])
@pytest.mark.parametrize("field", ["bore", "muffled", "intake_type", "family", "tested_on"])
def test_what_says_nothing_is_missing(field, text):
    assert parse(text, FIELDS[field])[:2] == (None, None)


@pytest.mark.parametrize(
    ("field", "text", "code"),
    [
        ("bore", "about four", "not-a-number"),
        ("bore", "inf", "not-a-number"),
        ("bore", "1e999", "not-a-number"),
        ("bore", "4 zolls", "unknown-unit"),
        ("bore", "4 kW", "wrong-unit"),
        ("cylinders", "6.5", "not-whole"),
        ("muffled", "somewhat", "not-yes-or-no"),
        ("intake_type", "triple plane", "not-a-choice"),
        ("tested_on", "last spring", "not-a-date"),
        ("tested_on", "2024-13-01", "not-a-date"),
        ("intake_duration", "262 @ .006", "wrong-unit"),
        ("intake_duration", "230 @ 1 mm", "wrong-unit"),
        ("intake_duration_seat", "214 @ .050", "wrong-unit"),
        ("lobe_separation", "110 @ .050", "unknown-unit"),
    ],
)
def test_faults_carry_a_code_and_say_what_is_allowed(field, text, code):
    with pytest.raises(CellError) as fault:
        parse(text, FIELDS[field], row=7)
    finding = fault.value.finding
    assert (finding.code, finding.field, finding.row, finding.value) == (code, field, 7, text)
    assert FIELDS[field].title in finding.message
    assert text in finding.message


def test_a_customary_word_is_noted():
    value, note, _ = parse("STP", FIELDS["correction"], row=3)
    assert value == "SAE J607"
    assert note is not None
    assert note.code == "read-as"


@given(st.text(max_size=30), st.sampled_from(sorted(FIELDS)))
def test_no_text_makes_anything_but_a_value_or_a_finding(text, field):
    try:
        value = parse(text, FIELDS[field]).value
    except CellError as fault:
        assert fault.finding.field == field
    else:
        assert value is None or isinstance(value, str | float | int | bool)
