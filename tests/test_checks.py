"""Rules: start from a valid sheet and break one thing."""

import re

import pytest
from valid_sheet import PULL

from pullbook.pipeline.builds import build_files
from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.reading import find_sheets, parse_sheet
from pullbook.schemas.finding_codes import CODES
from pullbook.schemas.severity import Severity


def findings(path, rules=check_sheet.CONTRIBUTION_RULES):
    (raw,) = find_sheets.sheets([path])
    return check_sheet.judge(parse_sheet.typed(raw), rules)


def test_the_valid_sheet_is_accepted_without_findings(write_sheet):
    sheet = findings(write_sheet())
    assert sheet.accepted
    assert sheet.findings == []


BROKEN = [
    ({"stroke": ""}, "missing", "stroke"),
    ({"bore": ""}, "missing", "bore"),
    ({"cylinders": "?"}, "missing", "cylinders"),
    ({"correction": ""}, "missing", "correction"),
    ({"shop": ""}, "missing-shop", "shop"),
    ({"barometer": ""}, "missing-weather", "barometer"),
    ({"air_temperature": ""}, "missing-weather", "air_temperature"),
    ({"aspiration": "turbocharged"}, "missing-boost", "boost"),
    ({"bore": "99 in"}, "unit-left-out", "bore"),
    ({"compression_ratio": "94"}, "out-of-range", "compression_ratio"),
    ({"relative_humidity": "140"}, "out-of-range", "relative_humidity"),
    ({"bore": "1.9 in"}, "mean-pressure", "torque"),
    ({"cylinders": "16", "stroke": "8"}, "mean-pressure", "torque"),
]


@pytest.mark.parametrize(("change", "code", "field"), BROKEN)
def test_one_broken_thing_is_one_refusal(write_sheet, change, code, field):
    sheet = findings(write_sheet(change))
    refusals = [f for f in sheet.findings if f.severity is Severity.REFUSE]
    assert [(f.code, f.field) for f in refusals] == [(code, field)]
    assert len(refusals[0].message) > 20


def _message(sheet, code):
    (found,) = [f for f in sheet.findings if f.code == code]
    return found.message


def test_messages_are_in_the_units_of_the_sheet(write_sheet):
    """Torque, size, mean pressure and weather: in inches and psi, or in millimetres and kPa."""
    inch = {"bore": "1.9", "stroke": "3.626"}
    feet = [("rpm", "torque"), *((rpm, "250") for rpm in ("2000", "2500", "3000", "3500", "4001"))]
    said = _message(findings(write_sheet(inch, feet)), "mean-pressure")
    assert "250 lb-ft from 62 cu in" in said
    assert "611 psi. With no boost given, 44 to 254 psi is possible" in said
    said = _message(findings(write_sheet({"bore": "48.26 mm"})), "mean-pressure")
    assert re.search(r"361 N\.m from 1011 cc, .* kPa\. With no boost given, 300 to 1750 kPa", said)
    mixed = [("rpm", "torque (lb-ft)"), *feet[1:]]
    said = _message(findings(write_sheet({"bore": "48.26 mm"}, mixed)), "mean-pressure")
    assert re.search(r"250 lb-ft from 1011 cc, .* With no boost given, 44 to 254 psi", said)
    boosted = {"bore": "48.26 mm", "aspiration": "turbocharged", "boost": "0.5 bar"}
    assert "With 0.5 bar of boost, 300 to " in _message(
        findings(write_sheet(boosted)), "mean-pressure"
    )
    cold = findings(write_sheet({"air_temperature": "50", "barometer": "30.1"}))
    said = _message(cold, "correction-range")
    assert "Outside the range of SAE J1349: air temperature 50 degF (range 59 to 95 degF)." in said
    low = findings(write_sheet({"barometer": "880 hPa"}))
    assert "barometer 880 hPa (range 900 to 1050 hPa)" in _message(low, "correction-range")


def test_a_torque_worked_out_from_power_is_in_the_units_of_the_sheet(write_sheet):
    pull = [("rpm", "power (kW)"), *((rpm, power) for rpm, _, power in PULL[1:])]
    said = _message(findings(write_sheet({"bore": "48.26 mm"}, pull)), "mean-pressure")
    assert said.startswith("The best torque, 361 N.m from")


PULLS = [
    (PULL[:5], "too-few-rpm"),
    (PULL[:1], "no-pull"),
    ([("speed", "grunt"), ("2000", "300")], "no-pull"),
    ([PULL[0], *[("3000", "361.4", "113.5")] * 9], "too-few-rpm"),
    ([*PULL[:3], ("3000", "361.4", "153.9"), *PULL[4:]], "torque-power-disagree"),
    ([*PULL[:3], ("", "361.4", "113.5"), *PULL[4:], ("4600", "300", "144.5")], "missing-rpm"),
    ([*PULL, ("60000", "300", "1885")], "out-of-range"),
    ([*PULL[:3], ("2750", "-300", ""), *PULL[3:]], "out-of-range"),
]


