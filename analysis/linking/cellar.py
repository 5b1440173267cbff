"""Which batches and runs are there, and what of the cellar's records belongs to which?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.ledger.snapshot import Snapshot
from analysis.linking.batches import Mention, batch_uses
from analysis.linking.entries import NEVER, Floats, Ints, entries, seconds_of
from analysis.linking.lineage import Lineage, has_own_beer, inflows_of, lineage_of
from analysis.linking.matching import BatchFinder, Links, batch_finder, match_operations
from analysis.linking.numbers import Pool
from analysis.linking.occupancy import Occupancy, occupancy_of
from analysis.linking.once import once_each
from analysis.linking.recipes import one_spelling, spellings, with_packed_recipes
from analysis.linking.runs import Runs, named_batches, only_value, runs_of
from analysis.linking.volumes import Volumes, volumes_of

__all__ = ["Cellar", "cellar_of"]

_FAR = np.iinfo(np.int64).max


@dataclass(frozen=True)
class Cellar:
    """The batches with their lineage, the runs, and the cellar operations with what they were linked to."""

    batches: pd.DataFrame
    runs: Runs
    pack_rows: pd.DataFrame
    transfers: pd.DataFrame
    operations: pd.DataFrame
    links: Links
    finder: BatchFinder
    occupancy: Occupancy
    volumes: Volumes
    lineage: Lineage
    unlinked: pd.DataFrame


def cellar_of(records: Snapshot) -> Cellar:
    """Return the cellar's side of the records, linked."""
    listed, moves = entries(records, "batches"), entries(records, "transfers")
    pack_rows, operations = entries(records, "pack_runs"), entries(records, "operations")
    known = Pool.of_batches(listed["batch"], moves["from_batch"], moves["to_batch"])
    named = named_batches(pack_rows, known)
    pool = Pool.of_batches(listed["batch"], moves["from_batch"], moves["to_batch"], named["text"])
    moves, moves_again = once_each(moves, "transfers", {"from_batch": pool, "to_batch": pool})
    operations, work_again = once_each(operations, "operations", {"batch": pool})
    mentions = _mentions(pool, named, pack_rows, moves)
    uses = batch_uses(listed, pool, mentions)
    runs = runs_of(pack_rows, named, uses.mentioned[0], uses.table["code"].to_numpy(np.int64))
    transfers = moves.assign(source=uses.mentioned[1], target=uses.mentioned[2], moved=seconds_of(moves["moved_at"]))
    last_packed = _last_packed(runs.members, len(uses.table))
    occupancy = occupancy_of(uses.table, transfers, last_packed)
    finder = batch_finder(uses.table, pool, np.maximum(last_packed, _last_left(transfers, len(uses.table))))
    links = match_operations(operations, finder, occupancy)
    inflows = inflows_of(transfers)
    batches = with_packed_recipes(_with_recipes(uses.table, inflows), runs, pack_rows)
    batches["recipe"] = one_spelling(batches["recipe"], spellings(batches["recipe"]))
    own = has_own_beer(batches, inflows, _first_work(operations, links, len(batches)))
    volumes = volumes_of(batches, transfers, own, occupancy)
    members = _shared(runs.members, volumes)
    lineage = lineage_of(members, inflows, own, _own_volume(batches, inflows, volumes))
    counts = _unlinked(uses.joined, uses.undated, batches, runs, pack_rows, uses.mentioned)
    unlinked = pd.concat([counts, moves_again, work_again], ignore_index=True)
    return Cellar(batches, runs, pack_rows, transfers, operations, links, finder, occupancy, volumes, lineage, unlinked)


def _mentions(pool: Pool, named: pd.DataFrame, pack_rows: pd.DataFrame, moves: pd.DataFrame) -> tuple[Mention, ...]:
    packed = seconds_of(pack_rows["packed_at"])[named["row"]]
    moved = seconds_of(moves["moved_at"])
    texts = (named["text"], moves["from_batch"], moves["to_batch"])
    run = pd.factorize(pack_rows["run"], use_na_sentinel=True)[0].astype(np.int64)[named["row"]]
    told = zip(texts, (packed, moved, moved), (run, None, None), strict=True)
    return tuple(Mention(*pool.codes(text), seconds, beside) for text, seconds, beside in told)


