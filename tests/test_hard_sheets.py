"""Sheets that were once misread, lost or told too much: each stays mended."""

import csv
import json
import os
import time

import openpyxl
import pytest
from valid_sheet import FIELDS, PULL, sheet_text

from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.privacy.contribute import contribute
from pullbook.pipeline.reading import find_sheets, parse_sheet

KEY = b"a key for the tests alone"
HEAD, TABLE = sheet_text().rsplit("---\n", 1)
ROWS = [row[:2] for row in PULL[1:]]
BARE = "\n".join(",".join(row) for row in ROWS)


def judged(path):
    return [
        check_sheet.judge(parse_sheet.typed(r), check_sheet.SHEET_RULES)
        for r in find_sheets.source(path)
    ]


def sheet(tmp_path, table, fields=None, name="a.csv"):
    path = tmp_path / name
    head = sheet_text(fields).rsplit("---\n", 1)[0]
    path.write_text(f"{head}---\n{table}")
    return judged(path)[0]


def codes(found):
    return {f.code for f in found.findings}


@pytest.mark.parametrize("units", ["U/min,Nm", "tr/min,N.m", "-,Nm", "(1/min),(N.m)", "text,Nm"])
def test_a_row_of_units_is_never_passed_over(tmp_path, units):
    found = sheet(tmp_path, f"rpm,torque\n{units}\n{BARE}\n")
    assert found.accepted, found.findings
    assert found.readings[0].torque == pytest.approx(345.2 / 1.3558, rel=1e-3)


def test_a_unit_beside_known_ones_that_is_none_is_refused(tmp_path):
    found = sheet(tmp_path, f"rpm,torque\nwhirls,Nm\n{BARE}\n")
    assert "unknown-unit" in codes(found)


def tables(tmp_path, builds, pulls):
    for name, rows in (("builds", builds), ("pulls", pulls)):
        with (tmp_path / f"{name}.csv").open("w", newline="") as file:
            csv.writer(file).writerows(rows)
    return judged(tmp_path)


def named(name, factor=1.0):
    return [[name, r, f"{float(t) * factor:.2f}"] for r, t in ROWS]


def test_units_in_both_tables(tmp_path):
    names = [*FIELDS, "oil_temperature"]
    units = [{"bore": "in", "stroke": "mm", "air_temperature": "°C", "oil_temperature": "°C",
              "family": "text", "cylinders": "-"}.get(n, "") for n in names]  # fmt: skip
    values = {
        **FIELDS,
        "bore": "3.9",
        "stroke": "92.1",
        "air_temperature": "24",
        "oil_temperature": "90",
    }
    pulls = [["sheet_id", "rpm", "torque"], ["", "1/min", "Nm"], *named(FIELDS["sheet_id"])]
    (found,) = tables(tmp_path, [names, units, [values[n] for n in names]], pulls)
    assert found.accepted, found.findings
    assert found.values["oil_temperature"] == pytest.approx(194)
    assert found.readings[0].torque == pytest.approx(345.2 / 1.3558, rel=1e-3)


def test_headings_that_come_again_hold_for_what_follows(tmp_path):
    builds = [list(FIELDS), [{**FIELDS, "sheet_id": "T1"}[n] for n in FIELDS],
              [{**FIELDS, "sheet_id": "T2"}[n] for n in FIELDS]]  # fmt: skip
    pulls = [["sheet_id", "rpm", "torque (Nm)"], *named("T1"),
             ["sheet_id", "rpm", "torque (lb-ft)"], *named("T2", 1 / 1.3558)]  # fmt: skip
    one, two = tables(tmp_path, builds, pulls)
    assert one.accepted, one.findings
    assert two.accepted, two.findings
    assert two.readings[0].torque == pytest.approx(one.readings[0].torque, rel=1e-3)


@pytest.mark.parametrize("between", ["", "Pull 2\n"])
def test_pulls_stacked_without_headings_are_told_apart(tmp_path, between):
    second = "\n".join(f"{r},{float(t) * (0.8 + int(r) / 1e5):.1f}" for r, t in ROWS)
    found = sheet(tmp_path, f"rpm,torque (N.m)\n{BARE}\n{between}{second}\n")
    assert {r.pull for r in found.readings} == {0, 1}
    assert "pulls-disagree" in codes(found)


