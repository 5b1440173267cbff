"""Is each trap that observed practices set avoided, from the pack table to the verdict?"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.findings.practice_effects import AT_ONE_LOOK
from analysis.findings.practice_rounding import grid_of, rounding_caution, shares_lost
from analysis.findings.practice_rows import Candidate
from analysis.findings.practices import practices
from analysis.verdicts import Verdict
from analysis.vocabulary import PRACTICES, further_practice
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

SHIFTING = (Verdict.RAISES, Verdict.LOWERS)


def streams(count, seed=7):
    return [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(count)]


def told(brewery, rng):
    return practices(pack_table_of(simulate_packs(brewery, rng), brewery), "total_oxygen")


def effect_of(finding, name="practice_0"):
    return next(e for e in finding.practices if name in e.practice.split(" + "))


def is_nominal(hits, of, rate=0.05):
    """Whether a rate is not surely above its nominal value."""
    return stats.binom.sf(hits - 1, of, rate) > 0.01


def by_batch(rows):
    return rows.groupby("batch", sort=False).agg(
        y=("total_oxygen", lambda v: np.log(v).mean()), x=("practice_0", "first"), recipe=("recipe", "first")
    )


def stepped(brewery, rng, at, recipes=None):
    """A brewery's packs whose first practice changes once, in some recipes only where they are named."""
    rows = simulate_packs(brewery, rng)
    after = rows["batch"].astype(int) - 2001 >= at
    return rows.assign(practice_0=(after & (rows["recipe"].isin(recipes) if recipes else True)).astype(float))


def before_and_after(rows):
    """The plain t-test's p."""
    batches = by_batch(rows)
    return stats.ttest_ind(batches["y"][batches["x"] == 0], batches["y"][batches["x"] == 1]).pvalue


def test_packs_of_a_batch_are_not_counted_as_batches():
    brewery = SmallBrewery(batches=20, packs=24, effects=(0.0,), recipes=1, batch=0.15, pack=0.15, tank=0.0)
    hits = naive = 0
    for rng in streams(100):
        rows = simulate_packs(brewery, rng)
        hits += effect_of(practices(pack_table_of(rows, brewery), "total_oxygen")).judgement.p <= 0.05
        naive += stats.linregress(rows["practice_0"], np.log(rows["total_oxygen"])).pvalue <= 0.05
    assert is_nominal(hits, 100)
    assert naive > 30


def test_eight_batches_are_judged_with_few_degrees_of_freedom():
    brewery = SmallBrewery(batches=8, packs=6, effects=(0.0,), recipes=1, tank=0.0)
    findings = [told(brewery, rng) for rng in streams(150)]
    judged = [e.judgement for f in findings for e in f.practices]
    assert len(judged) == 150
    assert is_nominal(sum(j.p <= 0.05 for j in judged), 150)
    assert max(j.effect.df for j in judged) <= 6.5


def test_the_best_of_forty_is_not_believed():
    brewery = SmallBrewery(batches=120, packs=2, effects=(0.0,) * 40)
    findings = [told(brewery, rng) for rng in streams(12)]
    assert sum(any(e.judgement.p <= 0.05 for e in f.practices) for f in findings) >= 8
    assert is_nominal(sum(any(e.verdict in SHIFTING for e in f.practices) for f in findings), 12)


def test_a_practice_that_changed_once_while_things_drift_is_told_nothing():
    brewery = SmallBrewery(batches=60, effects=(0.0, 0.0), memory=0.9, tank=0.0)
    tables = [pack_table_of(stepped(brewery, rng, 30), brewery) for rng in streams(12)]
    effects = [effect_of(practices(table, "total_oxygen")) for table in tables]
    assert sum(before_and_after(table.rows) <= 0.05 for table in tables) >= 3
    assert {e.verdict for e in effects} == {Verdict.CANNOT_TELL_YET}
    assert all("changed only once, about 6 May 2025" in e.judgement.reasons[0] for e in effects)
    assert all("changed only once" in e.cautions[0] for e in effects)


