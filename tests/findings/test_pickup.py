"""Is oxygen found where the invented brewery lets it in, and is a "<" neither its limit nor nothing?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.findings.oxygen_limits import WORKING_LIMITS, OwnLimit, give_up_limit, oxygen_limits, set_limit
from analysis.findings.oxygen_steps import OxygenSteps, oxygen_steps
from analysis.findings.pickup import pickup
from analysis.findings.pickup_points import points_passed
from analysis.findings.pickup_practices import among_all, practice_rise
from analysis.findings.pickup_rises import rise
from analysis.ledger import Ledger
from analysis.vocabulary import PRACTICES, further_practice
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
        frame([(value, np.nan) for value in rises]).assign(recipe=recipe, bled=done),
        further_practice("bled", "yes_no", "operations"),
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


def test_a_numeric_practice_is_told_for_its_step_within_recipes():
    """Two transfers let in 6 more than one; the recipe that is moved more often rises by 30 more all the same."""
    rng = np.random.default_rng(10)
    recipe = np.repeat(["A", "B"], 40)
    moved = 1.0 + (rng.random(80) < np.where(recipe == "A", 0.2, 0.8))
    rises = 5 + 30.0 * (recipe == "B") + 6 * moved + rng.normal(0, 1, 80)
    told = practice_rise(
        frame([(value, np.nan) for value in rises]).assign(recipe=recipe, transfers=moved), PRACTICES["transfers"]
    )
    assert told.difference.low <= 6 <= told.difference.high
    assert told.difference.high < 8
    assert (told.step, told.batches, told.with_it) == ("one transfer", 80, None)


def test_a_step_of_a_practice_is_a_brewers_step():
    """0.4 a minute, so 6 for the 15 minutes that a rouse is told in."""
    minutes = np.tile([10.0, 20.0, 30.0, 40.0], 5)
    rng = np.random.default_rng(11)
    own = frame([(0.4 * m + rng.normal(0, 0.1), np.nan) for m in minutes]).assign(rouse_minutes=minutes)
    told = practice_rise(own, PRACTICES["rouse_minutes"])
    assert told.difference.value == pytest.approx(6, abs=0.2)
    assert told.step == "15 min"


def test_a_practice_that_hardly_moved_or_few_batches_tell_nothing():
    same = frame([(float(i), np.nan) for i in range(20)]).assign(transfers=[1.0] * 17 + [2.0] * 3)
    assert practice_rise(same, PRACTICES["transfers"]) is None
    few = frame([(float(i), np.nan) for i in range(8)]).assign(transfers=[1.0, 2.0] * 4)
    assert practice_rise(few, PRACTICES["transfers"]) is None


def test_numeric_practices_are_among_those_told(steps):
    told = {p.practice: p for p in steps["racking"].practices}
    assert {"transfers", "cone_dumps", "yeast_generation"} <= set(told)
    assert "fill_temperature" not in told
    assert {p.practice for p in steps["rouse"].practices} >= {"rouse_minutes", "air_bled"}
    own_rouse = next(p for p in steps["rouse"].practices if p.practice == "rouse_minutes")
    assert own_rouse.label == "Minutes of that rouse"
    assert "transfers" not in {p.practice for p in steps["to_filler"].practices}


def test_what_holds_is_told_after_allowing_for_all_that_were_compared(found):
    """Source of the adjustment: Benjamini and Hochberg 1995; here by hand, p·m/rank with the running least."""
    every = [p for step in found.steps for p in step.practices]
    ordered = sorted(every, key=lambda one: one.p)
    by_hand = np.minimum.accumulate([p.p * len(every) / (k + 1) for k, p in reversed(list(enumerate(ordered)))])[::-1]
    assert [p.q for p in ordered] == pytest.approx(np.minimum(by_hand, 1).tolist())
    assert among_all([]) == ()
    rouse = next(step for step in found.steps if step.step == "rouse")
    assert [p.practice for p in rouse.practices if p.holds] == ["air_bled"]


def test_without_any_effect_hardly_any_is_told():
    """Forty breweries of ten practices that do nothing: one told in 5 % of them at most, 3.3 standard errors above."""
    told = 0
    for seed in range(40):
        rng = np.random.default_rng(600 + seed)
        own = frame([(value, np.nan) for value in rng.normal(10, 3, 40)])
        practices = [further_practice(f"p{k}", "number", "batches") for k in range(10)]
        own = own.assign(**{p.name: rng.normal(0, p.step, 40) for p in practices})
        found = among_all([tuple(practice_rise(own, p) for p in practices)])
        told += any(one.holds for one in found[0])
    assert told <= 40 * (0.05 + 3.3 * np.sqrt(0.05 * 0.95 / 40))


@pytest.fixture
def ledger(tmp_path):
    with Ledger.open(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as opened:
        yield opened


def test_the_brewerys_own_limit_counts_before_a_working_one(simulated_cellar, ledger):
    set_limit(ledger, "bright_tank", 10, 20, "our meter reads to 1", "A. Maltby")
    set_limit(ledger, "bright_tank", 5, 20, "and we mean it", "A. Maltby")
    (limit,) = oxygen_limits(ledger)
    assert "Bright tank: good up to 5.00 µg/L, action from 20.0 µg/L, set by A. Maltby on " in limit.sentence
    told = pickup(simulated_cellar, limits=(limit,))
    usual = pickup(simulated_cellar)
    own, working = (next(p for p in one.points if p.limit.point == "bright_tank") for one in (told, usual))
    assert (own.own_target, own.whose, own.good, own.act) == (True, "A. Maltby", 5, 20)
    assert (working.own_target, working.good) == (False, 30)
    assert own.passed > working.passed
    assert "above your target of 5.00 µg/L" in told.answer
    give_up_limit(ledger, "bright_tank", "a slip", "A. Maltby")
    assert oxygen_limits(ledger)[0].good == 10


def test_limits_out_of_order_are_refused(ledger):
    with pytest.raises(ValueError, match="point must be one of"):
        set_limit(ledger, "moon", 10, 20, "why", "who")
    with pytest.raises(ValueError, match="act at least good"):
        set_limit(ledger, "pack", 30, 20, "why", "who")
    with pytest.raises(ValueError, match="must have a limit"):
        give_up_limit(ledger, "pack", "why", "who")
    assert ledger.state == 0


def test_each_pack_is_held_to_the_target_of_its_recipe_and_format():
    targets = pd.DataFrame(
        {
            "recipe": ["A", None],
            "format": [None, "can"],
            "quantity": "total_oxygen",
            "lower": np.nan,
            "upper": [40.0, 90],
        }
    )
    levels = pd.DataFrame(
        {"stage": "pack", "batch": list("abc"), "recipe": ["A", "B", "B"], "format": ["can", "can", "keg"],
         "value": [60.0, 60.0, 120.0], "censored": 0}
    )  # fmt: skip
    (pack,) = points_passed(OxygenSteps(frame([]).reindex(columns=["step", "batch", "low"]), levels), targets)
    assert (pack.passed, pack.batches) == (2, 3)
    assert (pack.good, pack.good_to) == (40, 100)
    assert not pack.own_target


def test_a_practice_that_turns_its_sign_is_warned_of(found):
    assert any("Air bled goes with less over one step and with more over another" in said for said in found.cautions)


def test_the_document_says_whose_limits_and_which_practices_hold(simulated_cellar):
    own = OwnLimit("rouse", 2, 4, "A. Maltby", pd.Timestamp("2026-03-02").to_pydatetime(), "why")
    document = pickup(simulated_cellar, limits=(own,)).as_document()
    rouse = next(point for point in document["points"] if point["point"] == "rouse")
    assert (rouse["limit"], rouse["limit_is"], rouse["set_by"], rouse["act_above"]) == (
        2,
        "the brewery's",
        "A. Maltby",
        4,
    )
    assert {"step", "p", "q", "holds"} <= set(document["steps"][0]["practices"][0])
