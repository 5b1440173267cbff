"""Can a brewer do the main job: spreadsheets in, a selection, a chart read, the verdicts read?"""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from data_demo import truth

RECIPE = "P40"


def drop(page: Page, workbooks) -> None:
    page.set_input_files("#file-input", [str(path) for path in workbooks])
    page.get_by_role("heading", name="Before it is stored").wait_for(timeout=120_000)


def choose_recipe(page: Page, recipe: str) -> None:
    page.get_by_role("textbox", name="Recipes").click()
    page.get_by_role("option", name=recipe).click()
    page.keyboard.press("Escape")
    expect(page).to_have_url(re.compile(f"recipe={recipe}"))


def test_spreadsheets_are_looked_at_before_they_are_taken_in(empty, visiting, workbooks):
    visit = visiting(empty)
    page = visit.open("/")
    drop(page, workbooks)
    expect(page.locator(".upload-done")).to_have_count(len(workbooks))
    expect(page.locator("#intake-review .answer")).to_contain_text("can be taken in")
    sheets = page.get_by_role("region", name="Sheets and what they were taken for")
    assert sheets.locator("tbody tr").count() >= len(workbooks)
    expect(page.get_by_role("heading", name="Rejected, with the reason")).to_be_visible()
    expect(page.get_by_text("Nothing has been taken in yet.")).to_be_visible()

    sheets.get_by_role("button", name=re.compile("Look closer at Brews 2025")).click()
    closer = page.locator(".closer")
    expect(closer.get_by_role("heading")).to_be_focused()
    assert closer.locator("tbody tr").count() >= 3

    with page.expect_download() as download:
        page.get_by_role("link", name="Take the rejected rows away as xlsx").click()
    assert download.value.suggested_filename == "dropbright-rejected.xlsx"

    page.get_by_role("button", name="Take in").click()
    expect(page.get_by_text("Say your name first")).to_be_visible()
    page.get_by_label("Your name, kept with the intake").fill("Test Brewer")
    page.get_by_role("button", name="Take in").click()
    expect(page.get_by_role("region", name="What the intake changed")).to_be_visible(timeout=120_000)
    expect(page.get_by_role("heading", name="Before it is stored")).to_be_hidden()
    history = page.get_by_role("region", name="Intakes")
    expect(history).to_contain_text("Test Brewer")
    expect(history).to_contain_text("on record")
    expect(page.locator("#ledger-state-words")).to_have_text("Ledger state 1")

    page.get_by_role("button", name="Take back… intake 1").click()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("Intake 1")
    dialog.get_by_role("button", name="Take it back").click()
    expect(dialog).to_contain_text("Say why")
    dialog.get_by_label("Why it is taken back").fill("only a test")
    dialog.get_by_label("Your name").fill("Test Brewer")
    dialog.get_by_role("button", name="Take it back").click()
    expect(dialog).to_be_hidden(timeout=60_000)
    expect(history).to_contain_text("only a test")


def test_what_bare_numbers_count_is_said_and_can_be_changed(empty, visiting, tmp_path):
    path = tmp_path / "cans.csv"
    path.write_text("Run,Batch,Packed on,TPO 1 (ppb),TPO 2 (ppb)\nR1,7,2026-03-02,80,82\nR2,8,2026-03-03,90,91\n")
    page = visiting(empty).open("/")
    drop(page, [path])
    remark = page.get_by_text("TPO 1 (ppb), TPO 2 (ppb): taken for a pack each")
    expect(remark).to_be_visible()
    page.get_by_role("button", name=re.compile("Look closer at cans")).click()
    closer = page.locator(".closer")
    expect(closer.get_by_text("pack 2, as TPO 1 (ppb)")).to_be_visible()
    closer.get_by_role("textbox", name="What the number in TPO 1 (ppb) counts").click()
    page.get_by_role("option", name="one pack, read again").click()
    page.get_by_role("button", name="Read again with these answers").click()
    expect(remark).to_have_count(0)
    page.get_by_role("button", name=re.compile("Look closer at cans")).click()
    expect(closer.get_by_text("reading 2, as TPO 1 (ppb)")).to_be_visible()
    page.get_by_role("button", name="Put aside").click()
    expect(page.get_by_role("heading", name="Before it is stored")).to_be_hidden()


