"""Are counted faults charted by the form that fits them, and taste tests against guessing?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

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


def test_what_is_not_counted_is_misuse():
    with pytest.raises(ValueError, match="name must be one of what is counted"):
        counted(cellar([1, 2]), "counted:line_speed", NOTHING)
