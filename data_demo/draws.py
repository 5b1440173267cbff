"""How does the simulation draw, so that each room of the brewery has its own stream and the whole is repeatable?"""

from __future__ import annotations

import zlib
from datetime import datetime, timedelta

import numpy as np

from data_demo.truth import SEED

__all__ = ["at_work", "on_a_weekday", "stream"]

_DAY_BEGINS = 6
_DAY_ENDS = 22


def stream(room: str) -> np.random.Generator:
    """Return the room's own generator: a change in one room leaves the others' numbers alone."""
    return np.random.default_rng([SEED, zlib.crc32(room.encode())])


def at_work(moment: datetime, begins: int = _DAY_BEGINS, ends: int = _DAY_ENDS) -> datetime:
    """Return the moment to the minute, moved on into the working day where it falls outside."""
    moment = moment.replace(second=0, microsecond=0)
    if moment.hour < begins:
        return moment.replace(hour=begins, minute=moment.minute)
    if moment.hour >= ends:
        return moment.replace(hour=begins, minute=moment.minute) + timedelta(days=1)
    return moment


def on_a_weekday(moment: datetime) -> datetime:
    """Return the moment, moved on to Monday where it falls on a weekend."""
    return moment + timedelta(days=max(0, 7 - moment.weekday()) if moment.weekday() >= 5 else 0)
