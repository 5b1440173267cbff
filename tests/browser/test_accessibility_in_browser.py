"""Can everybody use each page: by the rules of WCAG 2.2 AA as axe checks them, light and dark, wide and narrow?"""

from __future__ import annotations

import pytest

# A selection keeps the tables short: every sort of row is there, and axe looks at each cell.
PATHS = ("/", "/packs?recipe=N70&format=bottle", "/charts?recipe=N70", "/charts?recipe=N70&drawn=slow", "/practices")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PATHS)
def test_each_page_passes_on_a_wide_screen(demo, visiting, path, scheme):
    visit = visiting(demo, scheme=scheme)
    visit.unfolded(path, 4)
    assert visit.violations() == []


@pytest.mark.parametrize("path", PATHS)
def test_each_page_passes_on_a_phone_and_fits_its_width(demo, visiting, path):
    visit = visiting(demo, width=390, height=844)
    page = visit.unfolded(path, 4)
    assert visit.violations() == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_runs_history_passes(demo, visiting):
    visit = visiting(demo)
    page = visit.open("/packs?recipe=N70")
    page.locator(".table.packs tbody th a").first.click()
    page.get_by_role("heading", name="From brew to tasting").wait_for()
    visit.settled()
    assert visit.violations() == []
