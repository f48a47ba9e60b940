"""Loads, cautions and a budget as a user types them into the page, at a desk and on a phone."""

import re
from urllib.parse import urlencode

import pytest
from browser import needs_browser
from playwright.sync_api import expect
from test_page_browser import DESK, EXAMPLE, PHONE, SEARCH, address, chromium, go, shop, visit

from pullbook.views import choose_list

pytestmark = needs_browser
__all__ = ["address", "chromium", "shop"]  # fixtures
KINDS = pytest.mark.parametrize("kind", [DESK, PHONE], ids=["desk", "phone"])
GROUP = "What it must drive, and not exceed"
LOADS = "propeller 150 hp @ 4000\ntowing 120 lb-ft @ 1800:3200"


def fill(page, label, text):
    """Type into a field as a user does, and leave it."""
    field = page.get_by_label(label)
    field.fill(text)
    field.press("Tab")


def wrong(page, name):
    """Return the message beside a field."""
    return page.locator(f".field.wrong:has(#{name}) .error")


@KINDS
def test_ask_answers_what_is_typed_and_says_beside_a_field_what_is_wrong(chromium, address, kind):
    with visit(chromium, address, **kind) as page:
        go(page, address, EXAMPLE)
        page.get_by_text(GROUP).click()
        fill(page, "Loads to clear", LOADS)
        answer = page.locator("#answer")
        expect(answer.get_by_text("Load: propeller, 150 hp at 4000 rpm")).to_be_visible()
        expect(answer.get_by_text(re.compile("Load: tow"))).to_be_visible()
        fill(page, "Speed of highest power, at most", "3000")
        fill(page, "Piston speed, at most", "1000 ft/min")
        expect(answer.get_by_text(re.compile("^Caution: "))).to_have_count(2)
        # A mistake is said beside its field, and what is right is answered all the same.
        fill(page, "Piston speed, at most", "20")
        page.get_by_role("button", name="Predict").click()
        expect(wrong(page, "most_piston")).to_contain_text("a number with its unit")
        expect(page.get_by_label("Piston speed, at most")).to_have_value("20")
        expect(answer.get_by_text(re.compile("^Caution: "))).to_have_count(1)
        fill(page, "Loads to clear", "harbour.csv")
        page.get_by_role("button", name="Predict").click()
        expect(wrong(page, "load")).to_contain_text("a table cannot be given here")
        expect(page.get_by_label("Loads to clear")).to_have_value("harbour.csv")


@KINDS
def test_choose_clears_a_load_and_says_beside_a_field_what_is_wrong(chromium, address, kind):
    with visit(chromium, address, **kind) as page:
        go(page, address, SEARCH)
        page.get_by_text(GROUP).click()
        fill(page, "Loads to clear", "propeller 190 hp @ 4500")
        fill(page, "Octane, at most", "high")
        page.get_by_role("button", name="Search").click()
        expect(wrong(page, "most_octane")).to_contain_text("Type a number, such as 87")
        expect(page.get_by_label("Loads to clear")).to_have_value("propeller 190 hp @ 4500")
        fill(page, "Octane, at most", "87")
        page.get_by_role("button", name="Search").click()
        expect(page.locator("figure").get_by_text("propeller, 190 hp at 4500 rpm")).to_be_visible()


@KINDS
def test_a_list_is_kept_within_a_budget_above_a_load_and_a_table(chromium, address, shop, kind):
    (shop / "parts").mkdir(exist_ok=True)
    (shop / "parts" / "harbour.csv").write_text("rpm,torque (lb-ft)\n2000,60\n4500,90\n")
    text = f"{choose_list.EXAMPLE}loads: [harbour.csv]\n"
    (shop / "parts" / "cams.yaml").write_text(text)
    with visit(chromium, address, **kind) as page:
        go(page, address, f"/choose/list?{urlencode({'list': 'cams.yaml'})}")
        fill(page, "Budget, at most", "much")
        page.get_by_text(GROUP).click()
        fill(page, "Loads to clear", "propeller 150 hp @ 4000")
        page.get_by_role("button", name="Choose", exact=True).click()
        expect(page.get_by_text("Type the budget as a number")).to_be_visible()
        expect(page.get_by_label("Budget, at most")).to_have_value("much")
        fill(page, "Budget, at most", "900")
        page.get_by_role("button", name="Choose", exact=True).click()
        answer = page.locator("#answer")
        expect(answer.get_by_text("What more money buys").first).to_be_visible()
        expect(answer.get_by_text("harbour.csv").first).to_be_visible()
        # Saving the list keeps what was typed above it.
        fill(page, "Budget, at most", "800")
        page.get_by_text("Change the list").click()
        page.get_by_role("button", name="Save and choose").click()
        expect(page.get_by_label("Budget, at most")).to_have_value("800")
        expect(page.get_by_label("Loads to clear")).to_have_value("propeller 150 hp @ 4000")
