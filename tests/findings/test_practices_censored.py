"""Are readings below a limit taken for what they are, never for a value?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.practice_censored import CensoredModel
from analysis.findings.practices import practices
from analysis.models import mixed
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

SLOPE = 0.7
BATCHES = 240
LIMIT = 20.0


@pytest.fixture(scope="module")
def censored():
    """Oxygen that one practice doubles a step, with a meter that ends at 20 µg/L."""
    brewery = SmallBrewery(batches=BATCHES, packs=3, effects=(SLOPE, 0.0), level=14.0, batch=0.2, pack=0.25)
    rows = simulate_packs(brewery, np.random.default_rng(11))
    below = rows["total_oxygen"] < LIMIT
    rows = rows.assign(
        total_oxygen=rows["total_oxygen"].where(~below, LIMIT),
        total_oxygen_censored=np.where(below, -1, 0).astype(np.int8),
    )
    return pack_table_of(rows, brewery)


def slope_of(finding, name="practice_0"):
    return next(e for e in finding.practices if e.practice == name).judgement


def test_the_truth_is_recovered_though_nearly_half_are_limits(censored):
    finding = practices(censored, "total_oxygen")
    share = (censored.rows["total_oxygen_censored"] != 0).mean()
    assert 0.35 < share < 0.5
    assert isinstance(finding.fit, CensoredModel)
    assert slope_of(finding).low <= SLOPE <= slope_of(finding).high
    assert slope_of(finding).effect.standard_error < 0.05
    assert slope_of(finding, "practice_1").low <= 0 <= slope_of(finding, "practice_1").high


@pytest.mark.parametrize("put_in", ["dropped", "the limit", "half the limit"])
def test_the_usual_ways_round_a_limit_miss_it_so_that_the_check_can_fail(censored, put_in):
    rows = censored.rows
    limit = rows["total_oxygen_censored"] != 0
    if put_in == "dropped":
        rows = rows[~limit]
    elif put_in == "half the limit":
        rows = rows.assign(total_oxygen=rows["total_oxygen"].where(~limit, LIMIT / 2))
    rows = rows.assign(total_oxygen_censored=0)
    judged = slope_of(practices(replace(censored, rows=rows), "total_oxygen"))
    assert not judged.low <= SLOPE <= judged.high


def test_the_degrees_of_freedom_are_of_batches(censored):
    finding = practices(censored, "total_oxygen")
    df = slope_of(finding).effect.df
    assert finding.batches - 12 <= df < finding.batches


def test_beside_it_stand_the_readings_to_be_expected(censored):
    finding = practices(censored, "total_oxygen")
    assert isinstance(finding.fit, CensoredModel)
    limit = (finding.compared.frame["censored"] != 0).to_numpy()
    assert (finding.fit.expected[limit] < np.log(LIMIT)).all()
    effect = next(e for e in finding.practices if e.practice == "practice_0")
    assert effect.alone is not None
    assert effect.alone.low < finding.level * np.expm1(SLOPE) < effect.alone.high


def test_without_limits_the_allowance_comes_to_restricted_likelihood(censored):
    """One practice, no trend: the censored path's standard error and that of the exact path agree closely."""
    rows = censored.rows.assign(total_oxygen=np.exp(np.random.default_rng(3).normal(3, 0.3, len(censored.rows))))
    one = rows.assign(total_oxygen_censored=np.where(np.arange(len(rows)) == 0, 1, 0).astype(np.int8))
    one["total_oxygen"] = one["total_oxygen"].where(one["total_oxygen_censored"] == 0, 1e-3)  # ">" next to nothing
    by_limits = slope_of(practices(replace(censored, rows=one), "total_oxygen")).effect
    exact = slope_of(practices(replace(censored, rows=rows.iloc[1:].assign(total_oxygen_censored=0)), "total_oxygen"))
    assert by_limits.standard_error == pytest.approx(exact.effect.standard_error, rel=0.02)


def test_a_page_of_limits_alone_says_why_nothing_can_be_told(censored):
    rows = censored.rows.assign(total_oxygen=LIMIT, total_oxygen_censored=-1)
    finding = practices(replace(censored, rows=rows), "total_oxygen")
    assert finding.practices == ()
    assert "no batch has a reading that is more than a limit" in finding.answer


def test_an_exact_model_loses_slope_where_limits_are_dropped_or_put_in():
    """The trap itself, without the path: dropping "<" or putting the limit in takes a slope down."""
    rng = np.random.default_rng(4)
    x = np.repeat(rng.normal(size=60), 4)
    truth = 0.263 * x + 0.3 * np.repeat(rng.normal(size=60), 4) + 0.6 * rng.normal(size=240)
    frame = pd.DataFrame({"x": x, "batch": np.repeat(np.arange(60), 4), "y": truth})
    dropped = mixed("y ~ x + (1|batch)", frame[frame["y"] > 0]).coefficient("x")
    limit = mixed("y ~ x + (1|batch)", frame.assign(y=frame["y"].clip(lower=0))).coefficient("x")
    assert dropped < 0.75 * 0.263
    assert limit < 0.9 * 0.263
