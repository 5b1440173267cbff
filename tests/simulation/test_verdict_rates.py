"""How often is a verdict wrong, over many breweries whose truth is known?

A few breweries in every run, four hundred by name (``-m slow``); their figures stand in DEVELOPERS.md. Bounds are
those of a Clopper and Pearson interval: over few breweries a rate may not be surely above its limit, over four hundred
its upper bound must lie below it.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass

import numpy as np
import pytest
from scipy import stats

from analysis.findings.practices import PracticesFinding, practices
from analysis.verdicts import Verdict
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

SEED = 20_260_503
FEW, MANY = 50, 400
NULL = SmallBrewery(kinds=("number", "number", "number", "number", "number", "yes_no"), run=0.06, packs=3)
AT_MARGIN = math.log1p(6.0 / NULL.highest_level)
BORDER = NULL.changed(effects=(AT_MARGIN,) * 3 + (-AT_MARGIN,) * 3, batches=120)
SHIFTING = (Verdict.RAISES, Verdict.LOWERS)


@dataclass(frozen=True)
class Rate:
    """So many of so many, with the two bounds of a 95 % interval."""

    hits: int
    of: int

    @property
    def lower(self) -> float:
        return float(stats.beta.ppf(0.025, self.hits, self.of - self.hits + 1)) if self.hits else 0.0

    @property
    def upper(self) -> float:
        return float(stats.beta.ppf(0.975, self.hits + 1, self.of - self.hits)) if self.hits < self.of else 1.0

    def __str__(self) -> str:
        return f"{self.hits} of {self.of} ({self.hits / self.of:.2%}, 95 % {self.lower:.2%} to {self.upper:.2%})"


def findings_of(brewery: SmallBrewery, count: int) -> list[PracticesFinding]:
    streams = np.random.SeedSequence(SEED).spawn(count)
    tables = (pack_table_of(simulate_packs(brewery, np.random.default_rng(s)), brewery) for s in streams)
    return [practices(table, "total_oxygen") for table in tables]


def share_of(findings: list[PracticesFinding], wrong) -> Rate:
    told = [effect for finding in findings for effect in finding.practices]
    return Rate(sum(wrong(effect) for effect in told), len(told))


def coverage(findings: list[PracticesFinding], brewery: SmallBrewery) -> Rate:
    truth = {p.name: e for p, e in zip(brewery.practices, brewery.effects, strict=True)}
    return share_of(findings, lambda e: e.judgement.low <= truth[e.practice] <= e.judgement.high)


def pages(findings: list[PracticesFinding], wrong) -> Rate:
    return Rate(sum(any(wrong(e) for e in finding.practices) for finding in findings), len(findings))


def is_shifting(effect) -> bool:
    return effect.verdict in SHIFTING


def is_called_small(effect) -> bool:
    return effect.verdict is Verdict.NO_PRACTICAL_DIFFERENCE


def unadjusted(effect) -> bool:
    return effect.judgement.p <= 0.05


@pytest.fixture(scope="module")
def few_null():
    return findings_of(NULL, FEW)


@pytest.fixture(scope="module")
def few_border():
    return findings_of(BORDER, FEW)


def test_few_breweries_without_effects_are_seldom_told_of_one(few_null):
    told = share_of(few_null, is_shifting)
    assert told.of == FEW * len(NULL.effects)
    assert told.lower <= 0.05
    assert pages(few_null, is_shifting).lower <= 0.05


def test_few_breweries_at_the_margin_are_seldom_called_small(few_border):
    assert share_of(few_border, is_called_small).lower <= 0.05


def test_intervals_of_few_breweries_cover(few_null, few_border):
    for findings, brewery in ((few_null, NULL), (few_border, BORDER)):
        covered = coverage(findings, brewery)
        assert covered.lower <= 0.95 <= covered.upper


@pytest.mark.slow
@pytest.mark.timeout(7_200)
def test_four_hundred_breweries(request, record_property, capsys):
    if "slow" not in request.config.option.markexpr:
        pytest.skip("a minute of simulation: run it by name with -m slow")
    null, border = findings_of(NULL, MANY), findings_of(BORDER, MANY)
    rates = {
        "false raises or lowers, a practice": share_of(null, is_shifting),
        "false raises or lowers, a page": pages(null, is_shifting),
        "before adjusting, a practice": share_of(null, unadjusted),
        "false no practical difference at the margin, a practice": share_of(border, is_called_small),
        "false no practical difference at the margin, a page": pages(border, is_called_small),
        "right direction told at the margin": share_of(border, is_shifting),
        "coverage without effects": coverage(null, NULL),
        "coverage at the margin": coverage(border, BORDER),
        "pages lowered by a control": Rate(sum(bool(f.controls.sentences) for f in null), MANY),
    }
    with capsys.disabled():
        sys.stdout.write("".join(f"{name}: {rate}\n" for name, rate in rates.items()))
    for name, rate in rates.items():
        record_property(name, str(rate))
    assert rates["false raises or lowers, a practice"].upper <= 0.05
    assert rates["false raises or lowers, a page"].hits / MANY <= 0.05
    assert rates["false no practical difference at the margin, a practice"].upper <= 0.05
    assert 0.93 <= rates["coverage without effects"].hits / rates["coverage without effects"].of <= 0.97
    assert 0.93 <= rates["coverage at the margin"].hits / rates["coverage at the margin"].of <= 0.97
