"""Is the oxygen at closing found again from packs that were opened late, and refused where it is too late?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.late_packs import late_packs
from analysis.findings.pickup import pickup

RATE = 0.05


def rows(rng, runs=60, days=6.0, fresh=True, late=True, packs=4, spread=0.1):
    """Packs of runs that held 80 µg/L at closing, more or less, some read fresh and some late."""
    made = []
    for run in range(runs):
        closing = 80 * np.exp(rng.normal(0, 0.2))
        for age in ((0.1,) if fresh else ()) + ((days,) if late else ()):
            value = closing * np.exp(-RATE * age) * np.exp(rng.normal(0, spread, packs))
            made += [(f"R{run}", "P40", age, one, 0, closing) for one in value]
    return pd.DataFrame(made, columns=["run", "recipe", "age_days", "total_oxygen", "total_oxygen_censored", "closing"])


def test_the_brewerys_own_rate_is_found_from_runs_read_fresh_and_late():
    told = late_packs(rows(np.random.default_rng(1)))
    assert told.rate_runs == 60
    assert told.rate.low < RATE < told.rate.high
    assert told.rate.value == pytest.approx(RATE, rel=0.15)
    assert "your own 60 runs read fresh and late" in told.sentence


def test_the_oxygen_at_closing_lies_in_its_interval_as_often_as_it_says():
    """240 runs read late only, with forty others' rate; 4 standard errors of a share of 95 % below and above."""
    rng = np.random.default_rng(2)
    both, only = rows(rng, runs=40), rows(rng, runs=240, fresh=False)
    only["run"] = "L" + only["run"]
    told = late_packs(pd.concat([both, only], ignore_index=True))
    truth = only.groupby("run")["closing"].first()
    own = {one.run: one.at_closing for one in told.packs if one.fresh is None}
    assert len(own) == 240
    held = np.mean([own[run].low <= closing <= own[run].high for run, closing in truth.items()])
    assert abs(held - 0.95) < 4 * np.sqrt(0.95 * 0.05 / 240)


def test_without_pairs_the_rate_is_a_published_one():
    """A fall from 26 to 12 in ten days, computed from a published fall (read in excerpt)."""
    told = late_packs(rows(np.random.default_rng(3), fresh=False))
    assert told.rate_runs == 0
    assert told.rate.value == pytest.approx(0.0773, abs=5e-5)
    assert "from one published fall; its ± is a working figure" in told.sentence


def test_too_late_and_below_the_limit_are_refused_and_said():
    aged = rows(np.random.default_rng(4), runs=3, days=60.0, fresh=False)
    aged.loc[aged["run"] == "R0", "total_oxygen_censored"] = -1
    told = late_packs(aged)
    assert told.told == 0
    assert [one.is_below for one in told.packs] == [True, False, False]
    assert "below the meter's limit" in told.packs[0].why_not
    assert "too late" in told.packs[1].why_not
    assert "no sign of low oxygen then" in told.sentence
    assert told.as_document()["runs"][0]["at_closing"] is None


def test_some_told_and_some_not():
    rng = np.random.default_rng(5)
    early, aged = rows(rng, runs=2, days=3.0, fresh=False), rows(rng, runs=1, days=60.0, fresh=False)
    aged["run"] = "OLD"
    told = late_packs(pd.concat([early, aged], ignore_index=True))
    assert "of 2 it can be told what they held at closing, of 1 no longer" in told.sentence


def test_fresh_packs_alone_say_nothing():
    assert late_packs(rows(np.random.default_rng(6), late=False)) is None
    assert late_packs(pd.DataFrame({"run": ["R1"]})) is None


def test_the_finding_of_where_oxygen_gets_in_carries_them(simulated_cellar):
    """Every pack opened after forty days: with a published rate and its ± nothing can be told of closing."""
    aged = simulated_cellar.rows.assign(age_days=40.0)
    told = pickup(replace(simulated_cellar, rows=aged))
    assert told.late.told == 0
    assert len(told.late.packs) == aged.loc[aged["total_oxygen"].notna(), "run"].nunique()
    assert told.as_document()["late_packs"]["rate_runs"] == 0
