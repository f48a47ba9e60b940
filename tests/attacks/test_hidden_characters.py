"""Control and escape characters, and formulas, from strangers reach nobody raw."""

import csv
import io
import os
import re

import numpy as np
import pandas as pd
import pytest
from command_line import run
from valid_sheet import sheet_text

from pullbook.pipeline.storage import csv_text, plain_text
from pullbook.reports import check_page, document

ESCAPES = ["\x1b[31m", "\x1b]0;owned\x07", "\x9b31m", "\x7f", "\u202e", "\u2028", "\x08", "\r"]
HIDDEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069]")


@pytest.mark.parametrize("escape", ESCAPES)
def test_nothing_hidden_is_printed(tmp_path, escape):
    for place, fields in enumerate(
        (
            {"family": f"a{escape}b"},
            {"intake_type": f"a{escape}b"},
            {f"he{escape}ad": "1"},
            {"bore": f"9{escape}9"},
        )
    ):
        (tmp_path / f"{place}.csv").write_bytes(sheet_text(fields).encode())
    for words in (("check", tmp_path), ("check", tmp_path, "--all"), ("check", tmp_path, "--json")):
        done = run(*words)
        assert not HIDDEN.search(done.stdout + done.stderr)
    build = tmp_path / "build.yaml"
    build.write_bytes(
        f'cylinders: 8\nbore: 4\nstroke: 3.5\n"odd{escape}": 1\nfuel: "x{escape}"\n'.encode()
    )
    done = run("predict", build, "--bundle", tmp_path / f"no{escape}where")
    assert not HIDDEN.search(done.stdout + done.stderr)
    done = run("check", tmp_path / f"none{escape}.csv")
    assert not HIDDEN.search(done.stdout + done.stderr)


def test_a_page_of_the_check_holds_nothing_hidden(tmp_path):
    from pullbook.pipeline.checks import check_sheet, checked_sheets

    for place, escape in enumerate(ESCAPES):
        (tmp_path / f"{place}.csv").write_bytes(
            sheet_text({"family": f"a{escape}b", f"h{escape}": "1"}).encode()
        )
    sheets = checked_sheets.read([tmp_path], check_sheet.SHEET_RULES).sheets
    assert not HIDDEN.search(check_page.html(sheets))


def test_a_page_runs_and_loads_nothing():
    page = document.Page("<script>alert(1)</script>")
    page.text("a\x1b[31m")
    page.table(["x"], [["<img src=http://elsewhere>"]])
    html = page.html()
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html)[1]
    assert "default-src 'none'" in policy
    assert "script-src" not in policy and "unsafe" not in policy
    assert "'sha256-" in policy
    assert "\x1b" not in html + page.markdown()
    assert "style=" not in html and "<script" not in html


def test_a_style_by_its_digest_is_the_style_on_the_page():
    import base64
    import hashlib

    html = document.Page("a").html()
    style = re.search(r"<style>(.*?)</style>", html, re.DOTALL)[1]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"'sha256-{digest}'" in html


@pytest.mark.parametrize(
    "cell",
    [
        "=1+1",
        "+cmd|' /C calc'!A0",
        "-2+3+cmd",
        "@SUM(1)",
        " =1",
        "\uff1d1+1",
        "'=1",
        "''-x",
        "a",
        "-5.2",
        "",
    ],
)
def test_a_formula_is_quoted_and_comes_back(cell):
    text = csv_text.text([["x", cell]])
    ((_, read),) = csv.reader(io.StringIO(text))
    assert not re.match(r"\s*[=+@\uff1d]", read)
    assert read[:1] != "-" or read == "-5.2"
    assert list(csv_text.rows(text)) == [["x", cell]]


def test_a_table_of_a_report_runs_no_formula():
    table = pd.DataFrame({"=cmd": ["=1+1", "-5.2", None], "b": [1.5, np.nan, -2.0]})
    text = csv_text.of_table(table)
    assert text == "'=cmd,b\n'=1+1,1.5\n-5.2,\n,-2.0\n"


def test_the_record_of_drift_comes_back_whole(tmp_path):
    from pullbook.commands import reports

    kept = tmp_path / "record.csv"
    table = pd.DataFrame({"data": ["=1+1", "0123"], "bundle": ["@x", "ab"], "sheets": [3, 4]})
    kept.write_text(csv_text.of_table(table))
    assert not any(re.match("[=@]", cell) for cell in re.split("[,\n]", kept.read_text()))
    pd.testing.assert_frame_equal(reports._record(kept), table, check_dtype=False)


def test_names_that_are_no_text_are_shown():
    shown = plain_text.one_line(os.fsdecode(b"na\xffme\n.csv"))
    assert shown == "na\\udcffme\\n.csv"
    shown.encode()


def test_a_text_that_leaves_starts_no_formula_in_a_cell(tmp_path):
    from pullbook.pipeline.privacy.contributed_sheet import yaml_scalar
    from pullbook.pipeline.reading import sheet_file

    for text in ('x,=cmd|"/C"!A0', "a;+1", "a,b", "petrel, six", "x, @now"):
        line = f"family: {yaml_scalar(text)}"
        assert not any(re.match(r"\s*['\"]*[=+@]", cell) for cell in re.split("[,;]", line))
        path = tmp_path / "a.csv"
        path.write_text(f"---\n{line}\n---\nrpm,torque\n")
        assert sheet_file.read_first(path).fields["family"].text == text
