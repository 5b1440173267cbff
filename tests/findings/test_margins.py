"""Does the brewery's own margin judge, the latest of a recipe, and the strictest of several?"""

from datetime import datetime

import pandas as pd
import pytest

from analysis.findings.margins import (
    decide_margin,
    decided_margins,
    margin_for,
    margins_on_record,
    only_format,
    units_for,
    with_decided_margins,
)
from analysis.findings.table_in_use import table_in_use
from analysis.ledger import Ledger

TARGETS = pd.DataFrame(
    {
        "recipe": ["P40", "P40", None, "I62"],
        "quantity": ["haze", "haze", "haze", "total_oxygen"],
        "margin": [0.3, 0.2, 0.5, 10.0],
        "by": ["AB", "CD", "AB", "AB"],
        "at": pd.to_datetime(["2026-01-01", "2026-03-01", "2026-01-01", "2026-01-01"]),
    }
)


def test_the_latest_margin_of_a_recipe_counts_and_says_who_set_it():
    by_recipe = {m.recipe: m for m in margins_on_record(TARGETS, "haze")}
    assert by_recipe["P40"].value == 0.2
    assert by_recipe["P40"].set_by == "CD"
    assert by_recipe[None].value == 0.5


def test_the_strictest_of_the_recipes_judges():
    margin = margin_for(margins_on_record(TARGETS, "haze"), "haze", {"P40": 1.0, "I62": 1.0}, log=True)
    assert (margin.margin.recipe, margin.absolute) == ("P40", 0.2)


def test_without_any_target_a_working_default_is_marked_as_one():
    margin = margin_for((), "haze", {"P40": 2.0}, log=True)
    assert margin.margin.is_default
    assert margin.absolute == pytest.approx(0.4)


def test_a_target_without_a_margin_sets_none():
    assert margins_on_record(TARGETS.assign(margin=float("nan")), "haze") == ()
    assert margins_on_record(pd.DataFrame(), "haze") == ()


def test_a_margin_for_kegs_says_nothing_of_cans():
    targets = TARGETS.assign(format=[None, None, None, "keg"]).assign(quantity="haze")
    assert {m.recipe for m in margins_on_record(targets, "haze")} == {"P40", None}
    assert {m.recipe for m in margins_on_record(targets, "haze", "keg")} == {"P40", None, "I62"}


def test_one_format_is_named_only_where_all_packs_have_it():
    assert only_format(pd.DataFrame({"format": ["can", "can"]})) == "can"
    assert only_format(pd.DataFrame({"format": ["can", "keg"]})) is None


@pytest.fixture
def ledger(tmp_path):
    with Ledger.open(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as opened:
        yield opened


def set_on_page(ledger, value=8.0, unit="%", recipe="P40", **more):
    return decide_margin(ledger, "haze", value, unit, "the panel sees no less", "AB", recipe=recipe, **more)


def test_a_margin_that_a_person_set_stands_in_the_journal_with_who_when_and_why(ledger):
    at = datetime(2026, 4, 2, 10, 30)
    set_on_page(ledger, at=at)
    (found,) = decided_margins(ledger)
    assert (found.measure, found.recipe, found.value, found.unit) == ("haze", "P40", 8.0, "%")
    assert (found.by, found.at, found.because) == ("AB", at, "the panel sees no less")


def test_the_later_of_a_target_and_a_margin_set_on_the_page_counts(ledger):
    set_on_page(ledger, at=datetime(2026, 4, 2))
    judged = {m.recipe: m for m in margins_on_record(with_decided_margins(TARGETS, decided_margins(ledger)), "haze")}
    assert (judged["P40"].value, judged["P40"].unit, judged["P40"].set_by) == (8.0, "%", "AB")
    assert judged["P40"].set_at == datetime(2026, 4, 2)
    assert judged[None].value == 0.5
    late = TARGETS.assign(at=pd.Timestamp("2026-06-01"))
    assert {m.set_by for m in margins_on_record(with_decided_margins(late, decided_margins(ledger)), "haze")} == {
        "AB",
        "CD",
    }


def test_a_margin_taken_back_counts_no_more_but_did_before(ledger):
    entry = set_on_page(ledger)
    ledger.take_back(entry.number, "a slip", "AB")
    assert decided_margins(ledger) == ()
    assert len(decided_margins(ledger, entry.state)) == 1
    assert decided_margins(ledger, entry.state - 1) == ()


def test_without_a_target_on_record_a_set_margin_still_judges(ledger):
    set_on_page(ledger, 0.3, "EBC", None, format="can")
    targets = with_decided_margins(pd.DataFrame(), decided_margins(ledger))
    (found,) = margins_on_record(targets, "haze", "can")
    assert (found.value, found.unit, found.recipe) == (0.3, "EBC", None)
    assert margins_on_record(targets, "haze", "keg") == ()


def test_it_reaches_the_table_that_verdicts_use(ledger):
    set_on_page(ledger)
    table = table_in_use(ledger)
    assert [m.set_by for m in margins_on_record(table.targets, "haze")] == ["AB"]


@pytest.mark.parametrize(
    ("value", "unit", "format"),
    [(0.0, "EBC", None), (float("nan"), "EBC", None), (float("inf"), "EBC", None), (-1.0, "%", None),
     (100.0, "%", None), (1.0, "NTU", None), (1.0, "EBC", "jug")],
)  # fmt: skip
def test_a_margin_that_makes_no_sense_is_refused(ledger, value, unit, format):
    with pytest.raises(ValueError, match="decide_margin"):
        set_on_page(ledger, value, unit, format=format)
    assert decided_margins(ledger) == ()


def test_an_entry_that_makes_no_sense_is_passed_over(ledger):
    for content in ({}, {"measure": "haze", "value": "much"}, {"measure": "haze", "value": 1.0, "unit": "pint"}):
        ledger.decide("margin", content, "why not", "AB")
    assert decided_margins(ledger) == ()


def test_a_margin_of_zero_or_without_end_on_a_sheet_sets_none():
    for value in (0.0, -3.0, float("inf")):
        assert margins_on_record(TARGETS.assign(margin=value), "haze") == ()


def test_only_what_has_a_share_takes_a_percentage():
    assert units_for("haze") == ("EBC", "%")
    assert units_for("chill_haze") == ("EBC",)
    assert units_for("papery") == ("points",)
