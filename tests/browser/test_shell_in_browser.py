"""Does the frame around the pages behave: navigation, focus, titles, light and dark, a narrow screen, faults?"""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

import dashboard.parts.charted as charts_page


def test_navigation_moves_the_focus_to_the_heading_and_names_the_tab(empty, visiting):
    page = visiting(empty).open("/")
    page.get_by_role("link", name="Packs", exact=True).click()
    heading = page.get_by_role("heading", name="Packs", level=1)
    expect(heading).to_be_focused()
    expect(page).to_have_title("Packs · Dropbright")
    expect(page.locator(".rail-link[aria-current=page]")).to_have_text("Packs")


def test_an_unknown_path_says_so_and_leads_back(empty, visiting):
    visit = visiting(empty)
    answer = visit.page.goto(f"{empty}/nowhere")
    assert answer is not None
    assert answer.status == 404
    page = visit.page
    expect(page.get_by_role("heading", name="There is no page here")).to_be_visible()
    page.get_by_role("link", name="Go to Intake").click()
    expect(page.get_by_role("heading", name="Intake", level=1)).to_be_visible()
    # The browser itself notes a 404 of the page that was asked for; nothing else may have gone wrong.
    visit.faults[:] = [fault for fault in visit.faults if "404 (NOT FOUND)" not in fault]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_colours_follow_the_system_until_somebody_chooses(empty, visiting, scheme):
    page = visiting(empty, scheme=scheme).open("/")
    root = page.locator("html")
    expect(root).to_have_attribute("data-mantine-color-scheme", scheme)
    page.get_by_role("button", name="Change between light and dark").click()
    other = {"light": "dark", "dark": "light"}[scheme]
    expect(root).to_have_attribute("data-mantine-color-scheme", other)
    page.reload()
    expect(root).to_have_attribute("data-mantine-color-scheme", other)


def test_the_first_stop_of_the_keyboard_skips_to_the_page(empty, visiting):
    page = visiting(empty).open("/")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the page")).to_be_focused()


def test_on_a_phone_the_pages_are_behind_a_button(empty, visiting):
    page = visiting(empty, width=390, height=844).open("/")
    link = page.get_by_role("link", name="Practices", exact=True)
    expect(link).to_be_hidden()
    button = page.get_by_role("button", name="Pages")
    expect(button).to_have_attribute("aria-expanded", "false")
    button.click()
    expect(button).to_have_attribute("aria-expanded", "true")
    link.click()
    expect(page.get_by_role("heading", name="Practices", level=1)).to_be_visible()
    expect(button).to_have_attribute("aria-expanded", "false")


@pytest.mark.parametrize("path", ["/", "/packs", "/charts", "/practices"])
def test_with_nothing_on_record_each_page_says_what_to_do(empty, visiting, path):
    page = visiting(empty).open(path)
    if path == "/":
        expect(page.get_by_text("Nothing has been taken in yet.")).to_be_visible()
    else:
        expect(page.locator(".empty").get_by_role("link", name="Intake")).to_be_visible()


def test_a_fault_of_the_server_is_told_plainly_and_never_as_a_trace(own_demo, visiting, monkeypatch, caplog):
    def broken(*_about, **_further):
        raise RuntimeError("the inside of the machine")

    monkeypatch.setattr(charts_page, "stability", broken)
    page = visiting(own_demo).open("/charts")  # a dashboard that has answered nothing yet, so that it has to ask
    told = page.get_by_role("alert")
    expect(told).to_contain_text("This could not be worked out.")
    said = told.inner_text()
    reference = re.search(r"under ([0-9a-f]{6})", said)
    assert reference is not None
    assert "the inside of the machine" not in page.content()
    assert "Traceback" not in page.content()
    assert reference.group(1) in caplog.text
    assert "the inside of the machine" in caplog.text


def test_with_nothing_on_record_nothing_is_offered_that_would_do_nothing(empty, visiting):
    page = visiting(empty).answered("/review")
    expect(page.get_by_role("button", name="Close the review")).to_be_hidden()
    page = visiting(empty).answered("/meters")
    expect(page.get_by_label("Checks of").first).to_be_hidden()
