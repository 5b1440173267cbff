"""Is the invented brewery what its stated truth says it is?"""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from data_demo import Brewery, run_frame, simulate
from data_demo.laboratory import meter_bias
from data_demo.packaging import climb_of
from data_demo.physics import air_saturation, partition
from data_demo.schedule import FERMENTERS
from data_demo.truth import (
    CLIMB,
    EFFECTS,
    METER_DRIFT,
    METERS,
    NO_EFFECT,
    NOW,
    OXYGEN_SHIFT,
    PAIR,
    RECIPES,
    SPREADS,
    TRAP,
    effect,
)

ASKED = (
    "rouse_minutes", "rouse_count", "isinglass_dose", "silica_sol_dose", "finings_count", "cone_dumps", "dry_hop_rate",
    "cold_hours", "days_since_dump", "transfers", "air_bled", "fill_temperature", "yeast_generation",
)  # fmt: skip


@pytest.fixture(scope="module")
def made() -> Brewery:
    return simulate()


@pytest.fixture(scope="module")
def runs(made: Brewery) -> pd.DataFrame:
    frame = run_frame(made)
    during = frame["packed_at"].between(pd.Timestamp(OXYGEN_SHIFT.begins), pd.Timestamp(OXYGEN_SHIFT.repaired))
    shift = (during & (frame["line"] == OXYGEN_SHIFT.line)).astype(float)
    climb = [climb_of(code, at) for code, at in zip(frame["recipe"], frame["packed_at"], strict=True)]
    return frame.assign(climb=climb, shift=shift)


@pytest.fixture(scope="module")
def fits(runs: pd.DataFrame) -> dict[str, object]:
    """Least squares on run means with recipes apart; errors clustered by batch. The pair enters by its first member."""
    packs = runs[runs["format"] != "keg"]
    return {
        "haze": _fit("haze", runs, "climb"),
        "total_oxygen": _fit("total_oxygen", packs, "C(format) + C(line) + shift"),
    }


def _fit(measure: str, frame: pd.DataFrame, more: str) -> object:
    groups = frame["batch"].astype("category").cat.codes
    model = smf.ols(f"np.log({measure}) ~ {' + '.join(ASKED)} + C(recipe) + {more}", frame)
    return model.fit(cov_type="cluster", cov_kwds={"groups": groups}, use_t=True)


def _truth(practice: str, measure: str) -> float:
    if practice == PAIR.first and measure == "haze":
        return PAIR.joint_log_effect / next(e.step for e in EFFECTS if e.practice == PAIR.first)
    return effect(practice, measure)


def test_the_same_brewery_each_time(made: Brewery) -> None:
    simulate.cache_clear()
    again = simulate()
    assert again is not made
    assert [dataclasses.astuple(job) for job in again.jobs] == [dataclasses.astuple(job) for job in made.jobs]
    assert [pack.true_oxygen for pack in again.packs] == [pack.true_oxygen for pack in made.packs]
    pd.testing.assert_frame_equal(run_frame(again), run_frame(made))


@pytest.mark.parametrize("measure", ["haze", "total_oxygen"])
@pytest.mark.parametrize("practice", ASKED)
def test_each_true_effect_lies_in_its_interval(fits: dict[str, object], measure: str, practice: str) -> None:
    low, high = fits[measure].conf_int().loc[practice]
    assert low <= _truth(practice, measure) <= high


@pytest.mark.parametrize("each", [e for e in EFFECTS if e.told in ("raises", "lowers")], ids=lambda e: e.practice)
def test_an_effect_that_must_be_told_is_far_from_nothing(fits: dict[str, object], each: object) -> None:
    assert abs(fits[each.measure].tvalues[each.practice]) > 3
    assert np.sign(fits[each.measure].params[each.practice]) == np.sign(each.log_effect)


def test_the_effects_that_are_nothing_are_stated_nowhere_as_something() -> None:
    assert not {(e.practice, m) for e in EFFECTS for m in ("haze", "total_oxygen") if effect(e.practice, m)} & {
        (p, m) for p in NO_EFFECT for m in ("haze", "total_oxygen")
    }


def test_the_pair_moves_together(runs: pd.DataFrame) -> None:
    fined = runs[runs[PAIR.first] > 0]
    assert fined[PAIR.first].corr(fined[PAIR.second]) > PAIR.least_correlation
    parts = [e.log_effect * (PAIR.ratio if e.practice == PAIR.second else 1) for e in EFFECTS if "silica" in e.practice]
    parts += [e.log_effect * PAIR.ratio for e in EFFECTS if e.practice == PAIR.second]
    assert sum(parts) == pytest.approx(PAIR.joint_log_effect)


