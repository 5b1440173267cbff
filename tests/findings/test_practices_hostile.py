"""Does a page answer, or say why it cannot, whatever the records look like: few, alike, all limits, out of bounds?"""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.practice_checks import model_checks
from analysis.findings.practice_depth import deepen
from analysis.findings.practice_document import InFull
from analysis.findings.practices import practices
from analysis.verdicts import Verdict
from data_demo.set_traps import with_limits
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

PLAIN = SmallBrewery(batches=60, effects=(0.1, 0.0))
SHIFTING = (Verdict.RAISES, Verdict.LOWERS)


def rows_of(brewery=PLAIN, seed=1):
    return simulate_packs(brewery, np.random.default_rng(seed))


def answered(rows, brewery=PLAIN, measure="total_oxygen"):
    """The finding, after everything that a page or a file asks of it."""
    finding = practices(pack_table_of(rows, brewery), measure)
    json.dumps(finding.as_document(), allow_nan=False)
    finding.in_words()
    model_checks(finding)
    for effect in finding.practices:
        json.dumps(deepen(finding, effect.practice).as_document(), allow_nan=False)
    return finding


def effect_of(finding, name="practice_0"):
    return next(e for e in finding.practices if name in e.practice.split(" + "))


@pytest.mark.parametrize("batches", [1, 2, 5])
def test_fewer_than_six_batches_say_how_many_it_takes(batches):
    brewery = PLAIN.changed(batches=batches, recipes=1)
    finding = answered(rows_of(brewery), brewery)
    assert finding.practices == ()
    assert "have been read, and it takes at least 6" in finding.answer.replace("has been", "have been")


@pytest.mark.parametrize("batches", [6, 7, 8, 9])
def test_a_very_small_brewery_is_answered_with_care(batches):
    brewery = PLAIN.changed(batches=batches, recipes=1, effects=(0.0, 0.0))
    finding = answered(rows_of(brewery), brewery)
    assert {e.verdict for e in finding.practices} == {Verdict.CANNOT_TELL_YET}


def test_a_batch_of_each_recipe_compares_nothing():
    brewery = PLAIN.changed(batches=10, recipes=1)
    rows = rows_of(brewery)
    finding = answered(rows.assign(recipe=rows["batch"]), brewery)
    assert finding.answer.endswith("no practice varied enough within a recipe.")


def limits(rows, exact):
    return rows.assign(
        total_oxygen=rows["total_oxygen"].where(exact, 20.0), total_oxygen_censored=np.where(exact, 0, -1)
    )


@pytest.mark.parametrize(("exact", "said"), [(0, "no batch has"), (1, "only 1 batch has"), (3, "only 3 batches have")])
def test_limits_nearly_alone_say_what_it_takes(exact, said):
    rows = rows_of()
    finding = answered(limits(rows, rows["batch"].isin(rows["batch"].unique()[:exact])))
    assert said in finding.answer
    assert "at least 6 are needed" in finding.answer


def test_readings_that_are_all_limits_to_one_side_or_the_other_tell_nothing():
    rows = rows_of()
    finding = answered(rows.assign(total_oxygen_censored=np.where(rows["total_oxygen"] > 60, 1, -1)))
    assert finding.practices == ()


def test_one_limit_among_readings_changes_little():
    rows = rows_of()
    one = np.arange(len(rows)) == 7
    plain, other = answered(rows), answered(rows.assign(total_oxygen_censored=np.where(one, -1, 0)))
    assert effect_of(other).effect.value == pytest.approx(effect_of(plain).effect.value, rel=0.15)


def test_readings_of_zero_are_limits_not_left_out():
    """Leaving them out would leave the best packs out, and bend the slope."""
    brewery = PLAIN.changed(effects=(0.5, 0.0), level=20.0, batches=150)
    rows = rows_of(brewery)
    lowest = rows["total_oxygen"] < rows["total_oxygen"].quantile(0.3)
    finding = answered(rows.assign(total_oxygen=rows["total_oxygen"].where(~lowest, 0.0)), brewery)
    judged = effect_of(finding).judgement
    assert judged.low <= 0.5 <= judged.high
    assert f"{int(lowest.sum())} readings of 0 stand as less than the least that was read." in finding.cautions
    assert finding.packs == len(rows)