def everything(folder):
    names = [str(p.relative_to(folder)) for p in folder.rglob("*")]
    return "\n".join(names + [p.read_text() for p in folder.rglob("*") if p.is_file()])


def test_a_refused_sheet_tells_no_more_than_an_accepted_one(tmp_path):
    inside = tmp_path / "in"
    inside.mkdir()
    fields = {"bore": "99 in", "operator": "Hans Moller", "phone": "+1 555 123 4567",
              "Shop name": "Tern Quay Marine", "elevation": "1234 ft", "tested_on": "2024-05-31",
              "family": "tern quay six", "notes": "mate"}  # fmt: skip
    table = f"rpm,torque,operator\nOperator: Hans Moller,,\n{BARE.replace('345.2', '345.2,Hans')}\n"
    head = sheet_text(fields).rsplit("---\n", 1)[0]
    (inside / "Hans 555-123-4567.csv").write_text(f"{head}---\n{table}")
    (inside / "Tern Quay Marine 2024-05-31.csv").write_text("rpm,torque\n")
    contribute([inside], tmp_path / "out", KEY)
    told = everything(tmp_path / "out").casefold()
    for secret in ("hans", "555", "tern quay", "1234", "05-31", "mate"):
        assert secret not in told


@pytest.mark.parametrize("shop", ["JB", 'Joe "Speedy" Smith', "Sheet", "Torque", "Müller Motoren"])
def test_any_name_of_a_shop_is_withheld_and_keys_stay(tmp_path, shop):
    path = tmp_path / "a.csv"
    path.write_text(
        sheet_text({"shop": json.dumps(shop), "bore": "99 in", "operator": json.dumps(shop)})
    )
    contribute([path], tmp_path / "out", KEY)
    (copy,) = (tmp_path / "out" / "refused").glob("*.csv")
    (findings,) = (tmp_path / "out" / "refused").glob("*.json")
    told = json.loads(findings.read_text())
    assert set(told) == {"sheet_id", "findings", "originals"}
    assert "\nrpm," in copy.read_text()
    text = copy.read_text() + findings.read_text()
    assert shop not in text or shop in ("Sheet", "Torque")
    assert f'shop: "{shop}"' not in text


@pytest.mark.parametrize(
    ("shop", "family"),
    [
        ("O'Neill", "O'Neill 350"), ("J.B. Motors", "J.B. Motors 12"),
        ("Tern Quay Marine", "tern.quay.12"), ("Tern Quay Marine", "tern/quay/marine 12"),
        ("Kwik & Kold", "Kwik&Kold 7"), ("Tern-Quay", "Tern+Quay 5"),
        ("Müller Motoren", "muller motoren 12"), ("Müller Motoren", "Mueller-Motoren-12"),
        ("Łódź Silniki", "lodz silniki 4"), ("JB", "JB 12"),
    ],
)  # fmt: skip
def test_a_name_is_known_however_spelled(tmp_path, shop, family):
    path = tmp_path / "a.csv"
    path.write_text(sheet_text({"shop": json.dumps(shop), "family": json.dumps(family)}))
    (entry,) = contribute([path], tmp_path / "out", KEY).plan.accepted
    assert entry.sheet.values["family"].startswith("family-")


@pytest.mark.parametrize(
    "name",
    ["31-05-2024", "20240531", "2024_05_31", "31 May 2024", "May 31 2024", "5-31-24", "24-05-31",
     "5551234567", "555-1234", "555/123-4567", "0171 4960123", "06 12 34 56 78",
     "www.quay.example", "VIN1X2", "sn 12345", "ser. no. 8812", "HIN ABC12345D404"],
)  # fmt: skip
def test_dates_and_numbers_do_not_travel(tmp_path, name):
    path = tmp_path / "a.csv"
    path.write_text(sheet_text({"sheet_id": json.dumps(name)}))
    (entry,) = contribute([path], tmp_path / "out", KEY).plan.accepted
    assert entry.sheet.sheet_id.startswith("sheet-")


