"""Does the finding chart runs and not cans, and tell what moved, when, and what else changed then?"""

import json
import math
from datetime import date

import numpy as np
import pandas as pd
import pytest

from analysis.charts import ALL_RULES
from analysis.findings.filters import Filters
from analysis.findings.stability import stability
from analysis.linking import PackTable
from analysis.vocabulary import further_practice, practice

START = pd.Timestamp("2025-06-02 09:00")
NOTHING = pd.DataFrame()
PRACTICES = (
    practice("rouse_minutes"),
    practice("tank"),
    practice("line"),
    practice("format"),
    further_practice("Air bled", "yes_no", "operations"),
    further_practice("Cap maker", "category", "pack_runs"),
)


def packs(n, *, recipe="P40", form="can", cans=4, level=80.0, spread=0.15, seed=1, line="1", days=7):
    """One row a can: runs a week apart, cans of a run alike."""
    rng = np.random.default_rng(seed)
    run_levels = np.log(level) + rng.normal(0, spread, n)
    rows = []
    for i in range(n):
        packed = START + pd.Timedelta(days=days * i)
        for can in range(cans):
            rows.append(
                {
                    "run": f"{recipe}-{form}-{i}",
                    "batch": f"{2000 + i}",
                    "recipe": recipe,
                    "format": form,
                    "line": line,
                    "tank": f"FV{i % 4}",
                    "packed_at": packed,
                    "sample": str(can),
                    "age_days": 0.1,
                    "total_oxygen": math.exp(run_levels[i] + rng.normal(0, 0.1)),
                    "total_oxygen_censored": 0.0,
                    "total_oxygen_meter": "OX1",
                    "rouse_minutes": 25.0 + rng.normal(0, 4),
                    "air_bled": float(rng.random() < 0.5),
                    "cap_maker": "A",
                    "place": i,
                }
            )
    rows = pd.DataFrame(rows)
    return rows.astype({"packed_at": "datetime64[us]"})


def table(*frames, tastings=None, readings=None):
    rows = pd.concat(frames, ignore_index=True).sort_values("packed_at", kind="stable").reset_index(drop=True)
    return PackTable(
        state=7,
        rows=rows,
        tastings=NOTHING if tastings is None else tastings,
        readings=NOTHING if readings is None else readings,
        operations=NOTHING,
        batches=NOTHING,
        practices=PRACTICES,
        unlinked=NOTHING,
        evidence=NOTHING,
        blends=NOTHING,
        targets=NOTHING,
        not_offered=NOTHING,
    )


def raised(frame, first, factor):
    frame = frame.copy()
    frame.loc[frame["place"] >= first, "total_oxygen"] *= factor
    return frame


def only(found):
    assert len(found.series) == 1
    return found.series[0]


def test_six_cans_of_a_run_are_one_point():
    frame = packs(30, cans=6)
    series = only(stability(table(frame), "total_oxygen"))
    assert len(series.points) == 30
    means = np.exp(np.log(frame["total_oxygen"]).groupby(frame["place"]).mean())
    assert [point.value for point in series.points] == pytest.approx(means.tolist())
    assert {point.packs for point in series.points} == {6}


def test_limits_come_from_the_runs_own_moving_ranges_on_the_log_scale():
    frame = packs(20)
    logs = np.log(frame["total_oxygen"]).groupby(frame["place"]).mean().to_numpy()
    sigma = np.abs(np.diff(logs)).mean() / (2 / math.sqrt(math.pi))
    series = only(stability(table(frame), "total_oxygen"))
    assert series.scale == "log"
    assert series.centre == pytest.approx(math.exp(logs.mean()))
    assert [series.lower, series.upper] == pytest.approx(np.exp(logs.mean() + np.array([-3, 3]) * sigma).tolist())


def test_limits_come_from_the_first_runs_and_do_not_move_with_later_ones():
    frame = packs(60)
    early = only(stability(table(frame[frame["place"] < 25]), "total_oxygen"))
    late = only(stability(table(raised(frame, 40, 3.0)), "total_oxygen"))
    assert [late.centre, late.upper] == pytest.approx([early.centre, early.upper])
    assert len(late.baseline) == 25


