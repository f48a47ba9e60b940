"""Pages: self-contained, nothing on them is taken as markup, and the list of checks is current."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from matplotlib.text import Text

from pullbook.charts import drawing
from pullbook.reports import checks_page, curation_page
from pullbook.reports.document import Page
from pullbook.schemas.finding_codes import CODES

ROOT = Path(__file__).parents[1]


class Tags(HTMLParser):
    """Collects tags and checks that they close."""

    def __init__(self, text):
        super().__init__()
        self.open, self.seen = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):  # noqa: D102 - as the base class has it
        self.seen.append((tag, dict(attrs)))
        if tag not in ("meta", "img"):
            self.open.append(tag)

    def handle_endtag(self, tag):  # noqa: D102 - as the base class has it
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def audit(demo):
    from pullbook.pipeline.curation.curate import curate

    found = curate([demo.folder / "shared"])
    return curation_page.page(found.builds, found.pulls, found.findings)


def test_the_audit_stands_on_its_own(audit):
    tags = Tags(audit.html())
    assert tags.open == []
    images = [attrs for tag, attrs in tags.seen if tag == "img"]
    assert len(images) >= 5
    assert all(a["src"].startswith("data:image/svg+xml;base64,") and a["alt"] for a in images)
    assert not [a for tag, a in tags.seen if tag in ("script", "link") or "href" in a]


def test_the_audit_says_what_an_analyst_asks(audit, demo):
    text = audit.markdown()
    assert f"{len(demo.builds)} sheets of 60 shops" in text
    for wanted in ("torque-power-disagree", "nominal-correction", "compression ratio", "SAE J607"):
        assert wanted in text
    assert text.count("| ") > 100


def test_the_audit_is_written_the_same_each_time(audit, tmp_path):
    audit.write(tmp_path / "a", "curation")
    audit.write(tmp_path / "b", "curation")
    names = sorted(p.name for p in (tmp_path / "a").iterdir())
    assert {"curation.md", "curation.html"} < set(names)
    for name in names:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()
    linked = set(re.findall(r"\]\((\S+\.svg)\)", (tmp_path / "a" / "curation.md").read_text()))
    assert linked == {n for n in names if n.endswith(".svg")}


def test_nothing_from_a_sheet_is_markup():
    page = Page("a <b> & c")
    page.heading("<script>alert(1)</script>")
    page.text("| not a cell | [not](a://link) *plain*")
    page.table(["<i>", "n"], [["<img src=x onerror=y>|", "1"]])
    assert "<script>" not in page.html()
    assert "<img" not in page.html()
    markdown = page.markdown()
    assert "<script>" not in markdown
    assert "[not](" not in markdown
    row = markdown.splitlines()[-1]
    assert len(re.findall(r"(?<!\\)\|", row)) == 3


def test_the_list_of_checks_is_whole_and_current():
    page = checks_page.page()
    assert all(f"| {code} |" in page.markdown() for code in CODES)
    assert (ROOT / "reports" / "checks.md").read_text(encoding="utf-8") == page.markdown()


def test_a_long_title_stays_inside_the_picture():
    figure, axes = drawing.panel(3)
    below = "predicted from 123456 invented sheets; outside what was tested, and far from it"
    drawing.title(figure, axes, "Varied: intake_duration_seat and exhaust_duration_seat", below)
    figure.draw_without_rendering()
    drawn = [text for text in figure.findobj(Text) if text.get_text()]
    assert any("exhaust_duration_seat" in text.get_text() for text in drawn)
    assert all(text.get_window_extent().x1 <= figure.bbox.width for text in drawn)