@pytest.mark.parametrize("name", ["tern-0417", "shop03-12-05", "run 12", "b0001", "S-2024-117"])
def test_plain_names_of_sheets_travel(tmp_path, name):
    path = tmp_path / "a.csv"
    path.write_text(sheet_text({"sheet_id": name}))
    (entry,) = contribute([path], tmp_path / "out", KEY).plan.accepted
    assert entry.sheet.sheet_id == name


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("job #12", "job #12"),
        ('"job #12"', "job #12"),
        ("'a b'", "a b"),
        ("?", "a"),
        ("unknown", "a"),
    ],
)
def test_names_of_sheets_as_written(tmp_path, line, value):
    assert sheet(tmp_path, TABLE, {"sheet_id": line}).sheet_id == value


def test_a_remark_behind_a_number_is_one(tmp_path):
    assert sheet(tmp_path, TABLE, {"bore": "3.9 in  # over"}).values["bore"] == 3.9


@pytest.mark.parametrize("notes", ['"Best pull" of the day', "* new rings", "@ 3500", "a: b", "%x"])
def test_a_note_never_costs_a_sheet(tmp_path, notes):
    found = sheet(tmp_path, TABLE, {"notes": notes, "octane": "-"})
    assert found.accepted, found.findings
    assert found.values["notes"] == notes


def test_a_stray_quotation_mark_is_told(tmp_path):
    rows = ["rpm,torque (N.m),remark", *(f"{r},{t}," for r, t in ROWS)]
    rows[3] += '"ok'
    found = sheet(tmp_path, "\n".join(rows))
    assert codes(found) == {"open-quote"}
    assert "row 2" in found.findings[0].message


@pytest.mark.parametrize(
    "table", ["rpm,torque\n" * 60_000 + BARE, "rpm,torque\n2000,1 foo\n" * 9000]
)
def test_many_headings_and_many_faults_do_not_hang(tmp_path, table):
    start = time.process_time()  # of this process alone, whatever else the machine does
    sheet(tmp_path, table)
    assert time.process_time() - start < 20


@pytest.mark.parametrize("row", ["200000", "2000000000", "2e9", " 2000000000 ", "2_000_000_000"])
def test_a_row_far_below_does_not_hang(tmp_path, row):
    import zipfile

    book = openpyxl.Workbook()
    book.active.title = "builds"
    book.active.append(["sheet_id", "bore"])
    book.save(tmp_path / "a.xlsx")
    with zipfile.ZipFile(tmp_path / "a.xlsx") as old:
        parts = {name: old.read(name) for name in old.namelist()}
    name = "xl/worksheets/sheet1.xml"
    parts[name] = parts[name].replace(b"</sheetData>", f'<row r="{row}"/></sheetData>'.encode())
    with zipfile.ZipFile(tmp_path / "a.xlsx", "w") as new:
        for part, data in parts.items():
            new.writestr(part, data)
    assert codes(judged(tmp_path / "a.xlsx")[0]) == {"too-large"}


def test_a_file_whose_name_is_no_text(tmp_path):
    inside = tmp_path / "in"
    inside.mkdir()
    with open(os.path.join(os.fsencode(inside), b"B\xfchne.csv"), "wb") as file:  # noqa: PTH118, PTH123
        file.write(b"junk")
    outcome = contribute([inside], tmp_path / "out", KEY)
    assert len(outcome.plan.refused) == 1


def test_a_sheet_that_could_not_be_read_leaves_the_refused_when_mended(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(sheet_text({"bore": "[4, 5]"}))
    contribute([path], tmp_path / "out", KEY)
    path.write_text(sheet_text())
    contribute([path], tmp_path / "out", KEY)
    assert list((tmp_path / "out" / "refused").glob("*.csv")) == []


def test_a_contribution_inside_its_own_folder_does_not_feed_on_itself(tmp_path):
    (tmp_path / "good.csv").write_text(sheet_text())
    (tmp_path / "bad.csv").write_text(sheet_text({"sheet_id": "bad", "bore": "99 in"}))
    for _ in range(3):
        outcome = contribute([tmp_path], tmp_path / "shared", KEY)
        assert (len(outcome.plan.accepted), len(outcome.plan.refused)) == (1, 1)


def test_one_speed_read_twice_is_told_and_costs_no_other_reading(tmp_path):
    rows = [*ROWS[:3], ("3000", "130"), *ROWS[3:]]
    found = sheet(tmp_path, "rpm,torque (N.m)\n" + "\n".join(",".join(r) for r in rows))
    assert codes(found) == {"rpm-read-twice"}


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"relative_humidity": "0.48"}, "unit-assumed"),
        ({"tested_on": "2999-01-01"}, "left-missing"),
        ({"tested_on": "2024-05-31 garbage"}, "left-missing"),
        ({"octane": "high"}, "left-missing"),
    ],
)
def test_optional_fields_that_cannot_be_read_cost_a_warning(tmp_path, fields, code):
    found = sheet(tmp_path, TABLE, fields)
    assert codes(found) == {code}
    assert found.accepted
    (name,) = fields
    assert code == "unit-assumed" or name not in found.values


