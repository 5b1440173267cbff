"""Are the figures beside a verdict of the same likelihood as the verdict, where a few readings are limits?"""

import numpy as np
import pytest

from analysis.findings.practices import practices
from analysis.models import censored_mixed
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

SLOPE = 0.5


@pytest.fixture(scope="module")
def finding():
    """Oxygen that one practice raises, with one reading in sixteen below the meter's limit."""
    brewery = SmallBrewery(batches=90, packs=3, effects=(SLOPE, 0.0), level=30.0, batch=0.2, pack=0.25)
    rows = simulate_packs(brewery, np.random.default_rng(5))
    limit = float(rows["total_oxygen"].quantile(0.06))
    below = rows["total_oxygen"] < limit
    rows = rows.assign(
        total_oxygen=rows["total_oxygen"].where(~below, limit),
        total_oxygen_censored=np.where(below, -1, 0).astype(np.int8),
    )
    found = practices(pack_table_of(rows, brewery), "total_oxygen")
    assert found.fit.readings.few
    return found


def effect_of(finding, name="practice_0"):
    return next(e for e in finding.practices if e.practice == name)


def refitted(finding, without):
    """The page's formula without some columns, fitted anew to readings and limits [log scale]."""
    design = finding.grounds.design
    terms = [term for term in finding.formula.split(" ~ ")[1].split(" + ") if term not in without]
    return censored_mixed(f"response ~ {' + '.join(terms)}", design.frame, censored="censored")


def test_without_the_trend(finding):
    trend = finding.grounds.design.trend
    assert trend
    again = refitted(finding, trend).coefficient("x_practice_0")
    told = effect_of(finding).without_trend
    assert told.value == pytest.approx(finding.level * np.expm1(again), rel=1e-4)


def test_alone(finding):
    others = {c.column for c in finding.grounds.design.candidates} - {"x_practice_0"}
    again = refitted(finding, others).coefficient("x_practice_0")
    told = effect_of(finding).alone
    assert told.value == pytest.approx(finding.level * np.expm1(again), rel=0.02)  # at the variances without it
    assert told.low < finding.level * np.expm1(SLOPE) < told.high
