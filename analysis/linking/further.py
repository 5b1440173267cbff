"""Which practices do a brewery's own further columns make?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.linking.entries import Floats, Ints
from analysis.linking.further_cells import FurtherCells, NotOffered, further_cells
from analysis.linking.lineage import Lineage
from analysis.linking.runs import only_value
from analysis.linking.work import blended
from analysis.vocabulary import Practice, further_practice

__all__ = ["Further", "Grouping", "along_ways", "further_of", "named_apart", "practices_of", "round_step"]

_ROUND = np.array([1.0, 2.0, 5.0, 10.0])


@dataclass(frozen=True)
class Grouping:
    """Which of ``n`` things (ways, runs or samples) each chosen ``row`` of a kind's records tells of, as ``group``."""

    row: Ints
    group: Ints
    n: int


@dataclass(frozen=True)
class Further:
    """The further columns of one kind of record, a value for each thing that its rows tell of.

    ``columns`` maps a kept name to numbers or words; a number is missing where nothing was written.
    """

    kind: str
    cells: tuple[FurtherCells, ...]
    columns: pd.DataFrame
    not_offered: tuple[NotOffered, ...]


def further_of(kind: str, rows: pd.DataFrame, grouping: Grouping) -> Further:
    """Return the further columns of one kind.

    The rows of one thing are taken together: a number is their mean, a yes or no the part of the rows that say yes
    among those that say either, a category the only word or "mixed".
    """
    cells, refused = further_cells(rows)
    told = {cell.name: _together(cell, grouping) for cell in cells}
    kept = tuple(cell for cell in cells if told[cell.name].notna().any())
    columns = pd.DataFrame({cell.name: told[cell.name] for cell in kept}, index=range(grouping.n))
    return Further(kind, kept, columns, refused)


def _together(cell: FurtherCells, grouping: Grouping) -> pd.Series:
    if cell.type == "category":
        return only_value(grouping.group, cell.word.iloc[grouping.row], grouping.n)
    value = cell.number[grouping.row]
    said = ~np.isnan(value)
    group = grouping.group[said]
    total = np.bincount(group, weights=value[said], minlength=grouping.n)
    count = np.bincount(group, minlength=grouping.n)
    return pd.Series(np.where(count > 0, total / np.maximum(count, 1), np.nan))


def along_ways(further: Further, lineage: Lineage, n_runs: int) -> Further:
    """Return the further columns of each way as columns of each run: means by share where written, words or "mixed"."""
    run = lineage.paths["run"].to_numpy(np.int64)
    columns: dict[str, pd.Series] = {}
    for cell in further.cells:
        values = further.columns[cell.name]
        if cell.type == "category":
            columns[cell.name] = only_value(run, values, n_runs)
        else:
            number = np.where(values.isna(), np.inf, values.to_numpy(np.float64))
            columns[cell.name] = pd.Series(blended(lineage, number, "mean where done", n_runs))
    return replace(further, columns=pd.DataFrame(columns, index=range(n_runs)))


def named_apart(parts: tuple[Further, ...], taken: frozenset[str]) -> tuple[Further, ...]:
    """Return the parts with every name used once: a name that is taken already has its kind behind it."""
    used = set(taken)
    apart = []
    for part in parts:
        names = {}
        for cell in part.cells:
            name = cell.name if cell.name not in used else f"{cell.name}_{part.kind}"
            while name in used:
                name += "_"
            used.add(name)
            names[cell.name] = name
        cells = tuple(replace(cell, name=names[cell.name]) for cell in part.cells)
        apart.append(replace(part, cells=cells, columns=part.columns.rename(columns=names)))
    return tuple(apart)


def practices_of(further: Further, recipe: pd.Series) -> tuple[Practice, ...]:
    """Return the practices that the columns make; a number's step is a round figure near its spread within recipes."""
    return tuple(_practice(cell, further, recipe) for cell in further.cells)


def _practice(cell: FurtherCells, further: Further, recipe: pd.Series) -> Practice:
    step = 1.0
    if cell.type == "number":
        step = round_step(further.columns[cell.name].to_numpy(np.float64), recipe)
    made = replace(further_practice(cell.header, cell.type, further.kind, step), name=cell.name)
    return replace(made, unit=cell.unit, step_unit=f"{step:g} {cell.unit}") if cell.unit else made


def round_step(values: Floats, recipe: pd.Series) -> float:
    """Return 1, 2 or 5 times a power of ten near the standard deviation within recipes; 1 where nothing varies."""
    frame = pd.DataFrame({"value": values, "recipe": recipe.fillna("").to_numpy()}).dropna()
    within = frame["value"] - frame.groupby("recipe")["value"].transform("mean")
    spread = float(within.std()) if len(frame) > 1 else 0.0
    if not spread > 0:
        spread = float(frame["value"].std()) if len(frame) > 1 else 0.0
    if not np.isfinite(spread) or spread <= 1e-12 * float(frame["value"].abs().max() if len(frame) else 0):
        return 1.0
    power = 10.0 ** np.floor(np.log10(spread))
    return float(power * _ROUND[np.argmin(np.abs(np.log(_ROUND) - np.log(spread / power)))])
