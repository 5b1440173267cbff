"""Does the charts page draw what the finding says, tell it in words, and let it be taken away?"""

from __future__ import annotations

import base64
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from analysis.findings.baselines import FrozenPhase
from analysis.findings.filters import Filters
from analysis.findings.series import IfSlow, Move
from analysis.findings.stability import stability
from analysis.vocabulary import further_practice
from dashboard.figures.chart_drawing import MOST_MARKED, ChartDrawing, drawing_of, kept_points
from dashboard.figures.control_chart import control_chart
from dashboard.figures.plotly_layout import log_ticks
from dashboard.figures.small_chart import small_chart
from dashboard.pages import charts
from dashboard.parts import chart_files
from dashboard.parts.chart_words import caption, rules_words, series_parts, small_caption, targets_words
from dashboard.theme import PALETTES

DAY = pd.Timestamp("2026-04-27")
OPEN = Move(DAY, DAY, DAY, 5, 1.2, 1.8, 50.0, 33.0, 73.0, False, (), may_be_gradual=True)


@pytest.fixture(scope="module")
def finding(table):
    return stability(table, "total_oxygen")


def drawing(values, signals=None) -> ChartDrawing:
    n = len(values)
    return ChartDrawing(
        "P40, can",
        "Haze",
        "EBC",
        False,
        [np.datetime64("2026-01-01") + np.timedelta64(day, "D") for day in range(n)],
        np.asarray(values, dtype=np.float64),
        np.full(n, 1.0),
        np.full(n, np.nan),
        np.full(n, 2.0),
        [f"run {place}" for place in range(n)],
        [f"R{place}" for place in range(n)],
        signals or [()] * n,
    )


def unpacked(values: dict[str, str]) -> np.ndarray:
    assert values["dtype"] == "f4"
    return np.frombuffer(base64.b64decode(values["bdata"]), dtype="<f4")


def test_the_chart_that_moved_most_stands_large(finding):
    assert charts.view(finding, "").chosen.name == "P40, can"
    assert charts.view(finding, "I62, can").chosen.name == "I62, can"
    assert charts.view(finding, "no such chart").chosen.name == "P40, can"


def test_the_figure_draws_every_run_and_its_limits(finding):
    series = charts.view(finding, "P40, can").chosen
    figure = control_chart(drawing_of(series, finding.measure), PALETTES["light"])
    by_name = {trace["name"]: trace for trace in figure["data"]}
    np.testing.assert_allclose(unpacked(by_name["P40, can"]["y"]), [p.value for p in series.points], rtol=1e-6)
    np.testing.assert_allclose(unpacked(by_name["Upper limit"]["y"]), series.upper, rtol=1e-6)
    assert figure["layout"]["yaxis"]["type"] == "log"
    assert len(figure["layout"]["shapes"]) == 2 * len(series.moves) + len(series.phases)


def test_a_signal_is_marked_by_a_shape_of_its_own():
    signals = [(), ("beyond-limit",), ("nine-on-a-side",), ("beyond-limit", "nine-on-a-side")]
    figure = control_chart(drawing([1.0, 3.0, 1.2, 4.0], signals), PALETTES["dark"])
    shapes = {trace["name"]: trace["marker"]["symbol"] for trace in figure["data"] if trace["mode"] == "markers"}
    assert shapes == {"Run of points on one side": "square-open", "Beyond a limit": "diamond"}
    beyond = next(trace for trace in figure["data"] if trace["name"] == "Beyond a limit")
    assert beyond["customdata"] == ["R1", "R3"]


def test_a_limit_that_there_is_not_is_not_drawn():
    names = [trace["name"] for trace in control_chart(drawing([1.0, 1.1]), PALETTES["light"])["data"]]
    assert names == ["Upper limit", "Centre", "P40, can"]


def test_the_line_of_a_long_series_keeps_its_extremes_and_every_signal():
    n = 3 * MOST_MARKED
    values = np.ones(n)
    values[1_234] = 9.0
    signals = [()] * n
    signals[4_321] = ("nine-on-a-side",)
    long = drawing(values, signals)
    kept = kept_points(long)
    assert len(kept) <= MOST_MARKED + 1
    assert {1_234, 4_321} <= set(kept.tolist())
    figure = control_chart(long, PALETTES["light"])
    assert next(trace for trace in figure["data"] if trace["name"] == "P40, can")["mode"] == "lines"


def test_a_short_series_keeps_all_its_points():
    assert kept_points(drawing(np.ones(MOST_MARKED))).tolist() == list(range(MOST_MARKED))


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [(40, 130, [50, 70, 100]), (0.5, 300, [1, 10, 100]), (0, 10, []), (12, 12.5, [])],
)
def test_a_logarithmic_axis_has_round_numbers(low, high, ticks):
    found = log_ticks(low, high)
    assert set(ticks) <= set(found)
    assert all(low <= tick <= high for tick in found)
    assert len(found) <= 9


