"""Does the chart of the spread within runs see an uneven filler that the runs' means do not show?"""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.findings.series_within import within_chart
from analysis.findings.stability import stability
from analysis.vocabulary import measure
from data_demo import truth

OXYGEN = measure("total_oxygen")


@pytest.fixture(scope="module")
def brewed(simulated_packs):
    return replace(simulated_packs, targets=simulated_packs.targets.head(0))


def charted(table, name="P40, can"):
    return next(series for series in stability(table, "total_oxygen").series if series.name == name)


def test_the_spread_within_runs_is_that_of_the_truth(brewed):
    series = charted(brewed)
    found = within_chart(brewed, OXYGEN, "pack", series)
    spread = truth.SPREADS["total_oxygen"]
    assert found.chart.centre == pytest.approx(100 * math.expm1(spread.pack), rel=0.15)
    assert found.chart.unit == "%"
    assert len(found.chart.signals) <= 3  # a standard deviation of a few packs passes its limit once in some 200 runs
    assert "lies between runs" in found.sentences[0]
    assert len(found.chart.points) == len(series.points)


def test_an_uneven_filler_shows_here_and_not_in_the_means(brewed):
    rows = brewed.rows.copy()
    runs = [point.run for point in charted(brewed).points]
    worn = rows["run"].isin(runs[45:])
    place = rows.groupby("run").cumcount()
    count = rows.groupby("run")["run"].transform("size")
    rows.loc[worn, "total_oxygen"] *= np.exp(0.5 * np.where(place % 2, 1, -1) * (count % 2 == 0))[worn]
    uneven = replace(brewed, rows=rows)
    found = within_chart(uneven, OXYGEN, "pack", charted(uneven))
    late = {found.chart.points[signal.at].run for signal in found.chart.signals if signal.side > 0}
    assert len(late & set(runs[45:])) >= 5
    assert all("packs of the run differ" in signal.says for signal in found.chart.signals)


def test_packs_beyond_the_meters_range_are_left_out_and_counted(brewed):
    rows = brewed.rows.copy()
    three = rows.index[(rows["recipe"] == "P40") & (rows["format"] == "can") & rows["total_oxygen"].notna()][:3]
    rows.loc[three, "total_oxygen_censored"] = -1
    table = replace(brewed, rows=rows)
    found = within_chart(table, OXYGEN, "pack", charted(table))
    assert "3 packs lie beyond" in found.sentences[1]


def test_what_cannot_be_charted_says_why(brewed):
    single = replace(brewed, rows=brewed.rows.drop_duplicates("run"))
    assert "had two packs or more" in within_chart(single, OXYGEN, "pack", charted(single)).sentences[0]
    line = stability(brewed, "total_oxygen").across[0]
    assert within_chart(brewed, OXYGEN, "pack", line).chart is None
    few = charted(brewed, "S48, bottle")
    assert "limits want at least 8" in within_chart(brewed, OXYGEN, "pack", few).sentences[0]
