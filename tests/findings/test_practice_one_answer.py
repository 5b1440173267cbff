"""Is a practice called small only where it is small for every recipe, at every dose, and whatever else was done?"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.findings.practice_depth import deepen
from analysis.findings.practices import practices
from analysis.models import joint_test
from analysis.verdicts import Verdict
from analysis.vocabulary import PRACTICES
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

EVEN = SmallBrewery(batches=120, effects=(0.0, 0.0), recipes=3, packs=3, tank=0.0, margin=12.0)


def rows_of(brewery=EVEN, seed=8):
    return simulate_packs(brewery, np.random.default_rng(seed))


def told(rows, name="practice_0", brewery=EVEN, further=()):
    table = pack_table_of(rows, brewery)
    finding = practices(replace(table, practices=(*table.practices, *further)), "total_oxygen")
    return finding, next(e for e in finding.practices if e.practice == name)


def moved(rows, log_effect):
    return rows.assign(total_oxygen=rows["total_oxygen"] * np.exp(log_effect))


def test_a_practice_that_does_nothing_anywhere_is_small():
    _, effect = told(rows_of())
    assert effect.verdict is Verdict.NO_PRACTICAL_DIFFERENCE
    assert not any("one answer" in c for c in effect.cautions)


def opposite(rows, size):
    """One recipe up, one down, so that there is nothing on average."""
    return moved(rows, rows["recipe"].map({"A10": size, "A11": -size}).fillna(0.0) * rows["practice_0"])


def test_what_raises_one_recipe_and_lowers_another_is_not_small():
    finding, effect = told(opposite(rows_of(), 0.3))
    assert abs(effect.percent) < 20
    assert effect.verdict is Verdict.CANNOT_TELL_YET
    said = "recipes differ in it beyond chance: one answer does not hold for all of them"
    assert said in effect.cautions
    assert effect.judgement.reasons == (said,)
    assert (
        "what practice 0 does to total package oxygen is not the same in all circumstances"
        in finding.answer.replace("What", "what")
    )
    assert finding.practices[0].practice == "practice_0", "what matters stands before what does not"
    assert {r.recipe: r.effect.value > 0 for r in deepen(finding, "practice_0").by_recipe}["A10"]
    told_of = next(e for e in finding.as_document()["practices"] if e["practice"] == "practice_0")
    assert told_of["advice"] == "More batches will not make one answer of it: look at one recipe at a time."
    assert "none will do: look apart" in {row[-1] for row in finding.in_words()[1]}


def test_recipes_that_differ_by_less_than_the_margin_leave_it_small_and_are_named():
    rows = opposite(rows_of(EVEN.changed(batches=300, batch=0.05, pack=0.05)), 0.05)
    _, effect = told(rows, brewery=EVEN)
    assert effect.verdict is Verdict.NO_PRACTICAL_DIFFERENCE
    assert any(c.startswith("recipes differ in it") for c in effect.cautions)


def test_an_effect_that_is_least_in_the_middle_is_not_small():
    rows = rows_of(EVEN.changed(recipes=1))
    finding, effect = told(moved(rows, 0.25 * (rows["practice_0"] - rows["practice_0"].mean()) ** 2))
    assert effect.verdict is Verdict.CANNOT_TELL_YET
    assert "its effect bends: one step does not do the same at every dose" in effect.cautions
    assert deepen(finding, "practice_0").curve


def test_rousing_that_works_with_finings_alone_is_not_small():
    rows = rows_of()
    rng = np.random.default_rng(2)
    batch = rows["batch"].astype(int).to_numpy() - 2001
    fined, minutes = (rng.random(120) < 0.5)[batch].astype(float), rng.uniform(10, 60, 120)[batch]
    rows = moved(rows.assign(rouse_minutes=minutes, finings_count=fined), -0.5 * minutes / 15 * (fined - 0.5))
    further = (PRACTICES["rouse_minutes"], PRACTICES["finings_count"])
    finding, effect = told(rows, "rouse_minutes", further=further)
    assert effect.verdict is not Verdict.NO_PRACTICAL_DIFFERENCE
    assert any(c.startswith("it depends on whether there are finings in the tank") for c in effect.cautions)
    (met,) = deepen(finding, "rouse_minutes").interactions
    assert met.differs


def test_without_anything_of_the_sort_it_is_seldom_said():
    """At most 5 pages in 100; the bound is the upper end of a 99 % interval of the count of 40."""
    brewery = EVEN.changed(batches=60, effects=(0.0,) * 5)
    pages = [told(rows_of(brewery, 100 + k), brewery=brewery)[0] for k in range(40)]
    said = sum(any("one answer" in c or "bends" in c for e in page.practices for c in e.cautions) for page in pages)
    assert said <= stats.binom.ppf(0.99, 40, 0.05)


@pytest.mark.parametrize("packs", [1, 3])
def test_it_is_seen_with_one_pack_a_batch_too(packs):
    _, effect = told(opposite(rows_of(EVEN.changed(packs=packs)), 0.3))
    assert any(c.startswith("recipes differ in it") for c in effect.cautions)


def test_of_two_that_are_surely_small_it_is_not_said_that_they_matter_together():
    brewery = SmallBrewery(
        batches=300, effects=(0.03, 0.03), recipes=1, together=0.8, batch=0.08, pack=0.05, tank=0.0, margin=15.0
    )
    finding, effect = told(rows_of(brewery, 4), brewery=brewery)
    assert {e.verdict for e in finding.practices} == {Verdict.NO_PRACTICAL_DIFFERENCE}
    assert any(c.startswith("moves in part with") for c in effect.cautions)
    fit = finding.grounds.workings
    assert joint_test(fit, ["x_practice_0", "x_practice_1"]).p < 0.001, "or nothing is tested here"
    assert finding.joint == ()
    assert "matter" not in finding.answer
