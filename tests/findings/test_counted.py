"""Are counted faults charted by the form that fits them, and taste tests against guessing?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm, poisson

from analysis.findings.baselines import FrozenPhase
from analysis.findings.counted import TASTE_TESTS, countable, counted
from analysis.findings.filters import Filters
from analysis.linking import PackTable
from analysis.vocabulary import further_practice

START = pd.Timestamp("2026-01-05 09:00")
NOTHING = pd.DataFrame()
TESTS = pd.DataFrame(
    {
        "run": ["R3", "R5", "R8", "R9"], "other_run": ["R1", "R2", "R4", "R6"],
        "test": ["triangle", "triangle", "triangle", "duo_trio"],
        "tasted_on": START + pd.to_timedelta([40, 50, 60, 70], unit="D"),
        "tasters": [24.0, 24.0, 30.0, 24.0], "correct": [8.0, 20.0, 10.0, 13.0],
    }
)  # fmt: skip


def cellar(faults, looked_at=None, line="1"):
    """Two cans a run, with what was counted beside each run."""
    n = len(faults)
    rows = pd.DataFrame(
        {
            "run": [f"R{i}" for i in range(n)], "batch": [f"{i}" for i in range(n)], "recipe": "P40", "format": "can",
            "line": line, "tank": "FV1", "packed_at": START + pd.to_timedelta(np.arange(n), unit="D"),
            "leakers": np.asarray(faults, dtype=np.float64),
            "looked_at": 200.0 if looked_at is None else looked_at, "line_speed": 41.5,
        }
    )  # fmt: skip
    practices = (
        further_practice("Leakers", "number", "pack_runs"),
        further_practice("Looked at", "count", "pack_runs"),
        further_practice("Line speed", "number", "pack_runs"),
        further_practice("Yeast generation", "number", "batches"),
    )
    frames = dict.fromkeys(
        ("tastings", "readings", "operations", "batches", "unlinked", "blends", "targets", "not_offered"), NOTHING
    )
    evidence = pd.DataFrame({"kind": ["taste_tests"]})
    twice = pd.concat([rows, rows]).sort_values("packed_at", kind="stable").reset_index(drop=True)
    return PackTable(state=3, rows=twice, evidence=evidence, practices=practices, **frames)


def only(finding):
    assert len(finding.across) == 1
    return finding.across[0]


def test_whole_numbers_beside_the_runs_and_their_shares_are_countable():
    found = {each.name: each.label for each in countable(cellar([1, 2, 0, 3]))}
    assert found == {
        TASTE_TESTS: "Taste tests",
        "counted:leakers": "Leakers",
        "counted:looked_at": "Looked at",
        "counted:leakers/looked_at": "Leakers out of Looked at",
    }
    nobody = cellar([1])
    assert TASTE_TESTS not in {e.name for e in countable(replace(nobody, evidence=nobody.evidence.head(0)))}


def test_faults_by_chance_have_the_poissons_limits_and_a_bad_run_stands_out():
    faults = np.random.default_rng(4).poisson(6, 40)
    faults[33] = 25
    series = only(counted(cellar(faults), "counted:leakers", NOTHING))
    assert len(series.points) == 40
    assert series.centre == pytest.approx(faults.mean())
    assert {signal.at for signal in series.signals if signal.rule == "beyond-limit"} == {33}
    assert "chance alone" in series.charted or "as much as by chance" in series.charted


def test_a_share_is_charted_in_percent_of_what_was_looked_at():
    rng = np.random.default_rng(5)
    sizes = rng.integers(100, 400, 40).astype(float)
    faults = rng.binomial(sizes.astype(int), 0.03)
    finding = counted(cellar(faults, sizes), "counted:leakers/looked_at", NOTHING)
    series = only(finding)
    assert series.unit == "%"
    assert series.centre == pytest.approx(100 * faults.sum() / sizes.sum())
    assert len({point.upper for point in series.points}) > 10
    assert finding.in_words()[1][0][2].endswith("%")


def test_several_faults_a_pack_are_charted_for_each_pack_looked_at():
    """Limits are the Poisson's exact ones for each run's own number of packs; scipy's are the reference."""
    rng = np.random.default_rng(11)
    cans = rng.integers(5, 13, 60).astype(float)
    steady = rng.poisson(1.4 * cans).astype(float)
    steady[7] = cans[7] + 2
    dents = np.where(np.arange(60) == 44, 6 * cans, steady)
    table = cellar(dents, cans)
    names = {each.name: (each.label, each.per_unit) for each in countable(table)}
    assert names["counted:leakers/looked_at"] == ("Leakers per Looked at", True)
    assert "counted:looked_at/leakers" not in names
    finding = counted(table, "counted:leakers/looked_at", NOTHING)
    series = only(finding)
    rate = dents.sum() / cans.sum()
    assert series.points[3].value == pytest.approx(dents[3] / cans[3])
    assert series.centre == pytest.approx(rate)
    assert {signal.at for signal in series.signals if signal.rule == "beyond-limit"} == {44}
    assert len({point.upper for point in series.points}) == len(set(cans))
    assert "for each pack looked at" in series.charted
    assert (finding.measure.unit, series.unit) == ("", "")
    plain = only(counted(cellar(steady, cans), "counted:leakers/looked_at", NOTHING))
    assert "chance alone" in plain.charted
    exact = poisson.ppf(norm.cdf(3), plain.centre * cans) / cans
    assert [point.upper for point in plain.points] == pytest.approx(exact.tolist())


