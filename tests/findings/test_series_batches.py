"""Are runs of one batch taken for what they are, and not for a new level each?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.findings.stability import Stability, stability
from analysis.linking import PackTable
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

STEADY = SmallBrewery(
    batches=75, packs=2, recipes=1, effects=(0.0,), run=0.05, batch=0.25, tank=0.0, margin=None, days_between=4.0
)
NO_TARGETS = pd.DataFrame(
    columns=["recipe", "format", "quantity", "lower", "upper", "target", "margin"], dtype="object"
)


def _two_runs_a_batch(seed: int, raised_from: int | None = None) -> PackTable:
    """A steady brewery's packs, each batch packed in two runs four hours apart; raised by half from a batch on."""
    packs = simulate_packs(STEADY, np.random.default_rng(seed))
    later = packs.groupby("batch")["run"].transform(lambda run: pd.factorize(run)[0])
    packs["packed_at"] += pd.to_timedelta(later * 4, unit="h")
    if raised_from is not None:
        packs.loc[packs["batch"].astype(int) >= raised_from, "total_oxygen"] *= 1.8
    return replace(pack_table_of(packs, STEADY), targets=NO_TARGETS)


def _told(seed: int, raised_from: int | None = None) -> Stability:
    return stability(_two_runs_a_batch(seed, raised_from), "total_oxygen")


@pytest.mark.parametrize("seed", range(100, 106))
def test_batches_packed_in_two_runs_make_no_moves(seed: int) -> None:
    (series,) = _told(seed).series
    assert len(series.points) == 150
    assert series.moves == ()


def test_a_true_move_is_found_at_its_batch_and_told_at_its_first_run() -> None:
    (series,) = _told(7, raised_from=2041).series
    (move,) = series.moves
    assert abs(int(series.points[move.point].batch) - 2041) <= 2
    assert series.points[move.point - 1].batch != series.points[move.point].batch
    assert move.at == series.points[move.point].at
    assert move.low < 80 < move.high
