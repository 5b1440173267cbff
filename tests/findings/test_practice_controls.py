"""Do the negative controls speak when the model counts wrongly, and only then?"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.findings.practice_controls import Controls, run_controls
from analysis.findings.practices import practices
from analysis.models.criterion import solve
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

BREWERY = SmallBrewery(batches=60, packs=12, effects=(0.0,) * 6, batch=0.2, pack=0.1, tank=0.0)


@pytest.fixture(scope="module")
def grounds():
    rows = simulate_packs(BREWERY, np.random.default_rng(3))
    return practices(pack_table_of(rows, BREWERY), "total_oxygen").grounds


def test_a_model_that_counts_packs_as_batches_is_caught(grounds):
    fit = grounds.workings
    nothing = tuple(np.zeros_like(factor) for factor in fit.solution.factors)
    packs_as_batches = replace(fit, solution=solve(fit.solution.system, nothing))
    controls = run_controls(packs_as_batches, grounds.frame, grounds.design.candidates)
    assert controls.shuffled == 30
    assert controls.shuffled_hits > 8
    assert "dealt out to other batches at random still seem to matter" in controls.sentences[0]


def test_a_model_that_counts_batches_is_not(grounds):
    controls = run_controls(grounds.workings, grounds.frame, grounds.design.candidates)
    assert controls.sentences == ()
    assert controls.following == 6


def test_hits_are_held_against_chance(grounds):
    rates = [
        run_controls(grounds.workings, grounds.frame, grounds.design.candidates, seed=seed).shuffled_hits
        for seed in range(30)
    ]
    assert stats.binom.sf(sum(rates) - 1, 30 * 30, 0.05) > 0.01
    assert sum(rates) > 0


def test_the_same_page_gives_the_same_answer_twice(grounds):
    once, again = (run_controls(grounds.workings, grounds.frame, grounds.design.candidates) for _ in range(2))
    assert once == again


def test_without_practices_there_is_nothing_to_control(grounds):
    assert run_controls(grounds.workings, grounds.frame, []) == Controls()