def _last_packed(members: pd.DataFrame, n_batches: int) -> Ints:
    """Return when each batch was last packed [s], ``NEVER`` where it was not."""
    last = np.full(n_batches, NEVER)
    np.maximum.at(last, members["use"], members["packed"])
    return last


def _last_left(transfers: pd.DataFrame, n_batches: int) -> Ints:
    """Return when beer last left each batch for another [s], ``NEVER`` where none did."""
    away = transfers[(transfers["source"] >= 0) & (transfers["source"] != transfers["target"])]
    last = np.full(n_batches, NEVER)
    np.maximum.at(last, away["source"], away["moved"])
    return last


def _first_work(operations: pd.DataFrame, links: Links, n_batches: int) -> Ints:
    seconds = seconds_of(operations["started_at"])
    dated = (links.use >= 0) & (seconds != NEVER)
    first = np.full(n_batches, _FAR)
    np.minimum.at(first, links.use[dated], seconds[dated])
    return first


def _own_volume(batches: pd.DataFrame, inflows: pd.DataFrame, volumes: Volumes) -> Floats:
    """Return what each batch was of its own when the first beer came in [hL]: as moved by then, else as listed."""
    n = len(batches)
    came = np.full(n, _FAR)
    np.minimum.at(came, inflows["target"], inflows["moved"])
    first = inflows[inflows["moved"] == came[inflows["target"]]]
    brought = np.bincount(first["target"], weights=first["volume"], minlength=n)
    then = volumes.at(np.arange(n), np.where(came == _FAR, NEVER, came)) - brought
    return np.where(then > 0, then, batches["volume"].to_numpy(np.float64))


def _with_recipes(batches: pd.DataFrame, inflows: pd.DataFrame) -> pd.DataFrame:
    """Return the batches, one that is not listed having the recipe and style of the batches it was made from."""
    filled = batches.copy()
    target, source = inflows["target"].to_numpy(np.int64), inflows["source"].to_numpy(np.int64)
    for name in ("recipe", "style"):
        for _ in range(3 if len(inflows) and filled[name].isna().any() else 0):
            of_parents = only_value(target, filled[name].iloc[source], len(filled))
            filled[name] = filled[name].where(filled[name].notna(), of_parents)
    return filled


def _shared(members: pd.DataFrame, volumes: Volumes) -> pd.DataFrame:
    """Return the runs' batches with their shares: by their volumes when packed, or equal where one is not known."""
    volume = pd.Series(volumes.at(members["use"].to_numpy(np.int64), members["packed"].to_numpy(np.int64)))
    run = members["run"]
    several = run.duplicated(keep=False)
    vague = volume.isna().groupby(run).transform("any")
    weight = volume.where(several & ~vague, 1.0)
    share = weight / weight.groupby(run).transform("sum")
    return members.assign(share=share, equal=several & vague)[["run", "use", "packed", "share", "equal"]]


def _unlinked(
    joined: int,
    undated: int,
    batches: pd.DataFrame,
    runs: Runs,
    pack_rows: pd.DataFrame,
    mentioned: tuple[Ints, ...],
) -> pd.DataFrame:
    strange = (~batches["listed"] & batches["recipe"].isna()).to_numpy(bool)
    member_rows = runs.members["record"][strange[runs.members["use"]]].nunique()
    counts = [
        (
            "batches",
            "a further row of a batch that is on the list: joined, volumes of different brew days added",
            joined,
        ),
        ("batches", "no brew day, and the batch number has been used more than once", undated),
        ("pack_runs", "the batch is not on the batch list: its recipe is not known", member_rows),
        ("pack_runs", "no run number or no batch number on record", _without(pack_rows, runs)),
        ("transfers", "a batch of the transfer is not known", int(((mentioned[1] < 0) | (mentioned[2] < 0)).sum())),
    ]
    return pd.DataFrame([c for c in counts if c[2]], columns=["kind", "reason", "count"])


def _without(pack_rows: pd.DataFrame, runs: Runs) -> int:
    used = np.isin(runs.row_run, runs.members["run"].to_numpy())
    return int((~used).sum()) if len(pack_rows) else 0
