"""Do the checks of a page still warn where a third of the readings are limits?

With limits, negative controls and the leaving out of each batch use the reading to be expected below the limit. Here
they meet the same breweries with exact readings and with limits: one whose practice answers bad batches, which the next
batch's practices give away, and one with a batch apart from all others. A few in every run, hundreds by name (``-m
slow``); those figures stand in DEVELOPERS.md. How often a control lowers a page without an effect is in
``test_verdict_rates.py``.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np
import pytest

from analysis.findings.practices import PracticesFinding, practices
from analysis.linking import PackTable
from analysis.verdicts import Verdict
from data_demo.rates import Rate
from data_demo.set_traps import MEMORY, answers_bad_batches, below_a_limit, one_batch_apart
from data_demo.small_breweries import SmallBrewery

SEED = 20_260_531
FEW, MANY = 10, 200
LIMIT = 55.0  # [µg/L], below which a third of the packs of such breweries read
ANSWERING = SmallBrewery(batches=60, packs=3, effects=(0.0, 0.0), recipes=1, memory=MEMORY, tank=0.0)
APART = SmallBrewery(batches=40, packs=4, effects=(0.0,), recipes=1, tank=0.0, margin=3.0)


@dataclass(frozen=True)
class Warned:
    """In how many breweries: the control caught that a practice answers bad batches; a practice was told to shift by
    the batch apart without naming it; and the share of readings that were limits."""

    caught: Rate
    unwarned: Rate
    limits: float


def finding_of(table: PackTable, limit: float) -> PracticesFinding:
    return practices(below_a_limit(table, limit) if limit else table, "total_oxygen")


def shifts_unwarned(finding: PracticesFinding) -> bool:
    (effect,) = finding.practices
    shifts = effect.verdict in (Verdict.RAISES, Verdict.LOWERS)
    return shifts and not any(words.startswith("rests on batch") for words in effect.cautions)


def warned(count: int, limit: float) -> Warned:
    caught = unwarned = 0
    shares = []
    for stream in np.random.SeedSequence(SEED).spawn(count):
        answering = answers_bad_batches(ANSWERING, np.random.default_rng(stream))
        caught += "practice 0" in finding_of(answering, limit).controls.followed
        unwarned += shifts_unwarned(finding_of(one_batch_apart(APART, np.random.default_rng(stream)), limit))
        shares.append(float((answering.rows["total_oxygen"] < limit).mean()))
    return Warned(Rate(caught, count), Rate(unwarned, count), float(np.mean(shares)))


def test_few_breweries_with_limits_are_warned_as_others_are():
    exact, limited = warned(FEW, 0.0), warned(FEW, LIMIT)
    assert 0.25 <= limited.limits <= 0.42
    assert limited.caught.upper >= exact.caught.lower
    assert limited.unwarned.lower <= 0.05


@pytest.mark.slow
@pytest.mark.timeout(7_200)
def test_hundreds_of_breweries_with_limits_are_warned_as_others_are(request, record_property, capsys):
    if "slow" not in request.config.option.markexpr:
        pytest.skip("minutes of simulation: run it by name with -m slow")
    exact, limited = warned(MANY, 0.0), warned(MANY, LIMIT)
    with capsys.disabled():
        sys.stdout.write(f"\nexact: {exact.caught}; {exact.unwarned}\nlimits: {limited.caught}; {limited.unwarned}\n")
    for name, rate in (("exact", exact), ("limits", limited)):
        record_property(name, f"{rate.caught}; {rate.unwarned}")
    assert limited.caught.share >= 0.8 * exact.caught.share > 0.2
    assert limited.unwarned.lower <= 0.05
