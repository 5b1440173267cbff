"""Does a page with hardly more batches than practices answer, though an interval of it would end beyond all numbers?"""

import json

import numpy as np
import pytest

from analysis.findings.practice_depth import deepen
from analysis.findings.practices import practices
from analysis.verdicts import Verdict
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs


@pytest.fixture(scope="module")
def finding():
    brewery = SmallBrewery(batches=11, packs=2, effects=(0.0,) * 8, recipes=1, batch=150.0, tank=0.0)
    rows = simulate_packs(brewery, np.random.default_rng(1))
    return practices(pack_table_of(rows, brewery), "total_oxygen")


def test_an_interval_beyond_all_numbers_is_cut_or_left_out(finding):
    assert len(finding.practices) == 8
    assert max(effect.judgement.high for effect in finding.practices) > np.log(np.finfo(float).max)
    assert all(effect.looked_at_often is None for effect in finding.practices)
    assert all(effect.verdict is Verdict.CANNOT_TELL_YET for effect in finding.practices)
    assert json.dumps(finding.as_document(), allow_nan=False)


def test_what_stands_behind_it_is_told_too(finding):
    assert json.dumps(deepen(finding, "practice_0").as_document(), allow_nan=False)
