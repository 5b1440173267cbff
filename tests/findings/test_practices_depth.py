"""Does what stands behind a verdict say where it bends, for whom it holds, and on what it rests?"""

import json
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from analysis.findings.filters import Filters
from analysis.findings.practice_depth import deepen
from analysis.findings.practice_document import InFull
from analysis.findings.practices import practices
from analysis.verdicts import Verdict
from analysis.vocabulary import PRACTICES
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

PLAIN = SmallBrewery(batches=150, effects=(0.12, 0.0), recipes=4, packs=3, tank=0.0)


def rows_of(brewery=PLAIN, seed=6):
    return simulate_packs(brewery, np.random.default_rng(seed))


def finding_of(rows, brewery=PLAIN, further=()):
    table = pack_table_of(rows, brewery)
    return practices(replace(table, practices=(*table.practices, *further)), "total_oxygen")


@pytest.fixture(scope="module")
def plain():
    return finding_of(rows_of())


def effect_of(finding, name="practice_0"):
    return next(e for e in finding.practices if e.practice == name)


def test_nothing_more_is_said_where_a_plain_slope_holds(plain):
    depth = deepen(plain, "practice_0")
    assert (depth.by_recipe, depth.curve, depth.interactions, depth.sentences) == ((), (), (), ())
    assert 0 < depth.recipes_differ_p <= 1
    assert 0 < depth.bends_p <= 1


def test_recipes_that_differ_are_told_each_and_named():
    rows = rows_of(PLAIN.changed(effects=(0.0, 0.0)))
    sign = rows["recipe"].map({"A10": 0.3, "A11": -0.3}).fillna(0.0)
    depth = deepen(finding_of(rows.assign(total_oxygen=rows["total_oxygen"] * np.exp(sign * rows["practice_0"]))),
                   "practice_0")  # fmt: skip
    told = {r.recipe: r.effect for r in depth.by_recipe}
    assert told["A10"].low > 0
    assert told["A11"].high < 0
    assert told["A12"].low < 0 < told["A12"].high
    assert depth.sentences[0].startswith("recipes differ in it: A10 +")


def test_an_effect_that_bends_is_a_curve():
    rows = rows_of(PLAIN.changed(effects=(0.0, 0.0), recipes=1))
    bent = np.exp(0.25 * rows["practice_0"] ** 2)
    depth = deepen(finding_of(rows.assign(total_oxygen=rows["total_oxygen"] * bent)), "practice_0")
    ends, middle = (depth.curve[0], depth.curve[-1]), depth.curve[3]
    assert all(dot.effect.low > 0 for dot in ends)
    assert abs(middle.effect.value) < min(dot.effect.value for dot in ends)
    assert "the effect bends" in depth.sentences[0]


def test_at_the_middle_dose_itself_there_is_nothing_to_tell():
    """An even spread of doses has its middle on the curve's grid: the numbers' noise is no effect of 5e-15 %."""
    brewery = PLAIN.changed(effects=(0.0, 0.0), recipes=1)
    rows = rows_of(brewery)
    batch = rows["batch"].astype(int).to_numpy() - 2001
    even = np.linspace(-2, 2, 150)[np.random.default_rng(1).permutation(150)][batch]
    bent = rows["total_oxygen"] * np.exp(0.2 * even**2)
    depth = deepen(finding_of(rows.assign(practice_0=even, total_oxygen=bent), brewery), "practice_0")
    middle = min(depth.curve, key=lambda dot: abs(dot.at))
    assert abs(middle.at) < 1e-9
    assert (middle.effect.low, middle.effect.value, middle.effect.high) == (0.0, 0.0, 0.0)


def test_rousing_with_and_without_finings_is_told_apart():
    brewery = PLAIN.changed(effects=(0.0, 0.0), recipes=1)
    rows = rows_of(brewery)
    rng = np.random.default_rng(2)
    batch = rows["batch"].astype(int).to_numpy() - 2001
    fined, minutes = (rng.random(150) < 0.5)[batch].astype(float), rng.uniform(10, 60, 150)[batch]
    rows = rows.assign(rouse_minutes=minutes, finings_count=fined)
    rows["total_oxygen"] *= np.exp(-0.2 * minutes / 15 * fined)
    found = finding_of(rows, brewery, (PRACTICES["rouse_minutes"], PRACTICES["finings_count"]))
    depth = deepen(found, "rouse_minutes")
    (met,) = depth.interactions
    assert met.high.high < 0
    assert met.low.low < 0 < met.low.high
    assert any("finings in the tank, without and with them" in s for s in depth.sentences)


