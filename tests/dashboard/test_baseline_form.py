"""Does the form freeze what was typed, say what is wrong with it, and take it back?"""

from dataclasses import replace
from datetime import date

import pytest
from dash.exceptions import PreventUpdate

from analysis.findings.baselines import RunLeftOut, frozen_phases
from analysis.findings.stability import stability
from analysis.vocabulary import measure
from dashboard.figures.chart_drawing import drawing_of
from dashboard.pages import charts
from dashboard.parts import baseline_form
from dashboard.parts.baseline_form import Typed, frozen_of, offered, phases_list, reason_inputs, runs_between

TYPED = Typed("2026-01-05", "2026-03-01", "whole", [], [], "first quarter", "AQ")


@pytest.fixture(scope="module")
def series(table):
    return next(one for one in stability(table, "total_oxygen").series if one.name == "P40, can")


@pytest.fixture
def announced(monkeypatch):
    states = []
    monkeypatch.setattr(baseline_form, "announce", states.append)
    return states


def typed(**changes):
    return Typed(**{**TYPED.__dict__, **changes})


def test_what_was_typed_becomes_a_phase_of_the_series(series):
    phase = frozen_of("total_oxygen", "pack", series, TYPED)
    assert (phase.recipe, phase.format, phase.begins) == ("P40", "can", None)
    assert (phase.since, phase.until, phase.because, phase.by) == (
        date(2026, 1, 5), date(2026, 3, 1), "first quarter", "AQ",
    )  # fmt: skip
    new = frozen_of("total_oxygen", "pack", series, typed(whole="phase", left_out=["R500"], reasons=["meter off"]))
    assert new.begins == date(2026, 1, 5)
    assert new.left_out == (RunLeftOut("R500", "meter off"),)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"since": ""}, "Say from when to when"),
        ({"until": "soon"}, "Say from when to when"),
        ({"since": "2026-04-01"}, "first day is after the last"),
        ({"because": "  "}, "Say why"),
        ({"who": None}, "Say your name"),
        ({"left_out": ["R500"], "reasons": [" "]}, "Say for each run"),
        ({"left_out": ["R500"], "reasons": []}, "Say for each run"),
        ({"until": "2026-01-06"}, "1 run would be left"),
    ],
)
def test_what_is_wrong_is_said(series, changes, said):
    assert said in frozen_of("total_oxygen", "pack", series, typed(**changes))


def test_a_selection_hides_the_chart_of_all_runs_and_that_is_said():
    assert "take the selection above off" in frozen_of("total_oxygen", "pack", None, TYPED)
    assert offered(None, "2026-01-05", "2026-03-01", "EBC")[1] == []


def test_a_chart_of_a_line_takes_a_baseline_and_one_of_taste_tests_none(table):
    line = stability(table, "total_oxygen").across[0]
    phase = frozen_of("total_oxygen", "pack", line, TYPED)
    assert (phase.recipe, phase.format, phase.line) == (None, None, line.line)
    assert "runs of line 1, all recipes are between them" in offered(line, "2026-01-05", "2026-03-01", "σ")[0]
    tests = replace(line, line=None, title="Triangle tests")
    assert "no baseline to freeze" in frozen_of("counted:taste_tests", "pack", tests, TYPED)
    assert offered(tests, "2026-01-05", "2026-03-01", "%") == (
        "Triangle tests are held against what guessing alone would give: there is no baseline to freeze.", [],
    )  # fmt: skip
    assert (drawing_of(line, measure("total_oxygen")).may_freeze, drawing_of(tests, measure("haze")).may_freeze) == (
        True, False,
    )  # fmt: skip


def test_frozen_for_a_line_the_page_says_so(on_table, ledger, announced):
    answer = baseline_form.freeze_it(
        1, "2026-01-05", "2026-03-01", "whole", [], [], "a steady winter", "AQ", "line 1, all recipes",
        "total_oxygen", "pack",
    )  # fmt: skip
    assert "Frozen" in str(answer)
    shown = charts.show({}, "total_oxygen", "pack", "line 1, all recipes", "light")
    assert "“a steady winter”" in str(shown[6]) and "limits −3.00 to 3.00 σ" in str(shown[6])
    assert "a frozen baseline" in str(shown[5])
    assert shown[4]["layout"]["dragmode"] == "select"


def test_the_runs_between_two_days_are_counted_and_offered(series):
    points = runs_between(series, "2026-01-05", "2026-02-10")
    words, options = offered(series, "2026-01-05", "2026-02-10", "µg/L")
    assert words.startswith(f"{len(points)} runs of P40, can are between them.")
    assert [option["value"] for option in options] == [point.run for point in points]
    assert offered(series, "x", None, "µg/L") == ("", [])
    assert "so few" in words
    assert [part.id["run"] for part in reason_inputs(["R1", "R2"])] == ["R1", "R2"]


def test_frozen_on_the_page_it_is_on_record_and_in_the_words(on_table, ledger, announced):
    answer = baseline_form.freeze_it(
        1, "2026-01-05", "2026-03-01", "whole", ["R502"], ["meter off"], "first quarter", "AQ", "P40, can",
        "total_oxygen", "pack",
    )  # fmt: skip
    assert "Frozen" in str(answer)
    (phase,) = frozen_phases(ledger)
    assert announced == [ledger.state]
    shown = charts.show({}, "total_oxygen", "pack", "P40, can", "light")
    words = str(shown[6])
    assert "Frozen by AQ" in words and "“first quarter”" in words and "Left out: run R502, meter off." in words
    assert "6 runs of 5 January 2026" in str(shown[5])
    assert phase.number == 1


def test_a_phase_is_taken_back_with_a_reason(on_table, ledger, announced, monkeypatch):
    baseline_form.freeze_it(
        1, "2026-01-05", "2026-03-01", "phase", [], [], "new valve", "AQ", "P40, can", "total_oxygen", "pack"
    )
    monkeypatch.setattr(baseline_form, "ctx", type("Context", (), {"triggered_id": {"number": 1}}))
    assert "Say why" in str(baseline_form.thaw_it(1, " ", "AQ"))
    assert len(frozen_phases(ledger)) == 1
    assert baseline_form.thaw_it(1, "it was the meter", "BV") is None
    assert frozen_phases(ledger) == ()
    assert "was not taken back" in str(baseline_form.thaw_it(1, "again", "BV"))
    with pytest.raises(PreventUpdate):
        baseline_form.thaw_it(None, "", "")


def test_a_series_that_nobody_froze_says_so(series):
    assert "Nobody has frozen this" in str(phases_list(series, "µg/L"))
