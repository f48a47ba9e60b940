"""Answer sheets: whole in one file, safe, readable in a real browser and on a phone."""

import re
from html.parser import HTMLParser

import pytest
from browser import needs_browser, running
from typer.testing import CliRunner

from pullbook.answer_sheets import customer_sheet
from pullbook.commands.main import app
from pullbook.drawings.chart import Bar, Chart, Panel
from pullbook.words.units import Units

PHONE = 390
BUILD = """\
sheet_id: "launch <b>1</b>"
cylinders: 8
bore: 4.03
stroke: 3.48
compression_ratio: 9.4
intake_duration: 218
exhaust_duration: 224
intake_type: dual plane
fuel: gasoline
octane: 91
"""
PARTS = """\
build: {cylinders: 8, bore: 4.03, stroke: 3.48, compression_ratio: 9.4, fuel: gasoline}
parts:
  camshaft:
    - {name: short, intake_duration: 206, exhaust_duration: 212}
    - {name: "long <i>er</i> $\\foo$", intake_duration: 230, exhaust_duration: 236}
goal: {mean_torque: 2000:3500}
"""


@pytest.fixture(scope="module")
def pages(demo, tmp_path_factory):
    """Every command's answer sheet, in metric units."""
    folder = tmp_path_factory.mktemp("pages")
    build, other = folder / "launch.yaml", folder / "other.yaml"
    build.write_text(BUILD)
    other.write_text(BUILD.replace("218", "230").replace("launch <b>1</b>", "other"))
    (folder / "parts.yaml").write_text(PARTS)
    table = demo.builds.drop(columns=["shop", "tested_on"])
    table.iloc[:12].to_csv(folder / "could.csv", index=False)
    sheet = next(path for path in sorted((demo.folder / "shared" / "accepted").glob("*.csv")))
    asked = {
        "predict": [build],
        "compare": [build, other],
        "explain": [build],
        "vary": [build, "--field", "intake_duration=206:236:10"],
        "choose": [folder / "parts.yaml"],
        "next": [folder / "could.csv", "--questions", build],
        "against": [sheet],
    }
    made = {}
    for name, words in asked.items():
        page = folder / f"{name}.html"
        argv = [name, *words, "--bundle", demo.bundle, "--html", page, "--units", "metric"]
        done = CliRunner().invoke(app, [str(word) for word in argv])
        assert done.exit_code == 0, f"{name}: {done.output} {done.exception}"
        made[name] = page
    return made


class Reader(HTMLParser):
    """Collects tags, what they point at, and the text."""

    def __init__(self):
        super().__init__()
        self.tags, self.links, self.alts, self.text = [], [], [], []

    def handle_starttag(self, tag, attrs):  # noqa: D102 - as the parser calls it
        self.tags.append(tag)
        told = dict(attrs)
        self.links += [told[name] for name in ("src", "href") if name in told]
        if tag == "img":
            self.alts.append(told.get("alt", ""))

    def handle_data(self, data):  # noqa: D102 - as the parser calls it
        self.text.append(data)


NAMES = ["predict", "compare", "explain", "vary", "choose", "next", "against"]


@pytest.mark.parametrize("name", NAMES)
def test_a_page_is_whole_says_what_it_must_and_takes_nothing_for_markup(pages, name):
    reader = Reader()
    reader.feed(pages[name].read_text(encoding="utf-8"))
    assert all(link.startswith("data:image/svg+xml;base64,") for link in reader.links)
    assert "script" not in reader.tags
    assert not {"b", "i"} & set(reader.tags)
    assert all(len(alt) > 20 for alt in reader.alts)
    assert reader.alts
    text = " ".join(" ".join(reader.text).split())
    assert "A prediction does not clear an engine to run" in text
    assert "The build" in text
    assert re.search(r"Based on \d+ sheets of \d+ shops \(model \w+\)", text)
    assert "invented" not in text
    assert " mm" in text
    if name != "next":
        assert "N.m" in text
        assert "lb-ft" not in text


def test_a_choice_shows_what_each_part_is(pages):
    reader = Reader()
    reader.feed(pages["choose"].read_text(encoding="utf-8"))
    text = " ".join(" ".join(reader.text).split())
    assert "The parts kind part what it is price" in text
    assert "intake duration " in text


def test_a_page_of_invented_engines_says_so_first():
    chart = Chart("a", (), (Panel("b", bars=(Bar("c", 1.0),)),))
    made = customer_sheet.begin("a", chart, "what it shows", Units.INCH, {"invented": True})
    shown = made.markdown().splitlines()
    assert shown[2].startswith("The engines behind this model are invented")


@pytest.fixture(scope="module")
def chromium():
    with running() as browser:
        yield browser


A4 = 700  # px of 1/96 in between margins of 12 mm
MEASURED = """() => ({
    inside: innerWidth,
    scroll: document.documentElement.scrollWidth,
    broken: [...document.images].filter(i => !i.naturalWidth).length,
    wide: [...document.images].filter(i => i.width > innerWidth).length,
    cut: [...document.querySelectorAll(".wide")].filter(t => t.scrollWidth > t.clientWidth).length,
})"""


@needs_browser
@pytest.mark.parametrize("width", [PHONE, 1100])
@pytest.mark.parametrize("name", NAMES)
def test_a_browser_shows_it_without_scrolling_sideways(pages, chromium, name, width):
    page = chromium.new_page(viewport={"width": width, "height": 800})
    said = []
    page.on("console", lambda message: said.append(message.text))
    page.goto(pages[name].as_uri())
    found = page.evaluate(MEASURED)
    page.close()
    assert found["inside"] == width
    assert found["scroll"] <= width
    assert (found["broken"], found["wide"], found["cut"], said) == (0, 0, 0, [])


@needs_browser
@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_cut_off_on_paper(pages, chromium, name):
    page = chromium.new_page(viewport={"width": A4, "height": 1000})
    page.emulate_media(media="print")
    page.goto(pages[name].as_uri())
    found = page.evaluate(MEASURED)
    page.close()
    assert found["scroll"] <= A4
    assert (found["wide"], found["cut"]) == (0, 0)