def test_a_small_chart_is_a_picture_that_is_part_of_the_page(finding):
    address = small_chart(drawing_of(finding.series[0], finding.measure), PALETTES["light"])
    kind, _, body = address.partition(",")
    assert kind == "data:image/svg+xml;base64"
    picture = base64.b64decode(body).decode()
    assert picture.startswith("<svg")
    assert "http" not in picture.replace("http://www.w3.org/2000/svg", "")
    assert "nan" not in picture


def test_a_series_of_one_run_can_be_drawn_small():
    assert small_chart(drawing([1.0]), PALETTES["light"]).startswith("data:image/svg+xml")


def test_the_caption_says_where_the_limits_come_from(finding):
    series = charts.view(finding, "P40, can").chosen
    assert caption(series, finding).startswith("Centre ")
    assert "12 runs of 5 January 2026" in caption(series, finding)


def test_a_small_chart_says_what_moved(finding):
    assert small_caption(charts.view(finding, "P40, can").chosen).startswith("+")
    assert small_caption(charts.view(finding, "I62, can").chosen) == "no signal"


def test_the_rules_say_how_often_they_cry_wolf(finding):
    assert "by chance about once in" in rules_words(finding)


def test_the_page_shows_what_was_asked_for(on_table):
    answer, nothing, hidden, name, figure, under, words, price, small, below = charts.show(
        {"recipes": ["P40"]}, "total_oxygen", "pack", "", "light"
    )
    assert "P40" in answer
    assert (nothing, hidden, name) == (None, False, "P40, can")
    assert figure["data"]
    assert "I62" not in str(small)
    assert "by chance about once in" in price
    assert "When its level moved" in str(words)
    assert "/take-away/charts.csv?recipe=P40&measure=total_oxygen&stage=pack" in str(below)
    assert under


@pytest.mark.parametrize(
    ("measure", "stage", "series"),
    [
        (None, "pack", ""),
        ("", "pack", ""),
        (["haze"], "pack", ""),
        ("total_oxygen", {"a": 1}, 7),
        ("nothing", "pack", ""),
    ],
)
def test_forged_choices_do_not_break_the_page(on_table, measure, stage, series):
    shown = charts.show({"recipes": "P40"}, measure, stage, series, "purple")
    assert len(shown) == 10


def test_a_selection_without_readings_says_so(on_table):
    _, nothing, hidden, *_ = charts.show({"recipes": ["X99"]}, "total_oxygen", "pack", "", "light")
    assert hidden
    assert "No reading fits this selection" in str(nothing)


def test_the_measures_that_were_read_are_offered_and_the_chosen_one_is_kept(on_table):
    options, chosen = charts.offer_measures("pack", 5, "haze")
    assert [option["value"] for option in options] == ["total_oxygen", "haze", "papery"]
    assert chosen == "haze"
    assert charts.offer_measures("pack", 5, "nothing")[1] == "total_oxygen"
    assert charts.offer_measures("fermenter", 5, "haze") == ([], None)


def test_every_point_can_be_taken_away(finding):
    frame = chart_files.points_frame(finding)
    assert len(frame) == 24
    assert {"recipe", "packed_at", "run", "value", "lower", "upper", "signals"} <= set(frame.columns)


def test_a_file_of_points_is_the_selections(on_table):
    text = charts.take_away(Filters(recipes=("I62",)), {"measure": "total_oxygen"}, "csv").decode("utf-8-sig")
    assert "# Selection: recipe I62" in text
    assert "# Ledger state: 5" in text
    assert "P40" not in text


def test_the_pattern_switches_change_signals_and_price(on_table):
    usual = charts.show({}, "total_oxygen", "pack", "P40, can", "light")
    more = charts.show({}, "total_oxygen", "pack", "P40, can", "light", "runs", ["beyond-limit", "two-of-three"])
    assert "two of three points" in more[7] and "nine points" not in more[7]
    assert usual[7] != more[7]


def test_a_chart_for_slow_moves_draws_the_runs_behind_and_says_how_soon(on_table):
    shown = charts.show({}, "total_oxygen", "pack", "P40, can", "light", "slow", None, 30, 5, 2)
    assert "Asked for: a 30 % rise within 5 runs" in str(shown[6])
    names = [trace["name"] for trace in shown[4]["data"]]
    assert names[0] == "Runs" or "running sum" in str(shown[5])
    wrong = charts.show({}, "total_oxygen", "pack", "P40, can", "light", "slow", None, 0, 5, 2)
    assert "cannot be asked: percent must lie" in str(wrong[6])
    few = charts.show({}, "total_oxygen", "pack", "P40, can", "light", "slow", None, 30, 5, 0.01)
    assert "drawn as measured: there are only" in str(few[6])


