"""Is every practice either compared or named with the reason why not?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.practice_depth import deepen
from analysis.findings.practice_rows import compare_rows, where_it_varies
from analysis.findings.practices import practices
from analysis.vocabulary import MEASURES, further_practice


@pytest.fixture
def haze():
    return MEASURES["haze"]


def test_every_practice_is_compared_or_named(simulated_packs, haze):
    compared = compare_rows(simulated_packs, simulated_packs.rows, haze)
    told = {c.practice.name for c in compared.candidates} | {n.practice for n in compared.not_assessed}
    assert told == {p.name for p in simulated_packs.practices}


def with_column(table, name, values, kind="number"):
    practice = further_practice(name, kind, "batches")
    rows = table.rows.assign(**{practice.name: values})
    return replace(table, rows=rows, practices=(*table.practices, practice)), practice.name


def reason(table, name, measure):
    compared = compare_rows(table, table.rows, measure)
    return {n.practice: n.reason for n in compared.not_assessed}[name]


def test_a_practice_that_never_varies_is_not_compared(simulated_packs, haze):
    table, name = with_column(simulated_packs, "Whirlpool", 15.0)
    assert reason(table, name, haze) == "never varies"


def test_a_practice_that_only_the_recipe_decides_is_not_compared(simulated_packs, haze):
    codes = simulated_packs.rows["recipe"].astype("category").cat.codes.astype(float)
    table, name = with_column(simulated_packs, "Mash steps", codes)
    assert "differs only between recipes" in reason(table, name, haze)


def test_a_practice_of_two_batches_is_not_compared(simulated_packs, haze):
    two = simulated_packs.rows["batch"].unique()[:2]
    table, name = with_column(simulated_packs, "New pump", simulated_packs.rows["batch"].isin(two).astype(float))
    assert "2 batches only" in reason(table, name, haze)


def test_a_practice_seldom_recorded_is_not_compared(simulated_packs, haze):
    few = simulated_packs.rows["batch"].unique()[:4]
    values = np.where(simulated_packs.rows["batch"].isin(few), 1.0, np.nan)
    table, name = with_column(simulated_packs, "Note", values)
    assert "recorded for" in reason(table, name, haze)


def test_aged_packs_say_nothing_of_oxygen_at_closing(simulated_packs):
    aged = simulated_packs.rows.assign(age_days=np.where(simulated_packs.rows["sample"] == "1", 30.0, 0.1))
    compared = compare_rows(simulated_packs, aged, MEASURES["total_oxygen"])
    assert (compared.frame["age_days"] <= 3).all()
    assert compared.left_out[0].rows == int((aged["total_oxygen"].notna() & (aged["sample"] == "1")).sum())
    assert "3 days" in compared.left_out[0].reason


def test_without_readings_every_practice_says_so(simulated_packs):
    table = replace(simulated_packs, rows=simulated_packs.rows.assign(ph=np.nan))
    compared = compare_rows(table, table.rows, MEASURES["ph"])
    assert compared.candidates == ()
    assert len(compared.not_assessed) == len(table.practices)
    assert "no finished pack in this selection has a reading of pH" in compared.not_assessed[0].reason


def test_a_recipe_that_never_had_it_says_nothing_of_none_at_all():
    frame = pd.DataFrame({"recipe": ["A", "A", "B", "B", "C"], "x": [3.0, 4.0, 0.0, 0.0, 9.0]})
    assert where_it_varies(frame, "x").tolist() == [True, True, False, False, False]
    assert where_it_varies(frame.assign(x=1.0), "x").all()


def test_the_range_seen_is_that_of_the_recipes_that_were_fined(simulated_packs):
    """Two of the invented brewery's recipes never get isinglass, the others always 900 mL/hL or more."""
    finding = practices(simulated_packs, "haze")
    (effect,) = (e for e in finding.practices if e.practice == "isinglass_dose")
    (seen,) = (c for c in effect.cautions if c.startswith("range seen"))
    assert 800 < float(seen.split()[2].replace(",", "")) < 1_000


def test_no_curve_reaches_a_dose_that_only_other_recipes_had(simulated_packs):
    """The dose lowers haze twice as fast in its lower half, in the recipes that get any."""
    rows = simulated_packs.rows
    low = (rows["isinglass_dose"] - 1_180).clip(upper=0)
    bent = rows.assign(haze=rows["haze"] * np.exp(np.where(rows["isinglass_dose"] > 0, -low / 100, 0.0)))
    depth = deepen(practices(replace(simulated_packs, rows=bent), "haze"), "isinglass_dose")
    assert depth.curve
    assert all(dot.at > 800 for dot in depth.curve)


def test_readings_that_do_not_count_are_not_called_none(simulated_packs):
    """Oxygen read a month after closing says nothing of the oxygen at closing."""
    late = replace(simulated_packs, rows=simulated_packs.rows.assign(age_days=30.0))
    finding = practices(late, "total_oxygen")
    assert finding.answer.endswith("no finished pack in this selection has a reading of it that counts.")
    assert sum(out.rows for out in finding.left_out) == late.rows["total_oxygen"].notna().sum()
