"""Is the chart for a slow move set to what was asked, and does it then find it in that time?"""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.series_after_memory import after_memory_chart
from analysis.findings.series_charting import series_of
from analysis.findings.series_slow import SlowAsk, slow_moves

START = pd.Timestamp("2024-06-03 09:00")
BEFORE = 60


def series(rng, *, rise=0.0, after=0, sigma=0.2, days=7, scale="log", level=80.0, recipe="P40"):
    """A year's runs at one level, and ``after`` more at a level that is higher by ``rise`` on the log scale."""
    n = BEFORE + after
    logs = math.log(level) + rng.normal(0, sigma, n) + rise * (np.arange(n) >= BEFORE)
    runs = pd.DataFrame(
        {
            "run": [f"R{i}" for i in range(n)], "batch": [f"{i}" for i in range(n)],
            "at": START + pd.to_timedelta(days * np.arange(n), unit="D"),
            "value": np.exp(logs), "censored": 0, "packs": 4,
        }
    )  # fmt: skip
    return series_of(runs, (), scale, ("beyond-limit",), recipe=recipe, format="can")


def test_a_rise_is_found_about_as_soon_as_the_design_says():
    rng = np.random.default_rng(11)
    ask, delays, said = SlowAsk(30, 5, 2), [], []
    for _ in range(20):
        found = slow_moves(series(rng, rise=math.log(1.3), after=40), ask, "ewma")
        later = [signal.at for signal in found.chart.signals if signal.at >= BEFORE and signal.side > 0]
        delays.append((later[0] if later else BEFORE + 40) - BEFORE + 1)
        said.append(found.chosen.delay)
    assert 0.7 * np.mean(said) <= np.mean(delays) <= 2 * np.mean(said)  # limits from 25 runs find later than known ones


def test_false_alarms_come_about_as_often_as_asked():
    rng = np.random.default_rng(12)
    alarms = years = 0.0
    for _ in range(60):
        found = slow_moves(series(rng), SlowAsk(30, 5, 1), "cusum")
        alarms += len(found.chart.signals)
        years += BEFORE / (found.in_control / 1)
    assert 0.6 <= alarms / years <= 1.9  # limits from 25 runs alarm more often than known ones do


@pytest.mark.parametrize(("kind", "unit"), [("individuals", "µg/L"), ("ewma", "µg/L"), ("cusum", "σ")])
def test_each_kind_is_drawn_in_its_unit_with_its_signals_on_the_points(kind, unit):
    rng = np.random.default_rng(13)
    plain = series(rng, rise=0.6, after=15)
    chart = slow_moves(plain, SlowAsk(), kind).chart
    assert chart.charted and (chart.unit or "µg/L") == unit
    assert len(chart.points) == len(plain.points)
    assert [place for place, point in enumerate(chart.points) if point.signals] == [s.at for s in chart.signals]
    first = next(signal for signal in chart.signals if signal.at >= BEFORE)
    assert chart.points[first.at].value > chart.points[first.at].upper
    assert first.side == 1


def test_the_quickest_is_drawn_and_a_request_too_hard_says_what_could_be_found():
    rng = np.random.default_rng(14)
    found = slow_moves(series(rng, sigma=0.4), SlowAsk(10, 3, 2))
    assert found.chosen == found.designs[0]
    assert [d.delay for d in found.designs] == sorted(d.delay for d in found.designs)
    assert not found.designs[0].in_time
    assert "No chart finds it that soon" in found.sentences[1]
    assert found.smallest > 10
    easy = slow_moves(series(rng, sigma=0.1), SlowAsk(30, 5, 1))
    assert easy.designs[0].in_time and "finds it soonest" in easy.sentences[1]
    document = easy.as_document()
    assert document["chosen"] in {"running mean", "running sum", "single runs"}
    assert document["designs"][0]["chart"] == document["chosen"]


def test_what_cannot_be_asked_says_why():
    rng = np.random.default_rng(15)
    plain = series(rng)
    assert "no limits" in slow_moves(replace(plain, why_not="only 3 runs"), SlowAsk()).why_not
    assert "one recipe" in slow_moves(replace(plain, recipe=None), SlowAsk()).why_not
    rare = slow_moves(series(rng, days=100), SlowAsk()).why_not
    assert "allow one false alarm in 2 years or more" in rare
    assert "less than a tenth" in slow_moves(series(rng, sigma=0.5), SlowAsk(1, 5, 1)).why_not
    assert slow_moves(replace(plain, why_not="x"), SlowAsk()).as_document()["designs"] == []


@pytest.mark.parametrize("given", [(0, 5, 1), (-95, 5, 1), (30, 1, 1), (30, 5, 0), (30, 900, 1), (math.nan, 5, 1)])
def test_a_request_out_of_range_is_misuse(given):
    with pytest.raises(ValueError, match="SlowAsk"):
        SlowAsk(*given)


def test_what_is_left_after_the_memory_is_told_in_percent():
    rng = np.random.default_rng(3)
    logs = np.zeros(80)
    for i in range(1, 80):
        logs[i] = 0.6 * logs[i - 1] + rng.normal(0, 0.08)
    logs[70:] += 0.35 * 0.6 ** np.arange(10)
    runs = pd.DataFrame(
        {"run": [f"R{i}" for i in range(80)], "batch": [f"{i}" for i in range(80)],
         "at": START + pd.to_timedelta(np.arange(80), unit="D"),
         "value": 80 * np.exp(logs), "censored": 0, "packs": 4}
    )  # fmt: skip
    plain = series_of(runs, (), "log", ("beyond-limit",), recipe="P40", format="can")
    left = after_memory_chart(plain)
    assert left.unit == "%" and left.centre == pytest.approx(0)
    assert left.lower > -100 < left.upper
    assert 70 in {signal.at for signal in left.signals}
    assert next(signal for signal in left.signals if signal.at == 70).side == 1
    assert after_memory_chart(series(rng)) is None
