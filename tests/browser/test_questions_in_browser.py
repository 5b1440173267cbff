"""Can everybody use the pages Oxygen, Readiness and Meters, and do they answer what a person chooses?"""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

PATHS = ("/oxygen", "/readiness", "/meters")


@pytest.mark.parametrize("width", [1440, 390])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PATHS)
def test_each_page_passes_and_fits(demo, visiting, path, scheme, width):
    visit = visiting(demo, width=width, scheme=scheme)
    page = visit.unfolded(path)
    assert visit.violations() == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    expect(page.locator("main .js-plotly-plot")).to_be_visible()


def test_a_chosen_meter_stands_large(demo, visiting):
    page = visiting(demo).unfolded("/meters")
    expect(page.get_by_role("heading", name="OX2, dissolved oxygen, against a reference")).to_be_visible()
    page.get_by_role("textbox", name="Checks of").click()
    page.get_by_role("option", name="HZ1, haze, against a reference").click()
    expect(page.get_by_role("heading", name="HZ1, haze, against a reference")).to_be_visible()


def test_the_selection_of_packs_is_shown_only_where_it_counts(demo, visiting):
    visit = visiting(demo)
    expect(visit.unfolded("/oxygen").locator(".filters")).to_be_visible()
    for path in ("/meters", "/readiness"):
        bar = visit.unfolded(path).locator(".filters")
        expect(bar).to_be_hidden()
        expect(bar).to_have_attribute("hidden", "")


def test_more_confidence_is_answered(demo, visiting):
    page = visiting(demo).unfolded("/readiness")
    expect(page.locator("main .answer")).to_contain_text("90 % confidence")
    page.get_by_role("textbox", name="How sure it must be").click()
    page.get_by_role("option", name="95 %").click()
    expect(page.locator("main .answer")).to_contain_text("95 % confidence")
