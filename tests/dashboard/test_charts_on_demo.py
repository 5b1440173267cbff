"""Are the drift, the shift and the trap of the invented brewery found, and told in the right words by the command?"""

import json
import math
from datetime import date, datetime

import pytest
from click.testing import CliRunner

from analysis.findings.baselines import FrozenPhase, freeze
from analysis.ledger import Ledger
from analysis.records import SourceFile, take_in
from dashboard.commands import main
from data_demo import truth
from data_demo.workbooks import write_workbooks


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    folder = tmp_path_factory.mktemp("charts-on-demo")
    with pytest.MonkeyPatch.context() as patch, Ledger.open(f"sqlite:///{folder / 'demo.sqlite'}") as opened:
        patch.setenv("DROPBRIGHT_CACHE", str(folder / "cache"))
        opened.commit(take_in([SourceFile(path, path.name) for path in write_workbooks(folder)]), by="demo")
        yield opened


@pytest.fixture(scope="module")
def chart(ledger):
    def ask(*words):
        told = CliRunner().invoke(main, ["chart", *words, "--json", "--ledger", ledger.url])
        assert told.exit_code == 0, told.stderr
        return json.loads(told.stdout)

    return ask


@pytest.fixture(scope="module")
def oxygen(chart):
    return chart("total_oxygen")


@pytest.fixture(scope="module")
def haze_left(chart):
    return chart("haze", "--adjusted")


def when(told):
    return datetime.fromisoformat(told).date()


def test_the_shift_is_found_on_its_line_with_its_dates_and_size(oxygen):
    line = next(s for s in oxygen["across_recipes"] if s["line"] == truth.OXYGEN_SHIFT.line)
    up, down = line["shifts"]
    assert when(up["earliest"]) <= truth.OXYGEN_SHIFT.begins + (date(2026, 1, 8) - date(2026, 1, 1))
    assert when(up["latest"]) >= truth.OXYGEN_SHIFT.begins
    assert up["percent_low"] < 100 * math.expm1(truth.OXYGEN_SHIFT.log_effect) < up["percent_high"]
    assert when(down["earliest"]) <= truth.OXYGEN_SHIFT.repaired <= when(down["latest"])
    assert not up["gradual"]
    other = next(s for s in oxygen["across_recipes"] if s["line"] != truth.OXYGEN_SHIFT.line)
    assert other["shifts"] == []


def test_the_kegs_of_the_climbing_recipe_hold_what_it_truly_climbed_by(haze_left):
    kegs = next(s for s in haze_left["series"] if (s["recipe"], s["format"]) == (truth.CLIMB.recipe, "keg"))
    (move,) = kegs["shifts"]
    assert move["gradual"] and move["if_slow"] is None
    assert move["percent_low"] < 100 * math.expm1(truth.CLIMB.log_effect) < move["percent_high"]


def test_the_answer_tells_the_shift_and_never_a_cause(oxygen):
    assert oxygen["answer"].startswith("Total package oxygen moved: line 1, all recipes: +")
    assert "January 2026" in oxygen["answer"]
    assert "because" not in oxygen["answer"] and "cause" not in oxygen["answer"]


def test_the_drift_is_found_in_its_recipe_and_not_told_as_a_step(chart, haze_left):
    for told in (chart("haze"), haze_left):
        climbing = next(s for s in told["series"] if (s["recipe"], s["format"]) == (truth.CLIMB.recipe, "can"))
        (move,) = climbing["shifts"]
        assert move["gradual"] or move["may_be_gradual"]
        assert truth.CLIMB.begins <= when(move["at"]) <= truth.CLIMB.ends
        climbed = 100 * math.expm1(truth.CLIMB.log_effect)
        assert move["percent_low"] < climbed < move["percent_high"]
        if not move["gradual"]:
            assert move["if_slow"]["low"] < climbed < move["if_slow"]["high"]
            assert move["if_slow"]["percent"] > move["percent"]
        assert "slowly" in told["answer"]
        others = [s for s in told["series"] if s["recipe"] != truth.CLIMB.recipe]
        assert all(s["shifts"] == [] for s in others)


