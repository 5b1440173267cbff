"""Can everybody use each page: by the rules of WCAG 2.2 AA as axe checks them, light and dark, wide and narrow?"""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.sync_playwright import Axe

# A selection keeps the tables short: every sort of row is there, and axe looks at each cell.
PATHS = ("/", "/packs?recipe=N70&format=bottle", "/charts?recipe=N70", "/charts?recipe=N70&drawn=slow", "/practices")
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def violations(page) -> list[str]:
    found = Axe().run(page, options=RULES).response["violations"]
    return [f"{rule['id']}: {node['html'][:160]}" for rule in found for node in rule["nodes"]]


def opened(visit, path):
    page = visit.open(path)
    page.locator("main .answer", has_text=re.compile(r"\w")).first.wait_for()
    visit.settled()
    page.evaluate("document.querySelectorAll('main details').forEach((one, n) => (one.open = n < 4))")
    return page


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PATHS)
def test_each_page_passes_on_a_wide_screen(demo, visiting, path, scheme):
    assert violations(opened(visiting(demo, scheme=scheme), path)) == []


@pytest.mark.parametrize("path", PATHS)
def test_each_page_passes_on_a_phone_and_fits_its_width(demo, visiting, path):
    page = opened(visiting(demo, width=390, height=844), path)
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_runs_history_passes(demo, visiting):
    visit = visiting(demo)
    page = visit.open("/packs?recipe=N70")
    page.locator(".table.packs tbody th a").first.click()
    page.get_by_role("heading", name="From brew to tasting").wait_for()
    assert violations(visit.settled()) == []