@pytest.mark.parametrize("fields", [{"aspiration": "blown"}, {"dyno": "other"}, {"bore": "wide"}])
def test_fields_that_mean_something_when_they_are_missing_must_be_readable(tmp_path, fields):
    assert not sheet(tmp_path, TABLE, fields).accepted


def test_none_is_no_for_a_flag(tmp_path):
    found = sheet(tmp_path, TABLE, {"accessories": "none", "muffled": "without"})
    assert found.values["accessories"] is False
    assert found.values["muffled"] is False


def test_of_two_corrections_the_one_that_the_sheet_names_counts(tmp_path):
    rows = [(r, t, f"{1.1 * float(t):.1f}") for r, t in ROWS]
    table = "rpm,torque (N.m),corrected torque (N.m)\n" + "\n".join(",".join(r) for r in rows)
    observed = sheet(tmp_path, table)
    corrected = sheet(tmp_path, table, {"correction": "SAE J607"})
    assert "column-chosen" in codes(observed) & codes(corrected)
    assert observed.readings[0].torque == pytest.approx(345.2 / 1.3558179483)
    assert corrected.readings[0].torque == pytest.approx(379.7 / 1.3558179483)
    unlike = "rpm,torque (N.m),torque (lb-ft)\n" + "\n".join(",".join(r) for r in rows)
    assert "two-corrections" in codes(sheet(tmp_path, unlike))


def test_a_sheet_that_a_spreadsheet_saved(tmp_path):
    lines = sheet_text({"notes": "a, b"}).splitlines()
    fence = [i for i, line in enumerate(lines) if line == "---"][1]
    wide = [f'"{line}",,' if "," in line else f"{line},," for line in lines[: fence + 1]]
    path = tmp_path / "a.csv"
    path.write_text("\n".join([*wide, *lines[fence + 1 :], ""]))
    (found,) = judged(path)
    assert found.accepted, found.findings
    assert found.values["notes"] == "a, b"
    assert found.values["bore"] == 3.9


@pytest.mark.parametrize(
    "table",
    [
        f"rpm,Ft/Lbs\n{BARE}\nMax Torque,361.4\nPeak Tq,361.4 @ 3000\n",
        "rpm,torque (lb-ft),power\n" + "\n".join(f"{r},{t},#N/A" for r, t in ROWS),
        "rpm,torque (ft/lbs),run\n" + "\n".join(f"{r},{t},Run 1" for r, t in ROWS),
        "rpm,Run 1 Torque (lb-ft),Torque (lb-ft) 2\n" + "\n".join(f"{r},{t},{t}" for r, t in ROWS),
    ],
)
def test_words_of_the_trade(tmp_path, table):
    found = sheet(tmp_path, table.replace("345.2", "255").replace("361.4", "266"))
    assert not {f.code for f in found.findings if f.severity == "refuse"}, found.findings
    assert len({r.rpm for r in found.readings}) == len(ROWS)


def test_points_in_fields_stay_points_beside_commas_in_the_table(tmp_path):
    table = "rpm;torque (N.m)\n" + "\n".join(f"{r};{t.replace('.', ',')}" for r, t in ROWS)
    fields = {"bore": "3.905", "compression_ratio": "9.400", "stroke": "3.626"}
    found = sheet(tmp_path, table, {**fields, "barometer": "29.720"})
    assert found.values["bore"] == 3.905


def test_a_remark_with_a_comma_does_not_move_the_points_of_others(tmp_path):
    table = "rpm,torque (N.m),remark\n" + "\n".join(
        f'{r},{float(t):.3f},"0,5 l oil"' for r, t in ROWS
    )
    assert sheet(tmp_path, table).readings[0].torque == pytest.approx(254.6, rel=1e-3)