def test_the_trap_is_told_where_what_was_done_is_taken_out(haze_left):
    rouse = next(e for e in haze_left["adjusted"]["taken_out"] if e["practice"] == truth.TRAP.practice)
    assert math.copysign(1, rouse["effect_percent"]) == truth.TRAP.within_sign
    assert math.copysign(1, rouse["over_all_recipes"]) == truth.TRAP.pooled_sign
    said = next(caution for caution in haze_left["cautions"] if caution.startswith("Rouse time"))
    assert "that is the recipes, which differ in both" in said


def test_without_what_was_done_the_shift_shows_in_the_recipe_itself(chart):
    told = chart("total_oxygen", "--adjusted", "--recipe", "P40", "--format", "can")
    up = told["series"][0]["shifts"][0]
    assert when(up["earliest"]) <= truth.OXYGEN_SHIFT.begins <= when(up["latest"])
    assert up["percent_low"] < 100 * math.expm1(truth.OXYGEN_SHIFT.log_effect) < up["percent_high"]


def test_a_chart_for_slow_moves_is_chosen_and_finds_the_drift(chart):
    told = chart("haze", "--adjusted", "--recipe", "P40", "--format", "can", "--find", "30", "--within", "5")
    slow = told["series"][0]["slow"]
    assert slow["designs"][0]["in_time"] and slow["chosen"] == slow["designs"][0]["chart"]
    in_the_climb = [s for s in slow["signals"] if when(s["packed_at"]) >= truth.CLIMB.begins]
    assert in_the_climb and in_the_climb[0]["side"] == 1
    assert when(in_the_climb[0]["packed_at"]) < truth.CLIMB.ends


def test_a_frozen_baseline_is_used_and_said(ledger, chart):
    plain = chart("haze", "--recipe", "P40", "--format", "can")["series"][0]
    assert plain["baseline"]["frozen"] is False
    freeze(
        ledger,
        FrozenPhase("haze", "pack", "P40", "can", None, date(2025, 8, 1), date(2026, 2, 28), "before the malt", "AQ"),
    )
    found = chart("haze", "--recipe", "P40", "--format", "can")["series"][0]
    assert found["baseline"]["because"] == "before the malt" and found["baseline"]["by"] == "AQ"
    assert found["baseline"]["from"] >= "2025-08-01" and found["baseline"]["to"] < "2026-03-01"
    assert found["centre"] != plain["centre"]


def test_rules_are_switched_and_their_price_is_said(chart):
    usual, all_of = chart("haze"), chart("haze", "--rule", "beyond-limit", "--rule", "six-in-a-trend")
    assert [rule["rule"] for rule in all_of["rules"]] == ["beyond-limit", "six-in-a-trend"]
    assert all_of["runs_between_alarms"] < usual["runs_between_alarms"]


def test_a_request_that_makes_no_sense_is_misuse(ledger):
    told = CliRunner().invoke(main, ["chart", "haze", "--find", "0", "--ledger", ledger.url])
    assert told.exit_code == 2 and "percent must lie" in told.stderr


def test_taste_tests_are_charted_against_guessing(chart):
    told = chart("counted:taste_tests")
    (tests,) = told["across_recipes"]
    assert tests["name"] == "Triangle tests"
    assert tests["centre"] == pytest.approx(100 / 3)
    assert len(tests["points"]) == len(truth.TRIANGLES)
    shifted = sum(each.shifted for each in truth.TRIANGLES)
    values = [point["value"] for point in tests["points"]]
    assert min(values[-shifted:]) > max(values[:-shifted])


def test_what_is_not_counted_is_misuse(ledger):
    told = CliRunner().invoke(main, ["chart", "counted:nothing", "--ledger", ledger.url])
    assert told.exit_code == 2 and "one of what is counted" in told.stderr
