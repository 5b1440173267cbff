"""Are the invented brewery's true effects told, and its trap avoided?"""

import json

import numpy as np
import pandas as pd
import pytest

from analysis.findings.filters import Filters
from analysis.findings.practices import practices
from analysis.verdicts import Verdict
from data_demo import truth


@pytest.fixture(scope="module")
def told(simulated_packs):
    return {measure: practices(simulated_packs, measure) for measure in ("haze", "total_oxygen")}


def effect_of(finding, practice):
    return next(e for e in finding.practices if practice in e.practice.split(" + "))


@pytest.mark.parametrize(
    "effect",
    [e for e in truth.EFFECTS if e.practice not in (truth.PAIR.first, truth.PAIR.second)],
    ids=lambda e: f"{e.practice} on {e.measure}",
)
def test_each_true_effect_lies_in_its_interval(told, effect):
    found = effect_of(told[effect.measure], effect.practice)
    # 10 intervals at 95 %: the false-coverage-adjusted one of a family of 20 keeps all of them at once
    low, high = found.judgement.selected_low, found.judgement.selected_high
    assert low <= effect.log_effect <= high
    assert found.step == effect.step


@pytest.mark.parametrize(
    "effect", [e for e in truth.EFFECTS if e.told in ("raises", "lowers")], ids=lambda e: f"{e.practice} on {e.measure}"
)
def test_the_strong_effects_are_told(told, effect):
    assert str(effect_of(told[effect.measure], effect.practice).verdict) == effect.told


def test_the_pair_is_named_and_judged_together(told):
    pair = effect_of(told["haze"], truth.PAIR.first)
    assert pair.practice == f"{truth.PAIR.first} + {truth.PAIR.second}"
    assert "cannot separate" in pair.cautions[0]
    assert pair.judgement.low <= truth.PAIR.joint_log_effect <= pair.judgement.high
    assert truth.PAIR.second in {n.practice for n in told["haze"].not_assessed}


def test_the_trap_is_there_and_is_not_fallen_into(simulated_packs, told):
    by_run = simulated_packs.rows.groupby("run").agg(x=("rouse_minutes", "first"), y=("haze", "mean")).dropna()
    pooled = np.polyfit(by_run["x"], np.log(by_run["y"]), 1)[0]
    assert np.sign(pooled) == truth.TRAP.pooled_sign
    within = effect_of(told["haze"], truth.TRAP.practice)
    assert np.sign(within.judgement.effect.estimate) == truth.TRAP.within_sign
    assert within.verdict is Verdict.LOWERS


@pytest.mark.parametrize("measure", ["haze", "total_oxygen"])
def test_what_does_nothing_is_never_said_to_do_something(told, measure):
    named = {e.practice: e.verdict for e in told[measure].practices}
    said = {name: v for name, v in named.items() if name.split(":")[0] in truth.NO_EFFECT}
    assert said
    assert not [name for name, v in said.items() if v in (Verdict.RAISES, Verdict.LOWERS)]


def test_the_document_has_the_agreed_shape_and_is_json(told):
    document = json.loads(json.dumps(told["haze"].as_document(), allow_nan=False))
    assert {"measure", "unit", "ledger_state", "runs", "batches", "margin", "practices", "not_assessed"} <= set(
        document
    )
    assert {"value", "unit", "set_by"} <= set(document["margin"])
    keys = {"practice", "step", "step_unit", "effect", "low", "high", "effect_percent", "verdict", "p", "q", "batches",
            "more_batches", "cautions"}  # fmt: skip
    assert all(keys <= set(each) for each in document["practices"])
    assert all(each["low"] <= each["effect"] <= each["high"] for each in document["practices"])


def test_one_recipe_alone_is_refitted(simulated_packs):
    finding = practices(simulated_packs, "haze", Filters(recipes=("P40",)))
    assert finding.batches < practices(simulated_packs, "haze").batches
    assert "recipe" not in finding.formula.split()


def test_a_selection_without_packs_is_answered_with_the_reason(simulated_packs):
    finding = practices(simulated_packs, "haze", Filters(recipes=("X99",)))
    assert finding.practices == ()
    assert "Nothing can be told" in finding.answer
    assert finding.as_document()["margin"] is None


def test_a_measure_that_was_never_read_is_answered_with_the_reason(simulated_packs):
    finding = practices(simulated_packs, "carbon_dioxide")
    assert finding.practices == ()
    assert "carbon dioxide" in finding.answer


def test_six_cans_of_a_run_count_as_one_batch(simulated_packs):
    rows = simulated_packs.rows
    copied = pd.concat([rows, rows.assign(sample=rows["sample"] + "b")], ignore_index=True)
    once = effect_of(practices(simulated_packs, "haze"), "fill_temperature").effect
    twice = effect_of(
        practices(type(simulated_packs)(**{**vars(simulated_packs), "rows": copied}), "haze"), "fill_temperature"
    ).effect
    assert twice.standard_error > 0.85 * once.standard_error
