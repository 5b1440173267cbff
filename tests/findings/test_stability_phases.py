"""Do baselines that a person froze set the limits, phase by phase, and is a target held only against a steady chart?"""

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from analysis.findings.baselines import FrozenPhase, RunLeftOut
from analysis.findings.stability import stability
from analysis.linking import PackTable

START = pd.Timestamp("2025-06-02 09:00")
NOTHING = pd.DataFrame()


def packs(n, *, level=80.0, spread=0.15, seed=1, cans=4):
    """One row a can: runs of P40 a week apart, cans of a run alike."""
    rng = np.random.default_rng(seed)
    run_levels = np.log(level) + rng.normal(0, spread, n)
    rows = pd.DataFrame(
        {
            "run": f"P40-can-{i}", "batch": f"{2000 + i}", "recipe": "P40", "format": "can", "line": "1",
            "tank": f"FV{i % 4}", "packed_at": START + pd.Timedelta(days=7 * i), "sample": str(can), "age_days": 0.1,
            "total_oxygen": math.exp(run_levels[i] + rng.normal(0, 0.1)), "total_oxygen_censored": 0.0,
            "total_oxygen_meter": "OX1", "place": i,
        }
        for i in range(n)
        for can in range(cans)
    )  # fmt: skip
    return rows.astype({"packed_at": "datetime64[us]"})


def table(rows):
    frames = dict.fromkeys(
        ("tastings", "readings", "operations", "batches", "unlinked", "evidence", "blends", "targets", "not_offered"),
        NOTHING,
    )
    return PackTable(state=7, rows=rows, practices=(), **frames)


def raised(frame, first, factor):
    frame = frame.copy()
    frame.loc[frame["place"] >= first, "total_oxygen"] *= factor
    return frame


def only(found):
    assert len(found.series) == 1
    return found.series[0]


def frozen(since, until, because="first month after the service", begins=None, left_out=(), recipe="P40"):
    return FrozenPhase("total_oxygen", "pack", recipe, "can", begins, since, until, because, "AQ", left_out)


def test_a_frozen_baseline_sets_the_limits_and_keeps_its_reason():
    frame = packs(60)
    phase = frozen(date(2025, 9, 1), date(2025, 12, 31), left_out=(RunLeftOut("P40-can-20", "meter was off"),))
    finding = stability(table(frame), "total_oxygen", phases=[phase])
    series = only(finding)
    used = [point for point in series.points if point.in_baseline]
    assert min(point.at for point in used) >= pd.Timestamp("2025-09-01")
    assert max(point.at for point in used) < pd.Timestamp("2026-01-01")
    assert "P40-can-20" not in {point.run for point in used}
    assert series.centre == pytest.approx(math.exp(np.mean([math.log(point.value) for point in used])))
    shown = series.phases[0]
    assert (shown.because, shown.by, shown.runs) == ("first month after the service", "AQ", len(used))
    assert shown.left_out == (("P40-can-20", "meter was off"),)
    assert not any("Nobody" in caution or "nobody" in caution for caution in finding.cautions)


def test_a_new_phase_has_limits_of_its_own_and_runs_start_anew():
    frame = raised(packs(60), 30, 2.0)
    change = (START + pd.Timedelta(days=210)).date()
    phases = [
        frozen(date(2025, 6, 1), date(2025, 12, 1)),
        frozen(change, date(2026, 7, 1), "new filler valve", begins=change),
    ]
    series = only(stability(table(frame), "total_oxygen", phases=phases))
    assert [phase.because for phase in series.phases] == ["first month after the service", "new filler valve"]
    assert series.phases[1].begins == START + pd.Timedelta(days=210)
    assert series.phases[1].centre > 1.7 * series.phases[0].centre
    assert (series.points[0].centre, series.points[-1].centre) == (series.phases[0].centre, series.phases[1].centre)
    assert not any("nine-on-a-side" in point.signals for point in series.points[30:38])
    assert series.suggestion is None
    other = stability(table(frame), "total_oxygen", phases=[frozen(change, change, recipe="I62")])
    assert only(other).phases[0].because is None


def test_a_new_phase_alone_leaves_the_runs_before_it_their_own_baseline():
    frame = raised(packs(60), 30, 2.0)
    change = (START + pd.Timedelta(days=210)).date()
    plain = only(stability(table(frame), "total_oxygen"))
    phased = only(
        stability(table(frame), "total_oxygen", phases=[frozen(change, date(2026, 7, 1), "new valve", begins=change)])
    )
    assert [phase.because for phase in phased.phases] == [None, "new valve"]
    assert phased.phases[0].centre == pytest.approx(plain.centre)
    assert phased.phases[1].centre > 1.7 * plain.centre
    assert phased.as_document()["baseline"]["because"] == "new valve"


