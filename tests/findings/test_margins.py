"""Does the brewery's own margin judge, the latest of a recipe, and the strictest of several?"""

import pandas as pd
import pytest

from analysis.findings.margins import margin_for, margins_on_record, only_format

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