@pytest.mark.parametrize(("pull", "code"), PULLS)
def test_a_broken_pull_is_refused(write_sheet, pull, code):
    sheet = findings(write_sheet(pull=pull))
    assert code in {f.code for f in sheet.findings if f.severity is Severity.REFUSE}


def test_five_distinct_rpm_are_enough(write_sheet):
    assert findings(write_sheet(pull=PULL[:6])).accepted


@pytest.mark.parametrize(
    ("change", "hint", "code"),
    [
        ({"bore": "99"}, "99 mm", "unit-explained"),
        ({"barometer": "1013"}, "1013 hPa", "unit-explained"),
        ({"barometer": "99.8"}, "99.8 kPa", "unit-explained"),
        ({"barometer": "752"}, "752 mmHg", "unit-assumed"),
        ({"barometer": "752", "elevation": "8000 ft"}, "752 hPa", "unit-explained"),
        ({"barometer": "752", "elevation": "300 ft"}, "752 mmHg", "unit-explained"),
        ({"air_temperature": "24"}, "24 degC", "unit-explained"),
        ({"rod_length": "152"}, "152 mm", "unit-explained"),
        ({"relative_humidity": "0.48"}, "48 %", "unit-assumed"),
        ({"stroke": "3.626", "bore": "3.9", "barometer": "1013"}, "1013 hPa", "unit-assumed"),
    ],
)
def test_a_unit_that_was_left_out_is_the_only_one_that_fits_and_is_said(
    write_sheet, change, hint, code
):
    (said,) = [f.message for f in findings(write_sheet(change)).findings if f.code == code]
    assert hint in said


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"correction": "SAE J607", "barometer": "", "air_temperature": ""}, "nominal-correction"),
        ({"dyno": "chassis"}, "chassis-dyno"),
        ({"relative_humidity": ""}, "assumed-humidity"),
        ({"air_temperature": "44 degC"}, "correction-range"),
    ],
)
def test_what_makes_a_sheet_less_certain_is_told_and_accepted(write_sheet, change, code):
    sheet = findings(write_sheet(change))
    assert sheet.accepted
    assert code in {f.code for f in sheet.findings}


def test_a_boosted_engine_may_reach_more(write_sheet):
    strong = [
        PULL[0],
        *((r, f"{2.2 * float(t):.1f}", f"{2.2 * float(p):.1f}") for r, t, p in PULL[1:]),
    ]
    assert not findings(write_sheet(pull=strong)).accepted
    boosted = {"aspiration": "supercharged", "boost": "0.8 bar"}
    assert findings(write_sheet(boosted, strong)).accepted


def test_newton_metres_called_pound_feet_are_caught(write_sheet):
    strong = [("rpm", "torque"), *((r, f"{1.25 * float(t):.1f}") for r, t, _ in PULL[1:])]
    sheet = findings(write_sheet(pull=strong))
    assert [f.code for f in sheet.findings] == ["unit-assumed"]
    assert sheet.readings[0].torque == pytest.approx(1.25 * 345.2 / 1.3558179483)
    inches = {"stroke": "3.626", "bore": "3.9"}
    assert [f.code for f in findings(write_sheet(inches, strong)).findings] == ["mean-pressure"]


def test_a_build_needs_only_its_size(tmp_path):
    path = tmp_path / "b.yaml"
    path.write_text("bore: 100 mm\nstroke: 90 mm\ncylinders: 4\n")
    (raw,) = build_files.raw_builds(path)
    assert check_sheet.judge(parse_sheet.typed(raw), check_sheet.BUILD_RULES).findings == []


def test_codes_are_lower_case_with_hyphens():
    assert all(code == code.lower() and " " not in code and "_" not in code for code in CODES)


@pytest.mark.parametrize(
    ("bore", "said"), [("4.03 in", "cross-section is 20.4 in; 2 to 14 in is usual"),
                       ("102.4 mm", "cross-section is 518 mm; 50.8 to 356 mm is usual")]
)  # fmt: skip
def test_a_length_that_does_not_fit_is_said_in_the_units_of_the_sheet(bore, said):
    build = build_files.of_fields(
        {"cylinders": 8, "bore": bore, "stroke": 3.48, "port_csa": 1.5, "port_volume": 501}
    )
    (message,) = [f.message for f in build.findings if f.code == "port-length-unusual"]
    assert said in message


@pytest.mark.parametrize(
    ("seat", "code", "said"),
    [
        (214, "seat-duration", "is -50 deg; 18 to 100 deg is usual, 3 to 160 deg is possible."),
        (274, "seat-duration-unusual", "is 10 deg; 18 to 100 deg is usual."),
    ],
)
def test_durations_that_do_not_fit_are_said_with_both_and_what_is_usual(seat, code, said):
    build = build_files.of_fields(
        {"cylinders": 8, "bore": 4.03, "stroke": 3.48, "intake_duration": 264,
         "intake_duration_seat": seat}
    )  # fmt: skip
    (found,) = [one for one in build.findings if one.code == code]
    assert found.field == "intake_duration_seat"
    assert said in found.message
    assert f"({seat} crank deg) and intake duration (264 crank deg)" in found.message