def test_a_change_with_an_unchanged_recipe_beside_it_is_told_and_names_it():
    brewery = SmallBrewery(batches=90, effects=(0.0, 0.0), batch=0.05, tank=0.0)
    rng = np.random.default_rng(3)
    rows = stepped(brewery, rng, 45, ["A10"])
    rows["total_oxygen"] *= np.exp(0.3 * rows["practice_0"])
    found = effect_of(practices(pack_table_of(rows, brewery), "total_oxygen"))
    assert found.verdict is Verdict.RAISES
    assert any("held against A11 and A12, which went on unchanged" in c for c in found.cautions)


def test_two_that_changed_on_one_day_name_each_other():
    brewery = SmallBrewery(batches=60, effects=(0.0, 0.0, 0.0))
    rows = stepped(brewery, np.random.default_rng(5), 30)
    late = rows["batch"].astype(int) >= 2033
    found = practices(pack_table_of(rows.assign(practice_1=late * 1.0), brewery), "total_oxygen")
    assert any("while practice 1 also changed" in c for c in effect_of(found).cautions)


def test_a_change_made_after_three_bad_batches_is_told_nothing():
    """Before and after, regression to the mean makes it look as if the change had helped."""
    brewery = SmallBrewery(batches=40, effects=(0.0,), recipes=1, tank=0.0)
    helped, verdicts = 0, set()
    for rng in streams(40):
        rows = simulate_packs(brewery, rng)
        y = by_batch(rows)["y"]
        worst = int(y.rolling(3).mean().iloc[5:30].argmax()) + 5
        rows = rows.assign(practice_0=(rows["batch"].astype(int) - 2001 > worst).astype(float))
        before, after = y.iloc[worst - 5 : worst + 1], y.iloc[worst + 1 : worst + 7]
        helped += stats.ttest_ind(before, after).pvalue <= 0.05
        verdicts.add(effect_of(practices(pack_table_of(rows, brewery), "total_oxygen")).verdict)
    assert helped > 5
    assert verdicts == {Verdict.CANNOT_TELL_YET}


def test_a_practice_that_answers_bad_batches_again_and_again_is_caught_by_the_next_batch():
    brewery = SmallBrewery(batches=120, effects=(0.0, 0.0), recipes=1, memory=0.8, tank=0.0, pack=0.05)
    rows = simulate_packs(brewery, np.random.default_rng(8))
    y = by_batch(rows)["y"]
    answer = (y.shift(1) > y.mean()).astype(float)
    found = practices(pack_table_of(rows.assign(practice_0=rows["batch"].map(answer)), brewery), "total_oxygen")
    assert found.controls.followed == ("practice 0",)
    assert {e.verdict for e in found.practices} == {Verdict.CANNOT_TELL_YET}
    assert "practice 0 of the next batch seems to matter to this one" in found.cautions[0]
    assert found.as_document()["controls"]["passed"] is False


def test_controls_are_quiet_where_nothing_is_wrong():
    brewery = SmallBrewery(effects=(0.2, 0.0, -0.1, 0.0))
    failed = [bool(told(brewery, rng).controls.sentences) for rng in streams(40)]
    assert is_nominal(sum(failed), 40, 0.02)


def test_recipes_pooled_would_turn_the_sign():
    """x 1 2 3 | 6 7 8 and y 10 9 8 | 20 19 18: pooled +1.71, within −1.00."""
    x, y = np.array([1, 2, 3, 6, 7, 8.0]), np.array([10, 9, 8, 20, 19, 18.0])
    assert np.polyfit(x, y, 1)[0] == pytest.approx(1.71, abs=0.005)
    brewery = SmallBrewery(batches=48, effects=(0.0,), recipes=1, packs=3)
    rows = simulate_packs(brewery, np.random.default_rng(2))
    batch = rows["batch"].astype(int).to_numpy() - 2001
    noise = np.random.default_rng(3).normal(0, 0.2, 48)[batch] + np.random.default_rng(4).normal(0, 0.1, len(rows))
    rows = rows.assign(practice_0=x[batch % 6], chill_haze=y[batch % 6] + noise, chill_haze_meter="HZ1",
                       recipe=np.where(batch % 6 < 3, "A10", "A11"))  # fmt: skip
    found = effect_of(practices(pack_table_of(rows, brewery), "chill_haze"))
    assert found.verdict is Verdict.LOWERS
    assert found.effect.low < -1.0 < found.effect.high