def test_pooling_recipes_turns_the_sign(runs: pd.DataFrame) -> None:
    pooled = smf.ols(f"np.log({TRAP.measure}) ~ {TRAP.practice}", runs).fit()
    within = smf.ols(f"np.log({TRAP.measure}) ~ {TRAP.practice} + C(recipe)", runs).fit()
    assert np.sign(pooled.params[TRAP.practice]) == TRAP.pooled_sign
    assert pooled.pvalues[TRAP.practice] < 1e-6
    assert np.sign(within.params[TRAP.practice]) == TRAP.within_sign
    assert within.pvalues[TRAP.practice] < 1e-3


def test_about_half_of_the_spread_of_packs_lies_between_batches() -> None:
    assert all(spread.between_batches == pytest.approx(0.5, abs=0.05) for spread in SPREADS.values())


def test_the_shift_is_as_high_as_stated(fits: dict[str, object], runs: pd.DataFrame) -> None:
    low, high = fits["total_oxygen"].conf_int().loc["shift"]
    assert low <= OXYGEN_SHIFT.log_effect <= high
    assert low > 0.15
    assert ((runs["shift"] == 1) & (runs["recipe"] == "P40")).sum() >= 9


def test_one_recipe_climbs_slowly(fits: dict[str, object], runs: pd.DataFrame) -> None:
    low, high = fits["haze"].conf_int().loc["climb"]
    assert low <= 1 <= high
    assert low > 0.4
    assert runs["climb"].max() == pytest.approx(CLIMB.log_effect)
    assert all(climb_of(r.code, NOW) == 0 for r in RECIPES if r.code != CLIMB.recipe)


def test_one_meter_drifts_from_its_date_and_the_others_are_steady(made: Brewery) -> None:
    water = [c for c in made.checks if c.against == "air-saturated water"]
    for meter in METERS[:2]:
        own = [c for c in water if c.meter == meter]
        gone = np.log([c.observed / c.reference for c in own]) - meter.log_bias
        late = np.array([c.checked_at.date() >= METER_DRIFT.begins for c in own])
        assert np.abs(gone[~late]).max() < 4 * meter.check_spread
        assert (gone[late][-1] > 0.15) == (meter.name == METER_DRIFT.meter)
    assert meter_bias(METERS[1], NOW) == pytest.approx(METERS[1].log_bias + METER_DRIFT.log_per_week * 138 / 7)


def test_no_tank_holds_two_batches_at_once(made: Brewery) -> None:
    stays: dict[str, list[tuple[object, object]]] = {}
    for batch in made.batches:
        places = [(batch.fermenter, batch.brewed_at), *((m.to_vessel, m.moved_at) for m in batch.moves)]
        leaves = [*(m.moved_at for m in batch.moves), batch.pack_at]
        if batch.into:
            places = places[:-1]
        for (vessel, begins), ends in zip(places, leaves, strict=False):
            stays.setdefault(vessel, []).append((begins, ends))
    assert set(FERMENTERS) < set(stays)
    for held in stays.values():
        ordered = sorted(held)
        assert all(first[1] <= second[0] for first, second in pairwise(ordered))


def test_each_batch_is_done_with_in_order(made: Brewery) -> None:
    by_key = {batch.key: batch for batch in made.batches}
    for batch in made.batches:
        moved = [move.moved_at for move in batch.moves]
        assert batch.brewed_at < batch.chill_at < batch.settle_at < batch.pack_at
        assert moved == sorted(moved)
        assert all(batch.settle_at < at < batch.pack_at for at in moved)
    assert all(by_key[job.key].brewed_at < job.started_at < NOW for job in made.jobs)
    assert {batch.packed for batch in made.batches} == {True, False}


def test_some_numbers_come_round_again_and_some_batches_are_blended(made: Brewery) -> None:
    numbers = [batch.number for batch in made.batches]
    assert len(set(numbers)) < len(numbers)
    assert len({batch.key for batch in made.batches}) == len(numbers)
    blends = [run for run in made.runs if len(run.sources) > 1]
    assert len(blends) >= 3
    assert all(sum(source.share for source in run.sources) == pytest.approx(1) for run in blends)


def test_the_physics_agrees_with_published_figures() -> None:
    """Benson & Krause's table and the gas-liquid ratios of Vilachá & Uhlig 1985, both read second-hand."""
    assert air_saturation(20.0) == pytest.approx(9.0924, abs=0.01)
    assert air_saturation(20.0, 0.9) == pytest.approx(8.162, abs=0.01)
    assert partition(20.0, 17, 355) == pytest.approx(2.4, abs=0.06)
    assert partition(5.0, 25, 651) == pytest.approx(1.9, abs=0.06)


def test_readings_are_plausible_and_some_lie_below_the_limit(made: Brewery) -> None:
    cans = [p.total for p in made.packs if p.total is not None]
    assert min(cans) > 25
    assert max(cans) < 260
    assert sum(p.dissolved < 5 for p in made.packs) >= 10
    assert sum(r.value < 5 for r in made.tank_readings if r.quantity == "dissolved_oxygen") >= 20
    assert len(made.packs) * 3 < 8_000
