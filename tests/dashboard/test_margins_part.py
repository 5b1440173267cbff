"""Can a person set the smallest difference that matters, with name and reason, and take it back?"""

import pandas as pd
import pytest
from dash.exceptions import PreventUpdate

from analysis.findings.margins import decided_margins
from dashboard.pages import practices as page
from dashboard.parts import margins as part
from dashboard.parts.context import context

SAID = (12.0, "%", "P40", "every", "the panel sees no less", "AB")


@pytest.fixture
def told(on_table, monkeypatch):
    states = []
    monkeypatch.setattr("dashboard.parts.margins.announce", states.append)
    return states


def test_a_margin_is_set_in_a_persons_name(told):
    said, value = part.set_margin(1, "total_oxygen", *SAID)
    assert "It is set" in str(said)
    assert value is None
    (one,) = decided_margins(context().ledger)
    assert (one.measure, one.recipe, one.format, one.value, one.unit) == ("total_oxygen", "P40", None, 12.0, "%")
    assert (one.by, one.because) == ("AB", "the panel sees no less")
    assert told == [context().ledger.state]


@pytest.mark.parametrize(
    ("place", "value", "said"),
    [(0, None, "how large"), (0, 0, "how large"), (0, "x", "how large"), (0, 100, "below 100"), (1, "pint", "not set"),
     (3, "jug", "not set"), (4, " ", "Say why"), (5, None, "Say your name")],
)  # fmt: skip
def test_what_is_missing_or_makes_no_sense_is_said_and_nothing_is_set(told, place, value, said):
    answers = [*SAID]
    answers[place] = value
    fault, _ = part.set_margin(1, "total_oxygen", *answers)
    assert said in str(fault)
    assert "Traceback" not in str(fault)
    assert decided_margins(context().ledger) == ()
    assert told == []


def test_nothing_happens_before_it_is_asked_for(told):
    with pytest.raises(PreventUpdate):
        part.set_margin(None, "total_oxygen", *SAID)
    with pytest.raises(PreventUpdate):
        part.take_back([0], "a slip", "AB")


def test_the_margins_of_a_measure_are_listed_with_who_and_when(told):
    assert "a working default is used" in str(part.offer("papery", 0)[3])
    part.set_margin(1, "papery", 0.4, "points", "every", "can", "as we agreed", "CD")
    units, unit, recipes, listed = part.offer("papery", 0)
    assert ([u["value"] for u in units], unit) == (["points"], "points")
    assert {"P40", "I62", "every"} <= {r["value"] for r in recipes}
    assert "0.4 points for every recipe, can: as we agreed (CD," in str(listed)


def test_margins_stand_by_recipe_and_format_with_the_latest_last():
    at = pd.to_datetime(["2026-01-01", "2026-02-01", "2026-01-05"])
    targets = pd.DataFrame(
        {"recipe": ["P40", "P40", None], "format": [None, None, "keg"], "quantity": "haze", "margin": [0.3, 0.2, 0.5],
         "by": ["AB", "CD", "AB"], "at": at}
    )  # fmt: skip
    assert part._counting(targets, "haze") == [
        ("P40", "every format", "0.2 EBC", "CD", "1 February 2026"),
        ("every recipe", "keg", "0.5 EBC", "AB", "5 January 2026"),
    ]


def test_a_margin_is_taken_back_for_a_reason(told, triggered):
    part.set_margin(1, "total_oxygen", *SAID)
    (one,) = decided_margins(context().ledger)
    triggered(f'{{"entry":{one.number},"type":"margin-back"}}.n_clicks')
    assert "Say why" in str(part.take_back([1], "", "AB"))
    assert "taken back" in str(part.take_back([1], "a slip", "AB"))
    assert decided_margins(context().ledger) == ()
    assert "meanwhile" in str(part.take_back([1], "a slip", "AB"))


def test_the_page_has_the_form():
    assert "Set the smallest difference that matters" in str(page.layout())
