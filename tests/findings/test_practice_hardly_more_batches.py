"""Does a page with hardly more batches than practices answer, though an interval of it would end beyond all numbers?"""

import json

import numpy as np

from analysis.findings.practices import practices
from analysis.verdicts import Verdict
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs


def test_an_interval_beyond_all_numbers_is_left_out():
    brewery = SmallBrewery(batches=10, packs=2, effects=(0.0,) * 7, recipes=1, batch=8.0, tank=0.0)
    rows = simulate_packs(brewery, np.random.default_rng(2))
    finding = practices(pack_table_of(rows, brewery), "total_oxygen")
    assert len(finding.practices) == 7
    assert any(effect.looked_at_often is None for effect in finding.practices)
    assert all(effect.verdict is Verdict.CANNOT_TELL_YET for effect in finding.practices)
    assert json.dumps(finding.as_document(), allow_nan=False)
