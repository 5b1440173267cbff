"""Which readings of oxygen look a thousand times too small or too large: mg/L written among µg/L?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.records.context import Context
from analysis.records.meaning import Meaning

__all__ = ["note_scale_slips"]

_OXYGEN = ("dissolved_oxygen", "total_oxygen")
_FEWEST = 6
_LEAST, _MOST = 300.0, 3_000.0  # times the middle of the column: a thousand, give or take what packs differ
_TOLD = 5


def note_scale_slips(
    context: Context, meaning: Meaning, measure: str, rows: npt.NDArray[np.intp], value: npt.NDArray[np.float64]
) -> None:
    """Say which readings of a column lie about a factor of a thousand from its middle.

    Parameters
    ----------
    context : Context
    meaning : Meaning
        The column.
    measure : str
        What was read.
    rows, value : array, shape (n,)
        The rows with a reading, and the readings in the kept unit.
    """
    positive = value > 0
    if measure not in _OXYGEN or int(positive.sum()) < _FEWEST:
        return
    ratio = np.median(value[positive]) / np.where(positive, value, np.nan)
    small, large = (ratio >= _LEAST) & (ratio <= _MOST), (1 / ratio >= _LEAST) & (1 / ratio <= _MOST)
    slips = rows[small | large]
    if not len(slips):
        return
    cells = context.cells(meaning)
    told = ", ".join(
        f"“{cells.text_at(int(row))}” in row {int(row) + context.table.first_row}" for row in slips[:_TOLD]
    )
    more = f" and {len(slips) - _TOLD:,} more" if len(slips) > _TOLD else ""
    context.faults.note(
        "scale-slip",
        f"About a thousand times off the middle of the column: {told}{more}. Were they written in another unit?",
        "If so, write the unit in the cell, as in “0.081 ppm”, and take the file in again; else nothing to do.",
        meaning.header,
    )