def test_a_recipe_holds_across_pages_and_stands_in_the_address(demo, visiting):
    page = visiting(demo).open("/packs")
    page.get_by_role("region", name=re.compile("Finished packs")).wait_for()
    choose_recipe(page, RECIPE)
    expect(page.locator("#filter-words")).to_have_text(f"Looking at recipe {RECIPE}.")
    cells = page.locator(".table.packs tbody tr td:nth-child(3)")
    expect(cells.first).to_have_text(RECIPE)
    assert set(cells.all_inner_texts()) == {RECIPE}

    page.get_by_role("link", name="Control charts").click()
    expect(page).to_have_url(re.compile(rf"/charts\?.*recipe={RECIPE}"))
    expect(page.locator(".multiple").first).to_be_visible()
    names = page.locator(".multiple-name").all_inner_texts()
    assert {name.split(",")[0] for name in names if not name.startswith("line")} == {RECIPE}

    page.reload()
    expect(page.locator("#filter-words")).to_have_text(f"Looking at recipe {RECIPE}.")
    page.go_back()
    expect(page.get_by_role("heading", name="Packs", level=1)).to_be_visible()


def test_a_chart_is_read(demo, visiting):
    page = visiting(demo).open("/charts?measure=total_oxygen")
    expect(page.locator("#charts-answer")).to_contain_text("Total package oxygen")
    expect(page.locator("#charts-graph .main-svg").first).to_be_visible()
    page.locator(".multiple", has_text=f"{RECIPE}, can").click()
    expect(page.locator("#charts-name")).to_have_text(f"{RECIPE}, can")
    expect(page).to_have_url(re.compile("series=P40"))
    expect(page.locator(".multiple[aria-pressed=true]")).to_contain_text(f"{RECIPE}, can")
    assert page.locator("#charts-graph .points path").count() > 10
    expect(page.locator("#charts-caption")).to_contain_text("limits")


def test_a_signal_leads_to_its_packs_history(demo, visiting):
    page = visiting(demo).open("/charts?measure=total_oxygen")
    first = page.locator("#charts-words table a").first
    run = first.inner_text()
    first.click()
    expect(page.get_by_role("heading", name=f"Run {run}")).to_be_focused()
    expect(page.locator(".events li").first).to_be_visible()


def test_the_verdicts_are_read_and_opened(demo, visiting):
    page = visiting(demo).open("/practices?measure=haze")
    items = page.locator(".verdict-item")
    expect(items.first).to_be_visible(timeout=60_000)
    told = [" ".join(text.split()) for text in page.locator(".verdict").all_inner_texts()]
    assert {"Lowers", "Cannot tell yet"} <= {text.split(" ", 1)[-1] for text in told}
    expect(page.locator("#practices-answer")).to_contain_text("haze")
    items.first.locator("summary.verdict-row").click()
    expect(items.first.get_by_text("95 % interval", exact=True)).to_be_visible()
    with page.expect_download() as download:
        page.locator("#practices-verdicts .take-away").get_by_role("link", name="csv").click()
    text = download.value.path().read_text(encoding="utf-8-sig")
    assert "# Ledger state:" in text
    assert "Rouse time" in text


def test_the_demo_is_called_invented_wherever_it_is_shown(demo, visiting):
    visit = visiting(demo)
    for path in ("/", "/packs", "/charts", "/practices"):
        expect(visit.open(path).get_by_role("note")).to_contain_text("Invented data.")
    assert truth.BREWERY.startswith("Marram Lock Brewery")
    expect(visit.page.get_by_role("note")).to_contain_text("Marram Lock Brewery")
