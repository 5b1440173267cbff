"""Does the crossed study of meters give a published study's figures, and its sums of squares those of the data?"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from analysis.findings.meter_study import Sums, crossed, crossed_from_sums

_PUBLISHED = json.loads((Path(__file__).parents[1] / "published" / "gauge_houf_berman.json").read_text("utf-8"))


@pytest.mark.parametrize("wanted", _PUBLISHED["outputs"], ids=lambda wanted: wanted["name"])
def test_published_gauge_study(wanted):
    study = crossed_from_sums(Sums(**_PUBLISHED["inputs"]))
    assert getattr(study, wanted["name"]) == pytest.approx(wanted["value"], rel=wanted["relative_tolerance"])


def test_sums_of_squares_are_those_of_an_independent_analysis_of_variance():
    rng = np.random.default_rng(1)
    readings = rng.normal(size=(6, 1, 1)) * 3 + rng.normal(size=(1, 4, 1)) + rng.normal(size=(6, 4, 3))
    part, meter, _ = np.indices(readings.shape)
    frame = pd.DataFrame({"y": readings.ravel(), "part": part.ravel(), "meter": meter.ravel()})
    wanted = anova_lm(ols("y ~ C(part) * C(meter)", frame).fit())["sum_sq"].to_list()
    sums = crossed(readings).sums
    assert [sums.part, sums.meter, sums.part_meter, sums.repeat] == pytest.approx(wanted)


def test_variances_are_recovered():
    """Mean of 300 studies; a component's mean lies within four standard errors of the truth (0 cut off at none)."""
    rng = np.random.default_rng(2)
    true = {"part": 9.0, "part_meter": 1.0, "repeat": 1.0}
    found = {name: [] for name in true}
    for _ in range(300):
        shape = (10, 3, 3)
        beer = rng.normal(0, 3, (10, 1, 1)) + rng.normal(0, 1, (1, 3, 1)) + rng.normal(0, 1, (10, 3, 1))
        study = crossed(beer + rng.normal(0, 1, shape))
        for name, values in found.items():
            values.append(getattr(study, name))
    for name, values in found.items():
        error = np.std(values) / np.sqrt(len(values))
        assert abs(np.mean(values) - true[name]) < 4 * error, name


@pytest.mark.parametrize("shape", [(1, 3, 3), (5, 1, 3), (5, 3, 1), (5, 3)])
def test_what_is_not_crossed_is_misuse(shape):
    with pytest.raises(ValueError, match="two parts, meters and repeats"):
        crossed(np.ones(shape))


def test_a_missing_reading_is_misuse():
    readings = np.ones((3, 3, 3))
    readings[0, 0, 0] = np.nan
    with pytest.raises(ValueError, match="missing"):
        crossed(readings)