def test_a_share_is_told_in_the_kept_unit_at_each_recipes_level(plain):
    depth = deepen(plain, "practice_0")
    share = depth.within.value / plain.level
    levels = plain.grounds.frame.groupby(["recipe", "batch"])["response"].mean().groupby("recipe").mean()
    assert {r.recipe for r in depth.at_levels} == set(levels.index)
    for own in depth.at_levels:
        assert own.level == pytest.approx(np.exp(levels[own.recipe]))
        assert own.effect.value == pytest.approx(share * own.level)
        assert own.effect.low < own.effect.value < own.effect.high


def test_one_recipe_alone_has_no_levels_to_compare():
    brewery = PLAIN.changed(recipes=1)
    assert deepen(finding_of(rows_of(brewery), brewery), "practice_0").at_levels == ()


def test_slopes_within_and_between_recipes_stand_side_by_side():
    brewery = SmallBrewery(batches=160, effects=(-0.1,), recipes=4, recipe_step=0.4, tank=0.0)
    depth = deepen(finding_of(rows_of(brewery), brewery), "practice_0")
    assert depth.within.high < 0
    assert depth.between is not None
    assert depth.between.value > 0


def test_a_verdict_that_rests_on_one_batch_names_it():
    brewery = SmallBrewery(batches=40, effects=(0.0,), recipes=1, tank=0.0, margin=3.0)
    rows = rows_of(brewery, 21)
    one = rows["batch"] == "2020"
    rows = rows.assign(practice_0=rows["practice_0"].where(~one, 12.0),
                       total_oxygen=rows["total_oxygen"] * np.where(one, 3.0, 1.0))  # fmt: skip
    effect = effect_of(finding_of(rows, brewery))
    assert effect.verdict is Verdict.RAISES
    assert effect.rests_on == "2020"
    assert "rests on batch 2020: without it this could not be told" in effect.cautions
    left = effect_of(finding_of(rows[~one], brewery))
    assert left.verdict is not Verdict.RAISES


def test_a_verdict_that_all_batches_carry_rests_on_none(plain):
    assert effect_of(plain).verdict is Verdict.RAISES
    assert effect_of(plain).rests_on is None
    assert not any(without.falls for without in deepen(plain, "practice_0").without)


def test_the_interval_for_many_looks_is_wider(plain):
    effect = effect_of(plain)
    assert effect.looked_at_often is not None
    assert effect.looked_at_often.low < effect.effect.low < effect.effect.high < effect.looked_at_often.high


def test_the_checks_are_those_of_the_model(plain):
    checks = deepen(plain, "practice_0").checks
    assert checks.normality.p > 0.001
    assert 0 < checks.largest_leverage < 1


def test_it_is_json_and_the_page_has_what_is_beside_a_verdict(plain):
    document = json.loads(json.dumps(deepen(plain, "practice_0").as_document(), allow_nan=False))
    assert {"within_recipes", "between_recipes", "by_recipe", "curve", "interactions", "without"} <= set(document)
    told = json.loads(json.dumps(plain.as_document(), allow_nan=False))
    assert {"controls", "joint"} <= set(told)
    assert {"alone", "without_trend", "rests_on", "looked_at_often"} <= set(told["practices"][0])


def test_a_practice_that_is_not_told_is_misuse(plain):
    with pytest.raises(ValueError, match="practice must be one of practice_0, practice_1, got 'rouse'"):
        deepen(plain, "rouse")


def test_the_document_in_full_holds_what_stands_behind_each_verdict(plain):
    told = InFull(plain)
    document = json.loads(json.dumps(told.as_document(), allow_nan=False))
    assert [b["practice"] for b in document["behind"]] == [p["practice"] for p in document["practices"]]
    assert {"within_recipes", "between_recipes", "curve", "interactions"} <= set(document["behind"][0])
    assert document["model_checks"]["largest_leverage"] < 1
    assert (told.answer, told.cautions, told.in_words()) == (plain.answer, plain.cautions, plain.in_words())


@pytest.mark.parametrize(
    ("recipes", "since"),
    [(("W51", "I62"), date(2026, 6, 14)), (("L45", "S48"), date(2026, 5, 15)), (("L45", "S48"), date(2026, 4, 15))],
)
def test_a_question_that_few_batches_cannot_answer_is_left_open(simulated_packs, recipes, since):
    """Kenward and Roger's series breaks down there: no number that is none may stand behind a verdict."""
    finding = practices(simulated_packs, "haze", Filters(recipes=recipes, since=since))
    depths = [deepen(finding, effect.practice) for effect in finding.practices]
    assert depths
    json.dumps([depth.as_document() for depth in depths], allow_nan=False)
    assert any(np.isnan(depth.bends_p) or np.isnan(depth.recipes_differ_p) for depth in depths)


def test_seven_packs_are_too_few_to_check_a_model_by():
    brewery = SmallBrewery(batches=7, effects=(0.0,), recipes=1, packs=1, tank=0.0)
    depth = deepen(finding_of(rows_of(brewery), brewery), "practice_0")
    assert depth.checks is None
    assert depth.as_document()["checks"] is None
