"""Does a decision about a meter reach the other pages of a real browser, and go when it is taken back?"""

from __future__ import annotations

import math
import re
from datetime import datetime

from playwright.sync_api import Page, expect

from data_demo import truth
from data_demo.brewery import simulate
from data_demo.laboratory import meter_bias

REASON = "Its checks in air-saturated water climb week by week"
ON_PRACTICES = re.compile(r"118 readings of meter OX2 since 8 July 2026 are set right, as the meter read up to 2\d\.")


def decide(page: Page) -> None:
    page.get_by_text("Decide about a meter’s readings").click()
    form = page.locator(".meter-form")
    expect(form.get_by_role("textbox", name="Meter")).to_have_value(re.compile("OX2"))
    form.get_by_role("button", name="Decide").click()
    expect(form.get_by_role("alert")).to_contain_text("Say why")
    form.get_by_role("textbox", name="Why").fill(REASON)
    form.get_by_role("textbox", name="Your name").fill("Ines")
    form.get_by_role("button", name="Decide").click()
    expect(page.locator(".decisions")).to_contain_text("322 readings since 8 July 2026 are set right")


def check_the_drift(said: str) -> None:
    """Hold what stands on the screen to the truth: the date within two weekly checks, the bias within its interval."""
    told = re.search(r"OX2 .*? since about (.+?) and now reads .*? \(\+([\d.]+) % to \+([\d.]+) %\) off", said)
    assert told is not None, said
    since = datetime.strptime(told[1], "%d %B %Y").date()
    assert abs((since - truth.METER_DRIFT.begins).days) <= 14
    last = max(check.checked_at for check in simulate().checks if check.meter.name == truth.METER_DRIFT.meter)
    meter = next(meter for meter in truth.METERS if meter.name == truth.METER_DRIFT.meter)
    assert float(told[2]) <= 100 * math.expm1(meter_bias(meter, last)) <= float(told[3])


def take_back(page: Page) -> None:
    page.locator(".decisions").get_by_text("Take it back").click()
    form = page.locator(".meter-back")
    form.get_by_role("textbox", name="Why it is taken back").fill("The standard was old")
    form.get_by_role("textbox", name="Your name").fill("Tam")
    form.get_by_role("button", name="Take back").click()
    expect(page.get_by_text("No decision stands: every reading is used as it was read.")).to_be_visible()
    expect(page.get_by_text("Decisions that were taken back")).to_be_visible()


def test_a_decision_is_seen_everywhere_until_it_is_taken_back(own_demo, visiting):
    visit = visiting(own_demo)
    page = visit.answered("/meters")
    undecided = page.get_by_text("OX2 has moved, and nobody has decided about the readings since")
    expect(undecided).to_be_visible()
    check_the_drift(page.locator("main .answer").inner_text())
    decide(page)
    expect(page.locator(".decisions")).to_contain_text("Decided by Ines on")
    expect(page.locator(".decisions")).to_contain_text(REASON)
    expect(undecided).to_have_count(0)
    page.evaluate("document.querySelectorAll('main details').forEach((one) => (one.open = true))")
    assert visit.violations() == []

    visit.answered("/practices?measure=total_oxygen")
    expect(page.locator(".caution").filter(has_text=ON_PRACTICES)).to_be_visible()
    comparison = page.locator("#practices-as-read summary")
    expect(comparison).to_contain_text("With every reading as it was read, no verdict would be another.")
    comparison.click()
    expect(page.get_by_role("region", name="Each verdict both ways")).to_be_visible()

    visit.answered("/charts?measure=total_oxygen")
    expect(page.locator(".caution").filter(has_text="OX2 since 8 July 2026 are set right")).to_be_visible()
    expect(page.locator("#charts-as-read summary")).to_contain_text("With every reading as it was read, 2 charts would")

    take_back(visit.answered("/meters"))
    expect(undecided).to_be_visible()
    visit.answered("/practices?measure=total_oxygen")
    expect(page.locator(".verdicts")).to_be_visible()
    expect(page.get_by_text("are set right")).to_have_count(0)
    expect(page.locator("#practices-as-read")).to_be_empty()
