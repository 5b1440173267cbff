"""Is oxygen found where the invented brewery lets it in, and is a "<" neither its limit nor nothing?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.findings.oxygen_steps import OxygenSteps, oxygen_steps
from analysis.findings.pickup import pickup
from analysis.findings.pickup_points import WORKING_LIMITS, points_passed
from analysis.findings.pickup_rises import practice_rise, rise
from data_demo import truth
from data_demo.tanks import _ROUSE_OXYGEN


@pytest.fixture(scope="module")
def found(simulated_cellar):
    return pickup(simulated_cellar)


@pytest.fixture(scope="module")
def steps(found):
    return {step.step: step for step in found.steps}


def test_the_largest_step_is_from_the_filler_to_the_closed_pack(found, steps):
    assert max(steps, key=lambda name: steps[name].rise.value) == "closing"
    assert "from filler to closed pack" in found.answer


def test_the_share_that_the_filler_accounts_for_is_the_true_one(found):
    """The true share is of an ordinary can; bottles take up more, so that the mean share lies a little below it."""
    share = found.balance.accounted
    assert share.low < share.value < share.high
    assert truth.PICKUP.filler - 0.05 < share.value < truth.PICKUP.filler + 0.02
    assert found.balance.at_filler + found.balance.closing == pytest.approx(found.balance.pack)


def test_what_bleeding_the_hose_saves_is_within_its_interval(steps):
    """A rouse lets in the stated oxygen, three times as much where the hose was not bled."""
    bled = next(p for p in steps["rouse"].practices if p.practice == "air_bled")
    assert bled.difference.low <= -2 * _ROUSE_OXYGEN <= bled.difference.high
    assert bled.difference.high < 0


def test_the_rise_over_a_rouse_is_the_true_one(steps, simulated_cellar):
    bled = simulated_cellar.rows.groupby("batch")["air_bled"].mean().mean()
    true = _ROUSE_OXYGEN * (bled + 3 * (1 - bled))
    # The share bled among the batches read differs from that of all; 0.1 of it moves the rise by 0.8.
    assert steps["rouse"].rise.low - 0.8 <= true <= steps["rouse"].rise.high + 0.8


def test_the_pack_passes_the_brewerys_own_target(found):
    pack = next(point for point in found.points if point.limit.point == "pack")
    assert pack.own_target
    assert pack.good == 100
    others = [point for point in found.points if point.limit.point != "pack"]
    assert others
    assert not any(point.own_target for point in others)


def test_points_stand_in_the_order_of_how_often_they_are_passed(found):
    shares = [point.share for point in found.points]
    assert shares == sorted(shares, reverse=True)
    assert all(point.low <= point.share <= point.high for point in found.points)
    assert {point.limit.point for point in found.points} == {limit.point for limit in WORKING_LIMITS}


def frame(pairs, recipe="R"):
    """Rises known between two ends, one a batch."""
    rows = [
        {"step": "rouse", "batch": str(i), "run": None, "recipe": recipe, "low": low, "upper": upper}
        for i, (low, upper) in enumerate(pairs)
    ]
    return pd.DataFrame(rows)


def test_exact_rises_are_a_t_interval():
    """Source: Student's t, 97.5 % point of 4 degrees of freedom 2.7764 (any table)."""
    told = rise(frame([(value, np.nan) for value in (1.0, 2.0, 3.0, 4.0, 5.0)]))
    assert told.value == 3.0
    assert told.high - 3.0 == pytest.approx(2.7764 * np.sqrt(2.5 / 5), rel=1e-4)


def test_rises_known_between_two_ends_recover_the_mean():
    """200 batches whose first reading is mostly below the limit; within four standard errors of the truth."""
    rng = np.random.default_rng(8)
    before = rng.normal(4.5, 1.5, 200).clip(0.1)
    after = before + rng.normal(8.0, 2.0, 200)
    hidden = before < 5
    told = rise(
        frame(list(zip(np.where(hidden, after - 5, after - before), np.where(hidden, after, np.nan), strict=True)))
    )
    assert hidden.sum() > 100
    assert abs(told.value - 8.0) < 4 * told.standard_error
    limit_for_reading = float(np.where(hidden, after - 5, after - before).mean())
    assert abs(told.value - 8.0) < abs(limit_for_reading - 8.0)


def test_a_practice_is_compared_within_recipes():
    """The practice adds 3; it is done mostly in the recipe that rises by 20 more, which pooling would lay to it."""
    rng = np.random.default_rng(9)
    recipe = np.repeat(["A", "B"], 40)
    done = np.concatenate([np.arange(40) % 5 == 0, np.arange(40) % 5 != 0]).astype(float)
    rises = 5 + 20.0 * (recipe == "B") + 3 * done + rng.normal(0, 1, 80)
    told = practice_rise(
        frame([(value, np.nan) for value in rises]).assign(recipe=recipe, bled=done), "bled", "Air bled"
    )
    assert told.difference.low <= 3 <= told.difference.high
    assert told.difference.high < 6
    assert (told.with_it, told.without_it) == (40, 40)


def test_falls_are_counted_and_said(simulated_cellar):
    readings = simulated_cellar.readings.copy()
    bright = (readings["stage"] == "bright_tank") & (readings["quantity"] == "dissolved_oxygen")
    readings.loc[bright, "value"] = 0.1
    told = pickup(replace(simulated_cellar, readings=readings))
    racking = next(step for step in told.steps if step.step == "racking")
    assert racking.falls > 50
    assert racking.rise.high < 0
    assert any("consumption by yeast" in caution for caution in told.cautions)


def test_aged_packs_do_not_count(simulated_cellar):
    aged = simulated_cellar.rows.assign(age_days=40.0)
    assert "closing" not in {s.step for s in pickup(replace(simulated_cellar, rows=aged)).steps}


def test_filters_choose_the_runs(simulated_cellar):
    told = pickup(simulated_cellar, Filters(recipes=("P40",)))
    assert all({g.value for g in step.groups if g.by == "recipe"} <= {"P40"} for step in told.steps)
    assert told.steps[0].batches < pickup(simulated_cellar).steps[0].batches


def test_nothing_read_is_said(simulated_cellar):
    empty = replace(simulated_cellar, readings=simulated_cellar.readings[:0], rows=simulated_cellar.rows[:0])
    told = pickup(empty)
    assert told.steps == ()
    assert told.balance is None
    assert "Too few batches" in told.answer


def test_a_hidden_value_passes_a_limit_only_where_it_must():
    steps = OxygenSteps(
        frame([(22.0, 27.0), (18.0, 23.0), (21.0, np.nan)]),
        pd.DataFrame({"stage": "fermenter", "batch": ["a", "b"], "value": [40.0, 5.0], "censored": [0, -1]}),
    )
    by_point = {p.limit.point: p for p in points_passed(steps, pd.DataFrame())}
    assert (by_point["rouse"].passed, by_point["rouse"].batches) == (2, 3)
    assert (by_point["fermenter"].passed, by_point["fermenter"].batches) == (1, 2)


def test_the_cautions_about_gas_and_tanks_stand_beside_it(found):
    said = " ".join(found.cautions)
    for source in ("EH40", "1910.146", "ACGIH", "Confined Spaces Regulations 1997"):
        assert source in said
    assert found.cautions[-1].startswith("This advises and clears nothing")


def test_a_rouse_takes_the_readings_around_it(simulated_cellar):
    rouses = oxygen_steps(simulated_cellar).rises.query("step == 'rouse'")
    assert len(rouses) == rouses["batch"].nunique() > 100