def test_one_pack_a_batch_is_plain_regression():
    rows = rows_of().groupby("batch", as_index=False).first()
    finding = answered(rows)
    assert "batch" not in finding.formula
    assert effect_of(finding).verdict is Verdict.RAISES
    X = np.column_stack([np.ones(60), pd.get_dummies(rows["recipe"], drop_first=True, dtype=float),
                         rows[["practice_0", "practice_1"]]])  # fmt: skip
    design = finding.grounds.design.frame
    X = np.column_stack([X, design[[c for c in design if c.startswith("trend_")]]])
    beta, left, *_ = np.linalg.lstsq(X, np.log(rows["total_oxygen"]), rcond=None)
    error = np.sqrt(left[0] / (60 - X.shape[1]) * np.linalg.inv(X.T @ X)[3, 3])
    told = effect_of(finding).judgement.effect
    assert told.estimate == pytest.approx(beta[3], abs=1e-6)
    assert told.standard_error >= error * (1 - 1e-6)


def test_one_pack_a_batch_has_its_controls_and_its_batch_apart():
    rows = rows_of(PLAIN.changed(effects=(0.0, 0.0))).groupby("batch", as_index=False).first()
    one = rows["batch"] == "2020"
    apart = rows.assign(practice_0=rows["practice_0"].where(~one, 12.0),
                        total_oxygen=rows["total_oxygen"] * np.where(one, 4.0, 1.0))  # fmt: skip
    finding = answered(apart, PLAIN.changed(margin=3.0))
    assert finding.controls.shuffled == 10
    assert effect_of(finding).verdict not in SHIFTING or effect_of(finding).rests_on == "2020"


def test_one_pack_a_batch_without_effects_is_seldom_told_of_one():
    brewery = PLAIN.changed(effects=(0.0,) * 4)
    hits = 0
    for seed in range(40):
        rows = rows_of(brewery, seed).groupby("batch", as_index=False).first()
        hits += sum(e.judgement.p <= 0.05 for e in practices(pack_table_of(rows, brewery), "total_oxygen").practices)
    assert hits <= 16  # 8 of 160 expected; more than 16 comes less than once in a hundred


def test_a_mean_copied_to_every_pack_counts_once():
    rows = rows_of()
    copied = rows.assign(total_oxygen=rows.groupby("batch")["total_oxygen"].transform("first"))
    once = answered(rows.groupby("batch", as_index=False).first())
    finding = answered(copied)
    assert effect_of(finding).judgement.p == pytest.approx(effect_of(once).judgement.p, rel=1e-9)
    assert "repeat the one reading of their batch" in finding.left_out[-1].reason


@pytest.mark.parametrize(
    "spoilt",
    [
        lambda r: r.assign(total_oxygen=50.0),
        lambda r: r.assign(total_oxygen=0.0),
        lambda r: r.assign(practice_0=r["practice_0"] * 1e9),
        lambda r: r.assign(practice_0=r["practice_0"] * 1e-9),
        lambda r: r.assign(practice_0=np.where(r["batch"] == "2005", np.inf, r["practice_0"])),
        lambda r: r.assign(recipe=r["recipe"].where(r["batch"] != "2005")),
        lambda r: r.assign(packed_at=r["packed_at"].where(r["batch"] != "2005")),
        lambda r: r.assign(packed_at=pd.Timestamp("2025-01-01")),
        lambda r: r.assign(packed_at=r["packed_at"].dt.to_period("Q").dt.start_time),
        lambda r: r.assign(run=r["run"].where(r["batch"] != "2005")),
        lambda r: r.assign(age_days=np.where(r["batch"] == "2005", np.nan, 1.0)),
        lambda r: r.assign(practice_0=np.where(r["batch"] == "2010", 500.0, 0.01 * r["practice_0"])),
        lambda r: r.iloc[:0],
    ],
)
def test_whatever_is_wrong_with_the_rows_there_is_an_answer(spoilt):
    finding = answered(spoilt(rows_of()))
    assert finding.answer.endswith(".")
    assert not any(e.practice == "practice_1" and e.verdict in SHIFTING for e in finding.practices)


@pytest.mark.parametrize("margin", [0.0, -1.0, float("nan"), float("inf")])
def test_a_margin_that_is_none_is_told_as_a_working_default(margin):
    brewery = PLAIN.changed(margin=margin)
    finding = answered(rows_of(brewery), brewery)
    assert finding.margin.margin.is_default
    assert "working default" in finding.cautions[0]


