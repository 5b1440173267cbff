"""Are names compared as people write them, and small things told as a brewer would say them?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.findings.packs import packs as packs_finding
from analysis.findings.practice_rounding import shares_lost
from analysis.findings.practice_rows import Candidate, compare_rows
from analysis.findings.practice_words import spoken
from analysis.findings.wording import figure
from analysis.vocabulary import further_practice, measure
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

NAMES = pd.DataFrame({"recipe": ["PALE 1", "Stout 3", None], "tank": ["FV1", "Tank Ö", "FV1"]})


@pytest.mark.parametrize(
    ("filters", "kept"),
    [
        (Filters(recipes=("pale  1",)), [0]),
        (Filters(recipes=("stout 3", "Pale 1")), [0, 1]),
        (Filters(tank="tank ö"), [1]),
        (Filters(recipes=("Pale",)), []),
    ],
)
def test_names_are_found_in_any_case(filters: Filters, kept: list[int]) -> None:
    assert filters.apply(NAMES).index.tolist() == kept


@pytest.mark.parametrize(
    ("value", "unit", "told"),
    [(50.0, "mL/hL", "50 mL/hL"), (7.481, "days", "7.48 days"), (0.0, "", "0"), (1200.0, "mL", "1,200 mL")],
)
def test_a_figure_has_no_zeros_that_say_nothing(value: float, unit: str, told: str) -> None:
    assert figure(value, unit) == told


@pytest.mark.parametrize("label", ["Air bled (Y/N)", "Air bled? (y/n)", "Air bled [yes/no]", "Air bled?"])
def test_yes_or_no_is_no_part_of_a_practices_name(label: str) -> None:
    assert spoken(label) == "air bled"


def test_packs_of_an_unknown_beer_are_left_out_and_counted() -> None:
    brewery = SmallBrewery(batches=20, packs=2)
    packs = simulate_packs(brewery, np.random.default_rng(3))
    strange = packs["batch"].isin(packs["batch"].unique()[:2])
    table = pack_table_of(packs.assign(recipe=packs["recipe"].mask(strange)), brewery)
    compared = compare_rows(table, table.rows, measure("total_oxygen"))
    assert [(left.reason, left.rows) for left in compared.left_out] == [("of batches whose recipe is not known", 4)]
    assert compared.batches == 18


def test_a_practice_that_nobody_wrote_down_is_said_to_be_so() -> None:
    brewery = SmallBrewery(batches=20, packs=2)
    packs = simulate_packs(brewery, np.random.default_rng(3)).assign(practice_0=np.nan)
    table = pack_table_of(packs, brewery)
    compared = compare_rows(table, table.rows, measure("total_oxygen"))
    assert ("practice_0", "not recorded for any batch") in [(n.practice, n.reason) for n in compared.not_assessed]


@pytest.mark.parametrize(("times", "is_rounded"), [(1, False), (15, True)])
def test_small_whole_numbers_count_and_were_not_rounded(times: int, is_rounded: bool) -> None:
    draw = np.random.default_rng(5)
    counted = further_practice("Times done", "number", "batches")
    frame = pd.DataFrame({"recipe": "A10", "batch": range(60), "x": draw.integers(0, 4, 60) * float(times)})
    lost = shares_lost(frame, [Candidate(counted, "x", 1.0, "1")])
    assert ("x" in lost) == is_rounded


def test_a_brewery_that_only_tastes_is_told_of_its_runs() -> None:
    nothing = pack_table_of(simulate_packs(SmallBrewery(batches=4), np.random.default_rng(3)).head(0), SmallBrewery())
    tastings = pd.DataFrame({"run": ["R1", "R1", "R2"], "recipe": "A10", "score": [1.0, 2.0, 3.0]})
    unlinked = pd.DataFrame({"kind": ["operations"], "reason": ["no batch number"], "count": [7]})
    told = packs_finding(replace(nothing, tastings=tastings, unlinked=unlinked)).answer
    assert told == "No reading of a finished pack is on record; 2 runs were tasted; 7 records could not be linked."
