"""Is what was done taken out of the runs, within recipes, and nothing that a fault would need to be seen?"""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.findings.series_adjusted import what_was_done
from analysis.findings.stability import stability
from analysis.vocabulary import measure
from data_demo import truth


@pytest.fixture(scope="module")
def brewed(simulated_packs):
    """The invented brewery's packs, without targets."""
    return replace(simulated_packs, targets=simulated_packs.targets.head(0))


@pytest.fixture(scope="module")
def of_haze(brewed):
    return what_was_done(brewed, measure("haze"), "pack")


@pytest.fixture(scope="module")
def left(brewed, of_haze):
    return stability(brewed, "haze", done=of_haze)


def test_each_effect_taken_out_is_near_its_truth(of_haze):
    told = {each.practice: each.effect for each in of_haze.taken_out}
    for effect in truth.EFFECTS:
        if effect.measure == "haze" and effect.told in ("lowers", "raises"):
            assert told[effect.practice] == pytest.approx(effect.percent, abs=4)


def test_line_tank_format_and_season_are_not_taken_out(of_haze):
    names = {each.practice.split(":")[0] for each in of_haze.taken_out}
    assert not names & {"line", "tank", "format"}
    assert "trend" in of_haze.formula


def test_the_trap_is_told_as_what_it_is(of_haze, left):
    turned = {each.practice: each for each in of_haze.turned}
    trap = turned[truth.TRAP.practice]
    assert math.copysign(1, trap.effect) == truth.TRAP.within_sign
    assert math.copysign(1, trap.pooled) == truth.TRAP.pooled_sign
    said = next(caution for caution in left.cautions if caution.startswith("Rouse time"))
    assert "over all recipes together" in said and "Within a recipe it is −" in said


def test_what_is_left_keeps_unit_and_level_and_spreads_less(brewed, left):
    plain = {series.name: series for series in stability(brewed, "haze").series}
    name = "P40, can"
    own = next(series for series in left.series if series.name == name)
    assert own.centre == pytest.approx(plain[name].centre, rel=0.02)
    assert own.upper / own.centre < plain[name].upper / plain[name].centre
    assert any("explains" in caution for caution in own.cautions)


def test_a_move_that_the_practices_explain_goes_and_a_fault_stays(brewed):
    rows = brewed.rows.copy()
    late = (rows["packed_at"] >= "2026-03-01") & (rows["recipe"] == "I62")
    rows.loc[late, "rouse_minutes"] -= 25.0
    rows.loc[late, "haze"] *= math.exp(25 * 0.12 / 15 * 2)
    fined_less = replace(brewed, rows=rows)
    plain = stability(fined_less, "haze").series
    moved = next(series for series in plain if series.name == "I62, can").moves
    assert moved and moved[0].percent > 20
    done = what_was_done(fined_less, measure("haze"), "pack")
    after = next(s for s in stability(fined_less, "haze", done=done).series if s.name == "I62, can")
    assert all(abs(move.percent) < moved[0].percent for move in after.moves)
    oxygen = what_was_done(brewed, measure("total_oxygen"), "pack")
    across = stability(brewed, "total_oxygen", done=oxygen).across
    line = next(series for series in across if series.line == truth.OXYGEN_SHIFT.line)
    assert any(move.percent > 20 for move in line.moves)


def test_a_run_without_practices_is_left_out_and_counted(brewed, of_haze):
    some = dict(list(of_haze.effects.items())[5:])
    fewer = stability(brewed, "haze", done=replace(of_haze, effects=some))
    plain = stability(brewed, "haze")
    assert sum(len(s.points) for s in plain.series) - sum(len(s.points) for s in fewer.series) == 5
    assert any("what was done to the beer is not on record" in c for s in fewer.series for c in s.cautions)


def test_what_cannot_be_taken_out_says_why(brewed):
    done = what_was_done(brewed, measure("haze"), "filler")
    assert "finished packs" in done.why_not
    finding = stability(brewed, "haze", done=done)
    assert finding.series == () and finding.answer.startswith("What was done cannot be taken out")
    few = replace(brewed, rows=brewed.rows.head(4))
    assert what_was_done(few, measure("haze"), "pack").why_not


def test_the_document_says_what_was_taken_out(left):
    document = json.loads(json.dumps(left.as_document(), allow_nan=False))
    assert document["adjusted"]["why_not"] is None
    rouse = next(e for e in document["adjusted"]["taken_out"] if e["practice"] == "rouse_minutes")
    assert rouse["effect_percent"] < 0 < rouse["over_all_recipes"]
    assert np.isfinite(document["series"][0]["points"][0]["value"])
