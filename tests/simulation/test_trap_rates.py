"""How often does each trap of observed records catch the plain analysis, and how often the page?

A few breweries in every run, hundreds by name (``-m slow``); those figures stand in DEVELOPERS.md. A rate whose
nominal value is 5 % may not be surely above it; a refusal has to be given every time, with its caution.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.findings.practices import PracticesFinding, practices
from analysis.linking import PackTable
from analysis.verdicts import Verdict
from data_demo.rates import Rate
from data_demo.set_traps import (
    MEMORY,
    by_batch,
    changed_after_bad_batches,
    changed_once,
    changed_once_in_one_recipe,
    coarsely_written,
    noted_when_wrong,
    one_batch_apart,
    recipes_against_each_other,
    through_time_cold,
    worst_three,
    written_as_few_values,
)
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

SEED = 20_260_517
FEW, MANY = 8, 400
SHIFTING = (Verdict.RAISES, Verdict.LOWERS)


def as_drawn(brewery: SmallBrewery, rng: np.random.Generator) -> PackTable:
    return pack_table_of(simulate_packs(brewery, rng), brewery)


def effect_of(finding: PracticesFinding, name: str = "practice_0"):
    return next((e for e in finding.practices if name in e.practice.split(" + ")), None)


def slope_p(x, y) -> float:
    return float(stats.linregress(np.asarray(x, float), np.asarray(y, float)).pvalue)


# What a plain analysis would say: each returns whether it falls in.


def packs_as_batches(rows: pd.DataFrame) -> bool:
    return slope_p(rows["practice_0"], np.log(rows["total_oxygen"])) <= 0.05


def z_for_t(rows: pd.DataFrame) -> bool:
    batches = by_batch(rows)
    told = stats.linregress(batches["x"], batches["y"])
    return 2 * stats.norm.sf(abs(told.slope / told.stderr)) <= 0.05


def each_batch_alone(rows: pd.DataFrame, names=("practice_0",)) -> bool:
    batches = by_batch(rows)
    own = pd.concat([rows.groupby("batch", sort=False)[list(names)].first(), batches["y"]], axis=1)
    done = own - own.groupby(batches["recipe"]).transform("mean")
    y = done["y"]
    return any(slope_p(done[name], y) <= 0.05 for name in names)


def before_and_after(rows: pd.DataFrame) -> bool:
    batches = by_batch(rows)
    return stats.ttest_ind(batches["y"][batches["x"] == 0], batches["y"][batches["x"] == 1]).pvalue <= 0.05


def bad_batches_and_after(rows: pd.DataFrame) -> bool:
    y, worst = by_batch(rows)["y"], worst_three(rows)  # the three that called for the change, and six after it
    return stats.ttest_ind(y.iloc[worst - 2 : worst + 1], y.iloc[worst + 1 : worst + 7]).pvalue <= 0.05


def in_one_recipe(rows: pd.DataFrame) -> bool:
    return before_and_after(rows[rows["recipe"] == "A10"])


def pooled(rows: pd.DataFrame) -> bool:
    batches = by_batch(rows)
    return stats.linregress(batches["x"], batches["y"]).slope > 0


def vanishes_behind_the_time(rows: pd.DataFrame) -> bool:
    batches = by_batch(rows).assign(cold=rows.groupby("batch", sort=False)["cold_hours"].first())
    X = np.column_stack([np.ones(len(batches)), batches["x"], batches["cold"]])
    beta, left, *_ = np.linalg.lstsq(X, batches["y"], rcond=None)
    error = math.sqrt(left[0] / (len(X) - 3) * np.linalg.inv(X.T @ X)[1, 1])
    return 2 * stats.t.sf(abs(beta[1]) / error, len(X) - 3) > 0.05


def noted_against_not(rows: pd.DataFrame) -> bool:
    batches = by_batch(rows).assign(noted=rows.groupby("batch", sort=False)["practice_1"].first().notna())
    return stats.ttest_ind(batches["y"][batches["noted"]], batches["y"][~batches["noted"]]).pvalue <= 0.05


# What the page says.


def below_five_percent(finding: PracticesFinding) -> bool:
    return effect_of(finding).judgement.p <= 0.05


def shifts(finding: PracticesFinding) -> bool:
    return effect_of(finding).verdict in SHIFTING


def anything_shifts(finding: PracticesFinding) -> bool:
    return any(e.verdict in SHIFTING for e in finding.practices)


def is_small(finding: PracticesFinding) -> bool:
    return effect_of(finding).verdict is Verdict.NO_PRACTICAL_DIFFERENCE


def blames_the_other(finding: PracticesFinding) -> bool:
    return effect_of(finding, "practice_1").verdict in SHIFTING


def shifts_unwarned(finding: PracticesFinding) -> bool:
    return shifts(finding) and not says("rests on batch")(finding)


def says(words: str) -> Callable[[PracticesFinding], bool]:
    return lambda finding: any(words in c for c in effect_of(finding).cautions)


def does_not_assess(finding: PracticesFinding) -> bool:
    return any(
        n.practice == "practice_1" and "only when something went wrong" in n.reason for n in finding.not_assessed
    )


@dataclass(frozen=True)
class Trap:
    """A brewery with a trap in its records, when a plain analysis falls in, when the page would be wrong, and what it
    has to say. ``nominal`` is the rate at which it may be wrong; a plain rate must reach ``catches``. By name ``many``
    breweries are drawn."""

    name: str
    brewery: SmallBrewery
    plain: Callable[[pd.DataFrame], bool]
    wrong: Callable[[PracticesFinding], bool]
    catches: float
    table: Callable[[SmallBrewery, np.random.Generator], PackTable] = as_drawn
    says: Callable[[PracticesFinding], bool] | None = None
    nominal: float = 0.05
    many: int = MANY


ONE = SmallBrewery(batches=60, effects=(0.0,), recipes=1, tank=0.0)
FORTY = SmallBrewery(batches=120, packs=2, effects=(0.0,) * 40)
COARSE = SmallBrewery(batches=120, packs=3, effects=(math.log1p(0.1),) * 2, recipes=1)
TRAPS = (
    Trap("six packs of a batch counted as six batches", ONE.changed(batches=20, packs=6, batch=0.15, pack=0.15),
         packs_as_batches, below_five_percent, 0.2),
    Trap("z for t with eight batches", ONE.changed(batches=8, packs=6), z_for_t, below_five_percent, 0.06),
    Trap("the best of forty practices", FORTY,
         lambda rows: each_batch_alone(rows, [p.name for p in FORTY.practices]), anything_shifts, 0.6),
    Trap("changed once while things drift", ONE.changed(memory=MEMORY, effects=(0.0, 0.0), recipes=3),
         before_and_after, shifts, 0.15, changed_once, says("changed only once"), 0.0),
    Trap("changed once in one recipe while things drift", ONE.changed(batches=90, memory=MEMORY, recipes=3),
         in_one_recipe, below_five_percent, 0.06, changed_once_in_one_recipe, says("went on unchanged")),
    Trap("changed after three bad batches", ONE.changed(batches=40), bad_batches_and_after, shifts, 0.12,
         changed_after_bad_batches, says("changed only once"), 0.0),
    Trap("neighbouring batches alike, in beer and practices",
         SmallBrewery(batches=60, effects=(0.0,) * 4, memory=MEMORY, persistence=MEMORY, tank=0.0),
         lambda rows: each_batch_alone(rows, [f"practice_{i}" for i in range(4)]), anything_shifts, 0.15,
         many=4_000),  # a page's rate this near 5 % is not told from 6 % by fewer
    Trap("recipes pooled", SmallBrewery(batches=60, effects=(0.0,), tank=0.0), pooled,
         lambda finding: effect_of(finding).verdict is Verdict.RAISES, 0.9, recipes_against_each_other),
    Trap("two practices that move together, r = 0.9, one of which matters",
         ONE.changed(batches=80, effects=(0.06, 0.0), together=0.9),
         lambda rows: each_batch_alone(rows, ["practice_1"]), blames_the_other, 0.5, as_drawn, says("practice 1")),
    Trap("a time that follows from the practice", ONE.changed(batches=150, batch=0.1), vanishes_behind_the_time,
         is_small, 0.5, through_time_cold, says("may run through time cold")),
    Trap("written down to the nearest two deviations", COARSE,
         lambda rows: stats.linregress(by_batch(rows)["x"], by_batch(rows)["y"]).slope < COARSE.effects[0],
         is_small, 0.6, coarsely_written,
        says("looks smaller than it is")),
    Trap("written down as one of a few values", COARSE,
         lambda rows: stats.linregress(by_batch(rows)["x"], by_batch(rows)["y"]).slope < COARSE.effects[0],
         is_small, 0.6, written_as_few_values, says("as one of only")),
    Trap("noted only when something went wrong", ONE.changed(effects=(0.0, 0.0)), noted_against_not, anything_shifts,
         0.9, noted_when_wrong, does_not_assess),
    Trap("one batch apart from all others", ONE.changed(batches=40, margin=3.0), each_batch_alone, shifts_unwarned, 0.5,
         one_batch_apart),  # by chance one in forty has the rest on its side too
)  # fmt: skip


@dataclass(frozen=True)
class Caught:
    """How often the plain analysis fell in, the page was wrong, and the page said what it has to say."""

    plain: Rate
    wrong: Rate
    said: Rate


def caught(trap: Trap, count: int) -> Caught:
    plain = wrong = said = 0
    for stream in np.random.SeedSequence(SEED).spawn(count):
        table = trap.table(trap.brewery, np.random.default_rng(stream))
        finding = practices(table, "total_oxygen")
        plain += trap.plain(table.rows)
        wrong += trap.wrong(finding)
        said += trap.says is None or trap.says(finding)
    return Caught(Rate(plain, count), Rate(wrong, count), Rate(said, count))


@pytest.mark.parametrize("trap", TRAPS, ids=lambda t: t.name)
def test_few_breweries_seldom_catch_the_page(trap):
    found = caught(trap, FEW)
    assert found.wrong.lower <= trap.nominal
    assert found.said.upper == 1.0


@pytest.mark.slow
@pytest.mark.timeout(7_200)
@pytest.mark.parametrize("trap", TRAPS, ids=lambda t: t.name)
def test_four_hundred_breweries_do_not_catch_the_page(trap, request, record_property, capsys):
    if "slow" not in request.config.option.markexpr:
        pytest.skip("a minute of simulation a trap: run it by name with -m slow")
    found = caught(trap, trap.many)
    with capsys.disabled():
        sys.stdout.write(f"\n{trap.name}: plain {found.plain}; page {found.wrong}; says {found.said}\n")
    for name, rate in vars(found).items():
        record_property(name, str(rate))
    assert found.plain.lower > trap.catches
    assert found.wrong.lower <= trap.nominal
    assert trap.many == MANY or found.wrong.upper <= trap.nominal
    assert found.said.share >= 0.95