def test_two_that_move_in_part_together_are_told_jointly():
    brewery = SmallBrewery(batches=80, effects=(0.032, 0.032), together=0.93, recipes=1)
    joint = [f for rng in streams(30) if (f := told(brewery, rng)).joint]
    assert len(joint) >= 8
    for finding in joint:
        assert not any(e.verdict in SHIFTING for e in finding.practices)
        assert finding.joint[0].practices == ("practice_0", "practice_1")
        assert all(e.cautions[0].startswith("cannot separate practice 0 and practice 1") for e in finding.practices)


def test_a_joint_statement_without_effects_is_seldom():
    brewery = SmallBrewery(batches=80, effects=(0.0, 0.0), together=0.93, recipes=1)
    assert is_nominal(sum(bool(told(brewery, rng).joint) for rng in streams(60)), 60)


def with_time_cold(brewery, rng, direct):
    """The first practice lengthens the time cold, which moves oxygen; ``direct`` is its own part."""
    rows = simulate_packs(brewery, rng)
    done = by_batch(rows)["x"]
    days = 0.9 * done + np.sqrt(1 - 0.81) * rng.normal(size=len(done))
    moved = rows["batch"].map(0.25 * days + direct * done)
    return rows.assign(cold_hours=rows["batch"].map(96 + 24 * days), total_oxygen=rows["total_oxygen"] * np.exp(moved))


def test_a_practice_that_works_through_a_time_is_not_called_small():
    brewery = SmallBrewery(batches=150, effects=(0.0,), recipes=1, tank=0.0, batch=0.1)
    rows = with_time_cold(brewery, np.random.default_rng(12), 0.0)
    table = pack_table_of(rows, brewery)
    found = effect_of(practices(replace(table, practices=(*table.practices, PRACTICES["cold_hours"])), "total_oxygen"))
    assert abs(found.judgement.effect.estimate) < 0.1
    assert found.verdict is Verdict.CANNOT_TELL_YET
    assert "may run through time cold" in found.judgement.reasons[0]
    assert found.alone is not None
    assert found.alone.low > 0


def test_a_practice_written_down_coarsely_says_by_how_much_it_looks_smaller():
    brewery = SmallBrewery(batches=200, effects=(0.3,), recipes=1, packs=3)
    rows = simulate_packs(brewery, np.random.default_rng(9))
    coarse = rows.assign(practice_0=2 * np.round(rows["practice_0"] / 2))
    found = effect_of(practices(pack_table_of(coarse, brewery), "total_oxygen"))
    exact = effect_of(practices(pack_table_of(rows, brewery), "total_oxygen"))
    assert any("written down in steps of 2" in c and "looks smaller than it is" in c for c in found.cautions)
    assert found.judgement.effect.estimate < 0.9 * exact.judgement.effect.estimate
    assert not any("written down in steps" in c for c in exact.cautions)


@pytest.mark.parametrize(
    ("values", "grid"),
    [([10, 20, 35], 5.0), ([15, 45, 60], 15.0), ([1.5, 2, 3], 0.0), ([0, 1], 0.0), ([2.1e-6, 3e-6, 3.7e-6], 0.0)],
)
def test_the_grid_of_written_values_is_seen(values, grid):
    assert grid_of(pd.Series(values, dtype=float)) == grid