def test_a_move_is_dated_sized_and_listed_with_what_changed_then():
    frame = raised(packs(60), 40, 1.5)
    later = frame["place"] >= 40
    frame.loc[later, "rouse_minutes"] += 25
    frame.loc[later, "cap_maker"] = "B"
    frame.loc[frame["place"] >= 15, "line"] = "2"
    move = only(stability(table(frame), "total_oxygen")).moves[0]
    assert move.point == 40
    assert move.at == START + pd.Timedelta(days=280)
    assert move.earliest <= move.at <= move.latest
    assert move.low < 50 < move.high
    assert move.after / move.before == pytest.approx(1 + move.percent / 100)
    told = " | ".join(move.coincides_with)
    assert "Rouse time, all rouses: 24 → 49 min" in told
    assert "Cap maker: B in 100 % of runs, 0 % before" in told
    assert "Air bled" not in told
    assert "Line" not in told
    assert "Tank" not in told


def test_a_new_meter_and_a_column_that_is_first_noted_coincide():
    frame = raised(packs(60), 30, 1.6)
    frame.loc[frame["place"] >= 30, "total_oxygen_meter"] = "OX2"
    frame.loc[frame["place"] < 30, "air_bled"] = np.nan
    told = only(stability(table(frame), "total_oxygen")).moves[0].coincides_with
    assert "Meter: OX2 in 100 % of runs, 0 % before" in told
    assert "Air bled: first noted" in told


def test_signals_are_codes_on_the_completing_point():
    frame = packs(40)
    frame.loc[frame["place"] == 35, "total_oxygen"] *= 6
    series = only(stability(table(frame), "total_oxygen", rules=ALL_RULES))
    assert "beyond-limit" in series.points[35].signals
    found = next(signal for signal in series.signals if signal.rule == "beyond-limit")
    assert (found.at, found.side) == (35, 1)
    assert found.says == "one point beyond a limit"


def test_too_few_runs_say_so_instead_of_limits():
    finding = stability(table(packs(7)), "total_oxygen")
    series = only(finding)
    assert math.isnan(series.upper)
    assert series.why_not == "only 7 runs: limits want at least 8"
    assert len(series.points) == 7
    assert "1 series has too few runs for limits" in finding.answer


def test_recipes_and_formats_are_kept_apart():
    finding = stability(
        table(packs(10, recipe="P40"), packs(10, recipe="I62", seed=2), packs(10, form="bottle", seed=3)),
        "total_oxygen",
    )
    assert [series.name for series in finding.series] == ["I62, can", "P40, bottle", "P40, can"]


def test_a_line_fault_shows_across_recipes():
    recipes = ("P40", "I62", "S48", "L45", "W51")
    frames = [
        raised(packs(9, recipe=recipe, level=level, seed=seed, days=14), 5, 1.5)
        for seed, (recipe, level) in enumerate(zip(recipes, (60.0, 90.0, 75.0, 50.0, 110.0), strict=True))
    ]
    finding = stability(table(*frames, packs(20, recipe="N70", line="2", seed=9)), "total_oxygen")
    across = {series.line: series for series in finding.across}
    assert all(series.moves == () for series in finding.series)
    move = across["1"].moves[0]
    assert abs(move.at - (START + pd.Timedelta(days=70))) <= pd.Timedelta(days=14)
    assert move.low < 50 < move.high
    assert across["2"].moves == ()
    assert "line 1, all recipes" in finding.answer


def test_a_move_of_a_line_says_when_it_is_mostly_one_recipe():
    recipes = ("P40", "I62", "S48", "L45")
    steady = [packs(10, recipe=recipe, level=60.0, seed=seed, days=28) for seed, recipe in enumerate(recipes[1:])]
    one = raised(packs(40, recipe="P40", seed=9, days=7), 20, 1.8)
    line = stability(table(one, *steady), "total_oxygen").across[0]
    assert line.moves[0].rests_on.recipe == "P40"
    assert abs(line.moves[0].rests_on.percent_without) < 20
    assert line.moves[0].as_document()["rests_on"]["recipe"] == "P40"
    all_of_them = [raised(packs(20, recipe=recipe, seed=seed, days=14), 10, 1.8) for seed, recipe in enumerate(recipes)]
    finding = stability(table(*all_of_them), "total_oxygen")
    assert finding.across[0].moves[0].rests_on is None
    assert "mostly" not in finding.answer


