"""What came of each cell when it was read as a number, a moment, a clock time, a name or a yes or no?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

__all__ = [
    "DATE_ORDERS",
    "DateOrder",
    "DateQuestion",
    "ParsedClocks",
    "ParsedFlags",
    "ParsedMoments",
    "ParsedNumbers",
    "ParsedTexts",
    "State",
    "States",
]

DateOrder = Literal["day-month", "month-day", "year-month-day"]
DATE_ORDERS: tuple[DateOrder, ...] = ("day-month", "month-day", "year-month-day")
DateQuestion = Literal["order", "mixed", "turned", "years"]
States = npt.NDArray[np.int8]
Floats = npt.NDArray[np.float64]
Moments = npt.NDArray[np.datetime64]
Flags = npt.NDArray[np.bool_]


class State(IntEnum):
    """What came of one cell.

    ``READ``: its value stands. ``EMPTY``: nothing stood there. ``MISSING``: a word says that there is no value; the
    cell's text is the reason. ``UNREADABLE``: it is not what the column holds. ``AMBIGUOUS``: it reads in two ways.
    """

    READ = 0
    EMPTY = 1
    MISSING = 2
    UNREADABLE = 3
    AMBIGUOUS = 4


@dataclass(frozen=True, eq=False)
class ParsedNumbers:
    """A column read as numbers; arrays of shape (n,).

    ``value`` is NaN where ``state`` is not READ. ``sign`` is −1 where the cell says "less than", +1 where it says "more
    than" (``value`` is then the limit), else 0. ``unit_code`` is the place in ``units`` of the unit that stood in the
    cell, as written there, −1 where none did. ``is_approximate`` marks "ca. 5", "~5" and "5?": the number is taken.
    ``decimal`` is the decimal sign that was used, None where no cell needed one.
    """

    value: Floats
    sign: npt.NDArray[np.int8]
    state: States
    unit_code: npt.NDArray[np.int32]
    units: tuple[str, ...]
    is_approximate: Flags
    decimal: str | None


@dataclass(frozen=True, eq=False)
class ParsedMoments:
    """A column read as dates or moments; arrays of shape (n,).

    ``moment`` is NaT where ``state`` is not READ; ``has_clock`` says where a time of day was given, elsewhere it is
    midnight. ``format`` says in words how the column was read. ``order`` is the order of day and month that numeric
    dates were read in, None where none needed it. ``question`` is why some cells are AMBIGUOUS: ``"order"`` (both
    orders fit every cell), ``"mixed"`` (some cells fit one order alone, some the other), ``"turned"`` (the spreadsheet
    program turned day and month round wherever it could), ``"years"`` (26-03-04 may begin with its year).
    """

    moment: Moments
    state: States
    has_clock: Flags
    format: str
    order: DateOrder | None = None
    question: DateQuestion | None = None


@dataclass(frozen=True, eq=False)
class ParsedClocks:
    """A column read as times of day or as durations; ``seconds`` [s] is NaN where ``state`` is not READ."""

    seconds: Floats
    state: States


@dataclass(frozen=True, eq=False)
class ParsedTexts:
    """A column read as names, words or choices; ``text`` (dtype ``str``) is missing where ``state`` is not READ."""

    text: pd.Series
    state: States


@dataclass(frozen=True, eq=False)
class ParsedFlags:
    """A column read as yes or no; ``value`` is 1, 0, or NaN where ``state`` is not READ."""

    value: Floats
    state: States