@pytest.mark.parametrize(
    ("few", "many"),
    [
        ((10.0, 20.0, 45.0), 40),  # off any grid that wide, though all stand on one of 5
        ((0.5, 1.0, 1.5, 2.0), 40),
    ],
)
def test_a_few_values_in_many_batches_stand_for_what_was_nearest_to_them(few, many):
    """What is left out, worked out by hand: each value stands evenly for a below it to b above it."""
    rng = np.random.default_rng(4)
    done = pd.Series(rng.choice(few, many))
    frame = pd.DataFrame({"recipe": "A", "batch": [str(i) for i in range(many)], "x_done": done})
    candidate = Candidate(further_practice("done", "number", "batches"), "x_done", 1.0, "")
    found = shares_lost(frame, [candidate])["x_done"]
    ends = [few[0] - (few[1] - few[0]) / 2, *((a + b) / 2 for a, b in pairwise(few)), few[-1] + (few[-1] - few[-2]) / 2]
    dense = {v: np.mean((np.linspace(a, b, 2_001) - v) ** 2) for v, (a, b) in zip(few, pairwise(ends), strict=True)}
    assert found.share == pytest.approx(done.map(dense).mean() / done.var(ddof=0), rel=2e-3)
    assert found.values == len(few)
    assert "as one of only" in rounding_caution(candidate, found)


@pytest.mark.parametrize("values", [[1.1, 2.3, 4.9] * 7, [1.1, 2.3, 4.9, 5.2, 7.7, 8.1] * 20, [1.1, 2.3] * 30])
def test_few_batches_many_values_and_two_values_are_not_taken_for_coarse_writing(values):
    frame = pd.DataFrame({"recipe": "A", "batch": [str(i) for i in range(len(values))], "x_done": values})
    candidate = Candidate(further_practice("done", "number", "batches"), "x_done", 1.0, "")
    assert shares_lost(frame, [candidate]) == {}


def noted(brewery, rng, when):
    rows = simulate_packs(brewery, rng)
    y = by_batch(rows)["y"]
    return rows.assign(practice_1=rows["practice_1"].where(rows["batch"].map(when(y)).astype(bool)))


def test_what_was_noted_only_when_something_went_wrong_is_not_assessed():
    brewery = SmallBrewery(effects=(0.0, 0.0), recipes=1)
    rows = noted(brewery, np.random.default_rng(1), lambda y: y > y.quantile(0.6))
    found = practices(pack_table_of(rows, brewery), "total_oxygen")
    reasons = {n.practice: n.reason for n in found.not_assessed}
    assert "written down only when something went wrong" in reasons["practice_1"]
    assert found.batches == brewery.batches


def test_what_was_noted_now_and_then_takes_no_batches_away():
    brewery = SmallBrewery(effects=(0.0, 0.0), recipes=1)
    rng = np.random.default_rng(2)
    rows = noted(brewery, rng, lambda y: pd.Series(rng.random(len(y)) < 0.5, y.index))
    found = practices(pack_table_of(rows, brewery), "total_oxygen")
    assert "recorded for" in {n.practice: n.reason for n in found.not_assessed}["practice_1"]
    assert found.batches == brewery.batches


@pytest.mark.parametrize(("effect", "warned"), [(0.08, True), (0.3, False)])
def test_a_verdict_that_repeated_looks_do_not_bear_out_says_so(effect, warned):
    brewery = SmallBrewery(effects=(effect,), recipes=1, tank=0.0)
    found = effect_of(told(brewery, np.random.default_rng(6)))
    assert found.verdict is Verdict.RAISES
    assert (found.looked_at_often.low <= 0) is warned
    assert any(words.startswith(AT_ONE_LOOK) for words in found.cautions) is warned


@pytest.mark.parametrize(("margin", "warned"), [(3.5, True), (9.0, False)])
def test_a_practice_called_small_at_one_look_says_so(margin, warned):
    brewery = SmallBrewery(effects=(0.0,), recipes=1, tank=0.0, margin=margin)
    found = effect_of(told(brewery, np.random.default_rng(4)))
    assert found.verdict is Verdict.NO_PRACTICAL_DIFFERENCE
    inside = -margin < found.looked_at_often.low and found.looked_at_often.high < margin
    assert inside is not warned
    assert any(w.startswith(AT_ONE_LOOK) and "inside the margin" in w for w in found.cautions) is warned