def test_cans_below_the_meters_limit_enter_by_their_likelihood():
    frame = packs(60, level=8.0, spread=0.3)
    true_centre = math.exp(np.log(frame.loc[frame["place"] < 25, "total_oxygen"]).mean())
    below = frame["total_oxygen"] < 6.5
    frame.loc[below, "total_oxygen_censored"] = -1
    frame.loc[below, "total_oxygen"] = 6.5
    series = only(stability(table(frame), "total_oxygen"))
    assert series.centre == pytest.approx(true_centre, rel=0.05)
    assert math.isnan(series.lower)
    assert any("censored maximum likelihood" in caution for caution in series.cautions)
    assert any(point.censored == -1 for point in series.points)


def test_late_oxygen_and_zero_readings_are_left_out_and_said():
    frame = packs(12)
    late = frame[frame["place"] == 3].assign(age_days=30.0, total_oxygen=5.0)
    zero = frame[frame["place"] == 4].head(1).assign(total_oxygen=0.0)
    finding = stability(table(frame, late, zero), "total_oxygen")
    clean = stability(table(frame), "total_oxygen")
    assert only(finding).points == only(clean).points
    assert "4 readings were left out: taken more than 3 days after packing" in finding.cautions[0]
    assert "1 reading was left out: a reading of 0" in finding.cautions[1]


def test_filters_choose_the_runs():
    frame = table(packs(30), packs(30, recipe="I62"))
    finding = stability(frame, "total_oxygen", filters=Filters(recipes=("P40",), since=date(2025, 7, 1)))
    series = only(finding)
    assert series.recipe == "P40"
    assert series.points[0].at >= pd.Timestamp("2025-07-01")


def test_dates_choose_what_is_shown_and_not_what_limits_are_made_from():
    frame = raised(packs(60), 40, 1.6)
    frame.loc[frame["place"] == 50, "total_oxygen"] *= 4
    whole = only(stability(table(frame), "total_oxygen"))
    since = date(2026, 2, 1)
    late = only(stability(table(frame), "total_oxygen", filters=Filters(since=since)))
    assert [late.centre, late.lower, late.upper] == [whole.centre, whole.lower, whole.upper]
    assert late.baseline == whole.baseline
    first = len(whole.points) - len(late.points)
    assert late.points == whole.points[first:]
    assert late.points[0].at >= pd.Timestamp(since) > whole.points[first - 1].at
    assert late.moves[0].point == 40 - first
    for signal in late.signals:
        assert signal.rule in late.points[signal.at].signals
    early = only(stability(table(frame), "total_oxygen", filters=Filters(until=date(2025, 12, 31))))
    assert early.moves == ()
    assert stability(table(frame), "total_oxygen", filters=Filters(since=date(2030, 1, 1))).series == ()


def test_a_slow_climb_is_told_from_a_step():
    frame = packs(60)
    step = only(stability(table(raised(frame, 30, 1.6)), "total_oxygen"))
    assert [(move.gradual, move.ends) for move in step.moves] == [(False, None)]
    climbing = frame.assign(total_oxygen=frame["total_oxygen"] * np.exp(0.015 * frame["place"]))
    finding = stability(table(climbing), "total_oxygen")
    climb, *others = only(finding).moves
    assert climb.gradual and not others
    assert climb.low < 100 * math.expm1(0.015 * 59) < climb.high
    assert climb.earliest <= climb.at <= climb.latest < climb.ends
    assert "slowly, from about" in finding.answer
    assert abs(only(finding).correlation) < 0.3


def test_memory_from_run_to_run_is_said():
    rng = np.random.default_rng(3)
    frame = packs(80, spread=0.0)
    level = np.empty(80)
    level[0] = 0.0
    for i in range(1, 80):
        level[i] = 0.6 * level[i - 1] + rng.normal(0, 0.08)
    frame["total_oxygen"] = 80 * np.exp(level[frame["place"]])
    series = only(stability(table(frame), "total_oxygen"))
    assert series.correlation > 0.3
    assert "A run is like the run before it" in series.cautions[-1]
    assert len(series.after_memory) == 80
    left = np.array([point.value for point in series.after_memory])
    assert abs(np.corrcoef(left[1:], left[:-1])[0, 1]) < 0.2
    assert only(stability(table(packs(40)), "total_oxygen")).after_memory == ()


