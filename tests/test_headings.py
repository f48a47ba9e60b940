"""Headings in any reasonable spelling."""

import pytest

from pipeline.headings import match
from schemas.fields import FIELDS, PULL_FIELDS


@pytest.mark.parametrize(
    ("heading", "name", "unit"),
    [
        ("bore (mm)", "bore", "mm"),
        ("Bore", "bore", None),
        ("BORE [mm]", "bore", "mm"),
        ("bore, mm", "bore", "mm"),
        ("bore_mm", "bore", "mm"),
        ("Intake Duration", "intake_duration", None),
        ("intake-duration-seat", "intake_duration_seat", None),
        ("IntakeDurationSeat (deg)", "intake_duration_seat", "deg"),
        ("port_csa_cm2", "port_csa", "cm2"),
        ("barometer hPa", "barometer", "hpa"),
        ("air temperature (°C)", "air_temperature", "°C"),
        ("Sheet ID", "sheet_id", None),
    ],
)
def test_fields_are_found_however_spelled(heading, name, unit):
    assert match(heading, FIELDS) == (name, unit)


@pytest.mark.parametrize(
    ("heading", "name", "unit"),
    [
        ("Torque [N-m]", "torque", "N-m"),
        ("torque_nm", "torque", "nm"),
        ("torque (lb-ft)", "torque", "lb-ft"),
        ("Power (kW)", "power", "kW"),
        ("power kw", "power", "kw"),
        ("RPM", "rpm", None),
    ],
)
def test_columns_of_a_pull_are_found_however_spelled(heading, name, unit):
    assert match(heading, PULL_FIELDS) == (name, unit)


@pytest.mark.parametrize(
    "heading", ["boredom", "colour", "bore of the year", "", "(mm)", "torques"]
)
def test_other_headings_name_nothing(heading):
    assert match(heading, FIELDS) == (None, None)


@pytest.mark.parametrize("name", list(FIELDS))
def test_every_field_is_found_by_its_own_name_in_capitals(name):
    assert match(name.upper().replace("_", " "), FIELDS) == (name, None)
