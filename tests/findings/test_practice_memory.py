"""Are neighbouring batches that resemble each other counted for what they are worth?"""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.findings.practice_memory import Memory, memory_of, widened
from analysis.findings.practice_slope import Slope
from analysis.findings.practices import practices
from analysis.models import mixed
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

ALIKE = SmallBrewery(batches=60, effects=(0.0,) * 4, memory=0.6, persistence=0.6, tank=0.0)


def findings_of(brewery, count, seed=17):
    streams = [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(count)]
    return [practices(pack_table_of(simulate_packs(brewery, rng), brewery), "total_oxygen") for rng in streams]


@pytest.fixture(scope="module")
def alike():
    return findings_of(ALIKE, 50)


def test_likeness_from_batch_to_batch_does_not_make_effects(alike):
    told = [e.judgement for f in alike for e in f.practices]
    hits = sum(j.p <= 0.05 for j in told)
    assert stats.binom.sf(hits - 1, len(told), 0.05) > 0.01


def test_the_plain_intervals_would_so_that_the_check_can_fail(alike):
    hits = asked = 0
    for finding in alike:
        fit = finding.grounds.workings
        for column in (c.column for c in finding.grounds.design.candidates):
            at = fit.names.index(column)
            hits += abs(fit.coefficients[at]) > 2.01 * fit.standard_errors[at]
            asked += 1
    assert stats.binom.sf(hits - 1, asked, 0.05) < 0.001


def test_a_widened_interval_says_so(alike):
    said = [c for f in alike for e in f.practices for c in e.cautions if "resemble each other" in c]
    assert len(said) > 20


def test_batches_that_are_not_alike_are_hardly_touched():
    findings = findings_of(SmallBrewery(batches=120, effects=(0.0,) * 3, tank=0.0), 20, 3)
    memories = [memory_of(f.grounds.workings, f.grounds.frame) for f in findings]
    factors = [m.factors.get(f"x_practice_{i}", 1.0) for m in memories for i in range(3)]
    assert np.mean(factors) < 1.03


def test_the_correlation_is_recovered():
    brewery = SmallBrewery(batches=300, packs=6, effects=(0.0,), memory=0.6, tank=0.0, pack=0.02, recipes=1)
    found = [memory_of(f.grounds.workings, f.grounds.frame).batches for f in findings_of(brewery, 6, 5)]
    assert np.mean(found) == pytest.approx(0.6, abs=0.12)


def series_of(count, memory, rng):
    """A series whose neighbours are correlated by ``memory``."""
    shocks = rng.normal(size=count) * np.sqrt(1 - memory**2)
    series = [rng.normal()]
    for shock in shocks[1:]:
        series.append(memory * series[-1] + shock)
    return np.array(series)


def test_degrees_of_freedom_are_those_of_the_squared_standard_error():
    """Satterthwaite 1946: the variance of its log is about 2 over them; here as it comes out in 300 series of 150."""
    x = series_of(150, 0.6, np.random.default_rng(1))
    frame = pd.DataFrame({"batch": [str(i) for i in range(150)], "day": np.arange(150.0), "x": x})
    squares, df = [], []
    for stream in np.random.SeedSequence(2).spawn(300):
        read = frame.assign(y=series_of(150, 0.6, np.random.default_rng(stream)))
        fit = mixed("y ~ x", read)
        memory = memory_of(fit, read)
        squares.append((memory.factors["x"] * fit.standard_errors[fit.names.index("x")]) ** 2)
        df.append(memory.df["x"])
    assert 2.0 / np.var(np.log(squares)) == pytest.approx(np.mean(df), rel=0.2)
    assert np.mean(df) < 70  # against the 148 of batches that are not alike


def test_a_slope_has_no_more_degrees_of_freedom_than_its_memory_leaves():
    slopes = {"a": Slope(1.0, 0.5, 50.0), "b": Slope(1.0, 0.5, 8.0), "c": Slope(1.0, 0.5, 50.0)}
    memory = Memory(0.5, {"a": 1.2, "b": 1.2, "c": 1.0}, {"a": 14.0, "b": 14.0})
    told = widened(slopes, memory)
    assert told["a"] == Slope(1.0, 0.6, 14.0)
    assert told["b"].df == 8.0
    assert told["c"] == slopes["c"]