def test_a_count_that_is_no_number_of_packs_makes_nothing_of_another():
    table = cellar([3, 9, 1, 4] * 5, [5.0, 2.0, 8.0, 3.0] * 5)
    renamed = replace(
        table,
        rows=table.rows.rename(columns={"looked_at": "dents"}),
        practices=(further_practice("Leakers", "number", "pack_runs"), further_practice("Dents", "count", "pack_runs")),
    )
    assert {each.name for each in countable(renamed)} == {TASTE_TESTS, "counted:leakers", "counted:dents"}


def test_runs_that_spread_more_than_chance_widen_the_limits_and_it_is_said():
    rng = np.random.default_rng(6)
    faults = rng.poisson(rng.gamma(2, 20, 60))
    series = only(counted(cellar(faults), "counted:leakers", NOTHING))
    assert "times as much as by chance" in series.charted
    assert series.upper > faults.mean() + 4.5 * np.sqrt(faults.mean())
    assert len({signal.at for signal in series.signals}) <= 6


def test_rare_faults_are_charted_by_the_runs_between_them():
    faults = np.zeros(400)
    faults[15::20] = 1
    faults[360:] = np.tile([1, 0], 20)
    series = only(counted(cellar(faults), "counted:leakers", NOTHING))
    assert "faults are rare" in series.charted
    assert len(series.points) == np.count_nonzero(faults) - 1
    assert series.points[0].value == 19
    assert any(signal.side < 0 for signal in series.signals)


def test_lines_are_kept_apart_and_filters_hold():
    table = cellar(np.random.default_rng(7).poisson(6, 40), line=["1", "2"] * 20)
    assert [series.name for series in counted(table, "counted:leakers", NOTHING).across] == [
        "line 1, all recipes", "line 2, all recipes",
    ]  # fmt: skip
    none = counted(table, "counted:leakers", NOTHING, Filters(recipes=("I62",)))
    assert none.across == () and "nothing counted" in none.answer
    few = counted(cellar([1, 2, 3]), "counted:leakers", NOTHING)
    assert only(few).why_not == "only 3 runs: limits want at least 8"
    assert "too few runs" in few.answer


def test_taste_tests_are_held_against_guessing():
    finding = counted(cellar([1] * 12), TASTE_TESTS, TESTS)
    duo_trio, triangle = finding.across
    assert (duo_trio.name, triangle.name) == ("Duo-trio tests", "Triangle tests")
    assert (duo_trio.centre, triangle.centre) == (pytest.approx(50), pytest.approx(100 / 3))
    assert [point.value for point in triangle.points] == pytest.approx([100 / 3, 100 * 20 / 24, 100 / 3])
    assert {signal.at for signal in triangle.signals} == {1}
    assert triangle.cautions == ()
    assert "signals in Triangle tests (1 signal)" in finding.answer


