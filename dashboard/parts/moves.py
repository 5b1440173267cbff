"""From which vessel to which did the beer of some batches go, and when?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import pandas as pd

from analysis.findings.wording import amount
from analysis.records.names import batch_number

__all__ = ["Move", "moves_of"]

_BEFORE_BREWING = timedelta(days=7)
_LONGEST = timedelta(days=365)


@dataclass(frozen=True)
class Move:
    """One move of beer: ``detail`` says how much of it went where, ``batch`` whose beer it is after that."""

    at: datetime
    detail: str
    batch: str


def moves_of(transfers: pd.DataFrame, batches: pd.DataFrame, until: datetime | None) -> Iterator[Move]:
    """Return the moves of some batches up to a moment.

    Parameters
    ----------
    transfers : DataFrame
        The records of transfers.
    batches : DataFrame
        The batches: ``batch`` (the key), ``number`` and ``brewed_on``. A number that comes round again in another year
        has only the moves of its own year.
    until : datetime or None
        The end of the packing day; a later move is none of this beer's.
    """
    for row in transfers[transfers["moved_at"].notna()].sort_values("moved_at").itertuples():
        at = pd.Timestamp(row.moved_at).to_pydatetime()
        if until is not None and at > until:
            continue
        source, target = (_named(name, batches, at) for name in (row.from_batch, row.to_batch))
        if target is None or (source is None and _is_missing(row.from_batch)):
            continue
        of = "" if source == target else f"of batch {source or row.from_batch} into batch {target}"
        yield Move(at, _detail(row, of), target)


def _named(name: object, batches: pd.DataFrame, at: datetime) -> str | None:
    """Return the key of the batch that a move names, None where it is none of these."""
    if _is_missing(name):
        return None
    for batch in batches.itertuples():
        if _is_same(str(name), str(batch.number)) and _is_then(batch.brewed_on, at):
            return str(batch.batch)
    return None


def _is_same(one: str, other: str) -> bool:
    """Tell whether two writings are one batch: G2417 is 2417, and B5 is 5, but B5 is not L5."""
    bare = batch_number(one, "")
    return batch_number(one) == batch_number(other) or (bare == batch_number(other, "") and bare in (one, other))


def _is_then(brewed_on: object, at: datetime) -> bool:
    if _is_missing(brewed_on):
        return True
    brewed = pd.Timestamp(brewed_on).to_pydatetime()
    return brewed - _BEFORE_BREWING <= at <= brewed + _LONGEST


def _is_missing(value: object) -> bool:
    return value is None or bool(pd.isna(value))


def _detail(row: tuple, of: str) -> str:
    volume = "" if _is_missing(row.volume) else amount(float(row.volume), "hL")
    source = "" if _is_missing(row.from_vessel) else f"from {row.from_vessel}"
    target = "" if _is_missing(row.to_vessel) else f"to {row.to_vessel}"
    return " ".join(part for part in (volume, of, source, target) if part)
