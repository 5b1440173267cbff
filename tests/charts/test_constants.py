"""Do the constants from their integrals agree with the printed tables and with what theory says of them?"""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from analysis.charts import c4, chart_constants, d2, d3

TABLE = json.loads((Path(__file__).parents[1] / "published" / "charts_constants.json").read_text())


@pytest.mark.parametrize("row", TABLE["cases"], ids=lambda row: f"n={row['n']}")
def test_printed_table(row):
    constants = chart_constants(row["n"])
    for name, printed in row.items():
        assert getattr(constants, name) == pytest.approx(printed, abs=TABLE["tolerance"]), name


def test_two_readings_have_closed_forms():
    assert d2(2) == pytest.approx(2 / math.sqrt(math.pi), abs=1e-10)
    assert d3(2) == pytest.approx(math.sqrt(2 - 4 / math.pi), abs=1e-10)
    assert c4(2) == pytest.approx(math.sqrt(2 / math.pi), abs=1e-10)


def test_three_readings_have_closed_forms():
    assert d2(3) == pytest.approx(3 / math.sqrt(math.pi), abs=1e-10)
    assert c4(3) == pytest.approx(math.sqrt(math.pi) / 2, abs=1e-10)


@pytest.mark.parametrize("n", [4, 50, 400])
def test_range_of_simulated_samples(n):
    ranges = np.ptp(np.random.default_rng(2).normal(size=(20_000, n)), axis=1)
    standard_error = ranges.std() / math.sqrt(ranges.size)
    assert abs(ranges.mean() - d2(n)) < 4 * standard_error
    assert ranges.std() == pytest.approx(d3(n), rel=0.03)


def test_known_and_estimated_factors_agree():
    constants = chart_constants(7)
    assert constants.B4 * constants.c4 == pytest.approx(constants.B6)
    assert constants.D4 * constants.d2 == pytest.approx(constants.D2)
    assert constants.A2 * constants.d2 == pytest.approx(constants.A)
    assert constants.A3 * constants.c4 == pytest.approx(constants.A)


def test_one_reading_has_no_spread():
    with pytest.raises(ValueError, match="n must be at least 2 readings, got 1"):
        chart_constants(1)