def test_a_margin_beyond_all_sense_is_said():
    brewery = PLAIN.changed(margin=1e9)
    assert any("as large as what packs read at all" in c for c in answered(rows_of(brewery), brewery).cautions)


def test_what_moves_the_other_way_is_said_so():
    rows = rows_of()
    finding = answered(rows.assign(practice_1=-rows["practice_0"]))
    assert finding.practices[0].spoken == "practice 0 together with less practice 1"


def test_more_practices_than_batches_tell_nothing():
    brewery = PLAIN.changed(batches=20, effects=(0.0,) * 40)
    finding = answered(rows_of(brewery), brewery)
    assert {e.verdict for e in finding.practices} == {Verdict.CANNOT_TELL_YET}
    assert {p.name for p in brewery.practices} == {
        *(name for e in finding.practices for name in e.practice.split(" + ")),
        *(n.practice for n in finding.not_assessed),
    }


@pytest.mark.parametrize("seed", [7, 12, 14, 24])
def test_practices_that_all_but_make_each_other_in_ten_batches_are_answered(seed):
    """Eleven practices of ten batches, each next to a sum of others: no joint test of some can be reckoned there."""
    brewery = PLAIN.changed(batches=10, recipes=1, effects=(0.0,) * 11, together=0.7)
    rows = rows_of(brewery, seed)
    done, little = [rows[f"practice_{k}"] for k in range(11)], 1e-3
    alike = rows.assign(practice_2=done[0] + done[1] + little * done[2])
    alike = alike.assign(
        practice_3=done[0] - done[1] + little * done[3],
        practice_5=done[4] + little * done[5],
    )
    assert answered(alike, brewery).joint == ()


def test_practices_for_which_there_are_no_batches_left_say_so():
    brewery = PLAIN.changed(batches=10, recipes=1, effects=(0.0,) * 14)
    finding = answered(rows_of(brewery, 3), brewery)
    assert {unsaid.reason for unsaid in finding.not_assessed} == {
        "cannot be told beside the other practices: there are not more batches than practices"
    }


@pytest.mark.parametrize(
    ("batches", "practices_told", "seed"), [(9, 9, 0), (9, 12, 1), (11, 12, 2), (12, 14, 9), (8, 10, 5)]
)
def test_a_small_brewery_whose_meter_ends_among_its_readings_is_answered(batches, practices_told, seed):
    """The likelihood may say nothing of how sure a slope is: that practice is named among those that cannot be told."""
    brewery = PLAIN.changed(batches=batches, recipes=2, effects=(0.0,) * practices_told, packs=3, run=0.05)
    table = with_limits(brewery, np.random.default_rng(seed), 60.0)
    finding = practices(table, "total_oxygen")
    json.dumps(InFull(finding).as_document(), allow_nan=False)
    named = {name for e in finding.practices for name in e.practice.split(" + ")}
    assert named | {n.practice for n in finding.not_assessed} >= {p.name for p in brewery.practices}
    assert all(np.isfinite([e.effect.low, e.effect.high]).all() for e in finding.practices)
    assert finding.practices or "there are hardly more batches than practices" in finding.answer


@pytest.mark.parametrize("packs", [1, 3])
def test_one_pack_a_batch_of_which_some_are_limits_is_told_as_several_are(packs):
    """The truth is 0.3; the degrees of freedom are those of batches either way."""
    brewery = PLAIN.changed(batches=80, effects=(0.3, 0.0), recipes=2, packs=packs)
    table = with_limits(brewery, np.random.default_rng(9), 50.0)
    assert 4 < (table.rows.groupby("batch")["total_oxygen_censored"].first() != 0).sum() < 40
    finding = practices(table, "total_oxygen")
    json.dumps(InFull(finding).as_document(), allow_nan=False)
    judged = effect_of(finding).judgement
    assert judged.low < 0.3 < judged.high
    assert judged.low > 0
    assert judged.effect.df < 80


def test_two_that_are_always_together_are_one():
    rows = rows_of()
    finding = answered(rows.assign(practice_1=rows["practice_0"]))
    assert [e.practice for e in finding.practices] == ["practice_0 + practice_1"]
    assert replace(finding).not_assessed[0].practice == "practice_1"
