"""How often is a verdict wrong, over many breweries whose truth is known?

A few breweries in every run, hundreds by name (``-m slow``); their figures stand in DEVELOPERS.md. Bounds are those of
a Clopper and Pearson interval: over few breweries a rate may not be surely above its limit, over hundreds its upper
bound must lie below it. Of breweries without an effect it takes 1,600 for the bound of a page's rate.
"""

from __future__ import annotations

import math
import sys

import numpy as np
import pytest

from analysis.findings.practice_censored import CensoredModel
from analysis.findings.practices import PracticesFinding, practices
from analysis.linking import PackTable
from analysis.verdicts import Verdict
from data_demo.rates import Rate
from data_demo.set_traps import with_limits
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

SEED = 20_260_503
FEW, MANY, MANY_NULL = 50, 400, 1_600
NULL = SmallBrewery(kinds=("number", "number", "number", "number", "number", "yes_no"), run=0.06, packs=3)
AT_MARGIN = math.log1p(6.0 / NULL.highest_level)
BORDER = NULL.changed(effects=(AT_MARGIN,) * 3 + (-AT_MARGIN,) * 3, batches=120)
# A meter that ends so high that a third of the packs stand as "<".
LIMIT = 60.0
SHIFTING = (Verdict.RAISES, Verdict.LOWERS)


def findings_of(brewery: SmallBrewery, count: int, limit: float = 0.0) -> list[PracticesFinding]:
    streams = np.random.SeedSequence(SEED).spawn(count)
    tables = (drawn(brewery, np.random.default_rng(stream), limit) for stream in streams)
    return [practices(table, "total_oxygen") for table in tables]


def drawn(brewery: SmallBrewery, rng: np.random.Generator, limit: float) -> PackTable:
    return with_limits(brewery, rng, limit) if limit else pack_table_of(simulate_packs(brewery, rng), brewery)


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


def test_few_breweries_with_limits_are_seldom_judged_wrongly():
    null, border = findings_of(NULL, 10, LIMIT), findings_of(BORDER, 10, LIMIT)
    assert all(isinstance(f.fit, CensoredModel) for f in (*null, *border))
    assert share_of(null, is_shifting).lower <= 0.05
    assert share_of(border, is_called_small).lower <= 0.05
    assert share_of(border, is_shifting).share > 0.7  # a search that stops short has variances that hide everything
    for findings, brewery in ((null, NULL), (border, BORDER)):
        covered = coverage(findings, brewery)
        assert covered.lower <= 0.95 <= covered.upper


def rates_of(null: list[PracticesFinding], border: list[PracticesFinding]) -> dict[str, Rate]:
    return {
        "false raises or lowers, a practice": share_of(null, is_shifting),
        "false raises or lowers, a page": pages(null, is_shifting),
        "before adjusting, a practice": share_of(null, unadjusted),
        "false no practical difference at the margin, a practice": share_of(border, is_called_small),
        "false no practical difference at the margin, a page": pages(border, is_called_small),
        "right direction told at the margin": share_of(border, is_shifting),
        "coverage without effects": coverage(null, NULL),
        "coverage at the margin": coverage(border, BORDER),
        "pages lowered by a control": Rate(sum(bool(f.controls.sentences) for f in null), len(null)),
    }


@pytest.mark.slow
@pytest.mark.timeout(14_400)
@pytest.mark.parametrize("limit", [0.0, LIMIT], ids=["exact", "with limits"])
def test_hundreds_of_breweries(limit, request, record_property, capsys):
    if "slow" not in request.config.option.markexpr:
        pytest.skip("minutes of simulation: run it by name with -m slow")
    rates = rates_of(findings_of(NULL, MANY_NULL, limit), findings_of(BORDER, MANY, limit))
    with capsys.disabled():
        sys.stdout.write("".join(f"{name}: {rate}\n" for name, rate in rates.items()))
    for name, rate in rates.items():
        record_property(name, str(rate))
    assert rates["false raises or lowers, a practice"].upper <= 0.05
    assert rates["false raises or lowers, a page"].upper <= 0.05
    assert rates["false no practical difference at the margin, a practice"].upper <= 0.05
    assert 0.93 <= rates["coverage without effects"].share <= 0.97
    assert 0.93 <= rates["coverage at the margin"].share <= 0.97