def test_a_series_without_memory_is_drawn_as_measured_and_says_so(on_table):
    shown = charts.show({}, "total_oxygen", "pack", "P40, can", "light", "memory")
    assert "too few runs to tell whether a run is like the one before it" in str(shown[6])
    line = charts.show({}, "total_oxygen", "pack", "line 1, all recipes", "light", "memory")
    assert "choose a chart of one recipe" in str(line[6])


def test_how_much_packs_of_a_run_differ_is_drawn_with_the_share_between_runs(on_table):
    shown = charts.show({}, "total_oxygen", "pack", "P40, can", "light", "within")
    assert "lies between runs" in str(shown[6])
    assert "How much the packs of each run differ" in str(shown[5])
    assert shown[4]["layout"]["yaxis"]["title"]["text"] == "Total package oxygen [%]"


def test_what_cannot_be_taken_out_is_said(on_table):
    answer, nothing, hidden, *_ = charts.show({}, "haze", "filler", "", "light", "left")
    assert answer.startswith("What was done cannot be taken out") and hidden and nothing is not None
    left = charts.show({}, "total_oxygen", "pack", "P40, can", "light", "left")
    assert "What was taken out" in str(left[6]) or left[0].startswith("What was done cannot")


def test_each_phase_is_drawn_with_limits_of_its_own(table):
    phase = FrozenPhase(
        "total_oxygen", "pack", "P40", "can", date(2026, 3, 10), date(2026, 3, 10), date(2026, 4, 30), "new valve", "AQ"
    )
    finding = stability(table, "total_oxygen", phases=[phase])
    series = next(one for one in finding.series if one.name == "P40, can")
    drawn = drawing_of(series, finding.measure)
    assert len(np.unique(drawn.upper)) == 2
    assert [each.first for each in drawn.baselines] == [True, False]
    figure = control_chart(drawn, PALETTES["light"])
    assert figure["layout"]["dragmode"] == "select"
    assert "Centre of its last phase" in caption(series, finding)


def test_where_the_runs_do_not_tell_the_size_of_a_slow_move_stands_beside_that_of_a_step(table):
    finding = stability(table, "total_oxygen")
    series = next(one for one in finding.series if one.name == "P40, can")
    said = str(series_parts(replace(series, moves=(replace(OPEN, if_slow=IfSlow(67.1, 36.1, 95.1)),)), finding))
    assert "the runs do not tell; if slowly, it is +67 % in all (95 % interval +36 % to +95 %)." in said
    plain = str(series_parts(replace(series, moves=(OPEN,)), finding))
    assert "Whether at once or slowly the runs do not tell." in plain


def test_a_target_is_told_in_words(table):
    targets = pd.DataFrame({"recipe": [None], "format": [None], "quantity": ["haze"], "lower": [None], "upper": [2.0]})
    targets = targets.astype({"lower": float})
    plain = next(s for s in stability(replace(table, targets=targets), "haze").series if s.name == "I62, can")
    assert targets_words(plain, "EBC").startswith("Against your target (at most 2.00 EBC)")
    assert targets_words(replace(plain, targets=None), "EBC") == ""


def test_what_is_counted_is_offered_and_charted(on_table, table, monkeypatch):
    rows = table.rows.assign(leakers=np.arange(len(table.rows)) // 3 % 4 + 2.0)
    with_leakers = replace(
        table, rows=rows, practices=(*table.practices, further_practice("Leakers", "count", "pack_runs"))
    )
    monkeypatch.setattr("dashboard.parts.context.Context.packs", lambda _self: with_leakers)
    options, _ = charts.offer_measures("pack", 5, None)
    assert {"value": "counted:leakers", "label": "Leakers (counted)"} in options
    shown = charts.show({}, "counted:leakers", "pack", "", "light")
    assert shown[0].startswith("Leakers: ")
    assert shown[3] == "line 1, all recipes"
    assert "Faults of each run" in str(shown[5])
    assert charts.show({}, "counted:nothing", "pack", "", "light")[2] is True


def test_all_indices_stand_under_a_target_that_a_stable_chart_keeps(table):
    targets = pd.DataFrame(
        {"recipe": [None], "format": [None], "quantity": ["total_oxygen"], "lower": [20.0], "upper": [150.0]}
    )
    finding = stability(replace(table, targets=targets), "total_oxygen")
    series = next(one for one in finding.series if one.name == "I62, can")
    words = str(series_parts(series, finding))
    assert "Against its target" in words
    for index in ("Cp, both limits", "Cpk, the nearer", "Pp, both", "Ppk, the nearer", "by percentiles"):
        assert index in words
    moved = next(one for one in finding.series if one.name == "P40, can")
    told = str(series_parts(moved, finding))
    assert "nothing can be said: the chart is not stable" in told and "Cpk" not in told
