"""What unit do each row's own cells state: the number's cell, or the column that states its unit?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.records.context import Context
from analysis.records.meaning import Meaning
from analysis.records.parsed import ParsedNumbers, State
from analysis.records.parsing import parse_ids

__all__ = ["unit_column_of", "units_of"]

Codes = npt.NDArray[np.int32]


def unit_column_of(context: Context, meaning: Meaning) -> Meaning | None:
    """Return the column that states the unit of another, None where none does."""
    return next((m for m in context.recognised.having("unit") if meaning.column in m.measures), None)


def units_of(context: Context, numbers: ParsedNumbers, unit: Meaning | None) -> tuple[Codes, list[str]]:
    """Return the unit that each row's own cells state, as codes and texts: the number's cell goes first."""
    code, texts = numbers.unit_code, list(numbers.units)
    if unit is None:
        return code, texts
    cells = context.cells(unit)
    absent = parse_ids(cells).state != State.READ
    column_code = np.where(absent | (cells.code < 0), -1, cells.code + len(texts))
    return np.where(code >= 0, code, column_code).astype(np.int32), [*texts, *cells.words.to_pylist()]
