"""Does the settling fit recover what made the readings, share between recipes and keep its stated confidence?"""

import numpy as np
import pytest

from analysis.haze import fit_settling, forecast, log_haze

FLOOR, ABOVE, HOURS = np.log(0.9), np.log(10.0), np.log(15.0)


def brewery(rng, batches, readings=5, recipes=3, spread=(0.2, 0.1, 0.05), noise=0.05):
    """Return hours, haze, batch and recipe of a brewery whose recipes differ in level."""
    rows = []
    for batch in range(batches):
        recipe = batch % recipes
        own = np.array([FLOOR + 0.8 * recipe, ABOVE, HOURS]) + rng.normal(0, spread)
        at = np.cumsum([rng.uniform(1, 4), *rng.uniform(14, 26, readings - 1)])
        haze = np.exp(log_haze(own, at) + rng.normal(0, noise, readings))
        rows += [(t, h, f"b{batch}", f"R{recipe}") for t, h in zip(at, haze, strict=True)]
    hours, haze, batch, recipe = zip(*rows, strict=True)
    return np.array(hours), np.array(haze), list(batch), list(recipe)


@pytest.fixture(scope="module")
def fitted():
    return fit_settling(*brewery(np.random.default_rng(1), 60))


def test_the_curve_is_recovered(fitted):
    """The floor within four standard errors of a mean over the last dozen batches, 4 × 0.2/√12."""
    assert fitted.converged
    assert fitted.hours("R0") == pytest.approx(15, rel=0.06)
    assert fitted.reading == pytest.approx(0.05, rel=0.15)
    for recipe in range(3):
        assert abs(fitted.prior(f"R{recipe}").mean[0] - FLOOR - 0.8 * recipe) < 4 * 0.2 / np.sqrt(12)


def test_the_spread_between_batches_is_recovered(fitted):
    assert np.sqrt(fitted.within[0, 0]) == pytest.approx(0.2, rel=0.3)


def test_intervals_hold_as_often_as_they_say(fitted):
    """300 new batches, their last reading foretold from the first two; 4 standard errors of a share of 90 %."""
    rng = np.random.default_rng(2)
    hours, haze, batch, recipe = brewery(rng, 300)
    hits = 0
    for start in range(0, len(hours), 5):
        seen, last = slice(start, start + 2), start + 4
        told = forecast(fitted, recipe[start], hours[seen], haze[seen], hours[last : last + 1])
        hits += told.low[0] <= haze[last] <= told.high[0]
    assert len(set(batch)) == 300
    assert abs(hits / 300 - 0.90) < 4 * np.sqrt(0.9 * 0.1 / 300)


def test_readings_narrow_the_forecast(fitted):
    at = np.array([96.0])
    before = forecast(fitted, "R0", np.array([]), np.array([]), at)
    after = forecast(fitted, "R0", np.array([2.0, 40.0]), np.array([9.0, 1.5]), at)
    assert np.log(after.high / after.low) < 0.7 * np.log(before.high / before.low)


def test_a_recipe_never_read_is_foretold_from_the_others_and_less_surely(fitted):
    at = np.array([80.0])
    known = forecast(fitted, "R1", np.array([]), np.array([]), at)
    unknown = forecast(fitted, "new", np.array([]), np.array([]), at)
    assert np.log(unknown.high / unknown.low) > np.log(known.high / known.low)
    assert unknown.low[0] < known.expected[0] < unknown.high[0]


def test_recipes_with_few_batches_lean_on_the_others():
    """One batch of a recipe, read once and late, has its settling time from the brewery and its level from itself."""
    hours, haze, batch, recipe = brewery(np.random.default_rng(3), 30)
    fit = fit_settling(np.append(hours, 90.0), np.append(haze, 4.0), [*batch, "lone"], [*recipe, "LONE"])
    assert fit.hours("LONE") == pytest.approx(15, rel=0.2)
    assert np.exp(fit.prior("LONE").mean[0]) == pytest.approx(4.0, rel=0.35)


def test_a_recipe_that_climbs_is_expected_where_it_lately_was():
    rng = np.random.default_rng(4)
    hours, haze, batch, recipe = brewery(rng, 60, recipes=1, spread=(0.1, 0.1, 0.05))
    later = np.array([int(name[1:]) >= 40 for name in batch])
    fit = fit_settling(hours, np.where(later, 1.6 * haze, haze), batch, recipe)
    assert np.exp(fit.prior("R0").mean[0]) == pytest.approx(0.9 * 1.6, rel=0.1)


def test_chance_within_a_band_counts_the_draws(fitted):
    told = forecast(fitted, "R0", np.array([2.0, 40.0]), np.array([9.0, 1.5]), np.array([10.0, 200.0]))
    assert told.chance_within(0.0, np.inf) == pytest.approx([1.0, 1.0])
    assert told.chance_within(0.0, told.expected[1])[1] == pytest.approx(0.5, abs=0.02)
    assert (told.chance_within(0.0, 2.0)[0]) < told.chance_within(0.0, 2.0)[1]


def test_too_few_batches_and_misuse():
    assert fit_settling(np.array([1.0, 2.0]), np.array([3.0, 2.0]), ["a", "b"], ["R", "R"]) is None
    with pytest.raises(ValueError, match="one length"):
        fit_settling(np.array([1.0]), np.array([3.0, 2.0]), ["a", "b"], ["R", "R"])
    with pytest.raises(ValueError, match="haze above 0"):
        fit_settling(np.array([1.0, 2.0]), np.array([3.0, 0.0]), ["a", "b"], ["R", "R"])
    fit = fit_settling(*brewery(np.random.default_rng(5), 6))
    with pytest.raises(ValueError, match="level must lie between"):
        forecast(fit, "R0", np.array([]), np.array([]), np.array([1.0]), level=1.0)
