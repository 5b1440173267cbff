"""Which records say again what another one says under another writing of its number?

To the ledger B2417 in one file and 2417 in another are two batches; only all records together show that they are one
(``numbers.Pool``). A rouse that both files tell of was done once, and a can that both tell of was read once.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis.linking.entries import Flags, Ints
from analysis.linking.numbers import Pool
from analysis.records.kinds import kind
from analysis.records.occasions import occasions

__all__ = ["once_each"]

_AGREE = "the same record under another writing of its number: counted once"
_DIFFER = "the same thing under another writing of its number, and otherwise: the record that was taken in last is used"
_VESSELS = ("vessel", "from_vessel", "to_vessel")


def once_each(rows: pd.DataFrame, name: str, pools: Mapping[str, Pool]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the rows without those that another writing repeats, and ``kind``, ``reason``, ``count`` of these.

    Of several the one that was taken in last is kept.

    Parameters
    ----------
    rows : DataFrame
        The records of one kind, in the order in which they were taken in.
    name : str
        The kind.
    pools : mapping of str to Pool
        The numbers on record, by the column that names them.
    """
    place = np.flatnonzero(_written_in_two_ways(rows, pools))
    if not len(place):
        return rows, _counts(name, 0, 0)
    part = rows.iloc[place]
    thing = _things(part, name, pools)
    last = pd.Series(place).groupby(thing).transform("max").to_numpy(np.int64)
    kept = rows.iloc[last].reset_index(drop=True)
    other_words = np.zeros(len(place), dtype=bool)
    for column in pools:
        other_words |= part[column].fillna("").to_numpy() != kept[column].fillna("").to_numpy()
    told = [c for c in kind(name).names if c not in (*kind(name).identity, kind(name).aside)]
    said = part[told].reset_index(drop=True)
    agree = said.eq(kept[told]) | (said.isna() & kept[told].isna())
    again, same = (place != last) & other_words, agree.all(axis=1).to_numpy(bool)
    left = np.delete(np.arange(len(rows)), place[again])
    counts = _counts(name, int((again & same).sum()), int((again & ~same).sum()))
    return rows.iloc[left].reset_index(drop=True), counts


def _written_in_two_ways(rows: pd.DataFrame, pools: Mapping[str, Pool]) -> Flags:
    """Return whether each row names a number that other rows of the kind write otherwise."""
    doubtful = np.zeros(len(rows), dtype=bool)
    for column, pool in pools.items():
        written, texts = pd.factorize(rows[column], use_na_sentinel=True)
        of_text, _ = pool.codes(pd.Series(texts, dtype="str"))
        several = np.bincount(of_text[of_text >= 0], minlength=len(pool.keys)) > 1
        if several.any():
            code = np.append(of_text, -1)[written]
            doubtful |= (code >= 0) & several[np.maximum(code, 0)]
    return doubtful


def _things(part: pd.DataFrame, name: str, pools: Mapping[str, Pool]) -> Ints:
    """Return a number for what each row is about, whatever the writing."""
    columns = {}
    for column in kind(name).identity:
        pool = pools.get(column) or (Pool.of_vessels(part[column]) if column in _VESSELS else None)
        raw = pd.factorize(part[column], use_na_sentinel=True)[0].astype(np.int64)
        code = raw if pool is None else pool.codes(part[column])[0]
        columns[column] = np.where(code >= 0, code, -1 - (raw + 1))
    thing = np.asarray(pd.DataFrame(columns).groupby(list(columns), sort=False).ngroup(), dtype=np.int64)
    occasion = kind(name).occasion
    return occasions(thing, part[occasion].to_numpy(dtype="datetime64[us]")) if occasion else thing


def _counts(name: str, agree: int, differ: int) -> pd.DataFrame:
    counts = [(name, reason, count) for reason, count in ((_AGREE, agree), (_DIFFER, differ)) if count]
    return pd.DataFrame(counts, columns=["kind", "reason", "count"])
