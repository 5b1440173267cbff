"""What did the brewery write in further columns, and is each a number, a yes or no, or one of a few words?"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
import pandas as pd

from analysis.linking.entries import Floats, Ints
from analysis.records.missing import NO_NAME, plain
from analysis.vocabulary import slug

__all__ = ["FurtherCells", "NotOffered", "further_cells"]

_YES = frozenset({"yes", "y", "true", "done", "ok"})
_NO = frozenset({"no", "n", "false", "not done"})
_TICKS = frozenset({"x", "✓", "✔", "✗"})
_BITS: Mapping[str, float] = MappingProxyType({"1": 1.0, "0": 0.0, "1.0": 1.0, "0.0": 0.0})
_NUMBER = re.compile(
    r"(?P<number>[+-]?(?:\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:[.,]\d+)?|[.,]\d+))\s*(?P<unit>[^\d\s.,][^\d]*)?"
)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")
_HEADER_UNIT = re.compile(r"[\[(]\s*([^\])]+?)\s*[\])]\s*$")

_MOST_WORDS = 20
"""A column with more different words than this is not offered as a category (common practice, no source)."""

_FEWEST_A_WORD = 2
"""Nor is one whose words come back less often than this, on average."""

_LONGEST_WORD = 40
"""Nor is one whose words are longer than this: it holds sentences."""

_MOSTLY = 0.9
"""A column is a number where at least this part of its filled cells are; the others are left out and counted."""


@dataclass(frozen=True)
class FurtherCells:
    """One further column of one kind of record.

    ``name`` is its kept name, ``header`` its first header as written. ``number``, shape (n,), has a number or 1/0 for
    each row of the kind, missing where nothing was written; for a category ``word`` has each row's word. ``left_out``
    cells could not be read as the others.
    """

    name: str
    header: str
    type: Literal["number", "yes_no", "category"]
    unit: str
    number: Floats
    word: pd.Series
    left_out: int = 0


@dataclass(frozen=True)
class NotOffered:
    """A further column that is kept with its rows and makes no practice, and why."""

    name: str
    reason: str


def further_cells(rows: pd.DataFrame) -> tuple[tuple[FurtherCells, ...], tuple[NotOffered, ...]]:
    """Return the further columns of one kind of record.

    A column whose cells say yes and no (y, n, true, 1, 0 …) is a yes or no; one with ticks alone, and blank where there
    is none, says no where its sheet leaves it blank. A column of numbers, all with the same unit or none, is a number.
    A column with few words that come back is a category. Anything else is free text.

    Parameters
    ----------
    rows : DataFrame
        The kind's records: ``extra`` (JSON text), ``file``, ``sheet``.
    """
    place, texts = pd.factorize(rows["extra"], use_na_sentinel=True)
    documents = json.loads(f"[{','.join(texts)}]")
    headers: dict[str, list[str]] = {}
    for header in sorted({header for document in documents for header in document}):
        headers.setdefault(slug(header) or "further", []).append(header)
    offered: list[FurtherCells] = []
    refused: list[NotOffered] = []
    for name, written in headers.items():
        cells = _cells_of(documents, written)
        read = _read(name, written[0], cells, place.astype(np.int64), rows)
        (offered if isinstance(read, FurtherCells) else refused).append(read)  # type: ignore[arg-type]
    return tuple(offered), tuple(refused)


def _cells_of(documents: list[dict[str, object]], headers: list[str]) -> pd.Series:
    """Return what each document says under the headers, missing where it says nothing."""
    said = [next((d[h] for h in headers if d.get(h) is not None), None) for d in documents]
    texts = pd.Series([None if cell is None else " ".join(str(cell).split()) for cell in said], dtype="str")
    plainly = texts.str.casefold()
    return texts.mask(plainly.isin(NO_NAME - _TICKS | {""}))


def _read(name: str, header: str, cells: pd.Series, place: Ints, rows: pd.DataFrame) -> FurtherCells | NotOffered:
    code, words = pd.factorize(cells, use_na_sentinel=True)
    of_row = np.append(code, -1)[place]
    often = np.bincount(of_row[of_row >= 0], minlength=len(words))
    if not len(words):
        return NotOffered(name, "nothing but blank cells")
    said = [plain(str(word)) for word in words]
    flags = _flags(said, header)
    if flags is not None:
        number = _spread(flags, of_row)
        if set(said) <= _TICKS:
            number = np.where(np.isnan(number) & _same_sheet(rows, of_row >= 0), 0.0, number)
        return FurtherCells(name, header, "yes_no", "", number, _no_words(rows))
    numbers, unit = _numbers([str(word) for word in words], often)
    if numbers is not None:
        left_out = int(often[np.isnan(numbers)].sum())
        return FurtherCells(
            name, header, "number", unit or _unit_of(header), _spread(numbers, of_row), _no_words(rows), left_out
        )
    return _category(name, header, said, [str(word) for word in words], often, of_row)


def _flags(said: list[str], header: str) -> Floats | None:
    """Return 1 for yes and 0 for no, None where the words are not that."""
    known = {**dict.fromkeys(_YES | _TICKS, 1.0), **dict.fromkeys(_NO, 0.0), "✗": 0.0, **_BITS}
    if not all(word in known for word in said):
        return None
    # A lone 1 or a lone 0 may be a count as well, unless the header asks a question.
    if all(word in _BITS for word in said) and len({_BITS[word] for word in said}) < 2 and not _asks(header):
        return None
    return np.array([known[word] for word in said])


def _asks(header: str) -> bool:
    return "?" in header or slug(header).endswith(("y_n", "yes_no"))


def _numbers(words: list[str], often: Ints) -> tuple[Floats | None, str]:
    """Return the words as numbers with their unit; None where they are not mostly numbers, or of several units."""
    found = [_NUMBER.fullmatch(word) for word in words]
    read = np.array([m is not None for m in found])
    if often[read].sum() < _MOSTLY * often.sum():
        return None, ""
    units = {unit.casefold(): unit for unit in (str(m["unit"] or "").strip() for m in found if m) if unit}
    if len(units) > 1:
        return None, ""
    return np.array([_number(m["number"]) if m else np.nan for m in found]), next(iter(units.values()), "")


def _number(text: str) -> float:
    return float(text.replace(",", "") if _THOUSANDS.fullmatch(text) else text.replace(",", "."))


def _unit_of(header: str) -> str:
    found = _HEADER_UNIT.search(header)
    return found[1] if found and not _asks(header) else ""


def _category(
    name: str, header: str, said: list[str], words: list[str], often: Ints, of_row: Ints
) -> FurtherCells | NotOffered:
    level, _ = pd.factorize(np.array(said, dtype=object))
    n_levels = int(level.max()) + 1
    if n_levels > _MOST_WORDS or often.sum() < _FEWEST_A_WORD * n_levels:
        return NotOffered(name, f"{n_levels} different texts in {often.sum()} cells: too many to compare")
    if max(len(word) for word in words) > _LONGEST_WORD:
        return NotOffered(name, "sentences, not words that come back")
    frame = pd.DataFrame({"level": level, "word": words, "often": often})
    shown = frame.sort_values(["often", "word"], ascending=[False, True]).drop_duplicates("level").set_index("level")
    word = shown["word"].reindex(level).astype("str").reset_index(drop=True)
    of_rows = pd.Series(word.array.take(of_row, allow_fill=True))
    return FurtherCells(name, header, "category", "", np.empty(0), of_rows)


def _spread(values: Floats, of_row: Ints) -> Floats:
    return np.append(values, np.nan)[of_row]


def _no_words(rows: pd.DataFrame) -> pd.Series:
    return pd.Series(pd.NA, index=range(len(rows)), dtype="str")


def _same_sheet(rows: pd.DataFrame, said: np.ndarray) -> np.ndarray:
    """Return whether each row stands on a sheet that has the column."""
    sheet = pd.factorize(pd.MultiIndex.from_frame(rows[["file", "sheet"]].astype("str")))[0]
    return np.isin(sheet, np.unique(sheet[said]))