def test_a_baseline_of_another_measure_or_stage_leaves_a_series_alone():
    frame = packs(60)
    plain = only(stability(table(frame), "total_oxygen"))
    phase = frozen(date(2025, 9, 1), date(2025, 12, 31))
    for other in (replace(phase, measure="haze"), replace(phase, stage="filler"), replace(phase, format="bottle")):
        assert only(stability(table(frame), "total_oxygen", phases=[other])).phases == plain.phases


def test_frozen_phases_want_reasons_and_order():
    with pytest.raises(ValueError, match="because must give the reason"):
        frozen(date(2025, 1, 1), date(2025, 2, 1), because=" ")
    with pytest.raises(ValueError, match="because must give the reason"):
        RunLeftOut("R1", "")
    with pytest.raises(ValueError, match="since must not be after until"):
        frozen(date(2025, 3, 1), date(2025, 2, 1))
    with pytest.raises(ValueError, match="begins must not be after since"):
        frozen(date(2025, 3, 1), date(2025, 4, 1), begins=date(2025, 3, 2))
    with pytest.raises(ValueError, match="stage must be one of"):
        replace(frozen(date(2025, 3, 1), date(2025, 4, 1)), stage="moon")
    twice = [frozen(date(2025, 6, 1), date(2025, 7, 1)) for _ in range(2)]
    with pytest.raises(ValueError, match="begin on the same day"):
        stability(table(packs(20)), "total_oxygen", phases=twice)


def with_targets(*rows):
    columns = ["recipe", "format", "quantity", "lower", "upper"]
    return replace(table(packs(40, seed=4)), targets=pd.DataFrame(rows, columns=columns))


def test_capability_against_the_most_particular_target():
    given = with_targets(
        (None, None, "total_oxygen", None, 500.0),
        ("P40", None, "total_oxygen", None, 200.0),
        ("P40", "can", "total_oxygen", None, 150.0),
        ("P40", "can", "haze", None, 2.0),
        ("I62", "can", "total_oxygen", None, 90.0),
    )
    series = only(stability(given, "total_oxygen"))
    assert series.targets.limits.upper == 150.0
    logs = np.log([point.value for point in series.points])
    assert series.targets.capability.ppk.value == pytest.approx((math.log(150) - logs.mean()) / (3 * logs.std(ddof=1)))
    told = series.as_document()["targets"]
    assert told["cp"] is None and told["why_not"] is None
    assert told["ppk"]["low"] < told["ppk"]["value"] < told["ppk"]["high"]
    assert 0 < told["share_above"] < 0.05


def test_capability_is_refused_where_the_chart_is_not_stable():
    given = with_targets((None, None, "total_oxygen", 10.0, 300.0))
    given = replace(given, rows=raised(given.rows, 30, 1.8))
    told = only(stability(given, "total_oxygen")).as_document()["targets"]
    assert "not stable" in told["why_not"]
    assert told["ppk"] is None


def test_capability_is_refused_where_the_level_moved_though_no_pattern_says_so():
    given = with_targets((None, None, "total_oxygen", None, 900.0))
    given = replace(
        given, rows=given.rows.assign(total_oxygen=given.rows["total_oxygen"] * np.exp(0.02 * given.rows["place"]))
    )
    series = only(stability(given, "total_oxygen", rules=("fifteen-inside",)))
    assert series.moves and not series.signals
    assert series.as_document()["targets"]["why_not"] == "the chart is not stable: its level moved"


def test_no_target_no_capability():
    assert only(stability(table(packs(40)), "total_oxygen")).targets is None
    out_of_order = with_targets((None, None, "total_oxygen", 300.0, 10.0))
    assert only(stability(out_of_order, "total_oxygen")).targets is None


def test_the_terminals_table_says_which_runs_the_limits_come_from():
    frame = packs(60)
    headers, (plain, *_) = stability(table(frame), "total_oxygen").in_words()
    at = headers.index("limits from")
    assert plain[at] == "first 25 runs"
    phase = frozen(date(2025, 9, 1), date(2025, 12, 31))
    _, (told, *_) = stability(table(frame), "total_oxygen", phases=[phase]).in_words()
    assert told[at].endswith("runs, frozen by AQ")
    assert stability(table(packs(5)), "total_oxygen").in_words()[1][0][at] == ""


