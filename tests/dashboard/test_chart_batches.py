"""Does the page of charts say what its limits are made from where a batch is packaged in several runs?"""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from analysis.findings.baselines import FrozenPhase
from analysis.findings.series_batches import SEVERAL_RUNS
from analysis.findings.stability import stability
from dashboard.pages import charts
from dashboard.parts.baseline_form import phases_list
from dashboard.parts.chart_choices import asked_of
from dashboard.parts.chart_view import view
from dashboard.parts.chart_words import caption, rules_words, series_parts
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

TWO_RUNS = SmallBrewery(batches=60, packs=2, recipes=1, effects=(0.0,), run=0.05, batch=0.25, tank=0.0, margin=None)
OLD = FrozenPhase(
    "total_oxygen", "pack", "A10", "can", None, date(2025, 1, 1), date(2025, 6, 30), "spring", "AQ", unit="run"
)


@pytest.fixture(scope="module")
def table():
    return pack_table_of(simulate_packs(TWO_RUNS, np.random.default_rng(1)), TWO_RUNS)


def test_caption_words_and_rate_count_batches(table):
    finding = stability(table, "total_oxygen")
    (series,) = finding.series
    assert "from 50 runs of 25 batches, 6 January 2025 to" in caption(series, finding)
    said = str(series_parts(series, finding))
    assert "packaged in up to 2 runs" in said
    assert "from batch to batch (" in said and "between the runs of a batch (" in said
    assert "It is no more often where a batch is packaged in several runs" in rules_words(finding)
    assert "50 runs of 25 batches, 6 January 2025 to" in str(phases_list(series, "µg/L"))


def test_the_page_says_it_once_beside_the_chart(table):
    finding = stability(table, "total_oxygen")
    assert SEVERAL_RUNS in finding.cautions
    assert SEVERAL_RUNS not in str(charts.below_part(charts.view(finding, "A10, can")))
    assert "first 25 runs (batches, where one has several)" in str(charts.below_part(charts.view(finding, "A10, can")))


def test_the_memory_is_told_of_batches(table):
    finding = stability(table, "total_oxygen")
    asked = asked_of("total_oxygen", "pack", "A10, can", "memory")
    (said,) = view(finding, "A10, can", asked).said
    assert said.startswith("It is not shown that a batch is like the one before it")


def test_limits_that_each_run_has_of_its_own_are_those_of_the_last(table):
    (series,) = stability(table, "total_oxygen").series
    assert series.kinds_of_limits == 1
    own = replace(series, points=tuple(replace(p, lower=float("nan")) for p in series.points), charted="x")
    assert own.kinds_of_limits == 1
    apart = replace(own, points=(replace(own.points[0], upper=1.0), *own.points[1:]))
    assert apart.kinds_of_limits == 2
    assert "of the last run" in caption(apart, stability(table, "total_oxygen"))
    assert "of the last run" not in caption(own, stability(table, "total_oxygen"))


def test_a_baseline_frozen_run_by_run_is_told_with_its_limits_of_then(table):
    (series,) = stability(table, "total_oxygen", phases=[OLD]).series
    told = str(phases_list(series, "µg/L"))
    assert "limits were made run by run, as if each run were a batch" in told
    (now,) = stability(table, "total_oxygen", phases=[replace(OLD, unit="batch")]).series
    assert "run by run" not in str(phases_list(now, "µg/L"))


def test_with_one_run_a_batch_none_of_it_is_said():
    single = replace(TWO_RUNS, run=0.0)
    finding = stability(pack_table_of(simulate_packs(single, np.random.default_rng(1)), single), "total_oxygen")
    (series,) = finding.series
    said = f"{caption(series, finding)}{series_parts(series, finding)}{rules_words(finding)}{phases_list(series, '')}"
    assert "25 runs of 6 January 2025" in said
    assert "batches" not in said and "packaged in up to" not in said
