"""What does linking take from the records on hand, and how does it count time?"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.ledger.snapshot import Snapshot

__all__ = [
    "DAY",
    "NEVER",
    "Flags",
    "Floats",
    "Ints",
    "end_of_moment",
    "entries",
    "moments_of",
    "seconds_of",
    "taken",
]

Ints: TypeAlias = NDArray[np.int64]
Floats: TypeAlias = NDArray[np.float64]
Flags: TypeAlias = NDArray[np.bool_]

DAY = 86_400
"""Seconds in a day; linking counts time in whole seconds since 1970."""

NEVER = np.int64(-1)
"""The second of a moment that is not on record."""


def entries(records: Snapshot, name: str) -> pd.DataFrame:
    """Return one kind's records in the order of their record numbers."""
    frame = records.frame(name)
    if not frame["record"].is_monotonic_increasing:
        frame = frame.sort_values("record", kind="stable")
    return frame.reset_index(drop=True)


def taken(values: pd.Series, place: Ints) -> pd.Series:
    """Return the values at the places, missing where a place is negative."""
    return pd.Series(values.array.take(place, allow_fill=True))


def seconds_of(moments: pd.Series) -> Ints:
    """Return moments as whole seconds since 1970, ``NEVER`` where missing; earlier moments count as 1970."""
    ticks = moments.to_numpy(dtype="datetime64[us]")
    missing = np.isnat(ticks)
    seconds = np.maximum(ticks.view(np.int64) // 1_000_000, 0)
    seconds[missing] = NEVER
    return seconds


def moments_of(seconds: Ints) -> pd.Series:
    """Return seconds since 1970 as moments, missing where ``NEVER``."""
    ticks = (seconds * 1_000_000).astype("datetime64[us]")
    ticks[seconds == NEVER] = np.datetime64("NaT")
    return pd.Series(ticks)


def end_of_moment(seconds: Ints) -> Ints:
    """Return the last second that a moment may mean: a moment at midnight is a day whose clock time was not kept."""
    whole_day = (seconds != NEVER) & (seconds % DAY == 0)
    return np.where(whole_day, seconds + DAY - 1, seconds)