def test_one_fault_is_told_once(tmp_path):
    found = sheet(tmp_path, "rpm,torque (psi)\n" + BARE)
    assert {f.code for f in found.findings} == {"wrong-unit"}


def test_names_that_nearly_match_are_pointed_out(tmp_path):
    builds = [list(FIELDS), [{**FIELDS, "sheet_id": "0417"}[n] for n in FIELDS]]
    found = tables(tmp_path, builds, [["sheet_id", "rpm", "torque (Nm)"], *named("417")])
    assert any("Is '0417' meant" in f.message for f in found[1].findings)


def test_a_column_of_numbers_without_heading_is_pointed_out_on_either_side(tmp_path):
    """It may be what proves the unit of the other."""
    rows = "\n".join(f"{rpm},{torque},{float(torque) / 7}" for rpm, torque in ROWS)
    for heads in ("rpm,,power (kW)", "rpm,torque (N.m),", ",rpm,torque (N.m)"):
        pull = rows if heads[0] != "," else "\n".join(f"{t},{n},{t}" for n, t in ROWS)
        found = sheet(tmp_path, f"{heads}\n{pull}\n")
        assert "column-without-heading" in codes(found)
    counted = "\n".join(f"{at},{rpm},{torque}" for at, (rpm, torque) in enumerate(ROWS, 1))
    found = sheet(tmp_path, f",rpm,torque (N.m)\n{counted}\n")
    assert "column-without-heading" not in codes(found)


SPEEDS = [f"lb-ft @ {rpm}" for rpm in range(2000, 5001, 500)]
ENGINE = ["8", "4.0", "3.5", "9.5", "SAE J607", "e1"]
PULLED = ["338.9", "350.2", "357.3", "360.2", "359.0", "353.5", "344.0"]


@pytest.mark.parametrize(
    ("cells", "code"),
    [
        ([*PULLED, "0.86"], None),
        ([*PULLED[:5], "", "", ""], None),
        (["338", *PULLED, "0.86"], "more-cells-than-headings"),
        ([*PULLED[1:6], "344.0", "0.86"], "fewer-cells-than-headings"),
    ],
)
def test_a_row_of_an_engine_with_a_cell_too_many_or_too_few(tmp_path, cells, code):
    heads = ["cylinders", "bore", "stroke", "compression_ratio", "correction", "sheet_id"]
    lines = [[*heads, *SPEEDS, "Lambda"], [*ENGINE, *cells]]
    path = tmp_path / "engines.csv"
    path.write_text("\n".join(map(",".join, lines)) + "\n")
    found = codes(judged(path)[0])
    expected = {"more-cells-than-headings", "fewer-cells-than-headings"} & {code}
    assert found & {"more-cells-than-headings", "fewer-cells-than-headings"} == expected


@pytest.mark.parametrize("stray", ["Page 2 of 3", ""])
def test_a_pull_below_the_fields_of_another_engine_is_never_the_first_ones(tmp_path, stray):
    """Neither a lost heading nor a stray line among the second engine's fields joins the two."""
    second = HEAD.replace("cylinders: 6", f"{stray}\ncylinders: 6").rstrip("-\n")
    path = tmp_path / "two.csv"
    first = TABLE.replace("rpm,", ",", 1)
    path.write_text(f"{HEAD}---\n{first}{second.replace('3.9', '4.1')}\n---\n{TABLE}")
    found = judged(path)
    assert len(found) == 2
    assert not found[0].readings
    assert found[1].accepted == (not stray)


def test_headings_of_engines_in_rows_that_come_again_hold_for_what_follows(tmp_path):
    heads = ["cylinders", "bore", "stroke", "compression_ratio", "correction", "sheet_id"]
    turned = [*SPEEDS[:-2], SPEEDS[-1], SPEEDS[-2]]
    lines = [[*heads, *SPEEDS], [*heads, *turned], [*ENGINE, *PULLED]]
    path = tmp_path / "engines.csv"
    path.write_text("\n".join(map(",".join, lines)) + "\n")
    (found,) = judged(path)
    assert {r.rpm: r.torque for r in found.readings}[5000] == 353.5
