"""Are the traps what they say: is the truth in them the one that simulations count by?"""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from data_demo.rates import Rate
from data_demo.set_traps import (
    answers_bad_batches,
    below_a_limit,
    by_batch,
    looked_at_again,
    with_limits,
    written_as_few_values,
)
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

BREWERY = SmallBrewery(batches=400, packs=2, effects=(0.0, 0.0), recipes=1, tank=0.0)


def drawn():
    return np.random.default_rng(12)


def test_a_practice_that_answers_bad_batches_follows_the_batch_before_and_moves_nothing():
    batches = by_batch(answers_bad_batches(BREWERY, drawn(), heed=0.8).rows)
    before = batches["y"].shift(1).iloc[1:]
    assert set(batches["x"]) == {0.0, 1.0}
    # A wish with correlation 0.8, cut at its middle: 0.8 times the point-biserial √(2/π) is 0.64.
    assert np.corrcoef(batches["x"].iloc[1:], before)[0, 1] == pytest.approx(0.64, abs=0.08)
    assert stats.linregress(batches["x"], batches["y"]).pvalue > 0.01


def test_a_limit_hides_what_reads_lower_and_nothing_else():
    exact = pack_table_of(simulate_packs(BREWERY, drawn()), BREWERY)
    limited = below_a_limit(exact, 55.0)
    below = exact.rows["total_oxygen"] < 55.0
    assert 0.2 < below.mean() < 0.45
    assert (limited.rows["total_oxygen_censored"] == np.where(below, -1, 0)).all()
    assert (limited.rows.loc[below, "total_oxygen"] == 55.0).all()
    assert limited.rows.loc[~below, "total_oxygen"].equals(exact.rows.loc[~below, "total_oxygen"])
    pd.testing.assert_frame_equal(with_limits(BREWERY, drawn(), 55.0).rows, limited.rows)


def test_a_few_written_values_are_the_nearest_to_what_was_done():
    done = simulate_packs(BREWERY, drawn())["practice_0"].to_numpy()
    written = written_as_few_values(BREWERY, drawn(), (-1.0, 0.5, 2.0)).rows["practice_0"].to_numpy()
    edges = np.array([-0.25, 1.25])
    assert (written == np.array([-1.0, 0.5, 2.0])[np.searchsorted(edges, done)]).all()


def test_a_brewery_looked_at_again_is_the_same_with_more_batches():
    looks = [table.rows for table in looked_at_again(BREWERY, drawn(), (20, 24, 400))]
    assert [rows["batch"].nunique() for rows in looks] == [20, 24, 400]
    for fewer in looks[:2]:
        pd.testing.assert_frame_equal(looks[2].iloc[: len(fewer)], fewer)


def test_bounds_of_a_rate_are_clopper_and_pearsons():
    """Against scipy's exact interval, and at both ends of the range."""
    for hits, of in ((0, 20), (3, 40), (40, 40)):
        exact = stats.binomtest(hits, of).proportion_ci(0.95, method="exact")
        assert (Rate(hits, of).lower, Rate(hits, of).upper) == pytest.approx((exact.low, exact.high), abs=1e-12)
