"""Are signals that belong together one matter, with a size in the measure's unit, and is the worst first?"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.findings.baselines import FrozenPhase
from analysis.findings.practices import practices
from analysis.findings.review_differences import differences
from analysis.findings.review_matters import matters_on_record
from analysis.findings.review_stretches import MOST_RUNS_BETWEEN
from analysis.findings.review_words import told


@pytest.fixture(scope="module")
def found(shifted):
    return matters_on_record(shifted)


@pytest.fixture(scope="module")
def rise(found):
    return next(matter for matter in found if matter.key.recipe == "P40")


def test_a_shift_with_all_its_signals_is_one_matter(found):
    assert [matter.key.recipe for matter in found if matter.key.line is None] == ["P40"]
    assert len({matter.key.code for matter in found}) == len(found)


def test_a_shift_ends_where_it_came_back(rise):
    assert (rise.stretch.first, rise.stretch.last) == (30, 44)
    assert rise.stretch.ended_by is not None
    assert not rise.lasts
    assert rise.harmful
    assert rise.runs[0] == rise.key.first == "R130"
    assert len(rise.stretch.signals) > 3


def test_its_size_is_that_of_the_truth_in_the_unit(rise):
    assert rise.size.percent == pytest.approx(60, abs=6)
    assert rise.size.low < 60 * 0.6 < rise.size.high
    assert rise.size.after - rise.size.before == pytest.approx(rise.size.change)


def test_a_steady_cellar_has_no_matter(cellar):
    assert matters_on_record(cellar(spread=0.05, seed=11)) == ()


def test_one_run_that_stands_out_is_a_matter_of_its_own(cellar):
    (matter,) = matters_on_record(cellar(lambda _recipe, n: 1.7 if n == 35 else 1.0))
    assert matter.runs == ("R135",)
    assert np.isnan(matter.size.low)
    assert matter.size.percent == pytest.approx(70, abs=18)


def test_a_new_phase_that_a_person_begins_ends_the_matter_before_it(cellar):
    table = cellar(lambda _recipe, n: 1.6 if n >= 30 else 1.0, runs=60)
    (lasting,) = matters_on_record(table)
    assert lasting.lasts
    days = table.rows.drop_duplicates("run")["packed_at"].dt.date.tolist()
    phase = FrozenPhase(
        "total_oxygen", "pack", "P40", "can", days[40], days[40], days[59], "a new filler that is here to stay", "Ann"
    )
    (ended,) = matters_on_record(table, [phase])
    assert ended.key == lasting.key
    assert (ended.stretch.first, ended.stretch.last) == (30, 39)
    assert "A new phase was begun" in told(ended)


def test_runs_that_signals_picked_have_no_interval(cellar):
    (matter,) = matters_on_record(cellar(lambda _recipe, n: 1.35 if n in (40, 45) else 1.0, runs=70))
    assert matter.stretch.move is None
    assert len(matter.runs) == 6
    assert np.isnan(matter.size.low)
    assert "95 %" not in told(matter)


def test_runs_that_stand_out_close_together_are_one_matter_and_far_apart_two(cellar):
    def spikes(*at):
        return matters_on_record(cellar(lambda _recipe, n: 1.7 if n in at else 1.0, runs=60))

    assert len(spikes(35, 36 + MOST_RUNS_BETWEEN)) == 1
    assert len(spikes(35, 37 + MOST_RUNS_BETWEEN + 8)) == 2


def test_worse_comes_before_better_and_more_harm_before_less(cellar):
    found = matters_on_record(
        cellar(
            lambda recipe, n: {"P40": 1.4, "I62": 0.5, "S48": 1.9}[recipe] if n >= 40 else 1.0,
            recipes=("P40", "I62", "S48"),
            runs=55,
            line=lambda recipe, _n: recipe,
        )
    )
    by_recipe = [matter.key.recipe for matter in found if matter.key.recipe]
    assert by_recipe == ["S48", "P40", "I62"]
    assert [matter.harmful for matter in found if matter.key.recipe] == [True, True, False]


def test_a_line_is_one_matter_across_its_recipes(cellar):
    def level(recipe, n):
        return 1.5 if recipe != "S48" and n >= 30 else 1.0

    found = matters_on_record(
        cellar(level, recipes=("P40", "I62", "S48"), runs=45, line=lambda recipe, _n: "2" if recipe == "S48" else "1")
    )
    across = [matter for matter in found if matter.key.line is not None]
    assert [matter.key.line for matter in across] == ["1"]
    assert across[0].recipes == {"P40", "I62"}
    assert across[0].size.percent == pytest.approx(50, abs=6)
    assert across[0].size.before == pytest.approx(60, rel=0.05)


@pytest.fixture(scope="module")
def bled(cellar):
    """Bleeding the air lowers oxygen by a quarter; from run 40 on it is bled no more, and a seal leaks 20 % besides."""

    def was_bled(_recipe, n):
        return float(n % 4 != 0) if n < 40 else 0.0

    def level(recipe, n):
        return (0.75 if was_bled(recipe, n) else 1.0) * (1.2 if recipe == "P40" and n >= 40 else 1.0)

    return cellar(level, recipes=("P40", "I62"), runs=56, bled=was_bled, spread=0.05, seed=8, line=lambda r, _n: r)


def test_shares_add_up_to_the_move(bled):
    finding = practices(bled, "total_oxygen")
    found = matters_on_record(bled)
    assert found
    for matter in found:
        told = differences(matter, bled, finding)
        assert told.why_not == ""
        assert sum(line.share for line in told.lines) + told.unexplained == pytest.approx(told.move, abs=1e-9)


def test_the_practice_that_changed_has_the_share_that_it_truly_has(bled):
    matter = next(m for m in matters_on_record(bled) if m.key.recipe == "P40" and m.lasts)
    told = differences(matter, bled, practices(bled, "total_oxygen"))
    line = next(line for line in told.lines if line.practice == "air_bled")
    # usually bled in three of four runs: no bleeding is 0.75 steps of log(1 / 0.75) = 0.288
    truth = 0.75 * np.log(1 / 0.75) * matter.size.unit_a_log
    assert line.low < truth < line.high
    assert line.here == "no"
    assert line.uncertain == ""
    assert told.unexplained == pytest.approx(np.log(1.2) * matter.size.unit_a_log, rel=0.35)


def test_a_share_that_may_be_nothing_is_said_to_be_so(bled):
    matter = next(m for m in matters_on_record(bled) if m.key.recipe == "P40")
    told = differences(matter, bled, practices(bled, "total_oxygen"))
    rouses = next(line for line in told.lines if line.practice == "rouse_count")
    assert rouses.uncertain
    assert {one.practice for one in told.not_assessed} >= {"format"}
    assert all(one.reason for one in told.not_assessed)


def test_what_stood_plainly_different_is_told_where_nothing_can_be_weighed(bled):
    matter = next(m for m in matters_on_record(bled) if m.key.recipe == "P40" and m.lasts)
    told_of = {one.practice: one for one in differences(matter, bled, None).not_assessed}
    assert (told_of["air_bled"].here, told_of["air_bled"].usually) == ("no", "yes in 75 %")
    assert "rouse_count" not in told_of


def test_a_stage_before_the_pack_says_why_nothing_can_be_weighed(found, shifted):
    told = differences(found[0], shifted, None)
    assert "no model of practices" in told.why_not
    assert told.unexplained == told.move
