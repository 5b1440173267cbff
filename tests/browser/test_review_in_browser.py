"""Can a person hold a whole weekly review in the browser, and print its record?"""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from playwright.sync_api import Page, expect

from data_demo import truth

SOON = (date.today() + timedelta(days=7)).isoformat()


def opened(visit, path: str = "/review") -> Page:
    page = visit.open(path)
    expect(page.locator("#review-answer")).to_contain_text(re.compile("new|Nothing"))
    expect(page.locator(".review-entry").first).to_be_visible()
    visit.settled()
    return page


def counted(page: Page) -> tuple[int, int]:
    answered, total = re.findall(r"\d+", page.locator(".review-count").inner_text())[:2]
    return int(answered), int(total)


def keep(page: Page, visit) -> None:
    """Press the button, and wait until the count and the form have gone on."""
    before = page.locator(".review-count").inner_text()
    page.get_by_role("button", name="Keep the answer").click()
    expect(page.locator(".review-count")).not_to_have_text(before)
    visit.settled()


def test_the_demos_truth_is_told_on_the_first_screen(demo, visiting):
    page = opened(visiting(demo))
    answer = page.locator("#review-answer")
    expect(answer).to_contain_text(f"Total package oxygen: line {truth.OXYGEN_SHIFT.line}, all recipes")
    expect(answer).to_contain_text("January 2026 to")
    expect(answer).to_contain_text(f"Haze: {truth.CLIMB.recipe}, can")
    expect(page.locator("#review-cautions")).to_contain_text(
        f"{truth.METER_DRIFT.meter} (dissolved oxygen) has drifted"
    )
    told = page.locator("#review-head")
    expect(told).to_contain_text("The level rose by")
    expect(told).to_contain_text(re.compile(r"It came back about \d+ (May|June) 2026"))
    expect(page.locator("#review-differences")).to_contain_text("left unexplained")
    expect(page.locator("#review-graph .main-svg").first).to_be_visible()


def test_a_whole_review_is_held_and_its_record_prints(own_demo, visiting):
    visit = visiting(own_demo)
    page = opened(visit)
    answered, total = counted(page)
    assert (answered, total > 5) == (0, True)

    page.get_by_role("button", name="Keep the answer").click()
    expect(page.get_by_text("Say what you found: a cause, no cause, or a false alarm.")).to_be_visible()
    expect(page.get_by_text("Say your name: it is kept with the answer.")).to_be_visible()
    page.get_by_role("radio", name="A cause").check()
    page.get_by_label("What is the cause?").fill("A worn chuck on the seamer of line 1")
    page.get_by_label("What is done about it?").fill("Chuck replaced")
    page.get_by_label("By whom?").fill("Bo")
    page.get_by_label("Until when?").fill("2026-01-01")
    page.locator("#review-who").fill("Ann")
    page.get_by_role("button", name="Keep the answer").click()
    expect(page.get_by_text("That day is past")).to_be_visible()
    page.get_by_label("Until when?").fill("")
    page.get_by_label("or done already, on").fill(truth.OXYGEN_SHIFT.repaired.isoformat())
    also = page.locator("#review-also-place input[type=checkbox]")
    for box in also.all():
        box.check()
    beside = also.count()
    keep(page, visit)
    assert counted(page) == (1 + beside, total)
    expect(page.locator("#review-kept")).to_contain_text("Kept for")
    expect(page.locator("#review-actions")).to_contain_text("It worked: since then the level came back")

    while counted(page)[0] < total:
        page.get_by_role("radio", name="No cause found").check()
        page.get_by_label("What did you look at?").fill("the meter and the cellar log")
        keep(page, visit)
    expect(page.locator("#review-said")).to_contain_text("the review can be closed")

    page.get_by_label("Who was there?").fill("Ann, Bo")
    page.get_by_label("A note (may stay empty)").fill("the first of its kind")
    page.locator("#review-closer").fill("Ann")
    page.get_by_role("button", name="Close the review").click()
    record = page.locator("#review-closed").get_by_role("link", name="The record of review 1")
    expect(record).to_be_visible()
    expect(page.get_by_role("heading", name="Nothing to answer")).to_be_visible()
    expect(page.get_by_role("region", name="Past reviews")).to_contain_text("Ann, Bo")
    visit.settled()
    record.click()

    expect(page.get_by_role("heading", name=re.compile("Review 1, "))).to_be_visible()
    expect(page.locator(".record-matter")).to_have_count(total)
    expect(page.locator("main")).to_contain_text("Cause: A worn chuck on the seamer of line 1")
    visit.settled()
    assert visit.violations() == []
    page.emulate_media(media="print")
    for unwanted in (".rail", ".record-print", ".record .back", ".filters"):
        expect(page.locator(unwanted).first).to_be_hidden()
    matter = page.locator(".record-matter").nth(1)
    assert matter.evaluate("one => getComputedStyle(one).breakBefore") == "page"
    assert matter.evaluate("one => getComputedStyle(one).color") == "rgb(0, 0, 0)"
    expect(matter.locator("img")).to_be_visible()
    assert page.pdf(format="A4").count(b"/Type /Page\n") + page.pdf(format="A4").count(b"/Type /Page ") >= total


def test_the_second_of_two_people_sees_what_the_first_answered(own_demo, visiting):
    one, two = visiting(own_demo), visiting(own_demo)
    first, second = opened(one), opened(two)
    for page, name, why in ((first, "Ann", "the cans stood warm"), (second, "Bo", "the meter was new")):
        page.get_by_role("radio", name="A false alarm").check()
        page.get_by_label("Why is it a false alarm?").fill(why)
        page.locator("#review-who").fill(name)
    keep(first, one)
    second.get_by_role("button", name="Keep the answer").click()
    said = second.locator("#review-said")
    expect(said).to_contain_text("Meanwhile this was answered")
    expect(said).to_contain_text("the cans stood warm")
    expect(second.get_by_label("Why is it a false alarm?")).to_have_value("the meter was new")


def test_an_action_is_marked_as_done(own_demo, visiting):
    visit = visiting(own_demo)
    page = opened(visit)
    page.get_by_role("radio", name="A cause").check()
    page.get_by_label("What is the cause?").fill("worn chuck")
    page.get_by_label("What is done about it?").fill("Replace the chuck")
    page.get_by_label("By whom?").fill("Bo")
    page.get_by_label("Until when?").fill(SOON)
    page.locator("#review-who").fill("Ann")
    keep(page, visit)
    actions = page.locator("#review-actions")
    expect(actions).to_contain_text("due on")
    actions.get_by_text("It is done…").click()
    actions.get_by_role("button", name="Keep the day").click()
    expect(actions).to_contain_text("Give the day on which it was done")
    actions.get_by_label("On which day?").fill("2026-06-01")
    actions.get_by_label("Your name").fill("Bo")
    actions.get_by_role("button", name="Keep the day").click()
    expect(actions).to_contain_text("done on 1 June 2026")


def test_a_recipe_holds_and_chooses_its_matters(demo, visiting):
    page = opened(visiting(demo), "/review?recipe=L45")
    names = page.locator(".review-name").all_inner_texts()
    assert names
    assert all("L45" in name or "all recipes" in name for name in names)
    expect(page.locator("#review-progress")).to_contain_text("outside this selection")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1440, 390])
def test_the_review_passes_and_fits(demo, visiting, scheme, width):
    visit = visiting(demo, width=width, scheme=scheme)
    page = opened(visit)
    page.evaluate("document.querySelectorAll('main details').forEach(one => (one.open = true))")
    assert visit.violations() == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