def frozen(since, until, name="counted:leakers", begins=None, line="1"):
    return FrozenPhase(
        name, "pack", None, None, None if begins is None else day(begins), day(since), day(until), "old seamer", "AQ",
        line=line,
    )  # fmt: skip


def day(place):
    return (START + pd.Timedelta(days=place)).date()


def test_a_frozen_baseline_sets_the_limits_of_what_is_counted():
    faults = np.random.default_rng(8).poisson(5, 60)
    faults[30:] += 8
    table = cellar(faults)
    plain = only(counted(table, "counted:leakers", NOTHING))
    held = only(counted(table, "counted:leakers", NOTHING, phases=[frozen(0, 29)]))
    assert plain.centre == pytest.approx(faults.mean())
    assert held.centre == pytest.approx(faults[:30].mean())
    assert (held.phases[0].because, held.phases[0].runs, len(held.baseline)) == ("old seamer", 30, 30)
    late = {signal.at for signal in held.signals if signal.side > 0 and signal.at >= 30}
    assert len(late) > 15
    assert only(counted(table, "counted:leakers", NOTHING, phases=[frozen(0, 29, line="2")])).phases == ()
    assert only(counted(table, "counted:leakers", NOTHING, phases=[frozen(0, 29, "counted:looked_at")])).phases == ()


def test_a_new_phase_of_a_share_has_limits_of_its_own():
    rng = np.random.default_rng(9)
    faults = rng.binomial(200, np.where(np.arange(60) < 30, 0.02, 0.06))
    name = "counted:leakers/looked_at"
    held = only(counted(cellar(faults), name, NOTHING, phases=[frozen(30, 45, name, begins=30)]))
    assert [phase.because for phase in held.phases] == [None, "old seamer"]
    assert held.phases[0].centre == pytest.approx(100 * faults[:30].mean() / 200)
    assert held.phases[1].centre == pytest.approx(100 * faults[30:46].mean() / 200)
    assert held.phases[0].runs == 30


def test_rare_faults_take_a_baseline_too():
    faults = np.zeros(400)
    faults[15::20] = 1
    faults[360:] = np.tile([1, 0], 20)
    held = only(counted(cellar(faults), "counted:leakers", NOTHING, phases=[frozen(0, 350)]))
    assert held.phases[0].because == "old seamer"
    assert "faults are rare" in held.charted
    assert max(point.at for point in held.baseline).date() <= day(350)


def test_runs_of_one_batch_do_not_make_a_count_spread_less_than_it_does():
    """Batches that differ, packaged in three runs each: run by run they seem to spread by chance alone."""
    rng = np.random.default_rng(10)
    signals = {True: 0, False: 0}
    for _ in range(30):
        table = cellar(rng.poisson(np.repeat(rng.gamma(9, 2, 20), 3)))
        own = table.rows["run"].str[1:].astype(int) // 3
        by_batch = only(
            counted(replace(table, rows=table.rows.assign(batch=own.astype(str))), "counted:leakers", NOTHING)
        )
        signals[True] += len({signal.at for signal in by_batch.signals})
        signals[False] += len({signal.at for signal in only(counted(table, "counted:leakers", NOTHING)).signals})
        assert by_batch.several_runs is not None
    assert signals[True] / (30 * 60) < 0.015
    assert signals[False] > 3 * signals[True]


def test_rare_faults_count_batches_where_one_has_several_runs():
    faults = np.zeros(400)
    faults[0::20] = faults[1::20] = 1  # both runs of every tenth batch
    table = cellar(faults)
    own = table.rows["run"].str[1:].astype(int) // 2
    series = only(counted(replace(table, rows=table.rows.assign(batch=own.astype(str))), "counted:leakers", NOTHING))
    assert {point.value for point in series.points} == {9.0}
    assert "batches without a fault before each batch" in series.charted


def test_what_is_not_counted_is_misuse():
    with pytest.raises(ValueError, match="name must be one of what is counted"):
        counted(cellar([1, 2]), "counted:line_speed", NOTHING)