def test_it_asks_for_a_phase_and_never_begins_one_by_itself():
    frame = raised(packs(60), 40, 1.6)
    series = only(stability(table(frame), "total_oxygen"))
    assert len(series.phases) == 1
    assert "begin a phase there and say why" in series.suggestion
    assert only(stability(table(packs(60)), "total_oxygen")).suggestion is None


LEVELS = {"P40": 60.0, "I62": 90.0, "S48": 75.0}


def on_a_line(n=40, seed=5, **changes):
    """Packs of three recipes in turn on one line, and the date after which each has so many runs."""
    frames = [
        packs(n, level=level, seed=seed + place).assign(recipe=recipe, batch=lambda f, r=recipe: r + f["batch"])
        for place, (recipe, level) in enumerate(LEVELS.items())
    ]  # fmt: skip
    for frame, recipe in zip(frames, LEVELS, strict=True):
        frame["run"] = frame["run"].str.replace("P40", recipe)
    rows = pd.concat(frames)
    return table(rows.assign(**changes).sort_values("packed_at", kind="stable").reset_index(drop=True))


def of_line(since, until, because="before the new filler", begins=None):
    return FrozenPhase("total_oxygen", "pack", None, None, begins, since, until, because, "AQ", line="1")


def test_a_lines_frozen_baseline_holds_its_recipes_centres_to_the_runs_before_a_move():
    steady = on_a_line()
    rows = raised(steady.rows, 20, 1.5)
    end = (START + pd.Timedelta(days=7 * 19)).date()
    plain = stability(replace(steady, rows=rows), "total_oxygen").across[0]
    held = stability(replace(steady, rows=rows), "total_oxygen", phases=[of_line(START.date(), end)]).across[0]
    level = {
        name: np.mean([point.value for point in one.points[60:]]) for name, one in (("all", plain), ("held", held))
    }
    assert level["held"] > 1.5 * level["all"] > 0
    before = np.array([point.value for point in held.points[:60]])
    assert abs(before.mean()) < 0.05 and before.std() == pytest.approx(1, abs=0.25)
    assert [point.in_baseline for point in held.points] == [True] * 60 + [False] * 60
    assert (held.phases[0].because, held.phases[0].by, held.phases[0].runs) == ("before the new filler", "AQ", 60)
    assert (held.lower, held.upper) == (-3.0, 3.0)
    assert held.moves == plain.moves and len(held.moves) == 1
    assert held.cautions == ()


def test_later_runs_do_not_move_a_lines_frozen_baseline():
    whole = on_a_line(40)
    phase = of_line(START.date(), (START + pd.Timedelta(days=7 * 19)).date())
    early = replace(whole, rows=whole.rows[whole.rows["place"] < 25].reset_index(drop=True))
    first = stability(early, "total_oxygen", phases=[phase]).across[0]
    later = stability(whole, "total_oxygen", phases=[phase]).across[0]
    assert [point.value for point in first.points] == pytest.approx([point.value for point in later.points[:75]])


def test_a_new_phase_of_a_line_has_centres_of_its_own_and_a_new_recipe_is_named():
    steady = on_a_line()
    rows = raised(steady.rows, 20, 1.5)
    change = (START + pd.Timedelta(days=7 * 20)).date()
    late = rows["recipe"].eq("S48") & (rows["place"] >= 20)
    rows.loc[late, "recipe"] = "N70"
    phase = of_line(change, (START + pd.Timedelta(days=7 * 30)).date(), "new filler", begins=change)
    line = stability(replace(steady, rows=rows), "total_oxygen", phases=[phase]).across[0]
    assert [one.because for one in line.phases] == [None, "new filler"]
    values = np.array([point.value for point in line.points])
    assert abs(values[:60].mean()) < 0.1 and abs(values[60:].mean()) < 0.5
    short = of_line(START.date(), (START + pd.Timedelta(days=7 * 19)).date())
    named = stability(replace(steady, rows=rows), "total_oxygen", phases=[short]).across[0]
    assert "N70, can" in named.cautions[0] and "held against all of their runs" in named.cautions[0]


def test_a_lines_baseline_leaves_recipes_and_other_lines_alone():
    steady = on_a_line()
    phase = of_line(START.date(), (START + pd.Timedelta(days=7 * 19)).date())
    plain, held = (stability(steady, "total_oxygen", phases=phases) for phases in ([], [phase]))
    assert [one.phases for one in held.series] == [one.phases for one in plain.series]
    other = stability(steady, "total_oxygen", phases=[replace(phase, line="2")])
    assert other.across[0].phases == ()
    assert [point.value for point in other.across[0].points] == [point.value for point in plain.across[0].points]
