"""What does every step of reading one sheet need to know?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.records.answers import Answers
from analysis.records.cells import RawColumn
from analysis.records.faults import Faults
from analysis.records.meaning import Meaning
from analysis.records.recognise import Recognised
from analysis.records.scales import Deduced, Scaled
from analysis.records.table import Table
from analysis.records.taken import NumberedColumn

__all__ = ["Context", "Values"]

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Context:
    """One recognised sheet: its table, what its columns mean, what a person said, and what is wrong so far.

    ``kind`` is what it holds; ``units`` and ``dates`` fill with what each header's unit and dates were
    taken for, ``settled`` with the moments of each column of dates, ``filled`` with the texts of a column
    whose blanks other rows told, ``deduced`` with the units that a column's numbers told,
    ``numbered`` with what the number in a measure's header counts.
    """

    kind: str
    name: str
    recognised: Recognised
    table: Table
    faults: Faults
    decimal: str | None
    units: dict[str, str] = field(default_factory=dict)
    dates: dict[str, str] = field(default_factory=dict)
    settled: dict[int, npt.NDArray[np.datetime64]] = field(default_factory=dict)
    filled: dict[int, pd.Series] = field(default_factory=dict)
    deduced: dict[int, tuple[Deduced, ...]] = field(default_factory=dict)
    numbered: dict[str, NumberedColumn] = field(default_factory=dict)

    @property
    def answers(self) -> Answers:
        """What a person said of the sheet."""
        return self.recognised.answers

    @property
    def active(self) -> Flags:
        """The rows that are records."""
        return self.faults.active

    def cells(self, meaning: Meaning) -> RawColumn:
        """Return the cells of a column."""
        return self.table.columns[meaning.column]

    def take_units(self, meaning: Meaning, scaled: Scaled) -> None:
        """Keep which units a column's bare numbers were read in, and which of them the numbers told."""
        told = ", ".join(dict.fromkeys(unit for unit in scaled.taken.values() if unit))
        if told:
            self.units[meaning.header] = told
        if scaled.deduced:
            self.deduced[meaning.column] = scaled.deduced

    def unit_said(self, header: str, also: str | None = None) -> Callable[[str, str], str | None]:
        """Return a function that tells the unit a person said: by the written unit, by the quantity, by the header."""

        def said(quantity: str, written: str) -> str | None:
            keys = (written, quantity, header, also or "")
            return next((unit for key in keys if key and (unit := self.answers.unit(key))), None)

        return said


@dataclass(eq=False)
class Values:
    """The kept columns of a sheet, by name: texts as Series of dtype str, numbers and moments as arrays; shape (n,)."""

    n: int
    texts: dict[str, pd.Series] = field(default_factory=dict)
    numbers: dict[str, npt.NDArray[np.float64]] = field(default_factory=dict)
    moments: dict[str, npt.NDArray[np.datetime64]] = field(default_factory=dict)
    signs: dict[str, npt.NDArray[np.int8]] = field(default_factory=dict)

    def present(self, name: str) -> Flags:
        """Return the rows that have a value of that column, shape (n,)."""
        if name in self.texts:
            return self.texts[name].notna().to_numpy()
        if name in self.numbers:
            return ~np.isnan(self.numbers[name])
        if name in self.moments:
            return ~np.isnat(self.moments[name])
        return np.zeros(self.n, dtype=bool)
