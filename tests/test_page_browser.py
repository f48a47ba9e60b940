"""The page in a real browser: desk and phone, with and without script, by keyboard, in print."""

import io
import os
import re
import shutil
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser import needs_browser, running
from page_server import opened
from playwright.sync_api import expect
from pypdf import PdfReader
from valid_sheet import FIELDS, sheet_text

from pullbook.pipeline.builds import build_files
from pullbook.pipeline.demo import sheets, shops
from pullbook.pipeline.settings import shop_settings

pytestmark = needs_browser
DESK = {"viewport": {"width": 1280, "height": 900}}
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
EXAMPLE = "/ask?cylinders=6&bore=3.9+in&stroke=3.75+in&intake_duration=214&sheet_id=example"
SEARCH = (
    f"/choose?{urlencode({'build': 'example', 'build_is': EXAMPLE.removeprefix('/ask?')})}"
    "&free=camshaft&goal=mean_torque&band_low=2000&band_high=4500"
)
OTHER = EXAMPLE.replace("214", "232").replace("example", "longer+cam")
#: Where pictures for the documentation are written, if they are wanted: make pictures.
PICTURES = os.environ.get("PULLBOOK_PICTURES")
#: The pictures that the documentation shows.
SHOWN = ("ask-1280", "compare-1280", "sheet-1280")


