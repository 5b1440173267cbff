"""Which scores did the panel give, one a row or one a cell?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.records.context import Context, Values
from analysis.records.kept import rows_of_state, text_of_codes
from analysis.records.meaning import Meaning
from analysis.records.parsing import parse_numbers, parse_texts
from analysis.vocabulary import slug

__all__ = ["ScoreBlock", "read_attributes", "read_score_block"]


@dataclass(frozen=True, eq=False)
class ScoreBlock:
    """The scores of one attribute's column: the rows that have one, and for those the score."""

    rows: npt.NDArray[np.intp]
    attribute: str
    score: npt.NDArray[np.float64]


def read_attributes(context: Context, values: Values) -> None:
    """Read the column of attributes, each by its kept name: "Hop aroma" and "hop_aroma" are one."""
    meaning = context.recognised.kept("attribute")
    if meaning is None:
        return
    cells = context.cells(meaning)
    read = parse_texts(cells)
    words = [slug(word) for word in cells.words.to_pylist()]
    code = np.where(read.text.isna().to_numpy(), -1, cells.code).astype(np.int32)
    values.texts["attribute"] = text_of_codes(code, words)


def read_score_block(context: Context, meaning: Meaning) -> ScoreBlock:
    """Return the scores of one attribute's column of a wide sheet."""
    cells = context.cells(meaning)
    numbers = parse_numbers(cells, context.decimal)
    rows_of_state(context, meaning, cells, numbers.state)
    rows = np.flatnonzero(context.active & ~np.isnan(numbers.value))
    return ScoreBlock(rows, meaning.name, numbers.value[rows])
