"""Does a verdict open to what stands behind it, and the model to its checks, in a real browser?"""

from __future__ import annotations

from playwright.sync_api import expect


def test_a_verdict_opens_to_what_stands_behind_it(visiting, demo):
    visit = visiting(demo)
    page = visit.open("/practices?measure=haze")
    first = page.locator(".verdict-item").first
    first.locator("summary").first.click()
    first.locator("summary", has_text="What stands behind it").click()
    expect(first.locator(".behind")).to_contain_text("One step, seen in other ways")
    expect(first.locator(".behind")).to_contain_text("Between recipes")
    page.locator("summary", has_text="The model behind the verdicts").click()
    expect(page.locator("main")).to_contain_text("Is the model to be believed?")
    visit.settled()
    assert visit.faults == []


def test_a_verdict_opens_by_keyboard_and_closes_with_another_selection(visiting, demo):
    visit = visiting(demo)
    page = visit.answered("/practices?measure=haze")
    first = page.locator(".verdict-item").first
    first.locator("summary").first.focus()
    page.keyboard.press("Enter")
    expect(first).to_contain_text("90 % interval, held against the margin")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(first.locator(".behind")).to_contain_text("One step, seen in other ways")
    page.locator("summary", has_text="The same as a table").click()
    expect(page.locator("main")).to_contain_text("More batches")
    told = page.locator("main .answer").first.inner_text()
    page.locator("#filter-recipes").click()
    page.get_by_role("option", name="P40").click()
    expect(page.locator("main .answer").first).not_to_have_text(told)
    expect(page.locator(".verdict-item[open]")).to_have_count(0)
    first.locator("summary").first.click()
    expect(first).to_contain_text("90 % interval, held against the margin")
    visit.settled()
    assert visit.faults == []


def test_several_open_verdicts_stay_accessible(visiting, demo):
    visit = visiting(demo)
    page = visit.answered("/practices?measure=haze")
    for place in (0, 2):
        verdict = page.locator(".verdict-item").nth(place)
        verdict.locator("summary").first.click()
        verdict.locator("summary", has_text="What stands behind it").click()
        expect(verdict.locator(".behind")).to_contain_text("One step, seen in other ways")
    visit.settled()
    assert visit.violations() == []


def test_a_margin_without_a_name_is_asked_for_it(visiting, demo):
    page = visiting(demo).open("/practices?measure=haze")
    page.locator("summary", has_text="Set the smallest difference that matters").click()
    page.locator("#margin-value").fill("0.2")
    page.locator("#margin-because").fill("what the panel sees")
    page.locator("#margin-set").click()
    expect(page.locator("#margin-fault")).to_contain_text("Say your name")