@pytest.fixture(scope="module")
def chromium():
    with running() as browser:
        yield browser


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Return a folder of invented sheets of one shop, one of them with a question."""
    folder = tmp_path_factory.mktemp("shop")
    sheets.make(folder / "old", shops.Circle(1, 24, 3))
    (folder / "unsaid.csv").write_text(sheet_text({"sheet_id": "unsaid", "correction": ""}))
    return folder


@pytest.fixture(scope="module")
def address(shop, tmp_path_factory):
    with opened(tmp_path_factory.mktemp("state"), shop) as found:
        yield found


@pytest.fixture(scope="module")
def bare(tmp_path_factory):
    """Return the address of a page on no folder."""
    with opened(tmp_path_factory.mktemp("bare")) as found:
        yield found


@contextmanager
def visit(chromium, address, expected=None, **kind):
    """Return a page whose context allows no error on the console and no request elsewhere.

    ``expected`` is part of an error that the test is about: a browser notes a form sent back.
    """
    context = chromium.new_context(**{**DESK, **kind})
    amiss = []
    context.on("console", lambda said: amiss.append(said.text) if said.type == "error" else None)
    context.on("weberror", lambda error: amiss.append(str(error.error)))
    context.on(
        "request",
        lambda asked: (
            amiss.append(asked.url)
            if not asked.url.startswith(("http://127.0.0.1:", "data:", "blob:"))
            else None
        ),
    )
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.goto(address)
    try:
        yield page
    finally:
        context.close()
    assert [one for one in amiss if expected is None or expected not in one] == []


def go(page, address, path):
    page.goto(f"http://{urlsplit(address).netloc}{path}")


def compared():
    a, b = (path.removeprefix("/ask?").replace("&", "%26").replace("=", "%3D").replace("+", "%2B")
            for path in (EXAMPLE, OTHER))  # fmt: skip
    return f"/compare?a=example&a_is={a}&b=longer+cam&b_is={b}"


VIEWS = {
    "ask": EXAMPLE, "compare": compared(), "engines": "/engines", "type": "/engines/type",
    "choose": "/choose", "searched": SEARCH, "parts": "/choose/list", "model": "/model",
    "share": "/share", "sheet": EXAMPLE.replace("/ask", "/sheet"), "empty": "/ask",
}  # fmt: skip


@pytest.mark.parametrize("kind", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.parametrize("name", VIEWS)
def test_a_view_fits_is_accessible_and_quiet(chromium, address, name, kind):
    with visit(chromium, address, **kind) as page:
        go(page, address, VIEWS[name])
        wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        assert page.evaluate(wide) <= 0
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        picture(page, f"{name}-{kind['viewport']['width']}")


def picture(page, name):
    """Keep a picture: in docs those that it shows, as on a screen; elsewhere every whole page."""
    if PICTURES and (name in SHOWN or not PICTURES.startswith("docs")):
        whole = not PICTURES.startswith("docs")
        page.screenshot(path=Path(PICTURES) / f"{name}.png", full_page=whole)


def test_dark_rooms_have_enough_contrast(chromium, address):
    with visit(chromium, address, color_scheme="dark") as page:
        for path in (EXAMPLE, VIEWS["compare"], "/engines"):
            go(page, address, path)
            found = Axe().run(page)
            assert found.violations_count == 0, found.generate_report()
        picture(page, "dark")


def test_the_first_answer_is_within_three_actions(chromium, bare):
    with visit(chromium, bare) as page:
        expect(page.get_by_text("Invented engines.")).to_be_visible()
        page.get_by_role("link", name="Show me an example").click()
        expect(page.locator("#answer svg.chart.wide")).to_be_visible()
        assert "key=" not in page.url


def compare_with_a_copy(page, field, value):
    """From an answer on the page, go to its comparison with a copy in which one field differs."""
    page.get_by_role("link", name="Compare it", exact=True).click()
    page.get_by_role("link", name="change a copy of it").click()
    page.get_by_label("Name", exact=True).fill("a copy")
    page.get_by_label(field).fill(value)
    page.get_by_role("button", name="Predict").click()
    page.get_by_role("link", name="Compare with").click()


def test_the_main_job_works_without_script(chromium, address):
    with visit(chromium, address, java_script_enabled=False) as page:
        go(page, address, "/ask")
        page.get_by_label("Number of cylinders").fill("6")
        page.get_by_label("Bore in").fill("3.9")
        page.get_by_label("Stroke in").fill("95.25 mm")
        page.get_by_role("button", name="Predict").click()
        expect(page.locator("#answer svg.chart.wide")).to_be_visible()
        expect(page.get_by_text("Peak torque:").first).to_be_visible()
        compare_with_a_copy(page, "Stroke in", "4")
        expect(page.locator("#answer svg.chart.wide")).to_be_visible()


def test_an_answer_follows_the_fields_and_back_shows_a_whole_page(chromium, address):
    with visit(chromium, address) as page:
        go(page, address, EXAMPLE)
        page.get_by_label("Intake duration deg", exact=True).fill("240")
        page.get_by_label("Intake duration deg", exact=True).press("Tab")
        expect(page).to_have_url(re.compile("intake_duration=240"))
        page.get_by_role("link", name="My engines").click()
        page.go_back()
        expect(page.locator("nav")).to_be_visible()
        expect(page.get_by_label("Intake duration deg", exact=True)).to_have_value("240")


def test_a_mistake_stands_beside_its_field_and_nothing_typed_is_lost(chromium, address):
    with visit(chromium, address) as page:
        go(page, address, f"{EXAMPLE}&intake_lift=99&band_low=abc")
        wrong = page.locator(".field.wrong").filter(has=page.get_by_label("Intake lift"))
        expect(wrong.locator(".error").first).to_be_visible()
        expect(page.get_by_label("Intake lift")).to_have_value("99")
        expect(page.get_by_label("Band, rpm from")).to_have_value("abc")
        expect(page.get_by_text("Type the band in rpm")).to_be_visible()


@pytest.mark.parametrize("kind", [DESK, PHONE], ids=["desk", "phone"])
def test_curves_are_read_off_by_keys_hover_and_finger(chromium, address, kind):
    with visit(chromium, address, **kind) as page:
        go(page, address, EXAMPLE)
        slider, place = page.get_by_label("Read off at"), page.locator(".readout")
        slider.focus()
        before = place.inner_text()
        page.keyboard.press("ArrowRight")
        assert place.inner_text() != before
        assert "rpm. torque" in slider.get_attribute("aria-valuetext")
        box = page.locator("svg.chart:visible").bounding_box()
        at = box["x"] + 0.3 * box["width"], box["y"] + 0.5 * box["height"]
        before = slider.input_value()
        if kind is PHONE:
            page.touchscreen.tap(*at)
        else:
            page.mouse.move(*at)
        expect(slider).not_to_have_value(before)
        # What is read off is what the table says.
        slider.fill("3000")
        row = page.get_by_role("row", name="3000").locator("td")
        assert f"torque: {row.nth(0).inner_text()} lb-ft ({row.nth(1).inner_text()})" in (
            place.inner_text()
        )


def test_a_band_is_dragged(chromium, address):
    with visit(chromium, address) as page:
        go(page, address, EXAMPLE)
        box = page.locator("svg.chart:visible").bounding_box()
        y = box["y"] + 0.4 * box["height"]
        page.mouse.move(box["x"] + 0.3 * box["width"], y)
        page.mouse.down()
        page.mouse.move(box["x"] + 0.6 * box["width"], y, steps=5)
        page.mouse.up()
        low, high = (page.locator(f"#band_{end}").input_value() for end in ("low", "high"))
        assert (low, high) != ("2500", "4500")
        expect(page.get_by_text(f"Mean from {low} to {high} rpm").first).to_be_visible()


def test_a_shop_drops_files_decides_adds_and_types(chromium, address, shop, tmp_path):
    old = tmp_path / "Head A (2.02-1.60).csv"
    old.write_text(sheet_text({"sheet_id": "head-a", "intake_type": "", "octane": ""}))
    with visit(chromium, address) as page:
        go(page, address, "/engines")
        page.get_by_label("Add sheets").set_input_files(old)
        page.get_by_role("button", name="Add", exact=True).click()
        expect(page.get_by_text("1 file saved")).to_be_visible()
        page.get_by_role("link", name="head-a").first.click()
        expect(page.locator("svg.chart.wide")).to_be_visible()
        page.get_by_label("Field", exact=True).select_option("octane")
        page.get_by_label("Value, with its unit").fill("91")
        page.get_by_role("button", name="Add", exact=True).click()
        expect(page.get_by_text("Octane added")).to_be_visible()
        settings = shop_settings.load(shop / "pullbook.yaml")
        assert settings.sheets["head-a"] == {"octane": "91"}
        assert "octane" not in (shop / "sheets" / old.name).read_text()
        go(page, address, "/engines")
        page.get_by_role("button", name="SAE J1349").first.click()
        expect(page.get_by_text("Decided:")).to_be_visible()
        picture(page, "decided")


def test_a_paper_sheet_is_typed_in_and_pasted(chromium, address, shop):
    with visit(chromium, address, expected="422") as page:
        go(page, address, "/engines/type")
        for name in ("sheet_id", "shop", "family", "cylinders", "bore", "stroke", "air_temperature",
                     "barometer"):  # fmt: skip
            text = "paper-7" if name == "sheet_id" else FIELDS[name]
            page.locator(f"#f-{name}").fill(text)
        page.locator("#f-correction").select_option("observed")
        page.get_by_role("button", name="Save and check").click()
        expect(page.get_by_text("Type at least one row")).to_be_visible()
        expect(page.locator("#f-sheet_id")).to_have_value("paper-7")
        rows = [f"{rpm}\t{345 - abs(rpm - 3000) / 60:.1f}" for rpm in range(2000, 4501, 250)]
        page.locator("#readings").fill("\n".join(["rpm\ttorque (N.m)", *rows]))
        page.get_by_role("button", name="Save and check").click()
        expect(page.get_by_role("heading", name="paper-7")).to_be_visible()
        expect(page.locator("svg.chart.wide")).to_be_visible()
    assert (shop / "sheets" / "paper-7.csv").is_file()


def test_a_saved_build_is_a_file_that_the_command_line_reads(chromium, address, shop):
    with visit(chromium, address) as page:
        go(page, address, f"{EXAMPLE}&units=metric&compression_ratio=9.4")
        page.get_by_role("button", name="Save this build").click()
        expect(page.get_by_text("Saved as example.yaml")).to_be_visible()
        (build,) = build_files.read(shop / "builds" / "example.yaml")
        assert build.number("bore") == pytest.approx(3.9)
        assert build.sheet_id == "example"
        go(page, address, "/compare?a=example")
        expect(page.locator("#a")).to_have_value("example")


def test_it_starts_from_a_measured_engine(chromium, address):
    with visit(chromium, address) as page:
        go(page, address, "/engines?q=tern")
        page.locator("tbody a").first.click()
        page.get_by_role("link", name="Ask, starting from this engine").click()
        expect(page.get_by_text("Starts from the measured sheet")).to_be_visible()
        expect(page.get_by_label("Start from a measured engine")).not_to_have_value("")
        page.get_by_label("Compression ratio").fill("10.4")
        page.get_by_label("Compression ratio").press("Tab")
        expect(page.get_by_text("Changed since: compression ratio")).to_be_visible()


def test_print_and_pdf_hold_the_sheet_and_no_menu(chromium, address):
    with visit(chromium, address) as page:
        go(page, address, f"{VIEWS['sheet']}&by=Tern+Quay&customer=A+Customer&date=2024-05-31")
        for form in ("A4", "Letter"):
            read = PdfReader(io.BytesIO(page.pdf(format=form)))
            text = " ".join(" ".join(one.extract_text() for one in read.pages).split())
            for said in ("Tern Quay", "A Customer", "2024-05-31", "example", "SAE J1349", "3000",
                         "A prediction does not clear an engine", "Intake duration"):  # fmt: skip
                assert said.lower() in text.lower()
            assert "My engines" not in text
            assert len(read.pages) <= 3


def test_the_sheet_is_one_file_to_send(chromium, address, tmp_path):
    with visit(chromium, address) as page:
        go(page, address, VIEWS["sheet"])
        with page.expect_download() as found:
            page.get_by_role("link", name="As one file to send").click()
        found.value.save_as(tmp_path / "sheet.html")
    text = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "<script" not in text
    assert "example" in text


def test_parts_are_chosen_from_a_list(chromium, address):
    with visit(chromium, address) as page:
        go(page, address, "/choose/list")
        page.get_by_role("button", name="Save and choose").click()
        expect(page.get_by_role("heading", name="Result")).to_be_visible()
        expect(page.get_by_text("cleaned up").first).to_be_visible()
        picture(page, "chosen")


def test_what_was_tested_is_searched_without_script(chromium, address):
    with visit(chromium, address, java_script_enabled=False, **PHONE) as page:
        go(page, address, EXAMPLE)
        page.get_by_role("link", name="Choose parts for it").click()
        page.get_by_role("button", name="Search").click()
        expect(page.get_by_text("Tick at least one group")).to_be_visible()
        page.get_by_label("camshaft").check()
        page.get_by_role("button", name="Search").click()
        expect(page.locator("#answer svg.chart.narrow")).to_be_visible()
        expect(page.locator("#answer svg.chart.wide")).to_be_hidden()
        best = page.get_by_text(re.compile("^Best: intake duration")).inner_text()
        page.get_by_role("link", name="Open the best build in Ask").click()
        duration = page.get_by_label("Intake duration deg", exact=True).input_value()
        assert f"intake duration {duration} deg" in best


def test_sharing_shows_what_leaves_and_makes_a_pack(chromium, address, shop):
    shutil.rmtree(shop / "shared", ignore_errors=True)
    with visit(chromium, address) as page:
        go(page, address, "/share")
        expect(page.get_by_text("Never shared: the shop's name")).to_be_visible()
        page.locator("summary").first.click()
        assert "notes" not in page.locator("pre").first.inner_text()
        page.get_by_role("button", name="Make a pack to send").click()
        expect(page.get_by_role("status").or_(page.get_by_role("alert"))).to_be_visible()
        assert not (shop / "sheets" / "accepted").exists()


@pytest.mark.slow
@pytest.mark.parametrize("kind", [DESK, PHONE], ids=["desk", "phone"])
def test_an_analyst_goes_from_a_first_model_to_a_better_one_and_back(chromium, tmp_path, kind):
    """Train, cancel, judge, keep; more tests, train again; accuracy, what to test next, go back."""
    folder = tmp_path / "shop"
    sheets.make(tmp_path / "old", shops.Circle(1, 30, 3))
    old = sorted((tmp_path / "old").rglob("*.csv"))
    folder.mkdir()
    for path in old[:20]:
        shutil.copy(path, folder)
    with opened(tmp_path, folder) as own, visit(chromium, own, **kind) as page:
        page.set_default_timeout(300_000)

        def trained():
            page.get_by_role("button", name="Train a model").click()
            expect(page.locator("progress")).to_be_visible()
            expect(page.get_by_role("heading", name="A new model")).to_be_visible(timeout=300_000)

        go(page, own, "/model")
        page.get_by_role("button", name="Train a model").click()
        page.get_by_role("button", name="Cancel").click()
        expect(page.get_by_text("Training was cancelled")).to_be_visible()
        assert not (folder / "models" / ".candidate").exists()
        trained()
        picture(page, f"candidate-{kind['viewport']['width']}")
        page.get_by_label("Your reason").fill("the first of our own")
        page.get_by_role("button", name="Keep it").click()
        expect(page.get_by_text("is in use.")).to_be_visible()
        for cylinders, name in ((6, "six"), (8, "eight")):
            go(page, own, f"/ask?cylinders={cylinders}&bore=3.9&stroke=3.6&sheet_id={name}")
            expect(page.get_by_text("Invented engines.")).not_to_be_visible()
            page.get_by_role("button", name="Save this build").click()
            expect(page.get_by_text("Saved as")).to_be_visible()
        go(page, own, "/engines")
        page.get_by_label("Add sheets").set_input_files(old[20:])
        page.get_by_role("button", name="Add", exact=True).click()
        go(page, own, "/model")
        trained()
        page.get_by_label("Your reason").fill("more tests")
        page.get_by_role("button", name="Keep it").click()
        expect(page.get_by_role("cell", name="more tests")).to_be_visible()
        page.get_by_role("link", name="Which of my saved builds").click()
        expect(page.get_by_role("table").last).to_contain_text("six")
        page.get_by_role("button", name="Go back to the model before").click()
        expect(page.get_by_role("status")).to_be_visible()
        with page.expect_download() as fetched:
            page.get_by_role("link", name="The whole accuracy page").click()
        assert "Verdict: " in fetched.value.path().read_text(encoding="utf-8")


@pytest.mark.slow
@pytest.mark.parametrize("kind", [DESK, PHONE], ids=["desk", "phone"])
def test_a_builder_goes_from_a_test_to_a_sheet_for_the_customer(chromium, address, shop, kind):
    """Ask from a measured engine, compare, choose a cam, keep the build, hand over the sheet."""
    name = f"for the ferry {kind['viewport']['width']}"
    with visit(chromium, address, **kind) as page:
        page.set_default_timeout(120_000)
        go(page, address, "/engines?q=tern")
        page.locator("tbody a").first.click()
        page.get_by_role("link", name="Ask, starting from this engine").click()
        page.get_by_label("Compression ratio").fill("10.4")
        page.get_by_label("Name", exact=True).fill(name)
        page.get_by_role("button", name="Predict").click()
        expect(page.get_by_text("Changed since: compression ratio")).to_be_visible()
        asked = page.url
        compare_with_a_copy(page, "Compression ratio", "9")
        expect(page.locator("#answer svg.chart:visible")).not_to_have_count(0)
        page.goto(asked)
        page.get_by_role("button", name="Save this build").click()
        expect(page.get_by_text("Saved as")).to_be_visible()
        page.get_by_role("link", name="Choose parts for it").click()
        page.get_by_label("camshaft").check()
        page.get_by_role("button", name="Search").click()
        page.get_by_role("link", name="Open the best build in Ask").click()
        page.get_by_role("link", name="Answer sheet").click()
        expect(page.get_by_role("link", name="Back to the build")).to_be_visible()
        read = PdfReader(io.BytesIO(page.pdf(format="A4")))
        text = " ".join(one.extract_text() for one in read.pages)
        assert "SAE J1349" in text
        assert "90 % limits" in text
    assert (shop / "builds" / f"{name}.yaml").is_file()


@pytest.mark.slow
@pytest.mark.parametrize("kind", [DESK, PHONE], ids=["desk", "phone"])
def test_a_shop_goes_from_old_files_to_a_pack(chromium, tmp_path, kind):
    """Drop files in, decide what is asked, look through what leaves, and make the pack."""
    sheets.make(tmp_path / "old", shops.Circle(1, 6, 5))
    (tmp_path / "unsaid.csv").write_text(sheet_text({"sheet_id": "unsaid", "correction": ""}))
    folder = tmp_path / "shop"
    folder.mkdir()
    with opened(tmp_path, folder) as own, visit(chromium, own, **kind) as page:
        go(page, own, "/engines")
        files = [*sorted((tmp_path / "old").rglob("*.csv")), tmp_path / "unsaid.csv"]
        page.get_by_label("Add sheets").set_input_files(files)
        page.get_by_role("button", name="Add", exact=True).click()
        expect(page.get_by_text(re.compile(r"files saved"))).to_be_visible()
        page.get_by_role("button", name="SAE J1349").first.click()
        expect(page.get_by_text("Decided:")).to_be_visible()
        go(page, own, "/share")
        page.locator("summary").first.click()
        page.get_by_role("button", name="Make a pack to send").click()
        expect(page.get_by_role("status").or_(page.get_by_role("alert"))).to_be_visible()
        assert list((folder / "shared").rglob("*.zip"))
