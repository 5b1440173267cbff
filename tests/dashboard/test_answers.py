"""Are a person's answers about the waiting sheets kept, changed and taken back, and forged ones left out?"""

from __future__ import annotations

import pytest

from dashboard.parts.answers import answered, control_id, merge, overlay, sheet_key

KEY = sheet_key("Cellar log.xlsx", "Rouse")
SHOWN = {KEY: {"kind": "operations", "header_row": 4, "columns": {"Gyle": "batch", "Date": "started_at"}}}


def control(slot: str, value: object, header: str = "") -> dict[str, object]:
    return {"id": control_id(KEY, slot, header), "value": value}


def test_a_control_that_stands_as_it_was_shown_says_nothing():
    controls = [control("kind", "operations"), control("header_row", 4), control("columns", "batch", "Gyle")]
    assert merge(None, controls, SHOWN) == {}


def test_what_was_changed_is_said():
    controls = [
        control("kind", "batches"),
        control("header_row", 7),
        control("columns", "extra", "Gyle"),
        control("units", " ppb ", "DO"),
        control("dates", "day-month", "Date"),
        control("angles", None, "Haze"),
    ]
    assert merge(None, controls, SHOWN) == {
        KEY: {
            "kind": "batches",
            "header_row": 7,
            "columns": {"Gyle": "extra"},
            "units": {"DO": "ppb"},
            "dates": {"Date": "day-month"},
        }
    }


def test_what_was_said_before_stays():
    said = {KEY: {"dates": {"Date": "day-month"}}, "other.csv/other": {"kind": "readings"}}
    assert merge(said, [control("units", "NTU", "Haze")], SHOWN) == {
        KEY: {"dates": {"Date": "day-month"}, "units": {"Haze": "NTU"}},
        "other.csv/other": {"kind": "readings"},
    }


def test_an_emptied_control_takes_its_answer_back():
    said = {KEY: {"dates": {"Date": "day-month"}}}
    shown = overlay(SHOWN, said)
    assert merge(said, [control("dates", None, "Date")], shown)[KEY].get("dates") == {}


def test_an_overlay_shows_what_was_said_over_what_was_found():
    shown = overlay(SHOWN, {KEY: {"kind": "batches", "columns": {"Date": "brewed_on"}}})
    assert shown[KEY]["kind"] == "batches"
    assert shown[KEY]["columns"] == {"Gyle": "batch", "Date": "brewed_on"}
    assert SHOWN[KEY]["columns"]["Date"] == "started_at"


@pytest.mark.parametrize(
    "forged",
    [
        None,
        "text",
        [1],
        {"a": 3},
        {KEY: {"kind": 3, "header_row": -1, "columns": ["x"], "secret": "y"}},
        {KEY: {"header_row": True}},
        {KEY: {"units": {"DO": 4}}},
    ],
)
def test_what_is_no_answer_is_left_out(forged):
    assert answered(forged) == {}


@pytest.mark.parametrize("forged", [{"id": "x", "value": "y"}, {"id": {"slot": "secret"}, "value": "y"}, {}])
def test_a_control_that_is_not_ours_is_left_out(forged):
    assert merge(None, [forged], SHOWN) == {}


def test_an_answer_is_never_longer_than_a_header_can_be():
    said = merge(None, [control("units", "x" * 5_000, "h" * 5_000)], {})
    ((header, unit),) = said[KEY]["units"].items()
    assert (len(header), len(unit)) == (200, 200)
