"""An answer sheet to hand over: who it is from and for, on one page of paper."""

import base64
import re
import struct
import zlib

import pytest
from browser import needs_browser, running
from command_line import run
from test_answer_sheets import Reader

from pullbook.answer_sheets import letterhead

BUILD = """\
sheet_id: harbour launch
cylinders: 8
bore: 4.03
stroke: 3.48
compression_ratio: 9.6
intake_duration: 218
exhaust_duration: 224
lobe_separation: 112
intake_lift: 0.47
intake_valve: 2.02
exhaust_valve: 1.60
intake_flow: 225
intake_type: dual plane
airflow: 650
fuel: gasoline
octane: 91
exhaust_type: long-tube header
primary_diameter: 1.625
"""
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 4"><path d="M0 0h4v4z"/>{}</svg>'


def png():
    def chunk(kind, data):
        check = struct.pack(">I", zlib.crc32(kind + data))
        return struct.pack(">I", len(data)) + kind + data + check

    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    parts = (chunk(b"IHDR", head), chunk(b"IDAT", zlib.compress(b"\0\0")), chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


@pytest.fixture
def page(tmp_path):
    (tmp_path / "build.yaml").write_text(BUILD)
    (tmp_path / "logo.svg").write_text(SVG.format(""))

    def made(*more):
        path = tmp_path / "sheet.html"
        done = run("predict", tmp_path / "build.yaml", "--html", path, *more)
        return done, path

    made.folder = tmp_path
    return made


def words(path):
    reader = Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    return " ".join(" ".join(reader.text).split()), reader


def test_a_sheet_says_who_it_is_from_and_for(page):
    done, path = page("--for", "Quay <b>&</b> Sons", "--from", "Tern Quay Marine",
                      "--logo", page.folder / "logo.svg", "--date", "2026-05-31")  # fmt: skip
    assert done.returncode == 0
    said, reader = words(path)
    assert "Tern Quay Marine For Quay <b>&</b> Sons 31 May 2026 harbour launch" in said
    assert "b" not in reader.tags
    assert reader.alts[0] == "logo of Tern Quay Marine"
    assert base64.b64decode(reader.links[0].split(",")[1]).decode() == SVG.format("")
    for what in (
        "Torque in lb-ft, power in hp, at the flywheel (SAE J1349).", "Peak torque:",
        "What the limits mean", "The build", "Displacement 355.1 cu in", "What is assumed",
        "Full throttle, mixture and timing set for the most torque", "Caution",
    ):  # fmt: skip
        assert what in said


def test_without_names_there_is_no_head(page):
    _, path = page()
    assert "header" not in words(path)[1].tags


def test_names_need_a_sheet_to_stand_on(page):
    done = run("predict", page.folder / "build.yaml", "--for", "R. Quay")
    assert done.returncode == 2
    assert "these go on an answer sheet; add --html" in " ".join(done.stderr.split())


def test_a_png_is_a_logo(page):
    (page.folder / "logo.png").write_bytes(png())
    done, path = page("--logo", page.folder / "logo.png")
    assert done.returncode == 0
    assert words(path)[1].links[0].startswith("data:image/png;base64,")


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (SVG.format("<script>1</script>").encode(), "holds a script"),
        (SVG.format('<a onload="x()"/>').encode(), "holds a script"),
        (SVG.format('<image href="http://x.example/y.png"/>').encode(), "holds a script"),
        (
            SVG.format("<style>@import url(x.css)</style>").encode(),
            "takes something from elsewhere",
        ),
        (b'<!DOCTYPE svg [<!ENTITY a "b">]>' + SVG.format("&a;").encode(), "document type"),
        (b"<html/>", "neither a PNG nor an SVG"),
        (b"\xff\xd8\xff\xe0", "neither a PNG nor an SVG"),
        (b"", "neither a PNG nor an SVG"),
        (b" " * (letterhead.MOST_BYTES + 1), "at most 1 MB"),
    ],
)
def test_what_is_no_plain_picture_is_refused(tmp_path, made, said):
    path = tmp_path / "logo.svg"
    path.write_bytes(made)
    with pytest.raises(letterhead.LetterheadError, match=said):
        letterhead.of(None, None, None, path)


def test_a_date_is_one():
    assert letterhead.of("a", None, "2026-02-03", None).date == "3 February 2026"
    with pytest.raises(letterhead.LetterheadError, match="write it as 2026-05-31"):
        letterhead.of("a", None, "3.2.2026", None)


@needs_browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_one_page(page, paper):
    _, path = page("--for", "R. Quay", "--from", "Tern Quay Marine", "--correction", "J607",
                   "--logo", page.folder / "logo.svg")  # fmt: skip
    with running() as browser:
        opened = browser.new_page()
        opened.goto(path.as_uri())
        printed = opened.pdf(format=paper)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
