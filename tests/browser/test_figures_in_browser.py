"""Can everybody use the page of figures, and does its address carry what was typed?"""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect


@pytest.mark.parametrize("width", [1440, 390])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", ["/figures", "/figures?figure=closing&days=60", "/figures?gauge=1"])
def test_figures_pass_and_fit(demo, visiting, path, scheme, width):
    visit = visiting(demo, width=width, scheme=scheme)
    page = visit.unfolded(path)
    assert visit.violations() == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_what_is_typed_is_answered_said_at_its_field_and_kept_in_the_address(demo, visiting):
    visit = visiting(demo)
    page = visit.unfolded("/figures")
    answer = page.locator("main .answer")
    page.get_by_label("Pressure before venting").fill("15 psi")
    expect(answer).to_contain_text("from 15 psi down to 0 bar, 0.621 %")
    page.get_by_label("Pressure after venting").fill("1")
    expect(page.get_by_text("Write the unit of the pressure: bar, psi or kPa.")).to_be_visible()
    page.get_by_label("Pressure after venting").fill("0")
    expect(answer).to_contain_text("0.621 %")
    page.wait_for_url(re.compile("vented=0$|vented=0&"))
    again = visiting(demo).unfolded(page.url.removeprefix(demo))
    expect(again.locator("main .answer")).to_contain_text("from 15 psi down to 0 bar, 0.621 %")


def test_another_figure_is_a_link_away(demo, visiting):
    page = visiting(demo).unfolded("/figures")
    page.get_by_role("link", name="Trapped air").click()
    expect(page.locator("main .answer")).to_contain_text("at most")
    page.get_by_label("Air trapped").fill("1 mL")
    expect(page.get_by_text("Fill in either the air's volume")).to_be_visible()
    for emptied in ("Length of the hose", "Its bore"):
        page.get_by_label(emptied).fill("")
    expect(page.locator("main .answer")).to_contain_text("Air of 1.00 mL")
    expect(page.locator(".filters")).to_be_hidden()
