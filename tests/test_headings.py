"""Headings in any reasonable spelling."""

import pytest

from pullbook.pipeline.vocabulary.headings import PLAIN, Headings
from pullbook.schemas.fields import FIELDS


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
    assert PLAIN.sheet(heading)[:3] == (name, unit, False)


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
    assert PLAIN.pull(heading)[:3] == (name, unit, False)


@pytest.mark.parametrize(
    "heading", ["boredom", "colour", "bore of the year", "", "(mm)", "torques"]
)
def test_other_headings_name_nothing(heading):
    assert PLAIN.sheet(heading).field is None


@pytest.mark.parametrize("name", list(FIELDS))
def test_every_field_is_found_by_its_own_name_in_capitals(name):
    assert PLAIN.sheet(name.upper().replace("_", " "))[:3] == (name, None, False)


@pytest.mark.parametrize(
    ("heading", "name", "unit"),
    [("TQ", "torque", None), ("HP", "power", "HP"), ("kW", "power", "kW"), ("Nm", "torque", "Nm"),
     ("Engine Speed", "rpm", None), ("1/min", "rpm", None), ("Tq (Nm)", "torque", "Nm")],
)  # fmt: skip
def test_customary_headings_are_read_and_said_to_be(heading, name, unit):
    assert PLAIN.pull(heading)[:3] == (name, unit, True)


@pytest.mark.parametrize(
    ("heading", "number"), [("torque 2", 2), ("Torque_3 (N.m)", 3), ("TQ run 4", 4), ("tq #5", 5)]
)
def test_a_heading_may_number_its_pull(heading, number):
    named = PLAIN.pull.numbered(heading)
    assert (named.field, named.number) == ("torque", number)
    assert named.unit == ("N.m" if "N.m" in heading else None)


def test_a_shops_own_headings_go_before():
    own = Headings({"Bohrung": "bore (mm)", "Drehmoment": "torque (N.m)", "RPM": "notes"})
    assert own.sheet("BOHRUNG")[:3] == ("bore", "mm", True)
    assert own.pull("drehmoment")[:3] == ("torque", "N.m", True)
    assert own.sheet("rpm").field == "notes"