def test_a_tasting_attribute_is_charted_linearly_by_run():
    rng = np.random.default_rng(5)
    runs = packs(12, cans=1)
    scores = pd.concat([runs.assign(attribute="papery", score=2 + rng.normal(0, 0.5, 12)) for _ in range(5)])
    series = only(stability(table(runs, tastings=scores), "papery"))
    assert series.scale == "linear"
    assert {point.packs for point in series.points} == {5}


def test_an_earlier_stage_is_charted_by_batch():
    rng = np.random.default_rng(6)
    readings = pd.DataFrame(
        {
            "batch": [f"{2400 + i // 2}" for i in range(24)],
            "run": pd.Series([pd.NA] * 24, dtype="str"),
            "recipe": "P40",
            "format": pd.Series([pd.NA] * 24, dtype="str"),
            "tank": "BT1",
            "stage": "bright_tank",
            "measured_at": START + pd.to_timedelta(np.arange(24), unit="D"),
            "quantity": "dissolved_oxygen",
            "value": np.exp(3 + rng.normal(0, 0.2, 24)),
            "censored": 0,
            "meter": "OX1",
        }
    )
    series = only(stability(table(packs(8), readings=readings), "dissolved_oxygen", "bright_tank"))
    assert (series.recipe, series.format, len(series.points)) == ("P40", None, 12)
    assert series.points[0].run is None


def test_document_has_the_agreed_shape_and_is_plain_json():
    frame = raised(packs(40), 28, 1.7)
    document = json.loads(
        json.dumps(stability(table(frame, packs(4, recipe="I62")), "total_oxygen").as_document(), allow_nan=False)
    )
    assert {"measure", "unit", "stage", "series", "ledger_state"} <= set(document)
    assert (document["measure"], document["unit"], document["stage"]) == ("total_oxygen", "µg/L", "pack")
    few, series = document["series"]
    assert few["centre"] is None and few["baseline"] == {"from": None, "to": None, "n": 0}
    assert {"recipe", "format", "baseline", "centre", "lower", "upper", "scale", "points", "shifts"} <= set(series)
    assert series["baseline"]["n"] == 25
    assert {"run", "batch", "at", "value", "signals"} <= set(series["points"][0])
    assert {"at", "earliest", "latest", "percent", "coincides_with"} <= set(series["shifts"][0])
    assert document["runs_between_alarms"] == pytest.approx(216.70, abs=0.01)


def test_no_reading_is_an_answer():
    finding = stability(table(packs(3)), "haze")
    assert finding.series == ()
    assert finding.answer == "There is no reading of haze in this selection."
    assert finding.in_words()[1] == []


def test_steady_series_say_so():
    finding = stability(table(packs(40)), "total_oxygen")
    assert finding.answer.startswith("Total package oxygen shows no move of its level")


def test_a_line_is_told_by_the_recipes_that_were_asked_for():
    both = table(packs(20), packs(20, recipe="I62"), packs(20, recipe="N70"))
    asked = stability(both, "total_oxygen", filters=Filters(recipes=("I62", "P40")))
    assert [series.name for series in asked.across] == ["line 1, I62 and P40, all formats"]
    assert [series.name for series in stability(both, "total_oxygen").across] == ["line 1, all recipes"]


def test_in_words_has_a_row_a_chart():
    headers, rows = stability(table(packs(30), packs(20, recipe="I62")), "total_oxygen").in_words()
    assert len(headers) == len(rows[0])
    assert [row[0] for row in rows] == ["I62, can", "P40, can", "line 1, all recipes"]
    assert stability(table(packs(30)), "total_oxygen").across == ()


def test_misuse():
    with pytest.raises(ValueError, match="stage must be one of fermenter"):
        stability(table(packs(3)), "haze", "cellar")
    with pytest.raises(ValueError, match="rules must be among"):
        stability(table(packs(10)), "total_oxygen", rules=["no-such-rule"])
